"""The whole aircraft: every answer of a case with an aircraft table, from one function."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from blownwing.aircraft.approach import ApproachState, approach_state
from blownwing.aircraft.checks import Duty, EnergyCheck, energy_checks, motor_duty
from blownwing.aircraft.climb import (
    Climb,
    FailureClimb,
    climb_curve,
    failure_climb,
    fastest_climb,
    solved_climb,
    steepest,
    symmetric_failure,
)
from blownwing.aircraft.configuration import (
    Configuration,
    aircraft_of,
    configured,
    failed,
    finely,
    inoperative_propeller,
)
from blownwing.aircraft.cruise import CruiseState, cruise_curve, cruise_state
from blownwing.aircraft.drive import check_motor_tables
from blownwing.aircraft.failure import FailedTakeOff, failed_take_off
from blownwing.aircraft.gust import SEA_LEVEL_DENSITY, Gust, gust_load
from blownwing.aircraft.landing import Landing, landed
from blownwing.aircraft.mission import Flown, Mission, flown_mission
from blownwing.aircraft.noise import Noise, take_off_noise
from blownwing.aircraft.polar import balanced, solved_polar
from blownwing.aircraft.power import fastest_with_thrust, motor_power, setting_thrust
from blownwing.aircraft.rules import VMC_MARGIN
from blownwing.aircraft.stall import Stall, no_thrust_stall, stall
from blownwing.aircraft.tables import Table, built_table, lift_slopes, spread
from blownwing.aircraft.takeoff import TakeOffRun, take_off
from blownwing.case.air import GRAVITY
from blownwing.case.model import Case
from blownwing.errors import SolveError

APPROACH_SETTINGS = (0.0, 0.5, 1.0)
SLOWEST_CRUISE = 1.05  # of the clean stall speed at the cruise altitude
Progress = Callable[[str], None]
Later = Callable[..., Callable[[], Any]]
"""From a function and its arguments to a function to be called once, for the result."""


@dataclass(frozen=True)
class Performance:
    """All results of an aircraft.

    Attributes:
        case: the input. stalls: by name: "take_off blown", "unblown", "failed" and so on.
        take_off, failed_take_off: the runs; climb: gradients and rates over speed, take-off
            configuration and clean. failures: climb with the motor failed, as it is and with its
            mirror image shut down too. approach; go_around: climb-out after a balked landing, all
            motors at full; landing; noise of take-off. cruise: over speed; at: the case's cruise;
            best_range, best_endurance. gusts: blown and unblown, at cruise and approach.
        mission; checks: of its energy; duties: of motors with a continuous power.
        controlled: take-off and failure with lift-off raised to where the controls hold, None where
            they hold already or at no speed. gust_limits: load factor at which the wing stalls.
        fastest: m/s by table, where fixed-pitch propellers reach their motors' speed without thrust
            before the table's intended end. tables: the performance tables, by phase.
            wing_loading: N/m².
        resolution: how far the tables' coarse lattice is from the case's own at lift-off: lift and
            excess force over the weight, power over the rated power.
    """

    case: Case
    stalls: dict[str, Stall]
    take_off: TakeOffRun
    failed_take_off: FailedTakeOff
    controlled: tuple[TakeOffRun, FailedTakeOff] | None
    climb_take_off: list[Climb]
    climb_clean: list[Climb]
    failures: tuple[FailureClimb, ...]
    failure_note: str
    approach: ApproachState
    go_around: Climb
    landing: Landing
    noise: Noise | None
    cruise: list[CruiseState]
    cruise_at: CruiseState
    gusts: dict[str, Gust]
    gust_limits: dict[str, float]
    mission: Mission
    checks: tuple[EnergyCheck, ...]
    duties: tuple[Duty, ...]
    fastest: dict[str, float]
    tables: dict[str, Table]
    resolution: dict[str, float]

    @property
    def wing_loading(self) -> float:
        """N/m²."""
        return aircraft_of(self.case).mass * GRAVITY / self.case.wing.area

    @property
    def best_range(self) -> CruiseState:
        """Level flight that goes farthest."""
        return max(self.cruise, key=lambda state: state.range)

    @property
    def best_endurance(self) -> CruiseState:
        """Level flight that lasts longest."""
        return max(self.cruise, key=lambda state: state.endurance)

    @property
    def is_endurance_open(self) -> bool:
        """Whether endurance still grows toward the slowest level flight looked at."""
        return self.best_endurance is self.cruise[0]

    @property
    def best_gradient(self) -> Climb:
        """Steepest climb in take-off configuration at 1.2 times the stall speed or more."""
        return steepest(self.climb_take_off)

    @property
    def best_rate(self) -> Climb:
        """Fastest climb, clean."""
        return fastest_climb(self.climb_clean)


def evaluated(case: Case, progress: Progress | None = None, later: Later = partial) -> Performance:
    """Evaluate an aircraft: tables from coupled solves, and everything read from them.

    Args:
        case: with an aircraft table. progress: called with the name of each step.
        later: starts calculations that others do not wait for, which changes no result; by default
            each is done when it is asked for.

    Raises:
        InputError: for a case without an aircraft.
        SolveError: when a state does not converge, or the aircraft cannot do what is asked.
    """
    tell = progress or (lambda _step: None)
    aircraft = aircraft_of(case)
    check_motor_tables(case)
    ready = configured(case, "take_off")
    landing = configured(case, "approach")
    name = inoperative_propeller(case)
    tell("stall speeds")
    approaching = later(_approach_stalls, case, landing)
    stalls = _stalls(case, ready, name)
    started = {table: later(_table, case, *wanted) for table, wanted in _clean_tables(case, stalls)}
    tell("take-off")
    blown = stalls["take_off blown"]
    run = take_off(case, ready, blown)
    approach_stalls, bare = approaching()
    stalls |= {"approach blown": approach_stalls[-1], "approach unblown": bare}
    started["approach"] = later(_table, case, *_approach_table(case, landing, approach_stalls))
    slowest = max(aircraft.take_off.screen_margin * run.stall_speed, blown.speed)
    failed_climbs = later(_failures, case, ready, name, slowest)
    noise, resolution = (later(each, case, ready, run) for each in (take_off_noise, _resolution))
    failure = failed_take_off(case, ready, run, name)
    controlled = _controlled(case, ready, run, failure, blown)
    tell("climb")
    started["take_off"] = partial(_table, case, *_from_take_off(ready, run))
    tables, fastest = _tables(started, tell)
    steep = climb_curve(tables["take_off"], slowest)
    clean = climb_curve(tables["climb"], aircraft.take_off.screen_margin * stalls["clean"].speed)
    failures, note = failed_climbs()
    tell("approach, cruise, mission")
    final = approach_state(tables["approach"], APPROACH_SETTINGS, approach_stalls)
    cruise = tables["cruise"]
    curve = cruise_curve(case, cruise, SLOWEST_CRUISE * stalls["cruise unblown"].speed)
    at = cruise_state(case, cruise, aircraft.cruise.airspeed)
    best = fastest_climb(clean)
    climbs = (tables["climb"], tables["climb_high"])
    flown = Flown(tables["take_off"], climbs, cruise, tables.get("descent", cruise))
    tell("mission")
    mission = flown_mission(case, run, flown, best.speed)
    return Performance(
        case=case,
        stalls=stalls,
        take_off=run,
        failed_take_off=failure,
        controlled=controlled,
        climb_take_off=steep,
        climb_clean=clean,
        failures=failures,
        failure_note=note,
        approach=final,
        go_around=solved_climb(case, replace(landing, held={}), final.speed, 1.0),
        landing=landed(case, configured(case, "landing"), final),
        noise=noise(),
        cruise=curve,
        cruise_at=at,
        gusts=_gusts(case, tables, at, final),
        gust_limits={
            "cruise": (at.speed / stalls["cruise unblown"].speed) ** 2,
            "approach": (final.speed / final.stall_speed) ** 2,
        },
        mission=mission,
        checks=energy_checks(case, mission, at.alpha, at.setting),
        duties=motor_duty(case, mission),
        fastest=fastest,
        tables=tables,
        resolution=resolution(),
    )


def _resolution(case: Case, ready: Configuration, run: TakeOffRun) -> dict[str, float]:
    """Differences of the coarse lattice and discs from the case's own, at lift-off in free air."""
    fine = finely(case, ready)
    thrust = setting_thrust(case, ready, run.lift_off, aircraft_of(case).take_off.setting)
    found = []
    for configuration in (ready, fine):
        polar = solved_polar(configuration, run.lift_off, thrust, (run.lift_off_alpha,))
        forces = polar.at(run.lift_off_alpha)
        found.append(balanced(configuration, forces, run.lift_off, polar.density))
    coarse, own = found
    rated = sum(motor_power(case, ready, name) for name in ready.powered)
    return {
        "lift": (coarse.lift - own.lift) / ready.weight,
        "excess": (coarse.excess - own.excess) / ready.weight,
        "power": (coarse.power - own.power) / rated,
    }


