"""The whole small aircraft: balances, limits, closures, failures, files and words."""

from __future__ import annotations

import math
from dataclasses import replace
from io import StringIO

import numpy as np
import pytest
import xarray
from aircraft_scene import scene, small_result
from numpy.testing import assert_allclose
from rich.console import Console

from blownwing.aircraft.approach import approach_state
from blownwing.aircraft.climb import climb_state, failure_climb
from blownwing.aircraft.configuration import configured, failed
from blownwing.aircraft.cruise import cruise_state
from blownwing.aircraft.failure import failed_take_off
from blownwing.aircraft.mission import Flown, flown_mission
from blownwing.aircraft.performance import APPROACH_SETTINGS
from blownwing.aircraft.polar import balanced, solved_polar, weights_at
from blownwing.aircraft.power import setting_thrust
from blownwing.aircraft.records import records
from blownwing.aircraft.stall import largest_lift, stall
from blownwing.aircraft.tables import lift_slopes
from blownwing.errors import InputError, SolveError
from blownwing.report import style
from blownwing.report.aircraft_figures import aircraft_figures
from blownwing.report.aircraft_summary import aircraft_words, warnings
from blownwing.report.words import print_words
from blownwing.solution.groups import save_groups
from blownwing.solution.model import CAUTION
from blownwing.solution.records import read_records

G = 9.80665
NO_FIN = {"aircraft.controls.fin_area": None, "aircraft.controls.fin_arm": None}


@pytest.fixture(scope="module")
def case():
    return scene()


@pytest.fixture(scope="module")
def result(case):
    return small_result()


def printed(performance):
    console = Console(file=StringIO(), width=80, highlight=False, markup=False)
    print_words("Aircraft", aircraft_words(performance), console)
    return console.file.getvalue()


class TestInterpolation:
    def test_polynomials_are_exact(self):
        """Interpolation through n nodes is exact for polynomials of degree n − 1 (algebra)."""
        nodes = np.array([-6.0, 1.0, 8.0, 15.0, 22.0])
        values = 2.0 - 0.3 * nodes + 0.01 * nodes**2 - 1e-4 * nodes**4
        at = 11.3
        exact = 2.0 - 0.3 * at + 0.01 * at**2 - 1e-4 * at**4
        assert_allclose(weights_at(nodes, at, "x", "") @ values, exact, rtol=1e-12)
        assert_allclose(weights_at(nodes, 8.0, "x", ""), [0, 0, 1, 0, 0])

    def test_nothing_is_extrapolated(self):
        with pytest.raises(SolveError, match="outside"):
            weights_at(np.array([0.0, 1.0]), 1.1, "x", "")

    def test_table_meets_new_solves_within_its_stated_error(self, case, result):
        """Direct solves at places the table has not seen; four times its stated worst error.

        Strips follow the slipstreams at every incidence, which moves lift by a thousandth.
        """
        table = result.tables["approach"]
        random = np.random.default_rng(7)
        configuration = table.configuration
        for _ in range(3):
            speed = float(random.uniform(table.speeds[0], table.speeds[-1]))
            setting, alpha = float(random.uniform(0.1, 0.9)), float(random.uniform(0.0, 12.0))
            thrust = setting_thrust(case, configuration, speed, setting)
            polar = solved_polar(configuration, speed, thrust, (alpha,))
            exact = balanced(configuration, polar.at(alpha), speed, table.density)
            found = table.balance(speed, setting, alpha)
            bound = 4.0 * max(table.errors["lift"], 1e-3)
            assert abs(found.lift - exact.lift) <= bound * max(exact.lift, configuration.weight)
            bound = 3.0 * max(table.errors["excess"], 1e-3) * configuration.weight
            assert abs(found.excess - exact.excess) <= bound
        assert 0.0 < max(table.errors.values()) < 0.02


