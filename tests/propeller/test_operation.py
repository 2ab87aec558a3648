"""Off design: governed, windmilling, stopped, feathered, reversed, fast tips."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from rotors import AIR as STILL
from rotors import blade_of, linear_section

from blownwing.case.air import air_at
from blownwing.errors import InputError, SolveError
from blownwing.propeller.blade import read_blade
from blownwing.propeller.operation import (
    constant_speed,
    feathered,
    most_thrust,
    reverse,
    stopped,
    windmill,
)
from blownwing.propeller.rotor import axial_inflow, build_rotor, coefficients, solve_rotor

BLADES = Path(__file__).parents[2] / "shared" / "blades"
AIR = air_at()
SMALL = build_rotor(read_blade(BLADES / "high_lift_5.csv"), 0.8, 5)
LARGE = build_rotor(read_blade(BLADES / "cruise_3.csv"), 1.8, 3)
BOTH = pytest.mark.parametrize(("rotor", "speed"), [(SMALL, 40.0), (LARGE, 65.0)])


@BOTH
def test_a_windmill_drives_only_its_friction(rotor, speed):
    for drag in (0.0, 0.5):
        loads = windmill(rotor, AIR, speed, 0.0, drag)
        assert_allclose(loads.torque, -drag, atol=1e-7)
        assert loads.thrust < 0.0
        # a stable state: a little faster, and the air brakes it
        inflow = axial_inflow(rotor, speed)
        faster = solve_rotor(rotor, AIR, loads.omega * 1.01, 0.0, "clockwise", inflow)
        assert faster.torque > loads.torque
    # friction slows it
    assert windmill(rotor, AIR, speed, 0.0, 0.5).omega < windmill(rotor, AIR, speed, 0.0).omega


def test_a_frictionless_windmill_without_drag_turns_at_zero_thrust():
    # with no section drag zero torque is zero lift on every element of this blade: J = π tan β x
    x = np.linspace(0.2, 1.0, 401)
    twist = np.arctan(0.25 / x)  # one helix
    rotor = build_rotor(blade_of(x, 0.1, twist, linear_section(drag=1e-12)), 1.0, 3, 60)
    loads = windmill(rotor, STILL, 30.0, 0.0)
    assert_allclose(loads.omega, 30.0 / (0.25 * 0.5), rtol=1e-4)
    assert abs(loads.thrust) < 1e-3


def test_finer_pitch_windmills_faster_and_drags_more():
    # Hartman, NACA TR 464, abstract: the negative thrust rises as the blade angle falls
    states = [windmill(LARGE, AIR, 50.0, math.radians(p)) for p in (4.0, 0.0, -4.0, -8.0)]
    assert np.all(np.diff([s.omega for s in states]) > 0.0)
    assert np.all(np.diff([-s.thrust for s in states]) > 0.0)


@BOTH
def test_feathered_drag(rotor, speed):
    loads = feathered(rotor, AIR, speed)
    pressure = 0.5 * AIR.density * speed**2
    assert abs(loads.torque) < 1e-8
    assert loads.omega == 0.0
    # Torenbeek (1982), Synthesis of Subsonic Airplane Design: D/q = 0.00125 B D² (from memory),
    # good to a factor of 1.5
    area = -loads.thrust / pressure
    assert 1.0 / 1.5 < area / (0.00125 * rotor.blades * rotor.diameter**2) < 1.5
    # and it is the least drag of any locked pitch nearby
    for change in (-0.3, 0.3):
        assert -stopped(rotor, AIR, speed, loads.pitch + change).thrust > -loads.thrust


@BOTH
def test_stopped_drag_and_torque(rotor, speed):
    loads = stopped(rotor, AIR, speed, 0.0)
    disc = 0.25 * math.pi * rotor.diameter**2
    # Raymer, Aircraft Design: D/q = 0.8 σ A stopped and unfeathered (from memory), factor of 1.5
    area = -loads.thrust / (0.5 * AIR.density * speed**2)
    assert 1.0 / 1.5 < area / (0.8 * rotor.solidity * disc) < 1.5
    assert loads.torque < 0.0  # the air would turn it
    assert area > 8.0 * -feathered(rotor, AIR, speed).thrust / (0.5 * AIR.density * speed**2)


def test_constant_speed_from_rest_to_cruise():
    pitches = []
    for speed in (0.0, 20.0, 40.0, 60.0):  # the first one static
        loads = constant_speed(LARGE, AIR, speed, 210.0, 40e3)
        assert_allclose(loads.power, 40e3, rtol=1e-8)
        assert loads.omega == 210.0
        pitches.append(loads.pitch)
    assert np.all(np.diff(pitches[1:]) > 0.0)  # coarser as it flies faster
    by_thrust = constant_speed(LARGE, AIR, 40.0, 210.0, 600.0, "thrust")
    assert_allclose(by_thrust.thrust, 600.0, rtol=1e-8)


@pytest.mark.parametrize("speed", [0.0, 7.0, 13.0, 40.0])
@pytest.mark.parametrize("power", [20e3, 45e3, 90e3])
def test_a_governed_propeller_never_sits_beyond_the_stall(speed, power):
    """Against a dense scan of pitch, which knows nothing of trims: the most thrust within the
    power, found with the blades' own loads."""
    found = most_thrust(LARGE, AIR, speed, 210.0, power)
    inflow = axial_inflow(LARGE, speed)
    scan = [
        solve_rotor(LARGE, AIR, 210.0, float(p), "clockwise", inflow)
        for p in np.radians(np.arange(-22.0, 35.0, 0.05))
    ]
    allowed = max(s.thrust for s in scan if s.power <= power)
    assert found.power <= power * (1.0 + 1e-8)
    assert 0.998 * allowed <= found.thrust <= 1.01 * allowed