def _stalls(case: Case, ready: Configuration, name: str) -> dict[str, Stall]:
    """Stall speeds by name, but those of the approach."""
    clean, high = configured(case, "climb"), configured(case, "cruise")
    setting = case.aircraft.take_off.setting if case.aircraft else 1.0
    unblown = no_thrust_stall(case, ready)
    blown = stall(case, ready, setting, near=unblown)
    lost = stall(case, failed(ready, (name,)), setting, near=blown)
    still = no_thrust_stall(case, clean, near=_scaled(unblown, 1.05))
    thinner = (clean.case.air.density / high.case.air.density) ** 0.5
    cruise = no_thrust_stall(case, high, near=_scaled(still, thinner))
    driven = stall(case, clean, 1.0, near=_scaled(still, blown.speed / unblown.speed))
    return {
        "take_off blown": blown,
        "take_off unblown": unblown,
        "take_off failed": lost,
        "clean": driven,
        "clean unblown": still,
        "cruise unblown": cruise,
    }


def _approach_stalls(case: Case, landing: Configuration) -> tuple[list[Stall], Stall]:
    """The stalls at `APPROACH_SETTINGS`, and that without thrust."""
    found: list[Stall] = []
    for s in APPROACH_SETTINGS:
        found.append(stall(case, landing, s, near=found[-1] if found else None))
    return found, no_thrust_stall(case, landing, near=found[0]) if landing.held else found[0]


