"""Pure formulas of the aircraft against published worked forms and independent integration.

Numbers marked "computed" were worked out from the cited equation by hand, outside this package.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp

from blownwing.aircraft.airborne import to_screen, transition_radius
from blownwing.aircraft.energy import electric_range, range_power
from blownwing.aircraft.ground import closed_roll, rolled, timed_roll
from blownwing.aircraft.gust import gust_load
from blownwing.errors import InputError, SolveError

G = 9.80665
FOOT, KNOT, POUND_FORCE = 0.3048, 1852.0 / 3600.0, 4.4482216152605
PSF = POUND_FORCE / FOOT**2

# A worked aircraft (computed): W 15 kN, S 20 m², CLmax 2, CL on the wheels 0.5, CD0 0.06, K 0.05.
WEIGHT, AREA, DENSITY, FRICTION = 15000.0, 20.0, 1.225, 0.04
CL, CD = 0.5, 0.06 + 0.05 * 0.5**2
STALL = math.sqrt(2.0 * WEIGHT / (DENSITY * AREA * 2.0))
LIFT_OFF = 1.1 * STALL


def ideal_roll(
    weight: float, area: float, density: float, lift_coefficient: float, thrust: float
) -> float:
    """Ground roll (m) of constant thrust without drag and friction: (W/S)/(ρ g CL T/W).

    In feet and lb/ft² at sea level 1/(ρ g) is 13.07 ft³/lb; the factor quoted for it, 13, is
    common practice (no source).

    Args:
        weight, thrust: N. area: m². density: kg/m³. lift_coefficient: at lift-off.
    """
    return (weight / area) / (density * G * lift_coefficient * thrust / weight)


def rule_increment(
    alleviation: float, gust: float, airspeed: float, slope: float, wing_loading: float
) -> float:
    """Load factor added, in the units and with the rounded divisor of the rule's text.

    Kg Ude V a/(498 W/S); exact units give 498.5, so that SI results lie 0.1 % lower.

    Args:
        alleviation: Kg. gust: ft/s. airspeed: equivalent, kt. slope: 1/rad. wing_loading: lb/ft².

    Source: 14 CFR 23.341(c), superseded 2017 (divisor from memory).
    """
    return alleviation * gust * airspeed * slope / (498.0 * wing_loading)


def forces_of(thrust):
    """Forces on the wheels of the worked aircraft, for a thrust as a function of speed."""

    def forces(speed):
        unit = 0.5 * DENSITY * speed**2 * AREA
        return thrust(speed) - CD * unit, CL * unit, 0.0

    return forces


class TestGroundRoll:
    def test_worked_number_closed_form(self):
        """109.840 m, computed from Raymer's ground-roll equation (1989, section 17.8)."""
        assert_allclose(STALL, 24.744, atol=5e-4)
        found = closed_roll(WEIGHT, AREA, DENSITY, 6000.0, CL, CD, FRICTION, LIFT_OFF)
        assert_allclose(found, 109.840, rtol=1e-5)

    def test_worked_number_integrated(self):
        """Constant thrust: the integration must give the closed form, whose solution it is."""
        roll = rolled(forces_of(lambda v: 6000.0), WEIGHT, FRICTION, end=LIFT_OFF)
        assert_allclose(roll.distance, 109.840, rtol=1e-5)

    def test_falling_thrust_worked_number(self):
        """Thrust falling linearly by 40 % at 27 m/s: 165.9 m integrated, 164.4 m closed (computed).

        The closed form takes thrust at V/√2 (Raymer 1989); it is 0.9 % short.
        """

        def thrust(speed):
            return 6000.0 * (1.0 - 0.4 * speed / 27.0)

        roll = rolled(forces_of(thrust), WEIGHT, FRICTION, end=LIFT_OFF)
        mean = thrust(LIFT_OFF / math.sqrt(2.0))
        closed = closed_roll(WEIGHT, AREA, DENSITY, mean, CL, CD, FRICTION, LIFT_OFF)
        assert_allclose(roll.distance, 165.9, rtol=1e-3)
        assert_allclose(closed, 164.4, rtol=1e-3)

    def test_ideal_limit(self):
        """No drag, no friction, constant thrust: (W/S)/(ρ g CL T/W), exact (energy theorem)."""
        speed = math.sqrt(2.0 * WEIGHT / (DENSITY * AREA * 1.7))
        exact = ideal_roll(WEIGHT, AREA, DENSITY, 1.7, 4000.0)
        roll = rolled(lambda v: (4000.0, 0.0, 0.0), WEIGHT, 0.0, end=speed)
        closed = closed_roll(WEIGHT, AREA, DENSITY, 4000.0, 0.3, 0.0, 0.0, speed)
        assert_allclose([roll.distance, closed], exact, rtol=1e-9)

    def test_factor_of_thirteen(self):
        """In feet and lb/ft² at sea level the factor is 13.07; 13 is common practice, no source."""
        factor = ideal_roll(PSF, 1.0, DENSITY, 1.0, PSF) / FOOT
        assert_allclose(factor, 13.07, rtol=1e-3)
        assert abs(factor / 13.0 - 1.0) < 0.01

    def test_against_scipy_with_wind_and_slope(self):
        """scipy.integrate.solve_ivp on the equation of motion in time, wind 4 m/s, uphill 1 %."""
        forces = forces_of(lambda v: 6000.0 - 55.0 * v)
        wind, slope = 4.0, 0.01

        def motion(_t, state):
            along, lift, _ = forces(state[1])
            angle = math.atan(slope)
            ground = FRICTION * max(WEIGHT * math.cos(angle) - lift, 0.0)
            return state[1] - wind, (along - ground - WEIGHT * math.sin(angle)) * G / WEIGHT

        def off(_t, state):
            return state[1] - LIFT_OFF

        off.terminal = True
        exact = solve_ivp(motion, (0.0, 100.0), (0.0, wind), events=off, rtol=1e-11, atol=1e-11)
        roll = rolled(forces, WEIGHT, FRICTION, slope, wind, wind, LIFT_OFF)
        assert_allclose(roll.distance, exact.y[0, -1], rtol=1e-7)
        assert_allclose(roll.time, exact.t[-1], rtol=1e-7)
        t, v, s = timed_roll(forces, WEIGHT, FRICTION, LIFT_OFF, slope=slope, headwind=wind)
        assert_allclose([t[-1], v[-1], s[-1]], [exact.t[-1], LIFT_OFF, exact.y[0, -1]], rtol=1e-6)

    @given(st.floats(0.0, 0.08), st.floats(2500.0, 9000.0), st.floats(0.02, 0.12))
    def test_closed_form_is_the_integral(self, friction, thrust, drag):
        def forces(speed):
            unit = 0.5 * DENSITY * speed**2 * AREA
            return thrust - drag * unit, CL * unit, 0.0

        closed = closed_roll(WEIGHT, AREA, DENSITY, thrust, CL, drag, friction, 20.0)
        assert_allclose(rolled(forces, WEIGHT, friction, end=20.0).distance, closed, rtol=1e-8)

    def test_energy_theorem(self):
        """Work of the net force less work of friction is the kinetic energy gained."""
        forces = forces_of(lambda v: 6000.0 - 40.0 * v)
        roll = rolled(forces, WEIGHT, FRICTION, end=LIFT_OFF)
        powered = rolled(
            lambda v: (*forces(v)[:2], forces(v)[0] * v), WEIGHT, FRICTION, end=LIFT_OFF
        )
        kinetic = 0.5 * WEIGHT / G * LIFT_OFF**2
        assert_allclose(powered.energy - roll.ground_work, kinetic, rtol=1e-9)

    def test_too_little_thrust_is_an_error(self):
        with pytest.raises(SolveError, match="no longer accelerates"):
            rolled(forces_of(lambda v: 500.0), WEIGHT, FRICTION, end=LIFT_OFF)
        with pytest.raises(SolveError, match="do not accelerate"):
            closed_roll(WEIGHT, AREA, DENSITY, 500.0, CL, CD, FRICTION, LIFT_OFF)
        with pytest.raises(SolveError, match="no longer accelerates"):
            timed_roll(forces_of(lambda v: 500.0), WEIGHT, FRICTION, LIFT_OFF)
        with pytest.raises(InputError, match="accepted are >= 0"):
            rolled(forces_of(lambda v: 6000.0), WEIGHT, FRICTION, end=math.nan)


