"""The demonstration rotors over all working states: invariances, mirror, refusals."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from rotors import AIR

from blownwing.errors import InputError, SolveError
from blownwing.propeller import rotor as rotor_module
from blownwing.propeller.blade import read_blade
from blownwing.propeller.rotor import (
    axial_inflow,
    azimuths,
    build_rotor,
    coefficients,
    solve_rotor,
)

BLADES = Path(__file__).parents[2] / "shared" / "blades"
AIR_AT_SEA_LEVEL = replace(AIR, viscosity=1.789e-5, speed_of_sound=340.3)
HIGH_LIFT = build_rotor(read_blade(BLADES / "high_lift_5.csv"), 0.8, 5)


def loads_at(speed, omega=366.0, rotor=HIGH_LIFT, incidence=0.0, n=1, spin="clockwise", pitch=0.0):
    inflow = axial_inflow(rotor, speed, incidence, n)
    return solve_rotor(rotor, AIR_AT_SEA_LEVEL, omega, pitch, spin, inflow)


@pytest.mark.parametrize(
    ("name", "diameter", "blades", "speed", "rpm", "thrust", "efficiency"),
    [
        # what the blade files' comments promise
        ("high_lift_5", 0.8, 5, 28.0, 3500.0, (230.0, 400.0), 0.70),
        ("cruise_3", 1.8, 3, 65.0, 2000.0, (800.0, 1200.0), 0.85),
        ("tunnel_4", 0.24, 4, 30.0, 8000.0, (7.0, 12.0), 0.75),
    ],
)
def test_demonstration_blades(name, diameter, blades, speed, rpm, thrust, efficiency):
    rotor = build_rotor(read_blade(BLADES / f"{name}.csv"), diameter, blades)
    loads = loads_at(speed, rpm * math.pi / 30.0, rotor)
    assert thrust[0] < loads.thrust < thrust[1]
    result = coefficients(rotor, AIR_AT_SEA_LEVEL, loads, speed)
    assert result.efficiency > efficiency
    assert_allclose(result.power, 2.0 * math.pi * result.torque, rtol=1e-12)
    assert_allclose(result.efficiency, loads.thrust * speed / loads.power, rtol=1e-12)
    assert 0.2 < loads.cl[len(loads.cl) // 2] < 0.9


def test_both_compiled_forms_give_the_same_loads(monkeypatch):
    monkeypatch.setattr(rotor_module, "cores_free", lambda: True)
    for n, incidence in ((1, 0.0), (12, 0.2)):
        results = []
        for limit in (0, 10**9):
            monkeypatch.setattr(rotor_module, "PARALLEL_FROM", limit)
            loads = loads_at(28.0, incidence=incidence, n=n)
            results.append([loads.thrust, loads.torque, loads.force_up, loads.moment_up])
            results[-1] += [*loads.axial_induced, *loads.tangential_induced]
        assert_allclose(results[0], results[1], rtol=1e-13, atol=1e-12)


def test_every_state_from_descent_to_windmilling_is_smooth():
    speeds = np.linspace(-60.0, 100.0, 801)
    thrust = np.array([loads_at(v).thrust for v in speeds])
    assert np.abs(np.diff(thrust)).max() < 5.0  # N per 0.2 m/s, of a range of 1300 N
    torque = np.array([loads_at(v).torque for v in (0.0, 20.0, 60.0)])
    assert torque[0] > 0.0 > torque[2]


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.floats(0.1, 10.0), st.floats(0.2, 5.0), st.floats(0.05, 10.0), st.floats(0.0, 60.0))
def test_scale_invariance(length, velocity, density, speed):
    # the same Reynolds, Mach and advance ratio: the same coefficients
    big = build_rotor(read_blade(BLADES / "high_lift_5.csv"), 0.8 * length, 5)
    base = AIR_AT_SEA_LEVEL
    air = replace(
        base,
        density=base.density * density,
        viscosity=base.viscosity * density * length * velocity,
        speed_of_sound=base.speed_of_sound * velocity,
    )
    omega = 366.0 * velocity / length
    one = loads_at(speed)
    other = solve_rotor(big, air, omega, 0.0, "clockwise", axial_inflow(big, speed * velocity))
    force = density * velocity**2 * length**2
    assert_allclose(other.thrust, one.thrust * force, rtol=1e-7, atol=1e-6 * force)
    assert_allclose(other.torque, one.torque * force * length, rtol=1e-7, atol=1e-6 * force)
    assert_allclose(other.axial_induced, one.axial_induced * velocity, atol=1e-6 * velocity)


@settings(max_examples=15, deadline=None, derandomize=True)
@given(st.integers(0, 11), st.floats(0.0, 40.0), st.floats(-0.5, 0.5))
def test_turning_the_crossflow_turns_the_forces(quarter, speed, incidence):
    n = 12
    base = loads_at(speed, incidence=incidence, n=n)
    turn = 2.0 * math.pi * quarter / n
    inflow = axial_inflow(HIGH_LIFT, speed, incidence, n)
    cross = inflow[2].copy()
    # clockwise seen from behind takes up towards starboard
    inflow[1], inflow[2] = cross * math.sin(turn), cross * math.cos(turn)
    turned = solve_rotor(HIGH_LIFT, AIR_AT_SEA_LEVEL, 366.0, 0.0, "clockwise", inflow)
    assert_allclose(turned.thrust, base.thrust, rtol=1e-7)
    c, s = math.cos(turn), math.sin(turn)
    right, up = base.force_right, base.force_up
    assert_allclose(turned.force_up, c * up - s * right, atol=1e-6)
    assert_allclose(turned.force_right, s * up + c * right, atol=1e-6)
    right, up = base.moment_right, base.moment_up
    assert_allclose(turned.moment_up, c * up - s * right, atol=1e-6)
    assert_allclose(turned.moment_right, s * up + c * right, atol=1e-6)


def test_reversed_spin_mirrors():
    rng = np.random.default_rng(4)
    n, count = 16, len(HIGH_LIFT.r)
    inflow = np.array([25.0, 2.0, 3.0])[:, None, None] + rng.normal(0.0, 2.0, (3, n, count))
    one = solve_rotor(HIGH_LIFT, AIR_AT_SEA_LEVEL, 366.0, 0.0, "clockwise", inflow)
    mirrored = inflow * np.array([1.0, -1.0, 1.0])[:, None, None]
    other = solve_rotor(HIGH_LIFT, AIR_AT_SEA_LEVEL, 366.0, 0.0, "counterclockwise", mirrored)
    for name, sign in (
        ("thrust", 1),
        ("torque", 1),
        ("force_right", -1),
        ("force_up", 1),
        ("moment_right", 1),
        ("moment_up", -1),
    ):
        assert_allclose(getattr(other, name), sign * getattr(one, name), rtol=1e-12)
    assert azimuths(n)[0] == pytest.approx(math.pi / n)


def test_wing_upwash_loads_the_down_going_side():
    # common practice, no source: with the flow coming up through the disc the down-going side
    # (starboard for clockwise) pulls more, which yaws the nose to port: moment about up > 0
    loads = loads_at(28.0, incidence=math.radians(8.0), n=24)
    assert loads.moment_up > 0.0
    assert loads.force_up > 0.0
    assert loads.force_up < 0.2 * loads.thrust
    assert_allclose(loads.thrust, loads_at(28.0).thrust, rtol=0.03)


def test_mean_fields_belong_to_the_loads():
    loads = loads_at(28.0, incidence=0.1, n=18)
    assert_allclose(np.sum(loads.dT_dr * loads.dr), loads.thrust, rtol=1e-12)
    assert_allclose(np.sum(loads.dQ_dr * loads.dr), loads.torque, rtol=1e-12)
    assert loads.residual_max < 1e-8
    assert np.all((loads.loss_factor > 0.0) & (loads.loss_factor <= 1.0))
    assert_allclose(loads.alpha, HIGH_LIFT.twist - loads.phi, atol=1e-12)
    mid = len(loads.r) // 2
    speed = math.hypot(28.0, 366.0 * HIGH_LIFT.r[mid])
    assert_allclose(loads.mach[mid], speed / 340.3, rtol=2e-3)
    assert_allclose(loads.reynolds[mid], 1.225 * speed * HIGH_LIFT.chord[mid] / 1.789e-5, rtol=2e-3)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"omega": -1.0}, "omega"),
        ({"pitch": math.nan}, "pitch"),
        ({"spin": "left"}, "spin"),
        ({"inflow": np.zeros((3, 1, 4))}, "shape"),
        ({"inflow": np.full((3, 1, 20), np.nan)}, "finite"),
    ],
)
def test_bad_arguments_are_refused(change, words):
    arguments = {
        "rotor": HIGH_LIFT,
        "air": AIR_AT_SEA_LEVEL,
        "omega": 300.0,
        "pitch": 0.0,
        "spin": "clockwise",
        "inflow": axial_inflow(HIGH_LIFT, 20.0),
    }
    with pytest.raises(InputError, match=words):
        solve_rotor(**(arguments | change))


def test_air_that_is_not_air_is_an_error_not_a_result():
    with pytest.raises(SolveError, match="did not close"):
        solve_rotor(
            HIGH_LIFT,
            replace(AIR_AT_SEA_LEVEL, density=math.nan),
            300.0,
            0.0,
            "clockwise",
            axial_inflow(HIGH_LIFT, 20.0),
        )
