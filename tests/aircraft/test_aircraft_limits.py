"""What limits an aircraft: control, tail, battery, motors, rotational speed; and its schedule."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
from aircraft_scene import scene, small_result, tables
from numpy.testing import assert_allclose

from blownwing.aircraft import stall as stall_module
from blownwing.aircraft.checks import motor_duty
from blownwing.aircraft.configuration import configured, failed, operating_case
from blownwing.aircraft.control import control_speeds
from blownwing.aircraft.driven import driven_polar, excess_power
from blownwing.aircraft.failure import failed_take_off
from blownwing.aircraft.performance import APPROACH_SETTINGS
from blownwing.aircraft.polar import balanced, check_tail, solved_polar
from blownwing.aircraft.power import (
    battery_share,
    fastest_with_thrust,
    setting_thrust,
    thrust_limits,
)
from blownwing.aircraft.stall import Largest, largest_lift, stall
from blownwing.aircraft.vspeeds import named_speeds
from blownwing.case.model import Case
from blownwing.case.reader import read_case
from blownwing.errors import InputError, SolveError
from blownwing.propeller.disc import disc_loads

CASES = Path(__file__).parents[2] / "cases"
REFUSED = [
    ({"aircraft.battery.mass": 3300.0}, "3300 kg in an aircraft of 900 kg"),
    (
        {"aircraft.motors.0.specific_power": 100.0, "aircraft.battery.mass": 100.0},
        "100 kg of battery and 1000 kg of motors",
    ),
    ({"aircraft.battery.power": 500.0}, "800 W of 500 W"),
    ({"aircraft.motors.0.continuous_power": 3e4}, "accepted is at most power"),
    ({"aircraft.motors.0.overload_time": 3.0}, "needed with overload_time"),
    ({"aircraft.take_off.flaps": [15.0]}, "one of flap and flaps"),
    ({"aircraft.take_off.flap": None, "aircraft.take_off.flaps": [15.0, 1.0]}, "found 2 angles"),
    (
        {"aircraft.schedule": [{"phases": ["climb"], "propellers": ["none"]}]},
        'found "none"',
    ),
    (
        {"aircraft.schedule": [{"phases": ["climb"], "propellers": ["in", "out"],
                                "state": "stopped"}]},
        "no powered propeller in climb",
    ),
    (
        {"aircraft.schedule": [{"phases": ["climb"], "propellers": ["in"], "state": "folded",
                                "setting": 0.5}]},
        "not accepted with state",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("edits", "fragment"), REFUSED, ids=[f for _, f in REFUSED])
def test_what_cannot_be_is_refused(edits, fragment):
    with pytest.raises(InputError) as caught:
        scene(**edits)
    assert fragment in str(caught.value) and "\n" not in str(caught.value)


class TestControl:
    """A continued take-off is possible only where yaw and roll are held (equation of moments)."""

    def test_smallest_speed_is_where_the_fin_just_holds(self):
        """q S_fin cl l_fin = N at the speed found, by a solve of its own."""
        case = scene()
        ready = configured(case, "take_off")
        found = control_speeds(case, ready, "out", 30.0, 6.0)
        polar = driven_polar(case, failed(ready, ("out",)), found.air, 1.0, (6.0,))
        fin = 0.5 * polar.density * found.air**2 * 1.2 * 0.8 * 4.0
        assert_allclose(abs(polar.at(6.0)["yaw"]), fin, rtol=0.01)

    def test_a_larger_fin_holds_at_lower_speeds(self):
        small, large = (
            control_speeds(case, configured(case, "take_off"), "out", 30.0, 6.0).ground
            for case in (scene(), scene(**{"aircraft.controls.fin_area": 1.8}))
        )
        assert large < small

    @pytest.mark.slow
    def test_without_control_stopping_governs(self):
        result = small_result()
        failure = result.failed_take_off
        assert failure.control is not None
        assert failure.control.air > result.take_off.lift_off
        assert failure.going is None and not failure.is_controlled
        assert failure.speed == result.take_off.lift_off and failure.field == failure.stopping
        assert "held from" in failure.why_not

    @pytest.mark.slow
    def test_lift_off_raised_for_control_can_go_on(self):
        """14 CFR 23.51(a)(1), superseded: VR at least 1.05 VMC."""
        result = small_result()
        assert result.controlled is not None
        raised, later = result.controlled
        assert later.control is not None and later.is_controlled and later.going is not None
        assert raised.lift_off >= 1.04 * later.control.air
        assert raised.distance > result.take_off.distance

    @pytest.mark.slow
    def test_with_control_it_is_balanced_above_the_ground_minimum(self):
        case = scene(**{"aircraft.controls.fin_area": 2.4})
        ready = configured(case, "take_off")
        failure = failed_take_off(case, ready, small_result().take_off, "out")
        assert failure.control is not None and failure.is_controlled
        assert failure.going is not None and failure.speed >= failure.control.ground
        if failure.is_balanced:
            assert_allclose(failure.stopping, failure.going, rtol=1e-4)

    def test_named_speeds_and_margins(self):
        result = small_result()
        found = {item.name: item for item in named_speeds(result)}
        assert set(found) == {"V1", "VMCG", "VMC", "VR", "V2", "VREF"}
        stall_speed, vmc = result.stalls["take_off blown"].speed, found["VMC"].speed
        # 14 CFR 23.51(a)(1), (b), 23.73, as transcribed in `rules`
        assert_allclose(found["VR"].wanted, max(1.05 * vmc, 1.10 * stall_speed))
        assert_allclose(found["V2"].wanted, max(1.10 * vmc, 1.20 * stall_speed))
        assert found["VR"].is_short and found["VR"].over_control < 1.0


class TestTail:
    def test_the_tails_limit_has_no_steps(self):
        """A little more of a tail that ends the lift gives a little more lift, in proportion."""
        case = scene(**{"aircraft.take_off.flap": 40.0})
        ready = configured(case, "take_off")
        polar = solved_polar(ready, 24.0, setting_thrust(case, ready, 24.0, 1.0))
        first, second = (balanced(ready, polar.at(a), 24.0, polar.density).tail_share
                         for a in polar.alphas[:2].tolist())  # fmt: skip
        between = 0.9 * (0.7 * first + 0.3 * second)

        def lift(part: float) -> float:
            bound = case.replace(**{"aircraft.tail.clmax": between * part})
            return largest_lift(configured(bound, "take_off"), polar).lift

        low, mid, high = lift(1.0), lift(1.0 + 1e-6), lift(1.0 + 2e-6)
        assert 0.0 < low < mid < high
        assert_allclose(high - mid, mid - low, rtol=1e-2)

    def test_the_tail_limits_the_lift(self):
        """Half the tail's lift coefficient, a tail that cannot balance what it balanced."""
        case = scene(**{"aircraft.take_off.flap": 40.0})
        ready = configured(case, "take_off")
        thrust = setting_thrust(case, ready, 24.0, 1.0)
        polar = solved_polar(ready, 24.0, thrust)
        free = largest_lift(ready, polar)
        state = balanced(ready, polar.at(free.alpha), 24.0, polar.density)
        # definition: L_t / (q S_t) over the limit
        pressure = 0.5 * polar.density * 24.0**2
        assert_allclose(state.tail_share, abs(state.tail_lift) / (pressure * 1.9 * 0.9))
        weak = scene(**{"aircraft.take_off.flap": 40.0,
                        "aircraft.tail.clmax": 0.9 * 0.5 * state.tail_share})  # fmt: skip
        bound = largest_lift(configured(weak, "take_off"), polar)
        assert not free.by_tail and bound.by_tail and bound.lift < free.lift
        with pytest.raises(SolveError, match="tail would need a lift coefficient"):
            check_tail(
                configured(weak, "take_off"),
                balanced(configured(weak, "take_off"), polar.at(free.alpha), 24.0, polar.density),
                24.0,
            )


