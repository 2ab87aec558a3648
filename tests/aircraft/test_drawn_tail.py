"""An aircraft whose tail is drawn: balance in its tables, control speeds, limits, files, words."""

from __future__ import annotations

import math
from functools import cache
from io import StringIO

import pytest
from aircraft_scene import scene, tables
from numpy.testing import assert_allclose
from rich.console import Console

from blownwing.aircraft.configuration import configured, failed
from blownwing.aircraft.held import held_climb, held_speeds
from blownwing.aircraft.performance import evaluated
from blownwing.aircraft.polar import balanced, check_tail, solved_polar
from blownwing.aircraft.power import setting_thrust
from blownwing.aircraft.records import records
from blownwing.aircraft.stall import largest_lift
from blownwing.case.model import Case
from blownwing.coupling import solve
from blownwing.errors import InputError, SolveError
from blownwing.report import style
from blownwing.report.aircraft_figures import aircraft_figures
from blownwing.report.aircraft_summary import aircraft_words
from blownwing.report.trim_words import trim_words
from blownwing.report.words import print_words
from blownwing.trim.balance import trimmed
from blownwing.trim.derivatives import derivatives
from blownwing.trim.failure import with_failures

TAIL = {
    "name": "tailplane", "incidence": -2.0, "strips": 6,
    "stations": [{"y": 0.0, "x": 4.0, "z": 0.8, "chord": 0.8},
                 {"y": 1.6, "x": 4.0, "z": 0.8, "chord": 0.8}],
    "controls": [{"name": "elevator", "from": 0.0, "to": 1.0, "chord_fraction": 0.35}],
}  # fmt: skip
FIN = {
    "name": "fin", "symmetric": False, "strips": 5,
    "stations": [{"y": 0.0, "x": 4.0, "z": 0.85, "chord": 0.9},
                 {"y": 0.0, "x": 4.3, "z": 2.0, "chord": 0.6}],
    "controls": [{"name": "rudder", "from": 0.0, "to": 1.0, "chord_fraction": 0.35}],
}  # fmt: skip
AILERON = {
    "name": "aileron", "from": 0.82, "to": 0.98, "chord_fraction": 0.25,
    "gearing": [{"setting": "aileron", "opposed": True}],
}  # fmt: skip
UNKNOWNS = [{"name": "alpha"}, {"name": "elevator", "least": -25.0, "most": 20.0}]
DRAWN = {
    "surfaces": [TAIL, FIN],
    "wing.controls": [AILERON],
    "trim": {"mass": 900.0, "centre_of_gravity": [0.3, 0.0, 0.0], "unknowns": UNKNOWNS},
    "aircraft.tail": None,
    "aircraft.controls": {"tail_clmax": 1.2},
}


def drawn(**edits: object) -> Case:
    """The small aircraft with its tail drawn."""
    return scene(**(DRAWN | edits))


@cache
def polar_at_30():
    case = drawn()
    ready = configured(case, "take_off")
    return ready, solved_polar(ready, 30.0, setting_thrust(case, ready, 30.0, 1.0), (2.0, 8.0))


def test_a_solve_with_the_controls_found_has_no_pitching_moment():
    """A plain solve with the elevator as it was found: its moment, moved to the centre of gravity
    and with the propellers' own by hand, is gone (mechanics)."""
    ready, polar = polar_at_30()
    for alpha in (2.0, 8.0):
        forces = polar.at(alpha)
        case = ready.case.replace(trim=None, controls={"elevator": forces["control"]})
        edits = {f"propellers.{name}.thrust": value for name, value in polar.thrusts.items()}
        found = solve(case.replace(**{"flow.airspeed": 30.0, "flow.alpha": alpha, **edits}))
        unit = found.totals["reference_dynamic_pressure"] * case.wing.area * case.wing.chord
        thrust = sum(polar.thrusts.values())
        moment = (
            unit * found.totals["C_pitch"]
        )  # the discs' axes pass through the centre of gravity
        assert abs(moment) < 2e-3 * thrust * case.wing.chord + 2e-3 * unit
        whole = forces["lift"] + forces["tail_lift"]
        assert_allclose(found.totals["lift"], whole, rtol=2e-3)
        assert_allclose(found.surfaces["wing"]["lift"], forces["lift"], rtol=2e-3)


