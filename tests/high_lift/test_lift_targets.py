"""Incidence for a wanted lift, largest lift, stall speed; unstalled, stalled and unreachable."""

import math

import numpy as np
import pytest
from lift_scenes import CASES, pair, scene, straight
from numpy.testing import assert_allclose

from blownwing import read_case, solve
from blownwing.errors import InputError, SolveError
from blownwing.study.lift import peak as lift_module
from blownwing.study.lift.peak import measured, peak_lift, stall_speed, trimmed, unblown

WING = straight(washout=1.0)
TWO = (pair(1.6, "inner"), pair(2.9, "outer"))
EDGELESS = {"jet_edge": False, "chordwise": 1}


@pytest.fixture(scope="module")
def bare():
    """The wing without propellers and its largest lift."""
    case = scene(WING, 4.0, model=EDGELESS)
    return case, peak_lift(case)


@pytest.fixture(scope="module")
def blown():
    case = scene(WING, 4.0, TWO, model=EDGELESS)
    return case, peak_lift(case)


@pytest.mark.parametrize(
    ("quantity", "target"), [("CL", 0.9), ("lift", 4000.0), ("weight", 4500.0)]
)
def test_targets_are_reached(blown, quantity, target):
    found = trimmed(blown[0], quantity, target)
    assert_allclose(measured(found, quantity), target, rtol=1e-6)
    # The same case at that incidence gives it again.
    again = solve(blown[0].replace(**{"flow.alpha": float(found.totals["alpha"])}))
    assert_allclose(measured(again, quantity), target, rtol=2e-6)


def test_weight_counts_the_propellers(blown):
    found = solve(blown[0].replace(**{"flow.alpha": 8.0}))
    totals = found.totals
    pressure = totals["reference_dynamic_pressure"] * totals["reference_area"]
    both = (totals["CL"] + totals["CL_from_thrust"]) * pressure
    assert_allclose(measured(found, "weight"), both, rtol=1e-12)
    # Discs along the flight path's axis: the thrust's part is T sin α.
    part = totals["thrust"] * math.sin(math.radians(8.0))
    assert_allclose(totals["CL_from_thrust"] * pressure, part, rtol=1e-9)
    with pytest.raises(InputError, match=r'found "CD"; accepted are CL, lift, weight'):
        measured(found, "CD")


@pytest.mark.parametrize(("start", "share"), [(-10.0, 0.985), (4.0, 0.998), (28.0, 0.7)])
def test_a_target_is_found_below_the_stall_from_anywhere(bare, start, share):
    # From a stalled start too, and so close to the peak that steps of 8° leap over it.
    case, peak = bare
    target = share * peak.CL
    found = trimmed(case.replace(**{"flow.alpha": start}), "CL", target)
    assert_allclose(found.totals["CL"], target, rtol=1e-6)
    assert found.totals["alpha"] < peak.alpha


@pytest.mark.parametrize("start", [4.0, 28.0])
def test_an_unreachable_target_is_refused_in_one_sentence(bare, start):
    case, peak = bare
    with pytest.raises(SolveError) as caught:
        trimmed(case.replace(**{"flow.alpha": start}), "CL", 1.2 * peak.CL)
    text = str(caught.value)
    assert "\n" not in text and "is not reached" in text
    nearest = float(text.split("found is ")[1].split()[0])
    assert_allclose(nearest, peak.CL, rtol=2e-3)


def test_peak_is_the_top_of_a_fine_scan(bare):
    case, peak = bare
    scan = np.arange(peak.alpha - 1.0, peak.alpha + 1.01, 0.25)
    lift = solve(case.replace(**{"flow.alpha": scan.tolist()})).totals["CL"]
    assert peak.CL >= lift.max() - 1e-4
    assert_allclose(peak.CL, lift.max(), rtol=2e-3)
    assert peak.CL_from_thrust == 0.0
    assert max(cl for _, cl in peak.scan) == peak.CL
    assert_allclose(solve(case.replace(**{"flow.alpha": peak.alpha})).totals["CL"], peak.CL)