class TestBattery:
    def test_its_power_limit_holds_the_motors(self):
        """P_shaft = (P_battery − systems) η at the limit, shared by the motors' powers."""
        case = scene(**{"aircraft.battery.power": 60e3})
        ready = configured(case, "take_off")
        shaft = (60e3 - 800.0) * 0.94 * 0.98
        assert_allclose(battery_share(case, ready), shaft / 100e3)
        full, _ = thrust_limits(case, ready, 20.0)["in"]
        loads = disc_loads(full, 1.2, 20.0, ready.case.air.density)
        assert_allclose(loads.power, 0.25 * shaft, rtol=1e-9)

    def test_c_rate_is_power_over_energy(self):
        case = scene(**{"aircraft.battery.c_rate": 1.5})
        assert case.aircraft is not None
        assert_allclose(case.aircraft.battery.power_limit, 1.5 * 250.0 * 200.0)

    def test_duty_of_motors(self):
        """Time above continuous power: the segments whose load is above it, none above the peak."""
        result = small_result()
        climb = next(s for s in result.mission.segments if s.name == "climb")
        early = sum(s.time for s in result.mission.segments[: result.mission.segments.index(climb)])
        easy = scene(**{"aircraft.motors.0.continuous_power": 24999.9})
        hard = scene(**{"aircraft.motors.0.continuous_power": 15000.0,
                        "aircraft.motors.0.overload_time": 0.5})  # fmt: skip
        (kept,), (broken,) = motor_duty(easy, result.mission), motor_duty(hard, result.mission)
        assert kept.minutes <= 0.05 * (early + climb.time) / 60.0 or kept.most > 24999.9
        assert broken.minutes >= 0.9 * climb.time / 60.0 and not broken.is_kept

    def test_no_motor_above_its_power_in_the_wing_s_flow(self):
        case = scene()
        ready = configured(case, "take_off")
        polar = driven_polar(case, ready, 24.0, 1.0)
        assert max(excess_power(case, ready, polar).values()) <= 1.001


