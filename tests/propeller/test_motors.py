"""The three-constant motor: closed forms, energy, limits."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from blownwing.errors import InputError, SolveError
from blownwing.propeller.motor import Motor, efficiency_map, motor_state

MOTOR = Motor(constant=400.0, resistance=0.05, no_load_current=1.2)


def test_closed_forms():
    # Drela (2007), First-Order DC Electric Motor Model: Q = (i − i0)/Kv, Ω = Kv (U − i R)
    kv = 400.0 * math.pi / 30.0
    idle = motor_state(MOTOR, 0.0, kv * (10.0 - 1.2 * 0.05))
    assert_allclose((idle.current, idle.voltage, idle.efficiency), (1.2, 10.0, 0.0), atol=1e-12)
    stalled = motor_state(MOTOR, (10.0 / 0.05 - 1.2) / kv, 0.0)
    assert_allclose((stalled.current, stalled.voltage), (200.0, 10.0))
    assert stalled.efficiency == 0.0


def test_best_efficiency_has_its_closed_form():
    # η = (1 − iR/U)(1 − i0/i) is largest at i = √(U i0/R), where it is (1 − √(i0 R/U))²
    voltage = 12.0
    current = np.linspace(2.0, 100.0, 40001)
    kv = MOTOR.radians_per_volt
    state = motor_state(MOTOR, (current - 1.2) / kv, kv * (voltage - current * 0.05))
    assert_allclose(state.voltage, voltage)
    k = int(np.argmax(state.efficiency))
    assert_allclose(current[k], math.sqrt(voltage * 1.2 / 0.05), rtol=1e-3)
    assert_allclose(state.efficiency[k], (1.0 - math.sqrt(1.2 * 0.05 / 12.0)) ** 2, rtol=1e-8)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.floats(0.0, 50.0),
    st.floats(0.0, 900.0),
    st.floats(0.2, 5.0),
    st.floats(0.0, 0.2),
    st.floats(0.0, 5.0),
)
def test_every_watt_is_accounted_for(torque, omega, gear, controller, idle):
    motor = Motor(90.0, 0.02, idle, controller_resistance=controller, gear=gear)
    s = motor_state(motor, torque, omega)
    back = omega * gear / motor.radians_per_volt
    losses = s.current**2 * (0.02 + controller) + idle * back
    assert_allclose(s.electrical_power, s.shaft_power + losses, rtol=1e-9, atol=1e-9)
    assert 0.0 <= s.efficiency <= 1.0


def test_a_lossless_motor_is_lossless_and_a_driven_one_gives_back():
    s = motor_state(Motor(100.0, 0.0, 0.0), 5.0, 300.0)
    assert_allclose(s.efficiency, 1.0)
    back = motor_state(MOTOR, -2.0, 500.0)
    assert back.current < 0.0
    assert 0.0 > back.electrical_power > back.shaft_power  # less comes back than goes in


def test_supply_and_current_limits():
    motor = Motor(400.0, 0.05, 1.2, supply_voltage=12.0, current_limit=60.0)
    kv = motor.radians_per_volt
    assert_allclose(motor_state(motor, 0.5, 300.0).throttle * 12.0, 300.0 / kv + 0.05 * (
        0.5 * kv + 1.2))  # fmt: skip
    with pytest.raises(SolveError, match="the supply has 12 V"):
        motor_state(motor, 0.5, 600.0)
    with pytest.raises(SolveError, match="accepted are 60 A"):
        motor_state(motor, 2.0, 50.0)
    values = efficiency_map(motor, [0.5, 2.0], [300.0, 600.0])
    assert np.isfinite(values[0, 0])
    assert np.isnan(values[1]).all()
    assert np.isnan(values[0, 1])


@pytest.mark.parametrize(
    "values",
    [
        {"constant": 0.0},
        {"resistance": -1.0},
        {"no_load_current": math.nan},
        {"gear": -2.0},
        {"supply_voltage": 0.0},
    ],
)
def test_impossible_motors_are_refused(values):
    with pytest.raises(InputError, match=next(iter(values))):
        Motor(**({"constant": 100.0, "resistance": 0.1, "no_load_current": 1.0} | values))


def test_impossible_states_are_refused():
    with pytest.raises(InputError, match="finite"):
        motor_state(MOTOR, math.nan, 1.0)
    with pytest.raises(InputError, match="0 or more"):
        motor_state(MOTOR, 1.0, -1.0)
    with pytest.raises(InputError, match="above 0"):
        efficiency_map(MOTOR, [0.0], [1.0])
