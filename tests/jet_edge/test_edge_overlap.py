"""Slipstreams that overlap at the wing end on the plane in which their circles meet."""

from dataclasses import replace

import numpy as np
import pytest
from edge_scenes import COARSE, blade, increment, jet, scene
from numpy.testing import assert_allclose

from blownwing import InputError, solve
from blownwing.coupling import solved_points
from blownwing.coupling.walls import cut_crossings, meeting_cuts
from blownwing.geometry.tube import Cut, TubeShape, build_tubes

NAMES = ("CL", "CD_induced", "CD_induced_farfield", "C_pitch")


def pair(gap, ratios=(1.5, 1.5), z=0.0, ahead=(1.5, 1.56), **keys):
    """Two jets of radius 0.5 beside each other, a gap (negative: an overlap) between them."""
    return [
        jet(0.5, ratios[0], y=1.5, along=3.0, ahead=ahead[0], **keys),
        jet(0.5, ratios[1], y=2.5 + gap, z=z, along=3.0, ahead=ahead[1], name="outer", **keys),
    ]


def solved(propellers, **keys):
    return solve(scene(propellers, 3.0, **{"model": COARSE, **keys}))


def test_circles_meet_where_geometry_says():
    y, z, radius = np.array([0.0, 0.9]), np.array([0.0, 0.3]), np.array([0.5, 0.6])
    cuts = meeting_cuts(y, z, radius, np.array([0, 1]), ("a", "b"))
    (one,), (two,) = cuts[0], cuts[1]
    apart = np.hypot(0.9, 0.3)
    # both circles at the plane's edge: r1² − d1² = r2² − d2², d1 + d2 = the distance of the axes
    assert_allclose(one.distance + two.distance, apart)
    assert_allclose(0.25 - one.distance**2, 0.36 - two.distance**2)
    assert (one.beyond, two.beyond) == (1, 0)
    # A line through the axis of the first leaves it at the near side and at the plane.
    assert_allclose(cut_crossings(cuts[0], 0.5, 0.0), [-0.5, one.distance / np.cos(one.angle)])
    assert cut_crossings((Cut(0.0, 0.3, 1),), 0.5, 0.0) == [-0.5, 0.3]


def test_a_wall_out_of_reach_cuts_nothing():
    ends = {"upstream_x": np.array([-1.0, 0.0]), "upstream_radius": np.ones(2), "crossings": ()}
    shape = TubeShape(-1.0, 0.0, 0.0, 0.5, 0.0, np.array([0.1, 0.6]), **ends)
    plain = build_tubes([shape], 12, 10)
    cut = build_tubes([replace(shape, cuts=(Cut(0.3, 0.501, 1),))], 12, 10)
    assert_allclose(cut.nodes, plain.nodes)
    assert np.all(cut.beyond == -1)


def test_tubes_share_the_wall_and_their_corners_on_the_wing():
    case = scene(pair(-0.12, z=0.1), 3.0, model=COARSE)
    jets = solved_points(case)[0].model.jets
    tubes = jets.tubes
    nodes = tubes.nodes.reshape(3, 2, tubes.rings + 1, tubes.around + 1)[1:, :, -1]
    walls = [tubes.beyond.reshape(2, -1)[k] == 1 - k for k in (0, 1)]
    assert all(wall.any() and not wall.all() for wall in walls)
    ends = []
    for k in (0, 1):
        corners = np.concatenate((nodes[:, k, :-1][:, walls[k]], nodes[:, k, 1:][:, walls[k]]), 1)
        order = np.argsort(corners[1])
        ends.append(corners[:, order[[0, -1]]])
    assert_allclose(ends[0], ends[1], atol=2e-3)
    assert np.ptp(ends[0][1]) > 0.4
    # No strip lies in both, none between them in neither.
    assert {0, 1} <= set(jets.strip.tolist())
    inside = np.flatnonzero(jets.strip >= 0)
    assert np.all(np.diff(inside) == 1)


