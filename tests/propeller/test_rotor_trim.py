"""Trim to thrust or power by rotor speed or pitch: closure, branch, warm start, refusals."""

import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from rotors import AIR

from blownwing.errors import InputError, SolveError
from blownwing.propeller import trim
from blownwing.propeller.blade import read_blade
from blownwing.propeller.rotor import axial_inflow, azimuths, build_rotor, solve_rotor

AIR_AT_SEA_LEVEL = replace(AIR, viscosity=1.789e-5, speed_of_sound=340.3)
ROTOR = build_rotor(
    read_blade(Path(__file__).parents[2] / "shared" / "blades" / "high_lift_5.csv"), 0.8, 5
)


def inflow(speed, incidence=0.0, n=1):
    return axial_inflow(ROTOR, speed, incidence, n)


@pytest.mark.parametrize("vary", ["rpm", "pitch"])
@pytest.mark.parametrize(("quantity", "target"), [("thrust", 250.0), ("power", 9000.0)])
@pytest.mark.parametrize("speed", [0.0, 28.0, 45.0])
def test_trim_closes_and_repeats(vary, quantity, target, speed):
    fixed = {"omega": 366.0} if vary == "pitch" else {"pitch": 0.02}
    stream = inflow(speed, 0.1, 8)
    omega, pitch, loads = trim.trim_rotor(
        ROTOR, AIR_AT_SEA_LEVEL, stream, target, quantity, vary, **fixed
    )
    assert_allclose(getattr(loads, quantity), target, rtol=1e-8)
    again = solve_rotor(ROTOR, AIR_AT_SEA_LEVEL, omega, pitch, "clockwise", stream)
    assert_allclose(getattr(again, quantity), target, rtol=1e-8)
    assert (loads.omega, loads.pitch) == (omega, pitch)
    if vary == "pitch":
        assert omega == 366.0
    else:
        assert pitch == 0.02


@pytest.fixture
def evaluations(monkeypatch):
    """Evaluations in the whole inflow and in its azimuth mean."""
    counts = {"whole": 0, "mean": 0}
    original = trim.integrated_loads

    def counted(*args):
        counts["whole" if args[5].shape[1] > 1 else "mean"] += 1
        return original(*args)

    monkeypatch.setattr(trim, "integrated_loads", counted)
    return counts


@pytest.mark.parametrize("vary", ["rpm", "pitch"])
@pytest.mark.parametrize(("quantity", "target"), [("thrust", 250.0), ("power", 9000.0)])
@pytest.mark.parametrize("speed", [0.0, 28.0, 45.0])
def test_a_cold_trim_takes_few_evaluations(evaluations, vary, quantity, target, speed):
    fixed = {"omega": 366.0} if vary == "pitch" else {}
    stream = inflow(speed, 0.1, 12)
    trim.trim_rotor(ROTOR, AIR_AT_SEA_LEVEL, stream, target, quantity, vary, **fixed)
    assert evaluations["whole"] <= 5
    assert evaluations["mean"] <= 40  # one station each, a twelfth of the work


@pytest.mark.parametrize("vary", ["rpm", "pitch"])
def test_warm_start_takes_few_evaluations(vary, evaluations):
    fixed = {"omega": 366.0} if vary == "pitch" else {}
    arguments = (ROTOR, AIR_AT_SEA_LEVEL, inflow(28.0, 0.05, 12))
    omega, pitch, first = trim.trim_rotor(*arguments, 250.0, vary=vary, **fixed)
    evaluations["whole"] = 0
    start = omega if vary == "rpm" else pitch
    near = trim.trim_rotor(
        *arguments, 250.05, vary=vary, start=start, slope=first.trim_slope, **fixed
    )
    assert_allclose(near[2].thrust, 250.05, rtol=1e-8)
    assert evaluations["whole"] <= 3
    evaluations["whole"] = 0
    start = near[0 if vary == "rpm" else 1]
    again = trim.trim_rotor(*arguments, 250.05, vary=vary, start=start, slope=2.0, **fixed)
    assert evaluations["whole"] == 1
    assert again[2].trim_slope == 2.0  # what it was given: one evaluation shows no slope
    wrong = trim.trim_rotor(*arguments, 250.5, vary=vary, start=start, slope=1e3, **fixed)
    assert_allclose(wrong[2].thrust, 250.5, rtol=1e-8)


