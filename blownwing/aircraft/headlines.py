"""The few numbers by which aircraft are compared: what trades and sensitivities evaluate."""

from __future__ import annotations

from dataclasses import dataclass

from blownwing.aircraft.climb import failure_climb
from blownwing.aircraft.configuration import aircraft_of, configured, inoperative_propeller
from blownwing.aircraft.cruise import cruise_state
from blownwing.aircraft.noise import LiftOffState, lift_off_state
from blownwing.aircraft.stall import no_thrust_stall, stall
from blownwing.aircraft.tables import built_table, spread
from blownwing.aircraft.takeoff import TakeOffRun, take_off
from blownwing.case.model import Case


@dataclass(frozen=True)
class Headlines:
    """Headline numbers of one aircraft, SI.

    Attributes:
        take_off_distance: m to the screen. lift_off: m/s. CLmax, CLmax_unblown: take-off setting
            and zero thrust. approach_stall: m/s at the full lever. cruise_power: W at the shafts.
        range: m, all usable energy in cruise. gradient_failed: climb with a motor failed.
        roll_failed: C_roll to hold. control_speed: m/s, at which the moments of the failure are
            just held.
        by_tail: whether the tail's limit ends the lift of take-off or approach.
        run: the take-off. lift_off_state: of its propellers.
    """

    take_off_distance: float
    lift_off: float
    CLmax: float
    CLmax_unblown: float
    approach_stall: float
    cruise_power: float
    range: float
    gradient_failed: float
    roll_failed: float
    control_speed: float
    by_tail: bool
    run: TakeOffRun
    lift_off_state: LiftOffState


def headlines(case: Case) -> Headlines:
    """Evaluate the headline numbers.

    Args:
        case: with an aircraft table.

    Raises:
        InputError: a case without an aircraft table.
        SolveError: when a state does not converge, or the aircraft cannot do what is asked.
    """
    aircraft = aircraft_of(case)
    ready, landing = configured(case, "take_off"), configured(case, "approach")
    setting = aircraft.take_off.setting
    unblown = no_thrust_stall(case, ready)
    blown = stall(case, ready, setting, near=unblown)
    run = take_off(case, ready, blown)
    slow = stall(case, landing, 1.0, near=blown)
    speed = aircraft.cruise.airspeed
    table = built_table(
        case, configured(case, "cruise"), spread(0.95 * speed, 1.05 * speed, 2).tolist(),
        (0.0, 0.5, 1.0), samples=0,
    )  # fmt: skip
    level = cruise_state(case, table, speed)
    name = inoperative_propeller(case)
    failure = failure_climb(
        case, ready, (name,), aircraft.take_off.screen_margin * run.stall_speed, setting
    )
    return Headlines(
        take_off_distance=run.distance,
        lift_off=run.lift_off,
        CLmax=blown.CLmax,
        CLmax_unblown=unblown.CLmax,
        approach_stall=slow.speed,
        cruise_power=level.shaft_power,
        range=level.range,
        gradient_failed=failure.gradient,
        roll_failed=failure.roll,
        control_speed=failure.smallest_speed,
        by_tail=bool(blown.by_tail or slow.by_tail),
        run=run,
        lift_off_state=lift_off_state(case, ready, run),
    )
