"""Where a solve starts, and what is kept from others, leaves no trace in what it gives."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scenes import blade, scene

from blownwing import solve
from blownwing.coupling import points_near, solved_points
from blownwing.coupling.discs import disc_bank, placed_discs
from blownwing.study.scalars import of_point, of_solution

MOVES = {
    "place": {"propellers.inner.position": [-0.8, 1.1, 0.1]},
    "spin": {"propellers.outer.spin": "outboard_up"},
    "thrust": {"propellers.all.thrust": 220.0},
    "speed": {"propellers.inner.rpm": 4200.0},
    "incidence": {"flow.alpha": 9.0},
    "twist": {"wing.stations.1.twist": -3.0},
    "samples": {"model.azimuth": 16},
    "one pair": {"propellers.outer.mirror": False, "propellers.outer.spin": "clockwise"},
}


def case(**model):
    propellers = [blade(1.2, "inner", thrust=120.0), blade(2.8, "outer", thrust=120.0)]
    return scene(propellers, model={"chordwise": 2, "spanwise": 10, **model})


@pytest.mark.parametrize("edge", [False, True])
def test_a_result_is_the_same_from_a_base_case_from_the_last_one_and_from_nothing(edge):
    base = case(jet_edge=edge, jet_around=10, jet_rings=8, jet_layers=1)
    near, after = points_near(base), points_near()
    for edits in MOVES.values():
        moved = base.replace(**edits)
        alone = of_solution(solve(moved))
        for found in (of_point(moved, near(moved)), of_point(moved, after(moved))):
            for key in ("CL", "CD_induced", "power", "outer.rpm"):
                # tubes may come to rest elsewhere by 0.02 % of a radius
                assert_allclose(found[key], alone[key], rtol=1e-4 if edge else 1e-5, err_msg=key)


def test_a_case_at_another_incidence_starts_from_the_last_one_where_that_is_asked_for():
    base = case(jet_around=10, jet_rings=8, jet_layers=1)
    along, from_base = points_near(base, along=True), points_near(base)
    moved = base.replace(**MOVES["place"])
    turned = moved.replace(**{"flow.alpha": base.alphas[0] + 0.1})
    assert_allclose(along(moved).induced, from_base(moved).induced, rtol=1e-12)  # from the base
    found, other = along(turned), from_base(turned)
    assert found.history["residual"][0] < 0.3 * other.history["residual"][0]
    one, two = of_point(turned, found), of_point(turned, other)
    for key in ("CL", "CD_induced", "power", "outer.rpm"):
        assert_allclose(one[key], two[key], rtol=1e-4, err_msg=key)
    # what else changes starts from the base again
    third = turned.replace(**MOVES["thrust"])
    assert_allclose(along(third).induced, from_base(third).induced, rtol=1e-12)


def test_strips_end_where_the_streams_pass_at_once():
    # one lattice: the first guess on a small wing already puts the edges where they end
    for name, edits in MOVES.items():
        if name == "one pair":
            continue  # both sides' edges nearly coincide once mirrored: one strip edge for the two
        point = solved_points(case().replace(**edits))[0]
        assert point.edge_drift < 1e-4
        assert point.history["residual"][0] < 5e-3


def test_a_bank_of_discs_gives_what_each_case_alone_gives():
    bank, base = disc_bank(), case()
    for edits in (*MOVES.values(), *reversed(MOVES.values())):
        moved = base.replace(**edits)
        one, other = bank(moved), placed_discs(moved)
        assert one.placed == other.placed and one.source == other.source
        for unit, alone in zip(one.units, other.units, strict=True):
            for name in ("centre", "axes", "samples", "spread", "weights"):
                assert np.array_equal(getattr(unit, name), getattr(alone, name))
        assert np.array_equal(one.packed.along, other.packed.along)
    assert bank(base).units[0].rotor is bank(base).units[1].rotor  # built once
    assert bank(base).packed is bank(base).packed
