"""Potentials and velocities of doublet panels and of horseshoes against quadrature and each other.

A doublet sheet of strength D has potential −D Ω / 4π; its velocity is that of a vortex ring on its
rim (Katz & Plotkin 2001, "Low-Speed Aerodynamics", section 10.4).
"""

from dataclasses import replace

import numpy as np
import pytest
from edge_scenes import plate
from numpy.testing import assert_allclose

from blownwing.errors import InputError
from blownwing.geometry.tube import LENGTH, TubeShape, build_tubes
from blownwing.kernels import jet
from blownwing.wing.blown import edge_system, tube_velocity
from blownwing.wing.system import mirror_images, velocity_at

ALONE = mirror_images(False, None)


def tube(half=False, around=12, rings=10):
    shape = TubeShape(
        start=-1.0,
        y=0.0,
        z=0.0,
        radius=0.5,
        lead=0.0,
        rows=np.array([0.125, 0.625]),
        upstream_x=np.linspace(-1.0, 0.0, 5),
        upstream_radius=np.linspace(1.2, 1.0, 5),
        crossings=((0.5, 0.0),) if half else ((-0.5, 0.0), (0.5, 0.0)),
        half=half,
    )
    return build_tubes([shape], around, rings)


@pytest.mark.parametrize("rings", [12, 101, 400])
def test_rings_of_any_number_reach_from_the_disc_to_the_end(rings):
    x = tube(rings=rings).nodes[0].reshape(rings + 1, -1)[:, 0]
    assert np.all(np.diff(x) > 0.0)
    assert_allclose(x[[0, -1]], (-1.0, 0.625 + LENGTH * 0.5), rtol=1e-9)
    # Each stretch from a bound vortex on grows by one factor.
    steps = np.diff(x[x > 0.63])
    assert_allclose(steps[1:] / steps[:-1], steps[1] / steps[0], rtol=1e-6)


@pytest.mark.parametrize("rings", [10, 12, 25, 40])
def test_rings_start_with_the_step_of_the_bound_vortices(rings):
    # So few rings are stretched: a geometric series that starts with the vortices' own step.
    x = tube(rings=rings).nodes[0].reshape(rings + 1, -1)[:, 0]
    steps = np.diff(x[x > 0.624])
    factor = steps[1] / steps[0]
    assert factor > 1.0
    assert_allclose(steps[0], 0.5, rtol=1e-9)
    assert_allclose(0.5 * (factor**steps.size - 1.0) / (factor - 1.0), LENGTH * 0.5, rtol=1e-9)


@pytest.mark.parametrize("height", [0.0, 0.2, 0.49])
def test_panels_between_two_corners_are_equal(height):
    # A sheet of equal steps is integrated to second order wherever it is looked at.
    across = float(np.sqrt(0.25 - height**2))
    ends = {"upstream_x": np.array([-1.0, 0.0]), "upstream_radius": np.ones(2)}
    corner = ((-across, height), (across, height))
    shape = TubeShape(-1.0, 0.0, 0.0, 0.5, 0.0, np.array([0.1, 0.6]), crossings=corner, **ends)
    y, z = build_tubes([shape], 36, 10).nodes[1:].reshape(2, 11, 37)[:, -1]
    angle = np.unwrap(np.arctan2(z, y))
    steps, above = np.diff(angle), 0.5 * (z[1:] + z[:-1]) > height
    for part in (above, ~above):
        assert_allclose(steps[part], steps[part].mean(), rtol=1e-9)
    assert_allclose(steps.sum(), 2.0 * np.pi)


def each_panel(tubes, images=ALONE):
    """Arguments of the kernels for every panel by itself, however far away."""
    count = tubes.panels // (tubes.rings * tubes.around)
    shapes = np.tile(np.eye(tubes.around, tubes.around + jet.MOMENTS), (count, 1, 1))
    first = tubes.rings * tubes.around * np.arange(count + 1)
    none, never = np.zeros(count), np.full(count, np.inf)
    far = jet.Far(none, none, never, np.zeros((count, tubes.rings, jet.MOMENTS)))
    return *tubes.nodes, tubes.around, images, shapes, first, far


def potentials(tubes, points, images=ALONE):
    out = np.empty((points.shape[1], tubes.panels))
    own = np.full(points.shape[1], -1)
    jet.tube_potential(*points, own, *each_panel(tubes, images), out)
    return out


def corners(tubes, panel):
    nodes = tubes.nodes.reshape(3, tubes.rings + 1, tubes.around + 1)
    i, j = divmod(panel, tubes.around)
    return nodes[:, i, j], nodes[:, i, j + 1], nodes[:, i + 1, j + 1], nodes[:, i + 1, j]