def _scaled(near: Stall, share: float) -> Stall:
    """A stall to start from, at so many times its speed."""
    return replace(near, speed=share * near.speed)


# A configuration, the first and the last speed wanted (m/s), how many, thrust settings.
Wanted = tuple[Configuration, float, float, int, tuple[float, ...]]


def _from_take_off(ready: Configuration, run: TakeOffRun) -> Wanted:
    return ready, run.stall_speed, 1.9 * run.stall_speed, 4, (0.4, 0.7, 1.0)


def _approach_table(case: Case, landing: Configuration, stalls: list[Stall]) -> Wanted:
    margin = aircraft_of(case).approach.speed_margin
    slow, fast = (end(s.speed for s in stalls) * margin for end in (min, max))
    return landing, 0.97 * slow, 1.06 * fast, 3, (0.0, 0.5, 1.0)


def _clean_tables(case: Case, stalls: Mapping[str, Stall]) -> Iterator[tuple[str, Wanted]]:
    """The performance tables without flaps, by phase."""
    aircraft = aircraft_of(case)
    low = configured(case, "climb", aircraft.take_off.altitude)
    high = configured(case, "climb", aircraft.cruise.altitude)
    cruise, descent = configured(case, "cruise"), configured(case, "descent")
    at, powered = aircraft.cruise.airspeed, (0.6, 1.0)
    clean = 1.1 * stalls["clean unblown"].speed
    slowest = 1.02 * stalls["cruise unblown"].speed
    climb_end = max(2.0 * clean, 1.02 * at)
    yield "climb", (low, clean, climb_end, 4, powered)
    yield "climb_high", (high, clean, climb_end, 4, powered)
    yield "cruise", (cruise, slowest, max(1.15 * at, 1.5 * slowest), 5, (0.0, 0.5, 1.0))
    if (descent.powered, descent.held, descent.idle_states) != (
        cruise.powered, cruise.held, cruise.idle_states
    ) or descent.case != cruise.case or descent.drag_area != cruise.drag_area:  # fmt: skip
        yield "descent", (descent, 0.97 * at, 1.03 * at, 2, (0.0, 0.5, 1.0))