def test_a_state_without_a_result_past_the_peak_costs_no_peak(bare, monkeypatch):
    # Deep in the stall strips may not settle; what is bracketed already stays the answer.
    case, whole = bare
    real = lift_module.several_incidences

    def failing(case, *left):
        solved = real(case, *left)

        def at(alphas):
            error, last = SolveError("strips do not settle"), whole.alpha + 1.0
            return [error if alpha > last else solved((alpha,))[0] for alpha in alphas]

        return at

    monkeypatch.setattr(lift_module, "several_incidences", failing)
    found = peak_lift(case)
    assert_allclose(found.alpha, whole.alpha, atol=0.1)
    assert_allclose(found.CL, whole.CL, rtol=1e-4)
    assert found.unsettled and min(found.unsettled) > whole.alpha and not whole.unsettled


def test_first_stall_lies_where_a_margin_vanishes(bare):
    case, peak = bare
    assert peak.stall_alpha < peak.alpha
    margin = solve(case.replace(**{"flow.alpha": peak.stall_alpha})).strips["stall_margin"].min()
    assert abs(margin) < 0.1
    # A rectangular wing stalls at the root first (trade knowledge; elliptic would be everywhere).
    assert peak.stall_fraction < 0.25
    assert_allclose(peak.stall_fraction, abs(peak.stall_y) / 4.0)
    # Looked for downwards when the scan starts in the stall.
    assert_allclose(peak_lift(case, near=26.0).stall_alpha, peak.stall_alpha, atol=0.05)


def test_blowing_raises_the_largest_lift(bare, blown):
    assert blown[1].CL > 1.03 * bare[1].CL
    assert blown[1].CL_from_thrust > 0.0
    thrust = blown[1].solution.totals["thrust"]
    assert_allclose(thrust, 600.0, rtol=1e-9)  # held
    assert_allclose(peak_lift(unblown(blown[0])).CL, bare[1].CL, rtol=5e-3)


def test_unblown_stall_speed_is_the_closed_form(bare):
    # V = √(2 W/(ρ S CLmax)), at the Reynolds number of that speed.
    case, weight = bare[0], 6200.0
    found = stall_speed(case, weight)
    bound = 2.0 * weight / (case.air.density * case.wing.area * found.peak.CL)
    assert_allclose(found.speed, math.sqrt(bound), rtol=2e-3)
    # The handed-over peak was found within 0.1 % of that speed.
    assert_allclose(found.peak.solution.totals["airspeed"], found.speed, rtol=2e-3)


def test_blown_stall_speed_is_lower(bare, blown):
    weight = 6200.0
    slow, plain = (stall_speed(case, weight).speed for case in (blown[0], bare[0]))
    assert slow < 0.97 * plain
    # Thrust alone cannot do that: W − T sin α on the unblown wing's coefficient.
    assert slow > 0.5 * plain


@pytest.mark.parametrize(
    ("weight", "text"), [(0.0, "found 0 N"), (-5.0, "found -5 N"), (math.nan, "found nan N")]
)
def test_weights_that_make_no_sense(bare, weight, text):
    with pytest.raises(InputError, match=text):
        stall_speed(bare[0], weight)


def test_largest_lift_needs_tables_and_speed(bare):
    with pytest.raises(InputError, match="linear"):
        peak_lift(scene(WING, model={"sections": "linear"}))
    with pytest.raises(InputError, match="airspeed"):
        peak_lift(scene(WING, flow={"airspeed": 0.0}))
    with pytest.raises(InputError, match="CL at rest"):
        trimmed(scene(WING, flow={"airspeed": 0.0}), "CL", 1.0)


def test_unblown_takes_propellers_and_the_aircraft_away():
    case = unblown(read_case(CASES / "aircraft_eight.toml"))
    assert not case.propellers and case.aircraft is None
    assert case.wing == read_case(CASES / "aircraft_eight.toml").wing