def test_the_whole_drag_and_lift_hold_the_tails():
    ready, polar = polar_at_30()
    forces = polar.at(8.0)
    state = balanced(ready, forces, 30.0, polar.density)
    assert_allclose(state.lift, forces["lift"] + forces["tail_lift"] + forces["up"])
    pressure = 0.5 * polar.density * 900.0
    rest = pressure * (0.25 + 0.1)  # drag areas of the case, by hand
    assert_allclose(state.drag, forces["drag"] + forces["tail_drag"] + rest)
    assert state.wing_lift == forces["lift"] and forces["tail_drag"] > 0.0


@pytest.mark.parametrize(
    ("edits", "words", "name"),
    [
        ({"aircraft.controls": {"tail_clmax": 0.05}}, "sections of the tailplane would need a cl",
         "sections of the tailplane"),
        ({"trim": DRAWN["trim"] | {"unknowns": [{"name": "elevator", "least": -0.01,
                                                 "most": 0.01}]}},
         r"elevator would have to stand at .* limit is -?0.01 deg", "elevator"),
    ],
)  # fmt: skip
def test_what_the_tail_cannot_do_is_named(edits, words, name):
    ready, polar = polar_at_30()
    poor = configured(drawn(**edits), "take_off")
    state = balanced(poor, polar.at(8.0), 30.0, polar.density)
    assert state.limit == name
    with pytest.raises(SolveError, match=words):
        check_tail(poor, state, 30.0)
    check_tail(ready, balanced(ready, polar.at(8.0), 30.0, polar.density), 30.0)
    assert largest_lift(poor, solved_polar(poor, 30.0, dict(polar.thrusts))).by_tail == name


def test_a_stabiliser_balances_like_an_elevator():
    """The setting of the tailplane instead gives the same moment with another lift.

    A setting's lift acts on the quarter chord, an elevator has a moment about it as well, which
    induced downwash leaves alone (lifting line). By thin-aerofoil theory, Glauert 1927, ARC R&M
    1095, of a flap of chord E, cos θ = 2E − 1: cm = −½ sin θ (1 − cos θ) δ.
    """
    fine = {"aircraft.chordwise": 6}  # two panels are too few to know where a flap's lift acts
    ready = configured(drawn(**fine), "take_off")
    thrust = setting_thrust(drawn(), ready, 30.0, 1.0)
    polar = solved_polar(ready, 30.0, thrust, (8.0,))
    trim = DRAWN["trim"] | {"unknowns": [{"name": "tailplane.incidence"}]}
    moved = configured(drawn(trim=trim, **fine), "take_off")
    assert moved.pitch.name == "tailplane.incidence" and moved.pitch_surface == "tailplane"
    other = solved_polar(moved, 30.0, thrust, (8.0,)).at(8.0)
    one = polar.at(8.0)
    edits = {f"propellers.{name}.thrust": value for name, value in thrust.items()}
    edits |= {"flow.airspeed": 30.0, "flow.alpha": 8.0}
    tail = solve(ready.case.replace(trim=None, **edits)).surfaces["tailplane"]
    theta = math.acos(2.0 * 0.35 - 1.0)
    cm = -0.5 * math.sin(theta) * (1.0 - math.cos(theta)) * math.radians(one["control"])
    pressure = 0.5 * polar.density * 900.0 * tail["pressure_ratio"]
    arm = 4.0 + 0.2 - 0.3
    expected = one["tail_lift"] - cm * pressure * 2.56 * 0.8 / arm  # of 3.2 m by 0.8 m
    by_elevator = one["tail_lift"] - tail["lift"]
    assert_allclose(other["tail_lift"], expected, atol=0.01 * abs(by_elevator))
    assert_allclose(other["lift"], one["lift"], rtol=2e-3)