def test_power_that_only_stalled_blades_take_is_refused():
    inflow = axial_inflow(LARGE, 0.0)
    top = most_thrust(LARGE, AIR, 0.0, 210.0, 90e3)
    assert top.power < 90e3  # the stall ends it
    with pytest.raises(SolveError, match="only beyond the stall"):
        constant_speed(LARGE, AIR, 0.0, 210.0, 90e3)
    more = solve_rotor(LARGE, AIR, 210.0, top.pitch + 0.05, "clockwise", inflow)
    assert more.power > top.power and more.thrust < top.thrust


def test_fixed_pitch_static_thrust_and_overspeed():
    # static thrust grows as the square of the speed of rotation, near enough (Re and Mach change)
    inflow = axial_inflow(SMALL, 0.0)
    thrust = [solve_rotor(SMALL, AIR, w, 0.0, "clockwise", inflow).thrust for w in (300.0, 420.0)]
    assert_allclose(thrust[1] / thrust[0], (420.0 / 300.0) ** 2, rtol=0.05)


@pytest.mark.parametrize("aim", [{"thrust": -150.0}, {"power": 3000.0}])
def test_reverse_thrust(aim):
    loads = reverse(SMALL, AIR, 15.0, 370.0, **aim)
    if "thrust" in aim:
        assert_allclose(loads.thrust, -150.0, rtol=1e-8)
    else:
        assert_allclose(loads.power, 3000.0, rtol=1e-8)
    assert loads.thrust < 0.0 < loads.power
    forward = constant_speed(SMALL, AIR, 15.0, 370.0, 150.0, "thrust")
    assert loads.pitch < forward.pitch - math.radians(10.0)


def test_reverse_that_cannot_be_reached_says_what_can():
    with pytest.raises(SolveError, match=r"the most is -\d+"):
        reverse(SMALL, AIR, 15.0, 370.0, thrust=-1e5)
    for wrong in ({}, {"thrust": 5.0}, {"power": -5.0}, {"thrust": -5.0, "power": 5.0}):
        with pytest.raises(InputError, match="reverse"):
            reverse(SMALL, AIR, 15.0, 370.0, **wrong)


def test_a_blade_that_cannot_windmill_is_an_error():
    with pytest.raises(SolveError, match="keep this propeller turning"):
        windmill(SMALL, AIR, 40.0, 0.0, drag=1e4)
    for wrong in ({"speed": 0.0}, {"speed": 40.0, "drag": -1.0}):
        with pytest.raises(InputError, match="windmill"):
            windmill(SMALL, AIR, pitch=0.0, **wrong)
    with pytest.raises(InputError, match="feathered"):
        feathered(SMALL, AIR, 0.0)


def test_tip_mach_costs_little_below_mach_09():
    # Weick, NACA TR 302 (1928), summary: for a thin metal propeller the effect of tip speed on
    # efficiency is negligible from 600 to 1000 ft/s (0.6 to 0.9 of the sound speed). Mach alone is
    # changed here, by the speed of sound; no wave drag is modelled, so nothing is said beyond.
    values = []
    for mach in (0.5, 0.6, 0.75, 0.9):
        omega, speed = 210.0, 50.0
        tip = math.hypot(omega * 0.9, speed)
        air = replace(AIR, speed_of_sound=tip / mach)
        loads = solve_rotor(LARGE, air, omega, 0.0, "clockwise", axial_inflow(LARGE, speed))
        values.append(coefficients(LARGE, air, loads, speed).efficiency)
    assert_allclose(values, values[0], atol=0.02)