class TestEnergy:
    def test_work_is_energy_gained(self):
        """Conservation of energy: (T − D) V from new solves is W dh/dt of the trajectory."""
        checks = small_result().checks
        assert [check.where for check in checks] == ["climb", "cruise"]
        assert all(abs(check.error) < 0.02 for check in checks)

    def test_acceleration_is_paid(self):
        """Thrust work less drag work of the accelerations is ½ m ΔV² (energy theorem)."""
        for segment in small_result().mission.segments:
            if segment.name == "acceleration":
                assert segment.thrust_work > segment.drag_work and segment.faster > 0.0
        flown = small_result().mission
        assert_allclose(flown.speed[-1], 52.0)
        total = [s for s in flown.segments if s.name == "acceleration"]
        gained = sum(s.thrust_work - s.drag_work for s in total)
        start = 1.2 * small_result().take_off.stall_speed
        assert_allclose(gained, 0.5 * 900.0 * (52.0**2 - start**2), rtol=2e-3)

    def test_cruise_curve_starts_at_the_stall_of_its_altitude(self):
        """V ∝ 1/√ρ at equal CL (definition of the lift coefficient)."""
        result = small_result()
        low, high = result.stalls["clean unblown"].speed, result.stalls["cruise unblown"].speed
        assert_allclose(high / low, (1.225 / result.tables["cruise"].density) ** 0.5, rtol=5e-3)
        assert result.cruise[0].speed >= 1.05 * high * (1.0 - 1e-9)

    def test_gusts_know_the_stall(self):
        result = small_result()
        assert_allclose(
            result.gust_limits["approach"],
            (result.approach.speed / result.approach.stall_speed) ** 2,
        )


class TestSchedule:
    rows = [  # noqa: RUF012  # never changed
        {"phases": ["climb", "cruise"], "propellers": ["in"], "state": "folded"},
        {"phases": ["approach"], "propellers": ["in"], "setting": 0.4},
        {"phases": ["descent"], "propellers": ["out"], "state": "windmilling"},
        {"phases": ["descent"], "propellers": ["in"], "state": "powered"},
    ]

    def case(self):
        return scene(**{"aircraft.schedule": self.rows})

    def test_who_does_what(self):
        case = self.case()
        assert configured(case, "climb").powered == ("out", "out_port")
        assert configured(case, "take_off").idle == ()
        landing = configured(case, "approach")
        assert landing.held == {"in": 0.4, "in_port": 0.4}
        assert landing.shares(0.0) == {"in": 0.4, "in_port": 0.4, "out": 0.0, "out_port": 0.0}
        descent = configured(case, "descent")
        assert descent.idle_states == {"out": "windmilling", "out_port": "windmilling"}

    def test_a_held_group_keeps_its_thrust(self):
        case = self.case()
        landing = configured(case, "approach")
        low, high = (setting_thrust(case, landing, 28.0, s) for s in (0.0, 1.0))
        assert low["in"] == high["in"] > 0.0 and low["out"] == 0.0 < high["out"]

    def test_a_failed_motor_leaves_the_others_states(self):
        """A failed propeller stops; the ones folded before stay folded."""
        case = scene(**{"aircraft.schedule": self.rows, "aircraft.inoperative_state": "stopped"})
        fewer = failed(configured(case, "climb"), ("out",))
        assert fewer.idle_states["in"] == "folded" and fewer.idle_states["out"] == "stopped"

    def test_gear_and_flaps_by_phase(self):
        case = scene(**{
            "aircraft.gear_drag_area": 0.2, "aircraft.gear_down": ["approach"],
            "aircraft.take_off.flap": None, "aircraft.take_off.flaps": [12.0],
        })  # fmt: skip
        assert configured(case, "take_off").drag_area == pytest.approx(0.35)
        assert configured(case, "approach").drag_area == pytest.approx(0.75)
        assert configured(case, "take_off").case.wing.flaps[0].deflection == pytest.approx(0.7 * 12)