class TestStall:
    def test_lift_at_the_stall_is_the_weight(self, case, result):
        configuration = configured(case, "take_off")
        found = result.stalls["take_off blown"]
        thrust = setting_thrust(case, configuration, found.speed, 1.0)
        top = largest_lift(configuration, solved_polar(configuration, found.speed, thrust))
        assert_allclose(top.lift, configuration.weight, rtol=5e-4)

    def test_zero_thrust_is_the_wing_without_propellers(self, case):
        """An unloaded disc does nothing; its slipstream's edges still split the lattice's strips,
        and on eight of them the share of the wing past its limit comes out in other steps."""
        ready = configured(case, "take_off")
        all_folded = failed(ready, ready.powered)
        bare = stall(case, all_folded, 0.0)
        assert_allclose(stall(case, ready, 0.0).speed, bare.speed, rtol=0.02)

    def test_order_of_the_speeds(self, result):
        speeds = {name: item.speed for name, item in result.stalls.items()}
        assert speeds["take_off blown"] < speeds["take_off failed"] < speeds["take_off unblown"]
        assert speeds["approach unblown"] < speeds["take_off unblown"] < speeds["clean unblown"]

    def test_stall_speed_goes_as_the_root_of_weight(self, case):
        """Unblown: V² ∝ W (definition of CLmax); the tail's share follows the moment."""
        ready = configured(case, "take_off")
        one = stall(case, ready, 0.0)
        two = stall(case, ready, 0.0, weight=1.44 * ready.weight)
        assert_allclose(two.speed / one.speed, 1.2, rtol=2e-3)


class TestTakeOff:
    def test_parts_add_up_and_forces_fall(self, result):
        run = result.take_off
        parts = run.roll.distance + run.rotation + run.airborne.distance
        assert_allclose(run.distance, parts)
        speed, along, lift, _ = run.history
        assert np.all(np.diff(along) < 0.0) and np.all(np.diff(lift) > 0.0) and speed[0] == 0.0

    def test_average_thrust_rule_comes_near(self, result):
        """Closed form at V/√2 (Raymer 1989) against the integral: within 5 %."""
        run = result.take_off
        assert_allclose(run.closed, run.roll.distance, rtol=0.05)

    def test_track_in_time_meets_the_integral_over_speed(self, result):
        run = result.take_off
        time, speed, distance = run.track
        assert_allclose(
            [time[-1], speed[-1], distance[-1]],
            [run.roll.time, run.lift_off, run.roll.distance],
            rtol=1e-4,
        )

    def test_failure_at_a_given_speed(self, result):
        """A later failure stops later; an earlier one continues with less thrust for longer."""
        found = []
        for speed in (15.0, 25.0):
            case = scene(**{"aircraft.failure_speed": speed} | NO_FIN)
            ready = configured(case, "take_off")
            found.append(failed_take_off(case, ready, result.take_off, "out"))
        early, late = found
        assert (early.speed, late.speed) == (15.0, 25.0) and not early.is_balanced
        assert early.stopping < late.stopping
        assert early.going is not None and late.going is not None and early.going > late.going

    def test_lift_off_margins(self, result):
        run = result.take_off
        assert run.lift_off >= 1.1 * result.stalls["take_off blown"].speed * (1.0 - 1e-9)
        assert run.lift_off_alpha <= 12.0 + 2e-3

    def test_balanced_failure(self, result):
        """Without a fin in the case yaw is not checked, and said not to be."""
        loose = scene(**NO_FIN)
        ready = configured(loose, "take_off")
        failure = failed_take_off(loose, ready, result.take_off, "out")
        assert failure.control is not None and not failure.control.checks_yaw
        assert failure.propeller == "out" and failure.going is not None
        longest = max(failure.stopping, failure.going)
        assert longest > result.take_off.roll.distance
        if failure.is_balanced:
            assert_allclose(failure.stopping, failure.going, rtol=1e-4)


class TestFailure:
    def test_mirrored_failures_mirror(self, case):
        ready = configured(case, "take_off")
        right = failure_climb(case, ready, ("out",), 34.0, 1.0)
        left = failure_climb(case, ready, ("out_port",), 34.0, 1.0)
        assert_allclose(
            [right.gradient, right.roll, right.yaw], [left.gradient, left.roll, left.yaw], rtol=1e-5
        )

    def test_yaw_is_thrust_times_arm(self, case):
        """The lost thrust acts 3.5 m off the centre line; wing moments stay below a quarter."""
        ready = configured(case, "take_off")
        thrust = setting_thrust(case, ready, 34.0, 1.0)
        fewer = failed(ready, ("out",))
        forces = solved_polar(fewer, 34.0, {n: t for n, t in thrust.items() if n != "out"}).at(6.0)
        arm = thrust["out"] * 3.5
        assert forces["yaw"] > 0.0  # port thrust remains: the nose turns to starboard
        assert abs(forces["yaw"] / arm - 1.0) < 0.25
        assert forces["roll"] > 0.0  # less lift to starboard: the starboard wing goes down

    def test_two_motors_on_both_sides_leave_no_moments(self, result):
        both = result.failures[1]
        assert both.failed == ("out", "out_port")
        assert abs(both.roll) < 1e-9 and abs(both.yaw) < 1e-9
        assert both.gradient < result.failures[0].gradient < result.best_gradient.gradient