def test_mean_inflow_keeps_axial_flow_and_swirl():
    sign = -1.0
    psi = azimuths(16)[:, None]
    swirl = np.linspace(1.0, 3.0, len(ROTOR.r))  # in the sense of rotation
    whole = np.zeros((3, 16, len(ROTOR.r)))
    whole[0] = 20.0 + 4.0 * np.sin(psi)
    whole[1], whole[2] = sign * np.cos(psi) * swirl, 1.0 - np.sin(psi) * swirl
    mean = trim._azimuth_mean(whole, sign)
    assert_allclose(mean[0, 0], 20.0, rtol=1e-12)
    assert_allclose(sign * math.cos(azimuths(1)[0]) * mean[1, 0], swirl, rtol=1e-12)


def test_far_or_absurd_starts_end_in_the_same_place():
    arguments = (ROTOR, AIR_AT_SEA_LEVEL, inflow(28.0), 250.0)
    expected = trim.trim_rotor(*arguments)[0]
    for start in (50.0, 300.0, 700.0, 5e4, -3.0, 0.0):
        assert_allclose(trim.trim_rotor(*arguments, start=start)[0], expected, rtol=1e-7)


def test_pitch_trim_stays_below_the_stall():
    # the blade reaches its largest thrust near 15 deg; the solution lies on the near side
    _, pitch, loads = trim.trim_rotor(
        ROTOR, AIR_AT_SEA_LEVEL, inflow(28.0), 500.0, vary="pitch", omega=366.0
    )
    assert pitch < math.radians(14.0)
    more = solve_rotor(ROTOR, AIR_AT_SEA_LEVEL, 366.0, pitch + 1e-3, "clockwise", inflow(28.0))
    assert more.thrust > loads.thrust


def test_unreachable_targets_say_what_is_reachable():
    with pytest.raises(SolveError, match="largest thrust reachable is") as caught:
        trim.trim_rotor(ROTOR, AIR_AT_SEA_LEVEL, inflow(28.0), 2000.0, vary="pitch", omega=366.0)
    claimed = float(re.search(r"is ([\d.e+]+) N", str(caught.value)).group(1))
    sweep = [
        solve_rotor(ROTOR, AIR_AT_SEA_LEVEL, 366.0, p, "clockwise", inflow(28.0)).thrust
        for p in np.radians(np.arange(0.0, 30.0, 0.1))
    ]
    assert_allclose(claimed, max(sweep), rtol=5e-4)  # four digits, tenths of a degree
    near = trim.trim_rotor(
        ROTOR, AIR_AT_SEA_LEVEL, inflow(28.0), 0.998 * max(sweep), vary="pitch", omega=366.0
    )
    assert_allclose(near[2].thrust, 0.998 * max(sweep), rtol=1e-8)
    with pytest.raises(SolveError, match="rpm"):
        trim.trim_rotor(ROTOR, AIR_AT_SEA_LEVEL, inflow(28.0), 1e5)
    with pytest.raises(SolveError, match="smallest power"):
        trim.trim_rotor(ROTOR, AIR_AT_SEA_LEVEL, inflow(28.0), -1e7, "power", "pitch", omega=366.0)
    with pytest.raises(SolveError, match="tip Mach"):
        trim.trim_rotor(ROTOR, AIR_AT_SEA_LEVEL, inflow(335.0), 10.0)


def test_braking_and_zero_thrust_trim():
    # at a fixed airspeed the slower rotor brakes; zero thrust is the upward crossing
    omega, _, loads = trim.trim_rotor(ROTOR, AIR_AT_SEA_LEVEL, inflow(28.0), 0.0)
    assert abs(loads.thrust) < 1e-6
    assert loads.torque > 0.0  # profile drag remains
    slower, _, braking = trim.trim_rotor(ROTOR, AIR_AT_SEA_LEVEL, inflow(28.0), -20.0, start=omega)
    assert slower < omega
    assert_allclose(braking.thrust, -20.0, rtol=1e-8)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"quantity": "torque"}, "quantity"),
        ({"vary": "blades"}, "vary"),
        ({"target": math.nan}, "target"),
        ({"vary": "pitch"}, "omega"),
        ({"spin": "up"}, "spin"),
    ],
)
def test_bad_requests_are_refused(change, words):
    arguments = {
        "rotor": ROTOR,
        "air": AIR_AT_SEA_LEVEL,
        "inflow": inflow(20.0),
        "target": 100.0,
    }
    with pytest.raises(InputError, match=words):
        trim.trim_rotor(**(arguments | change))
