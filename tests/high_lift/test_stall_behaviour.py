"""Stalled wings: order of a polar, margins, flaps, ailerons, every incidence of shipped cases."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lift_scenes import CASES, TUBES, pair, scene, straight
from numpy.testing import assert_allclose

from blownwing import read_case, solve
from blownwing.study.lift.peak import unblown

AT_REST = {"tilted_discs"}  # hover: no lift curve
LINEAR = {"aircraft_drawn_tail"}  # gives section limits of its own
SHIPPED = sorted({path.stem for path in CASES.glob("*.toml")} - AT_REST - LINEAR)
FLAP = {"from": 0.0, "to": 0.7, "chord_fraction": 0.25, "deflection": 30.0}
TWO = (pair(1.6, "inner"), pair(2.9, "outer"))


def with_flap(kind="single_slotted", **change):
    return [{**FLAP, "kind": kind, **change}]


@pytest.mark.parametrize(("edge", "close"), [(False, 1e-6), (True, 1e-4)])
def test_the_order_of_a_polar_changes_nothing(edge, close):
    # Hysteresis: upwards and downwards.
    angles = [4.0, 14.0, 19.0, 22.0, 26.0]
    model = {"jet_edge": edge, **(TUBES if edge else {})}
    case = scene(straight(), 0.0, TWO, model=model, flaps=with_flap())
    up = solve(case.replace(**{"flow.alpha": angles})).totals["CL"]
    down = solve(case.replace(**{"flow.alpha": angles[::-1]})).totals["CL"]
    assert_allclose(down[::-1], up, rtol=close)
    assert up.min() < 0.97 * up.max()  # the stall is among them


def test_a_polar_is_its_incidences_one_by_one():
    angles = [2.0, 16.0, 19.0, 24.0]
    case = scene(straight(), angles, flaps=with_flap())
    alone = [solve(case.replace(**{"flow.alpha": a})).totals["CL"] for a in angles]
    assert_allclose(solve(case).totals["CL"], alone, rtol=1e-6)


@settings(max_examples=6, deadline=None, derandomize=True)
@given(st.floats(-10.0, 30.0), st.sampled_from(["naca2412", "naca0012", "naca63-415", "naca23012"]))
def test_margins_and_incidences_belong_together(alpha, name):
    # A strip past its peak has a negative margin, and its lift is less than the section's largest.
    found = solve(scene(straight(6.0, name), float(alpha)))
    strips = found.strips
    assert np.all(np.isfinite(strips["cl"])) and found.convergence["residual"][-1] <= 1e-8
    peak = strips["alpha_effective"] + strips["stall_margin"]
    assert_allclose(peak, peak[0], atol=1e-9)  # the same section at the same Reynolds number
    assert 8.0 < peak[0] < 20.0
    assert np.all(strips["stall_margin"][np.abs(strips["cl"]) < 0.3] > 0.0) or alpha > 15.0
    assert found.totals["CD_profile"] > 0.0


def test_margin_turns_negative_where_lift_falls():
    polar = solve(scene(straight(), [4.0, 12.0, 16.0, 22.0, 26.0]))
    least = polar.strips["stall_margin"].min(axis=1)
    assert np.all(np.diff(least) < 0.0)
    assert np.all(least[:2] > 0.0) and np.all(least[3:] < 0.0)
    assert polar.totals["CL"][-1] < polar.totals["CL"][2]
    # A rectangular wing stalls at the root first; drag leaps with it.
    strip = np.argmin(polar.strips["stall_margin"][3])
    assert abs(polar.strips["y"][strip]) < 0.3 * 4.0
    assert polar.totals["CD_profile"][3] > 5.0 * polar.totals["CD_profile"][1]


@pytest.mark.parametrize("kind", ["plain", "split", "single_slotted", "fowler"])
def test_flaps_by_kind(kind):
    clean = solve(scene(straight(), 6.0)).totals
    down = solve(scene(straight(), 6.0, flaps=with_flap(kind))).totals
    assert down["CL"] > clean["CL"] + 0.3
    assert down["CD_profile"] > clean["CD_profile"] and down["C_pitch"] < clean["C_pitch"]
    # No table reaches the linear wing's thin-airfoil flap: viscosity takes its share. A Fowler flap
    # gains chord.
    linear = scene(straight(), 6.0, flaps=with_flap(kind), model={"sections": "linear"})
    gain = (down["CL"] - clean["CL"]) / (
        solve(linear).totals["CL"]
        - solve(scene(straight(), 6.0, model={"sections": "linear"})).totals["CL"]
    )
    assert 0.5 < gain < (1.1 if kind == "fowler" else 0.9)


def test_largest_lift_gained_by_a_part_span_flap():
    # D. P. Raymer, "Aircraft Design", eq. 12.21 and table 12.2 (memory, ±15 %): ΔCLmax = 0.9 Δclmax
    # S_flapped/S, Δclmax 1.3 for a slotted flap of a quarter chord at full deflection (40°).
    # Only 0.9 S_flapped/S is tested here: the section's growth has the same source. Its peak
    # lies where the first strips have stalled, so 25 %.
    angles = np.arange(15.0, 23.0, 1.0).tolist()
    part = with_flap(deflection=40.0, to=0.6)
    lift = [
        solve(scene(straight(washout=2.0), angles, flaps=flaps)).totals["CL"].max()
        for flaps in ([], part)
    ]
    assert_allclose(lift[1] - lift[0], 0.9 * 1.3 * 0.6, rtol=0.25)


@pytest.mark.parametrize("sections", ["linear", "tables"])
def test_ailerons_roll(sections):
    # Opposite deflections: trailing edge up on the starboard wing (y > 0) rolls it down, and a
    # positive Cl is the starboard wing down.
    half = 4.0
    wing = [{"y": y, "chord": 1.0, "airfoil": "naca2412"} for y in (-half, half)]
    span = {"chord_fraction": 0.25, "kind": "plain"}
    flaps = [{"from": 0.6, "to": 0.95, "deflection": -10.0, **span},
             {"from": -0.95, "to": -0.6, "deflection": 10.0, **span}]  # fmt: skip
    model = {"sections": sections, "spanwise": 10}
    still = solve(scene(wing, 4.0, symmetric=False, model=model)).totals
    turned = solve(scene(wing, 4.0, symmetric=False, model=model, flaps=flaps)).totals
    assert abs(still["C_roll"]) < 1e-9
    assert 0.01 < turned["C_roll"] < 0.08
    assert_allclose(turned["CL"], still["CL"], rtol=0.02)
    other = [{**f, "deflection": -f["deflection"]} for f in flaps]
    back = solve(scene(wing, 4.0, symmetric=False, model=model, flaps=other)).totals
    assert_allclose(back["C_roll"], -turned["C_roll"], rtol=0.03)
    if sections == "linear":
        # The lowered one drags more: adverse yaw, nose to port for a roll to starboard.
        assert turned["C_yaw"] * turned["C_roll"] < 0.0
    else:
        # Viscosity takes its share of the flap: less roll than the linear wing's 0.049.
        assert turned["C_roll"] < 0.045


@pytest.mark.parametrize("deflection", [-5.0, 5.0])
@pytest.mark.parametrize(
    ("fraction", "effectiveness"), [(0.10, 0.39582), (0.25, 0.60900), (0.40, 0.74778)]
)
def test_linear_flap_effectiveness(fraction, effectiveness, deflection):
    # Glauert (1927), ARC R&M 1095: τ = 1 − (θ − sin θ)/π (recomputed). Endless wing, small angles.
    flap = [{"from": 0.0, "to": 1.0, "chord_fraction": fraction, "deflection": 0.1 * deflection}]
    model = {"sections": "linear", "chordwise": 5}
    base = straight(4000.0, "flat")
    turned = solve(scene(base, 0.0, flaps=flap, model=model)).totals["CL"]
    lifted = solve(scene(base, 1.0, model=model)).totals["CL"]
    assert_allclose(turned / (0.1 * deflection) / lifted, effectiveness, rtol=5e-3)


def every_incidence(name, blown, edge, step, small):
    """The polar of a shipped case on section tables from −10 to 30°."""
    case = read_case(CASES / f"{name}.toml")
    angles = np.arange(-10.0, 30.01, step).tolist()
    edits = {"model.sections": "tables", "model.jet_edge": edge, "flow.alpha": angles}
    if small:
        edits |= {"model.chordwise": 1, "model.spanwise": 10}
        edits |= {f"model.{key}": value for key, value in TUBES.items()}
    if not blown:
        return solve(unblown(case.replace(**edits)))
    return solve(case.replace(**edits))


def check_polar(found):
    lift, angles = found.totals["CL"], np.array(found.alphas)
    assert np.all(np.isfinite(lift))
    for history in found.histories:
        assert history["residual"][-1] <= 1e-6 and len(history["iteration"]) <= 20
    peak = int(np.argmax(lift))
    assert 8.0 < angles[peak] <= 30.0
    # Lift rises all the way to the first stalled strip.
    attached = found.strips["stall_margin"].min(axis=1) > 0.0
    rising = np.flatnonzero(attached & (angles >= -4.0))
    assert rising.size >= 2 and np.all(np.diff(lift[rising]) > 0.0)


@pytest.mark.parametrize("blown", [True, False])
@pytest.mark.parametrize("name", SHIPPED)
def test_no_incidence_of_a_shipped_case_fails(name, blown):
    check_polar(every_incidence(name, blown, False, 6.0, True))


def test_no_incidence_of_a_case_with_edges_fails():
    check_polar(every_incidence("tunnel_half_model", True, True, 8.0, True))


@pytest.mark.slow
@pytest.mark.parametrize(("blown", "edge"), [(True, True), (True, False), (False, False)])
@pytest.mark.parametrize("name", SHIPPED)
def test_no_incidence_of_a_shipped_case_fails_in_full(name, blown, edge):
    check_polar(every_incidence(name, blown, edge, 1.0, False))


def test_tables_at_rest():
    # In still air the wing outside the slipstreams has nothing to correct.
    found = solve(scene(straight(), 4.0, TWO, flow={"airspeed": 0.0}, model={"jet_edge": False}))
    assert found.totals["lift"] > 0.0 and math.isfinite(found.totals["drag"])
    assert "CL" not in found.totals