class TestRotationalSpeed:
    """Fixed pitch with an honest rpm limit: throttled, then without thrust, then told."""

    def case(self, rpm):
        from test_aircraft_trade import BLADE

        result = tables()
        for item, y in zip(result["propellers"], (1.5, 3.0), strict=True):
            item |= {"kind": "blade", "blades": 5, "blade": str(BLADE), "spin": "inboard_up"}
            item |= {"position": [-0.6, y, 0.0], "diameter": 1.1}
        result["aircraft"]["motors"][0] |= {"rpm": rpm}
        return Case.from_tables(result)

    def test_throttled_at_the_limit(self):
        case = self.case(2600.0)
        climb = configured(case, "climb")
        wanted = setting_thrust(case, climb, 30.0, 1.0)
        tabled = operating_case(climb, 30.0, (4.0,), wanted)
        assert all(item.thrust is not None for item in tabled.propellers)
        full, capped = thrust_limits(case, climb, 30.0)["out"]
        assert 0.0 < capped < full

    def test_without_thrust_the_propeller_is_named(self):
        case = self.case(2600.0)
        climb = configured(case, "climb")
        end = fastest_with_thrust(case, climb, 20.0, 80.0)
        assert 30.0 < end < 80.0
        with pytest.raises(SolveError, match=r"propeller in.*2600 rpm without thrust.*schedule"):
            setting_thrust(case, climb, 80.0, 1.0)
        # J of no thrust is one number of a fixed blade, Reynolds and Mach aside (definition of J)
        faster = fastest_with_thrust(self.case(2860.0), climb, 20.0, 80.0)
        assert_allclose(faster / end, 1.1, rtol=0.03)


def test_the_unblown_stall_has_no_held_thrust():
    rows = [{"phases": ["approach"], "propellers": ["in"], "setting": 0.4}]
    case = scene(**{"aircraft.schedule": rows})
    from blownwing.aircraft.stall import no_thrust_stall

    landing = configured(case, "approach")
    bare = no_thrust_stall(case, landing)
    assert bare.thrust == 0.0
    assert stall(case, landing, 0.0, near=bare).speed < bare.speed
    free = replace(landing, held={})
    assert math.isclose(no_thrust_stall(case, free).speed, bare.speed, rel_tol=1e-9)


def test_a_stall_that_hardly_hangs_on_speed_is_found(monkeypatch):
    """Where thrust carries most, steps along a line would lead to a hundred times the speed."""
    case = scene()
    ready = configured(case, "take_off")
    asked = []

    def carried(speed):
        # 0.95 of the weight at low speed, 1.0 at 20 m/s: flat below, steep close to the answer
        asked.append(speed)
        return ready.weight * (0.95 + 0.002 * (speed / 20.0) + 0.048 * (speed / 20.0) ** 30)

    monkeypatch.setattr(
        stall_module,
        "driven_polar",
        lambda case, configuration, speed, *rest, **named: SimpleNamespace(
            thrust=1.0, airspeed=speed
        ),
    )
    monkeypatch.setattr(
        stall_module,
        "largest_lift",
        lambda configuration, polar: Largest(carried(polar.airspeed), 10.0, 1.0, 1.0, True),
    )
    found = stall(case, ready, 1.0)
    assert_allclose(found.speed, 20.0, rtol=1e-3)
    assert max(asked) < 60.0


@pytest.mark.slow
def test_the_light_blown_aircraft_has_its_stalls():
    case = read_case(CASES / "aircraft_light_blown.toml")
    landing = configured(case, "approach")
    speeds = []
    for setting in APPROACH_SETTINGS:
        near = speeds[-1] if speeds else None
        speeds.append(stall(case, landing, setting, near=near))
    assert all(10.0 < found.speed < 25.0 for found in speeds), speeds
