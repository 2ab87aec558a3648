"""Contracted slopes against differences of the influences themselves."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from blownwing.geometry.tube import TubeShape, build_tubes
from blownwing.kernels import jet, shape, vortex
from blownwing.wing.blown import panel_sums, segment_strengths

ROWS, COLUMNS = 2, 4
IMAGES = np.array([[1.0, 1.0, 0.0], [-1.0, 1.0, 0.0], [1.0, -1.0, -3.0]])
STEP = 1e-5
BOUND = np.array([0.1, 0.6])


@pytest.fixture
def scene():
    """A swept lattice's nodes, a contracting tube, points with normals and weights."""
    rng = np.random.default_rng(4)
    y = np.tile(np.linspace(0.1, 2.0, COLUMNS + 1), ROWS)
    x = np.repeat([0.1, 0.6], COLUMNS + 1) + 0.3 * y + 0.05 * rng.standard_normal(y.size)
    nodes = np.stack((x, y, 0.1 * y))
    ahead = np.linspace(-1.0, 0.0, 8)
    tube = build_tubes(
        [TubeShape(-1.0, 1.0 + 2.0 * k, 0.05, 0.4, 0.0, BOUND, ahead, 1.1 - 0.1 * ahead[::-1], ())
         for k in range(2)], 8, 6,
    )  # fmt: skip
    points = np.stack((rng.uniform(-0.5, 1.5, 5), rng.uniform(0.1, 2.0, 5), np.full(5, 0.3)))
    return nodes, tube, points, rng.standard_normal((3, 5)), rng


def sheet(tube):
    """Arguments of the kernels for tubes that always act by their panels."""
    basis = tube.basis
    none, never = np.zeros(len(basis.shapes)), np.full(len(basis.shapes), np.inf)
    far = jet.Far(none, none, never, np.zeros((never.size, tube.rings, jet.MOMENTS)))
    shapes = np.swapaxes(basis.padded, 1, 2)
    shapes = np.concatenate((shapes, np.zeros((*shapes.shape[:2], jet.MOMENTS))), axis=2)
    return *tube.nodes, tube.around, IMAGES, shapes, basis.first, far


def differences(function, place):
    """Central differences by every entry of the first row of `place` (3, n)."""
    result = np.zeros(place.shape[1])
    for k in range(result.size):
        values = []
        for sign in (1.0, -1.0):
            moved = place.copy()
            moved[0, k] += sign * STEP
            values.append(function(moved))
        result[k] = (values[0] - values[1]) / (2.0 * STEP)
    return result


@pytest.mark.parametrize("core", [0.0, 0.2])
def test_slopes_of_the_lattices_velocities(scene, core):
    nodes, _, points, normals, rng = scene
    adjoint, gamma = rng.standard_normal(5), rng.standard_normal(ROWS * COLUMNS)

    def total(place, at):
        out = np.empty((3, 5, ROWS * COLUMNS))
        vortex.velocity_influence(*place, *at, COLUMNS, IMAGES, core, out)
        return float(np.einsum("i,ci,cip,p", adjoint, normals, out, gamma))

    by_node, by_point = np.zeros(nodes.shape[1]), np.zeros(5)
    shape.contracted_slopes(
        *points, *normals, *nodes, COLUMNS, IMAGES, adjoint, gamma, core, by_node, by_point
    )
    assert_allclose(by_node, differences(lambda at: total(points, at), nodes), rtol=1e-6, atol=1e-8)
    wanted = differences(lambda place: total(place, nodes), points)
    assert_allclose(by_point, wanted, rtol=1e-6, atol=1e-8)


def test_slopes_of_the_lattices_potentials(scene):
    nodes, _, points, _, rng = scene
    adjoint, gamma = rng.standard_normal(5), rng.standard_normal(ROWS * COLUMNS)

    def total(at):
        out = np.empty((5, ROWS * COLUMNS))
        jet.horseshoe_potential(*points, *at, COLUMNS, IMAGES, out)
        return float(adjoint @ out @ gamma)

    by_node = np.zeros(nodes.shape[1])
    shape.potential_slopes(*points, *nodes, COLUMNS, IMAGES, adjoint, gamma, by_node)
    assert_allclose(by_node, differences(total, nodes), rtol=1e-6, atol=1e-8)


def test_slopes_of_the_tubes_velocities(scene):
    _, tube, points, normals, rng = scene
    doublets = rng.standard_normal(tube.basis.size)

    def normal(place):
        out = np.empty((5, tube.basis.size))
        jet.tube_normal(*place, *normals, *sheet(tube), out)
        return out @ doublets

    out = np.empty(5)
    strengths = segment_strengths(tube, doublets)
    shape.tube_slopes(*points, *normals, *tube.nodes, tube.around, IMAGES, *strengths, out)
    step = np.array([STEP, 0.0, 0.0])[:, None]
    wanted = (normal(points + step) - normal(points - step)) / (2.0 * STEP)
    assert_allclose(out, wanted, rtol=1e-6, atol=1e-8)


def test_weights_of_the_tubes_panels(scene):
    _, tube, points, weights, _ = scene
    wanted = np.empty((5, tube.basis.size))
    jet.tube_normal(*points, *weights, *sheet(tube), wanted)

    def panels(core):
        ring, axial = np.zeros(tube.nodes.shape[1]), np.zeros(tube.nodes.shape[1])
        arguments = (tube.around, IMAGES, core, ring, axial)
        shape.tube_weights(*points, *weights, *tube.nodes, *arguments)
        return panel_sums(tube, ring, axial)

    out = panels(0.0)
    wanted = wanted.sum(axis=0)
    assert_allclose(out, wanted, rtol=1e-10, atol=1e-13)
    with_core = panels(0.3)
    assert np.abs(with_core / out - 1.0).max() > 0.01
