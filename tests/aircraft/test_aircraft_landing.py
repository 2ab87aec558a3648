"""Landing: geometry of approach and flare, brakes, reverse, the balked landing."""

from __future__ import annotations

import math

import pytest
from aircraft_scene import scene, small_result
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from blownwing.aircraft.configuration import configured, unpowered
from blownwing.aircraft.ground import rolled
from blownwing.aircraft.landing import air_part, landed
from blownwing.aircraft.polar import solved_polar
from blownwing.aircraft.takeoff import steady_gradient

G = 9.80665


class TestAirPart:
    def test_worked_numbers(self):
        """30 m/s, touchdown 27, 3 degrees, n 1.2, 15.24 m: computed by hand from the arc.

        R = 28.5²/(0.2 g) = 414.13 m, height R (1 − cos 3°) = 0.5675 m, flare R sin 3° = 21.674 m,
        approach (15.24 − 0.5675)/tan 3° = 279.97 m.
        """
        found = air_part(30.0, 27.0, -3.0, 15.24, 1.2)
        assert_allclose([found.height, found.flare, found.approach], [0.5675, 21.674, 279.97],
                        rtol=1e-4)  # fmt: skip

    @given(st.floats(1.05, 1.6), st.floats(2.0, 12.0), st.floats(20.0, 50.0))
    def test_the_path_ends_level_at_the_ground(self, load, angle, speed):
        """Heights of straight line and arc add up to the screen (geometry)."""
        found = air_part(speed, 0.9 * speed, -angle, 15.24, load)
        straight = found.approach * math.tan(math.radians(angle))
        assert_allclose(straight + found.height, 15.24, rtol=1e-9)
        assert found.approach >= 0.0 < found.flare

    def test_an_instant_flare_is_the_straight_path(self):
        found = air_part(30.0, 30.0, -3.0, 15.24, 1e6)
        assert_allclose(
            found.approach + found.flare, 15.24 / math.tan(math.radians(3.0)), rtol=1e-4
        )

    def test_headwind_shortens_by_its_way(self):
        still, windy = (air_part(30.0, 27.0, -3.0, 15.24, 1.2, wind) for wind in (0.0, 5.0))
        total = [part.approach + part.flare for part in (still, windy)]
        assert_allclose(total[0] - total[1], 5.0 * still.time, rtol=1e-9)


class TestLanding:
    def test_braking_limit(self):
        """No air forces: V²/(2 g μ), exact (energy theorem)."""
        roll = rolled(lambda v: (0.0, 0.0, 0.0), 9000.0, 0.3, start=25.0, end=0.0)
        assert_allclose(roll.distance, 25.0**2 / (2.0 * G * 0.3), rtol=1e-9)

    def test_parts_add_up(self):
        landing, final = small_result().landing, small_result().approach
        parts = landing.approach + landing.flare + landing.free + landing.braked
        assert_allclose(landing.distance, parts)
        assert_allclose(landing.field, 1.67 * landing.distance)
        assert_allclose(landing.touchdown, 1.15 * final.stall_speed)
        assert landing.keeps_thrust == (landing.touchdown < final.unblown_stall_speed)
        assert_allclose(landing.free, 2.0 * landing.touchdown)

    def test_braked_roll_against_the_closed_form(self):
        """Constant coefficients: s = ln(1 + K V²/μ)/(2 g K), K = ρ S (CD − μ CL)/(2 W) (integral
        of V dV = −a ds; Raymer 1989, section 17.9, from memory), with forces of one solve."""
        landing = small_result().landing
        ready = configured(small_result().case, "landing")
        idle, speed = unpowered(ready), landing.touchdown
        polar = solved_polar(idle, speed, {}, (2.0,), 1.4)
        forces, unit = polar.at(2.0), 0.5 * polar.density * speed**2
        drag = forces["drag"] + unit * idle.drag_area
        k = (drag - 0.3 * forces["lift"]) / speed**2 / ready.weight
        exact = math.log1p(k * speed**2 / 0.3) / (2.0 * G * k)
        assert_allclose(landing.braked, exact, rtol=0.01)

    @pytest.mark.parametrize(
        ("key", "value"), [("reverse", 0.4), ("spoiled_lift", 0.9), ("braking", 0.45)]
    )
    def test_what_shortens_the_roll(self, key, value):
        case = scene(**{"aircraft.landing": {key: value}})
        found = landed(case, configured(case, "landing"), small_result().approach)
        assert found.braked < small_result().landing.braked

    def test_balked_landing_is_a_solved_climb(self):
        """The gradient by the take-off's own routine, at the approach's speed and flaps."""
        result = small_result()
        case = result.case
        again = steady_gradient(case, configured(case, "approach"), result.approach.speed)
        assert_allclose(result.go_around.gradient, again, rtol=1e-6)