def _table(
    case: Case,
    configuration: Configuration,
    start: float,
    wanted: float,
    count: int,
    settings: tuple[float, ...],
) -> tuple[Table, float | None]:
    """A performance table, and its last speed (m/s) where propellers without thrust set that."""
    end = fastest_with_thrust(case, configuration, start, wanted)
    if configuration.phase in ("cruise", "descent"):  # says which propeller, and what helps
        setting_thrust(case, configuration, min(aircraft_of(case).cruise.airspeed, wanted), 1.0)
    table = built_table(case, configuration, spread(start, end, count).tolist(), settings)
    return table, end if end < wanted else None


def _tables(
    started: dict[str, Callable[[], Any]], tell: Progress
) -> tuple[dict[str, Table], dict[str, float]]:
    """The performance tables by phase, and the ends (m/s) that propellers without thrust set."""
    result: dict[str, Table] = {}
    fastest: dict[str, float] = {}
    for name in reversed(started):  # what was started last has the longest to go
        tell(f"performance table: {name.replace('_', ' ')}")
        result[name], end = started[name]()
        if end is not None:
            fastest[name] = end
    return result, fastest


def _controlled(
    case: Case, ready: Configuration, run: TakeOffRun, failure: FailedTakeOff, blown: Stall
) -> tuple[TakeOffRun, FailedTakeOff] | None:
    """Take-off and failure with lift-off at 1.05 times the minimum control speed."""
    if failure.is_controlled or failure.control is None:
        return None
    least = VMC_MARGIN.value * max(failure.control.air, failure.control.ground)
    try:
        raised = take_off(case, ready, blown, least)
        return raised, failed_take_off(case, ready, raised, failure.propeller)
    except SolveError:  # too fast to reach: the first failure has said what is missing
        return None


def _failures(
    case: Case, ready: Configuration, name: str, speed: float
) -> tuple[tuple[FailureClimb, ...], str]:
    """Climb with the motor failed, alone and with its mirror image shut down; or why not."""
    setting = aircraft_of(case).take_off.setting
    results: list[FailureClimb] = []
    for names in dict.fromkeys(((name,), symmetric_failure(case, name))):
        if len(names) >= len(ready.powered):
            return tuple(results), "No motor is left when the opposite one is shut down as well."
        try:
            results.append(failure_climb(case, ready, names, speed, setting))
        except SolveError as error:
            return tuple(results), str(error)
    return tuple(results), ""


def _gusts(
    case: Case, tables: dict[str, Table], cruise: CruiseState, final: ApproachState
) -> dict[str, Gust]:
    """Gust load factors at cruise and approach, with the blown and the unblown lift slope."""
    aircraft = aircraft_of(case)
    loading = aircraft.mass * GRAVITY / case.wing.area
    mean_chord = case.wing.area / case.wing.span
    density = tables["cruise"].density
    equivalent = cruise.speed * (density / SEA_LEVEL_DENSITY) ** 0.5

    def added(slope: float, speed: float, at: float) -> Gust:
        return gust_load(loading, mean_chord, slope, speed, aircraft.cruise.gust, at)

    table = tables["approach"]
    blown, unblown = lift_slopes(table, final.speed, final.setting, final.alpha)
    slow = final.speed * (table.density / SEA_LEVEL_DENSITY) ** 0.5
    return {
        "cruise blown": added(cruise.slope, equivalent, density),
        "cruise unblown": added(cruise.slope_unblown, equivalent, density),
        "approach blown": added(blown, slow, table.density),
        "approach unblown": added(unblown, slow, table.density),
    }
