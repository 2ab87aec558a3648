"""The worked examples under `cases/`, each for what its text says of it, on coarse lattices."""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from blownwing import Case, InputError, Solution, read_case, solve
from blownwing.report.layout import blown_bands
from blownwing.study.lift.peak import trimmed, unblown
from blownwing.study.reader import read_study

CASES = Path(__file__).parents[1] / "cases"
COARSE = {"model.chordwise": 2, "model.spanwise": 16, "model.jet_around": 16, "model.jet_rings": 8,
          "model.azimuth": 8, "model.tolerance": 1e-6}  # fmt: skip


def example(name: str) -> Case:
    return read_case(CASES / f"{name}.toml").replace(**COARSE)


@cache
def solved(name: str) -> Solution:
    return solve(example(name))


def test_tip_propellers_that_turn_against_the_tip_vortex_save_induced_drag() -> None:
    against = solved("twin_tip").totals
    case = example("twin_tip").replace(**{"propellers.all.spin": "outboard_up"})
    along = solve(case).totals
    for totals in (against, along):
        assert totals["CL"] > 0.1
    share = [t["CD_induced"] / t["CL"] ** 2 for t in (against, along)]
    assert share[0] < share[1]


@pytest.mark.slow
def test_what_tip_propellers_save_at_equal_lift() -> None:
    """The README's shares of the wing's drag, on the case's own lattice (this program's own)."""
    case = read_case(CASES / "twin_tip.toml")
    lift = float(solve(case).totals["lift"])
    other = case.replace(**{"propellers.all.spin": "outboard_up"})
    bare, up, down = (trimmed(c, "lift", lift).totals for c in (unblown(case), case, other))
    assert abs(1.0 - float(up["drag"] / bare["drag"]) - 0.08) < 0.01
    assert abs(1.0 - float(up["CD_induced"] / bare["CD_induced"]) - 0.21) < 0.01
    assert abs(1.0 - float(up["drag"] / down["drag"]) - 0.13) < 0.01


def test_flaps_behind_a_row_raise_the_lift() -> None:
    down = solved("short_field_takeoff").totals
    case = example("short_field_takeoff").replace(**{"wing.flaps.all.deflection": 0.0})
    up = solve(case).totals
    assert down["CL"] > up["CL"] + 0.3
    # blowing gains more lift with flaps down, as there is more lift to gain on
    assert down["CL"] - down["CL_unblown"] > up["CL"] - up["CL_unblown"] > 0.0


def test_streams_of_overlapping_discs_leave_no_gap() -> None:
    found = solved("overlapping_row")
    discs = sorted(item.position[1] for item in example("overlapping_row").propeller_list())
    assert min(np.diff(discs)[:2]) < 1.0  # of 1 m in diameter
    bands = blown_bands(found)
    assert len(bands) == 2 and found.totals["CL"] > found.totals["CL_unblown"]
    for low, high in bands:
        assert high - low > 2.0


def test_a_tail_propeller_meets_the_downwash_and_hardly_blows_the_wing() -> None:
    found = solved("tail_propeller")
    pusher = found.propellers["pusher"]
    # axis along x at 4 deg: without the wing the inflow would come at 4 deg
    assert 0.0 < pusher["inflow_angle"] < 3.5
    assert abs(found.totals["CL"] / found.totals["CL_unblown"] - 1.0) < 0.01


def test_hovering_discs_have_the_power_of_momentum_theory() -> None:
    """P = T √(T/(2 ρ A)) (Glauert 1935, in Durand, Aerodynamic Theory IV)."""
    case = example("tilted_discs")
    found = solved("tilted_discs")
    (disc,) = case.propellers
    area = 0.25 * math.pi * disc.diameter**2
    power = disc.thrust * math.sqrt(disc.thrust / (2.0 * case.air.density * area))
    assert_allclose(found.propellers["tip"]["power"], power, rtol=1e-6)
    assert "CL" not in found.totals
    # upright: the thrust is all lift, none of it along the path
    assert abs(found.totals["net_axial_force"]) < 1e-3 * found.totals["thrust"]


def test_the_transition_goes_from_hover_to_cruise() -> None:
    study = read_study(CASES / "studies" / "transition.toml")
    values = {p.key: p.values for p in study.sweep.parameters}
    assert values["flow.airspeed"] == sorted(values["flow.airspeed"])
    tilt = values["propellers.all.incidence"]
    assert tilt == sorted(tilt, reverse=True) and tilt[-1] == 0.0
    ends = []
    for k in (0, -1):
        edits = {key: items[k] for key, items in values.items()} | {"flow.alpha": 6.0}
        ends.append(solve(example("tilted_discs").replace(**edits)).totals)
    start, cruise = ends
    weight = 6000.0
    assert abs(start["lift"]) < 0.05 * weight and cruise["lift"] > 0.6 * weight
    assert cruise["power"] < 0.5 * start["power"]


def test_edges_are_for_discs_that_push_back() -> None:
    case = example("tilted_discs")
    with pytest.raises(InputError, match="jet_edge = true; accepted is 60 at most"):
        case.replace(**{"model.jet_edge": True})