@pytest.mark.parametrize("panel", [0, 17, 40, 71])
def test_potential_of_a_panel_by_quadrature(panel):
    tubes = tube()
    a, b, c, d = corners(tubes, panel)
    outward = np.cross(c - a, b - d)
    outward *= np.sign(outward[1:] @ tubes.middles[1:, panel])

    t, weight = np.polynomial.legendre.leggauss(40)
    t, weight = 0.5 * (t + 1.0), 0.5 * weight

    def dipole(point, p, q, r):
        """∫ (r·n)/(4π r³) over the triangle p, q, r: potential of unit dipoles along n."""
        area = np.cross(q - p, r - p)
        area *= np.sign(area @ outward)
        u, v = t[:, None], t[None, :]  # p + u (q − p) + u v (r − q), Jacobian u
        place = p + u[..., None] * (q - p) + (u * v)[..., None] * (r - q)
        arm = point - place
        density = arm @ area / (4.0 * np.pi * np.linalg.norm(arm, axis=-1) ** 3)
        return np.sum(density * u * weight[:, None] * weight[None, :])

    points = np.array([[0.3, 0.1, 0.2], [1.5, -0.9, 0.4], [-2.0, 0.2, -0.1]]).T
    found = potentials(tubes, points)[:, panel]
    expected = [dipole(p, a, b, c) + dipole(p, a, c, d) for p in points.T]
    assert_allclose(found, expected, rtol=1e-7)


def test_a_long_tube_surrounds_a_point_inside():
    # Ω of a closed surface is 4π inside, 0 outside; the two open ends of the tube are discs.
    tubes = tube(around=60, rings=40)
    points = np.array([[0.4, 0.0, 0.0], [0.4, 0.2, -0.3], [0.4, 0.9, 0.1]]).T
    total = potentials(tubes, points).sum(axis=1)
    # On the axis the end ahead, of radius 0.6 at 1.4 m, fills Ω = 2π(1 − x/√(x² + r²)).
    end = 0.5 * (1.0 - 1.4 / np.hypot(1.4, 0.6))
    assert_allclose(total[0], -(1.0 - end), atol=1e-3)
    assert total[1] < -0.9 and abs(total[2]) < 0.1
    # A point on a panel of the sheet sees one half less, its own panel nothing.
    own = np.arange(tubes.panels)
    out = np.empty((tubes.panels, tubes.panels))
    jet.tube_potential(*tubes.middles, own, *each_panel(tubes), out)
    assert_allclose(np.diag(out), 0.0, atol=1e-15)
    assert np.all((out.sum(axis=1) > -1.0) & (out.sum(axis=1) < 0.0))