def test_a_failed_motor_is_held_and_costs_climb():
    """Rudder and bank by hand's sign: the starboard motor fails, the nose is held to port."""
    case = drawn()
    fewer = failed(configured(case, "take_off"), ("out",))
    thrust = setting_thrust(case, fewer, 36.0, 1.0)
    found = held_climb(fewer, 36.0, thrust)
    by_name = {item.name: item.value for item in found.limits}
    assert by_name["rudder"] < 0.0 and by_name["bank"] < 0.0
    free = solved_polar(fewer, 36.0, thrust, (found.alpha,))
    state = balanced(fewer, free.at(found.alpha), 36.0, free.density)
    assert found.gradient < state.excess / fewer.weight  # rudder and ailerons have drag


@pytest.mark.slow
def test_control_speeds_name_their_limit():
    """Less rudder, higher speed: on the ground V² ∝ T/δ, as the rudder alone gives the yaw
    (moment q S l cl_δ δ against T y, mechanics), with the thrust left at each speed."""
    case = drawn()
    ready = failed(configured(case, "take_off"), ("out",))
    speeds = {}
    for most in (10.0, 20.0):
        unknowns = [*UNKNOWNS, {"name": "rudder", "least": -most, "most": most}]
        small = drawn(trim=DRAWN["trim"] | {"unknowns": unknowns})
        fewer = failed(configured(small, "take_off"), ("out",))
        speeds[most] = held_speeds(small, fewer, 34.0, 15.0)
        assert speeds[most].ground_limit == "rudder"
    left = [
        setting_thrust(case, ready, speeds[most].ground, 1.0)["out_port"] for most in (10.0, 20.0)
    ]
    ratio = (2.0 * left[0] / left[1]) ** 0.5
    assert_allclose(speeds[10.0].ground / speeds[20.0].ground, ratio, rtol=0.03)
    assert speeds[10.0].air > speeds[20.0].air > 15.0
    assert speeds[10.0].air_limit in ("rudder", "bank")
    assert held_speeds(case, ready, 34.0, 33.9).air_limit == "stall"


def test_the_same_case_is_explained_trimmed_and_fails():
    """[aircraft] beside [trim] stands in no other command's way."""
    case = drawn()
    assert "static margin" in trim_words(case, True)
    found = trimmed(case)
    known = derivatives(found)
    assert known.neutral_point_unpowered is not None and known.static_margin > 0.0
    lost = with_failures(case, {"out": "stopped"})
    assert lost.aircraft is None and len(lost.propeller_list()) == 3


@pytest.mark.slow
def test_a_whole_aircraft_with_its_tail_drawn():
    found = evaluated(drawn())
    groups = records(found)
    assert groups["cruise/over_speed"]["control"].units == "deg"
    assert {"balance/pitch", "balance/one/rudder"} <= set(groups)
    console = Console(file=StringIO(), width=90)
    print_words("drawn", aircraft_words(found), console)
    text = console.file.getvalue()
    assert "Elevator" in text and "Held in the air" in text and "rudder" in text
    with style.settings():
        assert "balance" in aircraft_figures(groups, "drawn")
    short = evaluated(scene())
    # the concept's tail carries the same moment on nearly the same arm: speeds are near (ours)
    for name in ("take_off blown", "clean unblown"):
        assert_allclose(found.stalls[name].speed, short.stalls[name].speed, rtol=0.05)


@pytest.mark.parametrize(
    ("edits", "words"),
    [
        ({"aircraft.tail": {"arm": 4.0, "span": 3.0, "area": 1.9}}, "one of the two"),
        ({"trim": None}, "trim.*centre_of_gravity"),
        ({"trim": DRAWN["trim"] | {"unknowns": [{"name": "alpha"}]}}, "none that pitches"),
        ({"wing.controls": []}, "none that rolls"),
        ({"surfaces": [TAIL]}, "none that yaws"),
        ({"aircraft.controls": {"fin_area": 1.0, "fin_arm": 4.0}}, "drawn fin alone"),
    ],
)  # fmt: skip
def test_half_drawn_aircraft_are_refused(edits, words):
    given = tables(**{key: value for key, value in (DRAWN | edits).items() if value is not None
                      or key == "aircraft.tail"})  # fmt: skip
    with pytest.raises(InputError, match=words):
        Case.from_tables(given)


def test_no_tail_at_all_is_refused():
    with pytest.raises(InputError, match=r"aircraft\.tail"):
        Case.from_tables(tables(**{"aircraft.tail": None}))