def test_the_increment_is_smooth_from_a_gap_to_an_overlap():
    gaps = np.array([0.02, 0.0, -0.005, -0.02, -0.05, -0.1, -0.16])
    found = np.array([increment(solved(pair(float(gap)))) for gap in gaps])
    print("gap", gaps, "increment", np.round(found, 4))
    assert np.all(np.abs(np.diff(found)) < 0.02 * found[1] + 0.6 * np.abs(np.diff(gaps)) * found[1])
    # Less of the wing is blown, and by less than in proportion to the width.
    assert found[0] > found[-1] > 0.85 * found[0]


@pytest.mark.parametrize("z", [0.0, 0.12])
@pytest.mark.parametrize("ratios", [(1.5, 1.5), (1.3, 1.8)])
def test_the_order_in_the_file_does_not_matter(ratios, z):
    two = pair(-0.12, ratios, z)
    first, second = solved(two).totals, solved(two[::-1]).totals
    for name in NAMES:
        assert_allclose(first[name], second[name], rtol=2e-4)


def walled(point):
    """Which doublets lie on a wall."""
    tubes = point.model.jets.tubes
    return tubes.beyond[tubes.basis.rims][tubes.basis.rim_of] >= 0


def test_a_wall_between_equal_speeds_vanishes():
    case = scene(pair(-0.1), 3.0, model=COARSE)
    point = solved_points(case)[0]
    wall = walled(point)
    assert_allclose(point.wing.doublets[wall], 0.0, atol=1e-12)
    assert np.abs(point.wing.doublets[~wall]).max() > 0.1
    other = solved_points(scene(pair(-0.1, (1.3, 1.8)), 3.0, model=COARSE))[0]
    assert np.abs(other.wing.doublets[wall]).max() > 0.05


@pytest.mark.parametrize("toe", [0.15, 0.3])
def test_streams_that_overlap_on_the_plane_of_symmetry(toe):
    # Discs toed in, or their twins would cut each other; the folded half ends on the plane.
    one = jet(0.5, 1.5, y=0.55, along=3.0, toe=float(np.degrees(np.arctan(toe))))
    folded = solve(scene([one], 3.0, model=COARSE))
    whole = solve(scene([one], 3.0, model=COARSE, roll_rate=1e-12))
    point = solved_points(scene([one], 3.0, model=COARSE))[0]
    assert point.model.jets.interfaces.cuts[0][0].beyond == 0
    for name in NAMES:
        assert_allclose(folded.totals[name], whole.totals[name], rtol=1e-6)
    assert increment(folded) > 0.05


def test_jets_at_the_airspeed_change_nothing_however_they_overlap():
    found = solved(pair(-0.15, (1.0, 1.0), 0.05)).totals
    for name in ("CL", "CD_induced", "C_pitch"):
        assert_allclose(found[name], found[f"{name}_unblown"], rtol=1e-10)


def test_a_third_of_the_radius_is_the_limit():
    solved(pair(-0.166))
    with pytest.raises(InputError, match=r"propellers\[1\]\.position.*a third of the smaller"):
        solved(pair(-0.18))
    # Discs that stand clear of each other, whose streams do not at the wing.
    with pytest.raises(InputError, match=r"overlap by 0\.18 m.*a third.*radius, 0\.167 m"):
        solved(pair(-0.18, ahead=(1.5, 3.0)))


def test_a_staggered_row_of_propellers_with_overlapping_discs():
    row = [blade(1.0, "one"), blade(1.72, "two", x=-0.9), blade(2.44, "three")]
    near = solved(row).totals
    apart = solved([blade(1.0, "one"), blade(1.82, "two"), blade(2.64, "three")]).totals
    gain = [t["CL"] / t["CL_unblown"] - 1.0 for t in (near, apart)]
    assert_allclose(gain[0], gain[1], rtol=0.25)
    assert gain[0] > 0.02
    layered = solved(row, model={**COARSE, "jet_layers": 4}).totals
    assert_allclose(layered["CL"], near["CL"], rtol=0.02)
