"""Propellers at incidence: azimuth-resolved blade elements against Ribner and de Young."""

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from blownwing.case.air import air_at
from blownwing.errors import InputError
from blownwing.propeller.blade import read_blade
from blownwing.propeller.incidence import fin_slope, inflow_factor, ribner_factor
from blownwing.propeller.rotor import axial_inflow, build_rotor, solve_rotor

BLADES = Path(__file__).parents[2] / "shared" / "blades"
AIR = air_at()
ANGLE = math.radians(1.0)


def slopes(rotor, speed, omega, pitch):
    """Tc, and normal force and yawing moment per rad on qA and qAD."""
    loads = solve_rotor(
        rotor, AIR, omega, pitch, "clockwise", axial_inflow(rotor, speed, ANGLE, 36)
    )
    unit = 0.5 * AIR.density * speed**2 * math.pi * rotor.radius**2
    return (
        loads.thrust / unit,
        loads.force_up / ANGLE / unit,
        loads.moment_up / ANGLE / unit / rotor.diameter,
    )


@pytest.mark.parametrize(
    ("loading", "value"),
    [
        (0.0, 1.0),
        (0.1, 1.036309),
        (0.5, 1.162372),
        (1.0, 1.290440),
        (2.0, 1.491025),
        (4.0, 1.784701),
    ],
)
def test_inflow_factor(loading, value):
    # de Young (1965), J. Aircraft 2(3), and Ribner (1945), NACA TR 820, recalled separately:
    # identical with Tc = 4a(1 + a)
    assert_allclose(inflow_factor(loading), value, atol=1e-6)
    a = 0.5 * (math.sqrt(1.0 + loading) - 1.0)
    assert_allclose(ribner_factor(a), inflow_factor(loading), rtol=1e-12)


def test_normal_force_of_a_narrow_bladed_propeller_is_the_fin_s():
    # Ribner (1945), NACA TR 820, summary: a fin of the projected side area, aspect ratio of the
    # order of 8, in the dynamic pressure augmented by the inflow
    rotor = build_rotor(read_blade(BLADES / "cruise_3.csv"), 1.8, 3, 30)
    ratios = []
    for pitch in np.radians([-8.0, -6.0, -4.0, -2.0, 0.0, 2.0]):
        loading, normal, _ = slopes(rotor, 50.0, 210.0, float(pitch))
        ratios.append(normal / fin_slope(rotor, float(pitch), loading))
    assert_allclose(ratios, 1.0, atol=0.15)


def test_normal_force_grows_with_thrust_as_the_inflow_factor():
    # a broader-bladed one: the level is lower (its own sidewash), the growth from Tc 0.13 to 1.8
    # is that of de Young's factor times the side area
    rotor = build_rotor(read_blade(BLADES / "high_lift_5.csv"), 0.8, 5, 30)
    ratios, loadings = [], []
    for pitch in np.radians([-8.0, -4.0, 0.0, 4.0, 6.0]):
        loading, normal, _ = slopes(rotor, 28.0, 366.0, float(pitch))
        loadings.append(loading)
        ratios.append(normal / fin_slope(rotor, float(pitch), loading))
    assert loadings[0] < 0.15
    assert loadings[-1] > 1.7
    assert_allclose(ratios, np.mean(ratios), rtol=0.10)
    assert 0.65 < np.mean(ratios) < 1.0


def test_yawing_moment_is_of_the_order_of_the_side_force_times_the_radius():
    # Ribner (1945), summary: single rotation has a moment of the order of side force × R
    for name, diameter, blades, speed, omega in (
        ("high_lift_5", 0.8, 5, 28.0, 366.0),
        ("cruise_3", 1.8, 3, 50.0, 210.0),
    ):
        rotor = build_rotor(read_blade(BLADES / f"{name}.csv"), diameter, blades, 30)
        _, normal, moment = slopes(rotor, speed, omega, 0.0)
        assert 0.5 < moment * diameter / (normal * rotor.radius) < 2.0


def test_loads_vary_once_round_the_azimuth():
    # the down-going blade (starboard for clockwise) pulls most, the up-going one least
    rotor = build_rotor(read_blade(BLADES / "cruise_3.csv"), 1.8, 3)
    inflow = axial_inflow(rotor, 50.0, math.radians(6.0), 24)
    thrust = []
    for k in range(24):
        one = np.repeat(inflow[:, k : k + 1], 1, axis=1).copy()
        # the same blade element flow as at azimuth k, put to the single station at the bottom
        psi = 2.0 * math.pi * (k + 0.5) / 24
        along = math.cos(psi) * one[1] - math.sin(psi) * one[2]
        one[1], one[2] = -along, 0.0
        thrust.append(solve_rotor(rotor, AIR, 210.0, 0.0, "clockwise", one).thrust)
    thrust = np.array(thrust)
    assert 4 <= int(np.argmax(thrust)) <= 7  # near 90 degrees past the top
    spectrum = np.abs(np.fft.rfft(thrust))
    assert spectrum[1] > 20.0 * spectrum[2:].max()
    whole = solve_rotor(rotor, AIR, 210.0, 0.0, "clockwise", inflow)
    assert_allclose(thrust.mean(), whole.thrust, rtol=1e-7)


def test_a_loading_that_stops_the_flow_is_refused():
    with pytest.raises(InputError, match="above -1"):
        inflow_factor(-1.0)