class TestTransition:
    def test_radius_factor(self):
        """R = 6.96 Vs²/g at 1.15 Vs and n = 1.19: Anderson (1999), section 6.7.2."""
        assert_allclose(transition_radius(1.0, 1.15, 1.19) * G, 6.96, rtol=1e-3)

    def test_air_distance_of_the_worked_aircraft(self):
        """114.1 m to 50 ft (computed from Anderson's arc)."""
        found = to_screen(STALL, 0.3, 50.0 * FOOT)
        assert_allclose(found.distance, 114.1, rtol=1e-3)

    def test_straight_climb_after_the_arc(self):
        """A shallow climb: geometry of arc and tangent, written out here anew."""
        gradient, height = 0.05, 15.24
        found = to_screen(STALL, gradient, height)
        angle = math.asin(gradient)
        top = found.radius * (1.0 - math.cos(angle))
        assert top < height
        straight = (height - top) / math.tan(angle)
        assert_allclose(found.distance, found.radius * gradient + straight, rtol=1e-12)

    def test_no_climb_is_an_error(self):
        with pytest.raises(SolveError, match="not reached"):
            to_screen(STALL, 0.0)
        with pytest.raises(SolveError, match="no lift to curve"):
            to_screen(STALL, 0.2, lift_off=1.0, screen=1.05)


