"""Near- against far-field induced drag of unblown wings.

In exact theory both are equal (Munk 1921, NACA Report 121); in the lattice the difference is a
quality figure that must shrink with the grid.
"""

import math
from itertools import pairwise

import pytest
from numpy.testing import assert_allclose
from planforms import bent, elliptic, grid, rectangle, tapered, totals, warren

from blownwing.validation.claims import bar

GRIDS = ((4, 16), (8, 32), (16, 64))
WINGS = {
    "rectangular": rectangle(8.0),
    "tapered": tapered(8.0, 0.4),
    "elliptic": elliptic(8.0),
    "swept 30": [
        {"y": 0.0, "chord": 1.0},
        {"y": 4.0, "x": 4.0 * math.tan(math.pi / 6), "chord": 1.0},
    ],
    "Warren-12": warren(),
    "swept and tapered": tapered(7.0, 0.4, math.radians(35.0)),
}


def difference(stations, rows, strips, alpha=5.0):
    found = totals(stations, alpha, model=grid(rows, strips))
    near, far = found["CD_induced"], found["CD_induced_farfield"]
    assert far > 0.0
    return abs(near / far - 1.0)


@pytest.mark.parametrize("name", WINGS)
def test_equal_at_the_default_lattice(name):
    assert difference(WINGS[name], 8, 32) < bar("near_far_unblown")


@pytest.mark.parametrize("name", WINGS)
def test_the_difference_halves_with_every_refinement(name):
    gaps = [difference(WINGS[name], *g) for g in GRIDS]
    for coarse, fine in pairwise(gaps):
        assert fine <= max(0.5 * coarse, 1e-5)


@pytest.mark.parametrize("alpha", [1.0, 4.0, 12.0])
@pytest.mark.parametrize("flow", [{}, {"beta": 8.0}, {"ground_height": 1.0}])
def test_dihedral_sideslip_and_ground_change_nothing(alpha, flow):
    # Forces of the lattice on itself turn with the stream, so the agreement holds at any incidence.
    bend = bent(8.0, math.radians(6.0))
    found = totals(bend, alpha, flow=flow)
    near, far = found["CD_induced"], found["CD_induced_farfield"]
    assert_allclose(near, far, rtol=2e-3)
