"""Compressed matrices: products as by the full ones, cover of all pairs, solutions, refusals.

References: the full kernels of the package (themselves checked against slow NumPy versions) and
NumPy's and LAPACK's dense linear algebra.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from planforms import lattice_and_normals

from blownwing.errors import SolveError
from blownwing.geometry.lattice import with_rows
from blownwing.geometry.tube import TubeShape, build_tubes
from blownwing.kernels import jet, vortex
from blownwing.validation.claims import bar
from blownwing.wing.blown import edge_system
from blownwing.wing.clusters import block_ranges, clustered, paired
from blownwing.wing.compressed import compressed, rings, targets_at
from blownwing.wing.iterative import iterated, ring_form
from blownwing.wing.system import (
    Frame,
    circulation,
    compressed_system,
    factored_system,
    mirror_images,
    transposed_circulation,
)


def full_matrix(lattice, normals, images):
    out = np.empty((lattice.panels, lattice.panels))
    vortex.normal_influence(
        *lattice.collocation, *normals, *lattice.nodes, lattice.columns, images, out
    )
    return out


def away(found, wanted):
    """Largest difference over the largest magnitude."""
    return np.max(np.abs(found - wanted)) / np.max(np.abs(wanted))


@pytest.mark.parametrize("rows", [1, 8])
@pytest.mark.parametrize(("whole", "ground"), [(False, None), (False, -0.8), (True, None)])
def test_products_are_those_of_the_full_matrix(rows, whole, ground):
    lattice, normals = lattice_and_normals(rows, 480 if rows == 1 else 60, whole=whole)
    images = mirror_images(lattice.symmetric, ground)
    form = ring_form(targets_at(lattice.collocation, normals), lattice, lattice.nodes, images, 1.0)
    assert form.last.rank.size > 5  # something is approximated
    full = full_matrix(lattice, normals, images)
    rng = np.random.default_rng(0)
    x = rng.standard_normal(lattice.panels)
    smooth = np.tile(np.sqrt(np.linspace(1.0, 0.01, lattice.columns)), rows)
    for gamma in (x, smooth):
        assert away(form @ gamma, full @ gamma) < 1e-6
    assert away(form.T @ x, full.T @ x) < 1e-6


def test_loose_tolerance_shows():
    lattice, normals = lattice_and_normals(8, 60)
    images = mirror_images(True, None)
    full = full_matrix(lattice, normals, images)
    place = lattice.nodes.reshape(3, lattice.rows, -1)
    corners = (place[:, :-1, :-1], place[:, :-1, 1:], place[:, 1:, 1:], place[:, 1:, :-1])
    sheet = rings(np.stack([c.reshape(3, -1) for c in corners]))
    targets = targets_at(lattice.collocation, normals)
    strength = np.ones(lattice.panels - lattice.columns)
    # a unit ring is a horseshoe less the next one behind it
    gamma = np.concatenate((np.ones(lattice.columns), np.zeros(strength.size)))
    gamma[-lattice.columns :] -= 1.0
    wanted, errors, sizes = full @ gamma, [], []
    for tolerance in (1e-3, 1e-5, 1e-7):
        matrix = compressed(targets, sheet, images, 1.0, tolerance=tolerance)
        errors.append(np.max(np.abs(matrix @ strength - wanted)))
        sizes.append(matrix.nbytes)
    assert errors[0] > 1e-4 > 1e-7 > errors[2]
    assert errors[0] > errors[1] > errors[2]
    assert sizes[0] < sizes[1] < sizes[2] < full.nbytes


def tubes_and_wing(kind):
    lattice, normals = lattice_and_normals(6, 40)
    bound, ends = np.linspace(0.14, 0.97, 6), (np.array([-0.8, 0.1]), np.array([1.1, 1.0]))
    shapes = [TubeShape(-0.8, y, 0.1, 0.3, 0.1, bound, *ends, ()) for y in (0.9, 2.1)]
    system = (compressed_system if kind == "compressed" else factored_system)(
        lattice, normals, Frame(0.9)
    )
    return edge_system(system, build_tubes(shapes, 36, 16), afar=np.inf)


def test_tubes_act_as_with_full_matrices():
    full, less = tubes_and_wing("full"), tubes_and_wing("compressed")
    rng = np.random.default_rng(1)
    doublets = rng.standard_normal(full.size)
    gamma = rng.standard_normal(full.system.lattice.panels)
    for name, x in (("on_wing", doublets), ("wing_on_tube", gamma), ("on_tube", doublets)):
        one, other = getattr(full, name), getattr(less, name)
        assert not isinstance(other, np.ndarray)
        y = one @ x
        assert away(other @ x, y) < 2e-6, name
        assert away(other.T @ y, one.T @ y) < 2e-6, name


def test_own_panel_counts_only_through_its_images():
    edge = tubes_and_wing("compressed")
    middles, images = edge.system.frame.points(edge.tubes.middles), edge.system.images
    basis = edge.tubes.basis
    wanted = np.empty((2, edge.size))
    own = basis.panels[7:8]
    one = np.ascontiguousarray(middles[:, own])
    sheet = (edge.tubes.around, images, edge.shapes, basis.first, edge.far)
    jet.tube_potential(*one, own, *edge.nodes, *sheet, wanted[:1])
    jet.tube_potential(*one, np.array([-1]), *edge.nodes, *sheet, wanted[1:])
    unit = np.zeros(edge.size)
    unit[7] = 1.0
    assert_allclose((edge.on_tube @ unit)[7], wanted[0, 7], rtol=1e-9)
    assert abs(wanted[0, 7] - wanted[1, 7]) > 0.1


@settings(deadline=None, max_examples=30, derandomize=True)
@given(
    count=st.tuples(st.integers(1, 400), st.integers(1, 400)),
    seed=st.integers(0, 99),
    endless=st.booleans(),
    ground=st.sampled_from([None, -0.4]),
)
def test_pairs_hold_everything_once(count, seed, endless, ground):
    rng = np.random.default_rng(seed)
    points = rng.random((3, count[0])) * np.array([1.0, 3.0, 0.2])[:, None]
    panels = rng.random((3, count[1])) * np.array([1.0, 3.0, 0.2])[:, None]
    targets = clustered(points, points)
    sources = clustered(panels - 0.01, panels + 0.01, endless)
    images = mirror_images(True, ground)
    times = np.zeros(count)
    for k, pairs in enumerate(paired(targets, sources, images)):
        for a, b, c, d in block_ranges(targets, sources, pairs):
            times[np.ix_(targets.order[a:b], sources.order[c:d])] += 1
            if k == 0:  # apart: no target, nor its image, lies on a source
                seen = points[:, targets.order[a:b]]
                for sy, sz, offset in images:
                    at = seen * np.array([1.0, sy, sz])[:, None]
                    at[2] += offset
                    gap = np.abs(at[:, :, None] - panels[:, None, sources.order[c:d]]) - 0.01
                    if endless:
                        ahead = panels[0, sources.order[c:d]][None] - at[0][:, None]
                        gap[0] = np.maximum(ahead - 0.01, 0.0)
                    assert np.all(np.max(gap, axis=0) > 0.0)
    assert np.all(times == 1)


@pytest.mark.slow
def test_solution_of_4000_panels_is_the_full_one():
    """The stated tolerance: 1e-6 in lift, here with margin; the adjoint likewise."""
    lattice, normals = lattice_and_normals(16, 250)
    assert lattice.panels == 4000
    full, less = (make(lattice, normals, Frame()) for make in (factored_system, compressed_system))
    onset = normals[0] + 0.1 * normals[2]
    wanted, found = circulation(full, onset), circulation(less, onset)
    assert not less.direct
    assert_allclose(found @ lattice.bound[1], wanted @ lattice.bound[1], rtol=bar("compressed"))
    assert away(found, wanted) < 1e-6
    wanted, found = transposed_circulation(full, onset), transposed_circulation(less, onset)
    assert away(found, wanted) < 1e-6
    assert less.solver.nbytes < full.solver.factor.nbytes / 2


def test_a_first_guess_is_a_start_not_an_answer():
    lattice, normals = lattice_and_normals(8, 60)
    system = compressed_system(lattice, normals, Frame())
    onset = normals[0] + 0.1 * normals[2]
    cold = circulation(system, onset)
    warm = circulation(system, onset, 7.0 * cold + 1.0)
    assert away(warm, cold) < 1e-7
    assert away(circulation(system, onset, None, 1e-2), cold) > 1e-7


def test_a_system_that_stalls_has_no_result():
    singular = np.diag([1.0, 1.0, 0.0])
    with pytest.raises(SolveError, match="did not converge"):
        iterated(singular.__matmul__, lambda x: x, np.ones(3), None, 1e-10, "wing's")


def test_other_rows_keep_the_strips():
    lattice, _ = lattice_and_normals(8, 20)
    other = with_rows(lattice, 3)
    again = with_rows(other, 8)
    assert (other.rows, other.columns) == (3, lattice.columns)
    for name, value in vars(lattice).items():
        assert_allclose(getattr(again, name), value, rtol=0, atol=0, err_msg=name)