class TestGust:
    # W/S 15 lb/ft², chord 4.5 ft, slope 5, 150 kt, 50 ft/s at sea level (computed)
    given = (15.0 * PSF, 4.5 * FOOT, 5.0, 150.0 * KNOT, 50.0 * FOOT)

    def test_worked_number(self):
        """Mass ratio and alleviation by Pratt (1953), NACA TN 2964; 14 CFR 23.341(c)."""
        found = gust_load(*self.given)
        assert_allclose(found.mass_ratio, 17.435, rtol=1e-3)
        assert_allclose(found.alleviation, 0.67485, rtol=1e-3)
        rule = rule_increment(found.alleviation, 50.0, 150.0, 5.0, 15.0)
        assert_allclose(rule, 3.388, rtol=1e-3)
        assert_allclose(found.added, 3.384, rtol=1e-3)
        # the rule's divisor is rounded: exact units give 2/(ρ₀ kt), 498.5 in slug/ft³
        assert_allclose(rule / found.added, 2.0 / (0.0023769 * 1.68781) / 498.0, rtol=1e-4)

    def test_limits(self):
        """A heavy aircraft feels 0.88 of the sharp-edged gust (Kg → 0.88)."""
        heavy = gust_load(1e9, 1.0, 5.0, 80.0, 15.0)
        assert_allclose(heavy.alleviation, 0.88, rtol=1e-5)
        with pytest.raises(InputError, match="above 0"):
            gust_load(800.0, 1.2, 0.0, 50.0, 15.0)


class TestRange:
    @pytest.mark.parametrize(
        ("energy", "efficiency", "glide", "fraction", "kilometres"),
        [
            (180.0, 0.73, 12.0, 0.25, 144.7),
            (250.0, 0.75, 14.0, 0.30, 289.1),
            (400.0, 0.80, 16.0, 0.35, 657.8),
        ],
    )
    def test_worked_numbers(self, energy, efficiency, glide, fraction, kilometres):
        """Computed from Hepperle (2012), STO-MP-AVT-209-09, the battery range equation."""
        found = electric_range(3600.0 * energy, efficiency, glide, fraction)
        assert_allclose(found / 1000.0, kilometres, rtol=1e-3)

    def test_equation_is_the_flight(self):
        """Flying the battery empty, step by step at constant L/D and mass, gives the equation."""
        mass, battery, glide, efficiency, speed = 1200.0, 300.0, 13.0, 0.7, 55.0
        left, distance = 200.0 * 3600.0 * battery, 0.0
        power = mass * G / glide * speed / efficiency
        while left > 0.0:
            step = min(10.0, left / power)
            left -= power * step
            distance += speed * step
        equation = electric_range(200.0 * 3600.0, efficiency, glide, battery / mass)
        assert_allclose(distance, equation, rtol=1e-3)
        assert_allclose(range_power(200.0 * 3600.0 * battery, power, speed)[0], equation, rtol=1e-9)


def test_speed_and_time_of_the_timed_roll_ascend():
    t, v, s = timed_roll(forces_of(lambda v: 6000.0), WEIGHT, FRICTION, LIFT_OFF)
    assert np.all(np.diff(t) > 0.0) and np.all(np.diff(v) > 0.0) and np.all(np.diff(s) > 0.0)