def test_velocity_is_the_gradient_of_the_potential():
    tubes = tube(half=True)
    wing = plate(4.0, 0.5, 5, 10)
    edge = edge_system(wing.edge.system, tubes, afar=np.inf)
    rng = np.random.default_rng(3)
    doublets = rng.normal(size=tubes.basis.size)
    everywhere = tubes.basis.spread(doublets)
    points = np.array([[0.3, 0.15, 0.2], [2.0, 1.5, -0.4], [-1.5, 0.3, 0.6], [0.2, -0.2, 0.1]]).T
    points = np.ascontiguousarray(points)
    velocity = tube_velocity(edge, points, doublets, 0.0)
    h = 1e-5
    for axis in range(3):
        step = np.zeros((3, 1))
        step[axis] = h
        images = edge.system.images
        ahead = potentials(tubes, points + step, images) @ everywhere
        behind = potentials(tubes, points - step, images) @ everywhere
        assert_allclose(velocity[axis], (ahead - behind) / (2.0 * h), rtol=1e-6, atol=1e-7)
    # The normal component at any panel is the same thing.
    out = np.empty((points.shape[1], tubes.panels))
    normals = rng.normal(size=points.shape)
    jet.tube_normal(*points, *normals, *each_panel(tubes, images), out)
    assert_allclose(out @ everywhere, np.sum(velocity * normals, axis=0), rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize("ground", [None, -1.0])
def test_horseshoe_potential_has_the_wing_s_velocity(ground):
    wing = plate(4.0, 0.5, 3, 5, rows=2)
    system, lattice = wing.edge.system, wing.lattice
    images = mirror_images(True, ground)
    points = np.array([[0.4, 0.3, 0.3], [-0.8, 1.4, -0.2], [3.0, 0.6, 0.7]]).T
    gamma = np.random.default_rng(5).normal(size=lattice.panels)

    def potential(at):
        out = np.empty((at.shape[1], lattice.panels))
        at = np.ascontiguousarray(at)
        jet.horseshoe_potential(*at, *system.nodes, lattice.columns, images, out)
        return out @ gamma

    expected = np.zeros((3, points.shape[1]))
    for sy, sz, offset in images:
        mirrored = points * np.array([[1.0], [sy], [sz]]) + np.array([[0.0], [0.0], [offset]])
        alone = np.array([[1.0, 1.0, 0.0]])
        one = velocity_at(replace(system, images=alone), np.ascontiguousarray(mirrored), gamma)
        expected += one * np.array([[1.0], [sy], [sz]])
    h = 1e-5
    steps = h * np.eye(3)[:, :, None]
    found = [(potential(points + s) - potential(points - s)) / (2.0 * h) for s in steps]
    assert_allclose(found, expected, rtol=1e-6, atol=1e-8)


def test_azimuths_are_split_where_the_wing_pierces_the_tube():
    tubes = tube()
    nodes = tubes.nodes.reshape(3, tubes.rings + 1, tubes.around + 1)
    for y in (-0.5, 0.5):
        on_wing = np.isclose(nodes[1], y) & np.isclose(nodes[2], 0.0)
        assert np.all(on_wing[nodes[0, :, 0] >= 0.0].any(axis=1))
    # The contraction is followed ahead of the wing, the tube is straight behind.
    radius = np.hypot(nodes[1], nodes[2]).mean(axis=1)
    assert_allclose(radius[0] / radius[-1], 1.2, rtol=1e-9)
    assert_allclose(radius[nodes[0, :, 0] >= 0.0], radius[-1], rtol=1e-12)
    assert_allclose(nodes[0, [0, -1], 0], [-1.0, 30.625], rtol=1e-9)
    # The polygon has the circle's area.
    y, z = nodes[1, -1], nodes[2, -1]
    area = 0.5 * np.sum(y[:-1] * z[1:] - y[1:] * z[:-1])
    assert_allclose(area, np.pi * 0.25, rtol=0.02)


def test_too_few_panels_around_a_pierced_tube():
    with pytest.raises(InputError, match="jet_around: found 3; accepted is at least 4"):
        tube(around=3)
    assert tube(around=4).panels == 40


def row_of_tubes(half):
    """Three tubes, four radii of the widest apart at least, the first on the plane if half."""
    ends = (np.linspace(-1.0, 0.0, 5), np.linspace(1.2, 1.0, 5))
    bound = np.array([0.125, 0.625])
    places = (0.0 if half else 0.4, 2.2, 4.5)
    shapes = [
        TubeShape(-1.0, y, 0.1 * y, 0.3 + 0.05 * k, 0.0, bound, *ends, (), half=half and k == 0)
        for k, y in enumerate(places)
    ]
    return build_tubes(shapes, 16, 10)


@pytest.mark.parametrize("half", [False, True])
@pytest.mark.parametrize("ground", [None, -2.5])
def test_from_afar_a_tube_is_its_moments(half, ground):
    """The error of an expansion's first two terms falls with the square of the distance."""
    tubes = row_of_tubes(half)
    system = replace(plate(4.0, 0.5, 5, 10).edge.system, images=mirror_images(True, ground))
    basis = tubes.basis
    _, y, z = tubes.middles[:, basis.panels]
    doublets = 1.0 + 2.0 * np.sin(3.0 * y) + z + 0.3 * np.sign(z)  # with the jump that a wing makes
    points = np.random.default_rng(3).uniform(-1.0, 5.0, (3, 400))
    exact = edge_system(system, tubes, afar=np.inf)
    wanted = tube_velocity(exact, points, doublets, 0.0)
    outside = np.hypot(points[1] - 2.2, points[2] - 0.22) > 0.8
    outside &= (points[1] > 1.5) & (points[1] < 3.5)
    errors = []
    for afar in (2.0, 4.0, 8.0):
        edge = edge_system(system, tubes, afar=afar)
        found = tube_velocity(edge, points, doublets, 0.0)
        off = np.linalg.norm(found - wanted, axis=0)[outside]
        errors.append(off.max() / np.linalg.norm(wanted, axis=0)[outside].max())
        for name in ("on_tube", "on_wing", "tube_on_rim"):
            one, other = getattr(edge, name) @ doublets, getattr(exact, name) @ doublets
            assert np.abs(one - other).max() < 0.05 * afar**-2 * np.abs(other).max(), name
    assert errors[0] > 4.0 * errors[1] > 16.0 * errors[2] > 0.0


@pytest.mark.parametrize("axis", range(3))
def test_velocity_from_afar_is_the_slope_of_the_potential_from_afar(axis):
    tubes = row_of_tubes(False)
    edge = edge_system(plate(4.0, 0.5, 5, 10).edge.system, tubes, afar=0.0)
    doublets = np.random.default_rng(2).normal(size=tubes.basis.size)
    points = np.random.default_rng(3).uniform(-1.0, 5.0, (3, 20))
    basis, own, h = tubes.basis, np.full(20, -1), 1e-5
    sheet = (*edge.nodes, tubes.around, edge.system.images, edge.shapes, basis.first, edge.far)
    sides = []
    for step in (h, -h):
        out, moved = np.empty((20, basis.size)), points.copy()
        moved[axis] += step
        jet.tube_potential(*moved, own, *sheet, out)
        sides.append(out @ doublets)
    slope = (sides[0] - sides[1]) / (2.0 * h)
    scale = np.abs(slope).max()
    assert_allclose(tube_velocity(edge, points, doublets, 0.0)[axis], slope, atol=1e-6 * scale)
    normals, out = np.zeros((3, 20)), np.empty((20, basis.size))
    normals[axis] = 1.0
    jet.tube_normal(*points, *normals, *sheet, out)
    assert_allclose(out @ doublets, slope, atol=1e-6 * scale)