class TestSteadyFlight:
    def test_cruise_is_a_balance(self, case, result):
        table, at = result.tables["cruise"], result.cruise_at
        state = table.balance(at.speed, at.setting, at.alpha)
        weight = table.configuration.weight
        assert_allclose(state.lift, weight, rtol=1e-8)
        assert abs(state.excess) < 1e-6 * weight
        assert_allclose(at.lift_to_drag, weight / state.drag)

    def test_power_chain(self, result):
        at = result.cruise_at
        assert_allclose(at.battery_power, at.shaft_power / (0.94 * 0.98) + 800.0, rtol=1e-12)

    def test_range_equation_is_reproduced(self, result):
        """Hepperle's equation at this L/D and efficiency against energy over power times speed."""
        for state in (result.cruise_at, result.best_range):
            assert_allclose(state.range_equation, state.range, rtol=1e-3)

    def test_best_speeds(self, result):
        assert result.best_endurance.speed <= result.best_range.speed
        assert result.best_range.range >= result.cruise_at.range * (1.0 - 1e-9)

    def test_climb_is_excess_thrust(self, result):
        table = result.tables["climb"]
        climb = climb_state(table, 40.0, 0.9)
        state = table.balance(40.0, 0.9, climb.alpha)
        assert_allclose(climb.gradient, state.excess / table.configuration.weight, atol=1e-6)
        assert_allclose(climb.rate, 40.0 * climb.gradient)

    def test_lift_slope_at_the_end_of_the_table(self, result):
        """Nothing is extrapolated: the last degree inside stands for the slope at the end."""
        table = result.tables["cruise"]
        end = float(table.alphas[-1])
        inside, at_end = (lift_slopes(table, 45.0, 0.5, a)[1] for a in (end - 1.0, end))
        assert_allclose(at_end, inside, rtol=0.05)
        assert 3.5 < at_end < 2.0 * math.pi

    def test_too_fast_is_an_error(self, case, result):
        table = result.tables["cruise"]
        with pytest.raises(SolveError, match="outside"):
            cruise_state(case, table, float(table.speeds[-1]) + 5.0)


class TestMission:
    def test_energy_closes(self, result):
        """Battery energy against the integral of power by trapezoids, and against the battery."""
        mission = result.mission
        used = np.trapezoid(mission.power, mission.time)
        assert_allclose(used, mission.usable, rtol=1e-3)
        assert mission.work_closure < 1e-3
        assert_allclose(sum(s.energy for s in mission.segments), mission.usable, rtol=1e-3)

    def test_work_is_drag_and_height(self, case, result):
        """Thrust work of the climb is drag work plus W h, from its own integrals."""
        climb = next(s for s in result.mission.segments if s.name == "climb")
        assert_allclose(climb.climb, 1500.0, rtol=1e-6)
        gained = climb.drag_work + 900.0 * G * 1500.0
        assert_allclose(climb.thrust_work, gained, rtol=1e-3)

    def test_order_and_reserve(self, result):
        names = [s.name for s in result.mission.segments]
        order = dict.fromkeys(names)
        assert list(order) == [
            "take-off", "acceleration", "climb", "cruise", "descent", "reserve",
        ]  # fmt: skip
        reserve = result.mission.segments[-1]
        assert_allclose(reserve.energy, 20.0 * 60.0 * result.cruise_at.battery_power)
        flown = sum(s.distance for s in result.mission.segments[:-1])
        assert_allclose(result.mission.range, flown)

    def test_too_small_a_battery_is_an_error(self, result):
        small = scene(**{"aircraft.battery.mass": 20.0})
        assert small.aircraft is not None
        tables = {
            name: replace(
                table, configuration=replace(table.configuration, aircraft=small.aircraft)
            )
            for name, table in result.tables.items()
        }
        flown = Flown(
            tables["take_off"],
            (tables["climb"], tables["climb_high"]),
            tables["cruise"],
            tables["cruise"],
        )
        with pytest.raises(SolveError, match="none is left to cruise"):
            flown_mission(small, result.take_off, flown, result.best_rate.speed)


class TestApproach:
    def test_path_and_margin(self, result):
        final = result.approach
        if final.holds_path:
            assert_allclose(final.path, -3.0, atol=1e-6)
        assert_allclose(final.speed, 1.3 * final.stall_speed, rtol=1e-9)
        assert final.stall_speed <= final.unblown_stall_speed
        assert_allclose(final.gust_alpha, math.degrees(math.atan2(5.0, final.speed)))

    def test_a_path_too_steep_is_flown_shallower(self, case, result):
        """At zero thrust the path is drag over lift, as steep as it gets."""
        steep = scene(**{"aircraft.approach.path": -15.0})
        assert steep.aircraft is not None
        table = result.tables["approach"]
        table = replace(table, configuration=replace(table.configuration, aircraft=steep.aircraft))
        landing = configured(steep, "approach")
        stalls = [stall(steep, landing, s) for s in APPROACH_SETTINGS]
        final = approach_state(table, APPROACH_SETTINGS, stalls)
        assert not final.holds_path and final.setting == 0.0 and -15.0 < final.path < -3.0
        state = table.balance(final.speed, 0.0, final.alpha)
        flown = math.sin(math.radians(final.path))
        assert_allclose(flown, state.excess / landing.weight, rtol=1e-9)

    def test_a_gust_on_a_blown_wing_is_no_less(self, result):
        assert result.gusts["cruise blown"].added >= 0.98 * result.gusts["cruise unblown"].added


class TestOutput:
    def test_file_reads_back(self, case, result, tmp_path):
        groups = records(result)
        path = save_groups(groups, case.title, case.to_toml(), tmp_path / "a.h5")
        again = read_records(path, "aircraft").groups
        assert set(again) == set(groups)
        for name, group in groups.items():
            assert set(again[name]) == set(group)
            for key, quantity in group.items():
                assert np.array_equal(again[name][key].value, quantity.value)
                assert again[name][key].units == quantity.units
        with xarray.open_dataset(path, group="tables/cruise", engine="h5netcdf") as data:
            assert data["lift"].dims == ("speed", "setting", "alpha")
            assert data["lift"].attrs["units"] == "N"

    def test_other_files_are_refused(self, tmp_path):
        with pytest.raises(InputError, match="no such"):
            read_records(tmp_path / "none.h5")
        (tmp_path / "bad.h5").write_bytes(b"not HDF5")
        with pytest.raises(InputError, match="not an HDF5 file"):
            read_records(tmp_path / "bad.h5")

    def test_summary_fits_and_ends_with_the_caution(self, result):
        text = printed(result)
        assert max(map(len, text.splitlines())) <= 80
        assert " ".join(text.split()).endswith(" ".join(CAUTION.split()))
        for word in ("kt)", "ft)", "lb/ft²", "Wh/kg", "nmi)", "Take-off", "14 CFR 23"):
            assert word in text

    def test_warnings_follow_the_numbers(self, result):
        short = scene(**{"aircraft.take_off.runway": 50.0})
        assert not any("take-off needs" in line for line in warnings(result))
        changed = type(result)(**{**vars(result), "case": short})
        assert any("the runway has 50 m" in line for line in warnings(changed))

    def test_figures(self, result, tmp_path):
        with style.settings():
            drawn = aircraft_figures(records(result), "Small")
        written = style.save_figures(drawn, tmp_path, "png")
        assert {p.name for p in written} == {
            "take_off.png",
            "speeds.png",
            "fields.png",
            "climb.png",
            "cruise.png",
            "mission.png",
            "masses.png",
        }
        assert all(p.stat().st_size > 10_000 for p in written)


class TestSectionTables:
    """The stall from section tables; one airspeed, so that it stays quick."""

    edits = {  # noqa: RUF012  # never changed
        "model.sections": "tables",
        "aircraft.section_clmax": None,
        "aircraft.flapped_clmax": None,
    }

    def test_peak_of_lift_is_a_peak(self):
        """More or less incidence than the stall's gives less lift, by separate solves."""
        clean = configured(scene(**self.edits), "climb")
        thrust = dict.fromkeys(clean.powered, 0.0)
        top = largest_lift(
            clean, solved_polar(clean, 32.0, thrust, (4.0, 8.0, 12.0, 16.0, 20.0, 24.0))
        )
        assert top.is_peak and 10.0 < top.alpha < 22.0

        def lift(alpha):
            polar = solved_polar(clean, 32.0, thrust, (alpha,))
            return balanced(clean, polar.at(alpha), 32.0, polar.density).lift

        assert lift(top.alpha - 4.0) < top.lift * 1.005 > lift(top.alpha + 4.0)
        assert_allclose(lift(top.alpha), top.lift, rtol=0.02)

    def test_flaps_are_set_whole(self):
        """Tables know what a flap does: no effectiveness comes on top."""
        ready = configured(scene(**self.edits), "take_off")
        assert ready.by_tables and ready.case.wing.flaps[0].deflection == 15.0
