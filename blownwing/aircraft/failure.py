"""A motor failing in the take-off roll: stop, or continue where the controls hold it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from blownwing.aircraft.airborne import to_screen
from blownwing.aircraft.climb import failed_gradient
from blownwing.aircraft.configuration import Configuration, failed
from blownwing.aircraft.control import ControlSpeeds, control_speeds
from blownwing.aircraft.ground import Forces, rolled
from blownwing.aircraft.held import held_speeds
from blownwing.aircraft.takeoff import TakeOffRun, between, ground_forces, mean_speed
from blownwing.case.model import Case
from blownwing.errors import SolveError


@dataclass(frozen=True)
class FailedTakeOff:
    """A motor failing in the roll: speed m/s, metres to stop, and to the screen if continued.

    `going` is None with the reason in `why_not` when the aircraft cannot continue: no climb, or
    moments that the controls do not hold. The accelerate-stop distance is then the field.
    control: smallest speeds at which they do; None where no speed does. `is_controlled`: whether
    the lift-off speed is one.
    """

    propeller: str
    speed: float
    stopping: float
    going: float | None
    gradient: float
    why_not: str
    is_balanced: bool
    control: ControlSpeeds | None
    is_controlled: bool

    @property
    def field(self) -> float:
        """Field length (m): the longer of stopping and, where possible, going."""
        return max(self.stopping, self.going or 0.0)


def failed_take_off(
    case: Case, configuration: Configuration, run: TakeOffRun, name: str
) -> FailedTakeOff:
    """A motor failing in the roll: stop, or continue to the screen.

    At the failure speed of the case, or at the balanced one, where both take the same distance.
    Stopping: reaction time at the speed reached, then brakes and zero thrust.

    Args:
        case: the user's. configuration: take-off. run: with all motors. name: of the propeller.

    Raises:
        InputError: a wind that the aircraft would be blown back by (`rolled`).
        SolveError: a state that does not converge, or a stop that is not reached.
    """
    setup, weight = configuration.aircraft.take_off, configuration.weight
    fewer = failed(configuration, (name,))
    all_at_work = between(run.history)
    with_failure = between(ground_forces(case, fewer, run.lift_off))
    braked = between(ground_forces(case, configuration, run.lift_off, powered=False))
    why_not, climb, gradient = "", None, -math.inf
    try:
        gradient = failed_gradient(case, fewer, mean_speed(configuration, run.stall_speed))
        climb = to_screen(
            run.stall_speed,
            gradient,
            setup.obstacle,
            setup.lift_off_margin,
            setup.screen_margin,
            setup.headwind,
        )
    except SolveError as error:
        why_not = str(error)

    def rolled_to(forces: Forces, start: float, end: float) -> float:
        return rolled(
            forces, weight, setup.friction, setup.slope, setup.headwind, start, end
        ).distance

    def stop(speed: float) -> float:
        reaction = max(speed - setup.headwind, 0.0) * setup.reaction_time
        brakes = rolled(
            braked, weight, setup.braking, setup.slope, setup.headwind, speed, setup.headwind
        )
        return rolled_to(all_at_work, setup.headwind, speed) + reaction + brakes.distance

    def go(speed: float) -> float:
        if climb is None:
            raise SolveError(why_not)
        first = rolled_to(all_at_work, setup.headwind, speed)
        rest = rolled_to(with_failure, speed, run.lift_off)
        return first + rest + run.rotation + climb.distance

    control, lost = _control(case, configuration, run, name)
    why_not = "; ".join(word for word in (lost, why_not) if word)
    given = configuration.aircraft.failure_speed
    latest = run.lift_off

    def result(speed: float, going: float | None, why: str, balances: bool) -> FailedTakeOff:
        return FailedTakeOff(
            name, speed, stop(speed), going, gradient, why, balances, control, not lost
        )

    if control is not None and not lost and given is not None and given < control.ground:
        why_not = (
            f"at {given:.1f} m/s the fin does not hold the yaw on the ground (from "
            f"{control.ground:.1f} m/s on)"
        )
    if given is not None:
        speed = min(given, latest)
        return result(speed, None if why_not else go(speed), why_not, False)
    if why_not or control is None:
        return result(latest, None, why_not, False)
    # on the ground a failure below the minimum control speed is a stop, whatever the distance
    slowest = max(setup.headwind, control.ground, 1e-3 * latest)
    speed, balances, why = _decision(slowest, latest, stop, go)
    return result(speed, go(speed), why, balances)


def _control(
    case: Case, configuration: Configuration, run: TakeOffRun, name: str
) -> tuple[ControlSpeeds | None, str]:
    """Minimum control speeds, and why lift-off is not controlled; empty where it is."""
    try:
        if configuration.trim is None:
            found = control_speeds(case, configuration, name, run.lift_off, run.lift_off_alpha)
        else:
            fewer = failed(configuration, (name,))
            found = held_speeds(case, fewer, run.lift_off, run.stall_speed)
    except SolveError as error:
        return None, str(error)
    if found.air > run.lift_off:
        return found, (
            f"yaw and roll are held from {found.air:.1f} m/s on, lift-off is at "
            f"{run.lift_off:.1f} m/s"
        )
    if found.ground > run.lift_off:
        return found, (
            f"on the ground the fin holds the yaw from {found.ground:.1f} m/s on, lift-off is at "
            f"{run.lift_off:.1f} m/s"
        )
    return found, ""


def _decision(
    slowest: float,
    latest: float,
    stop: Callable[[float], float],
    go: Callable[[float], float],
) -> tuple[float, bool, str]:
    """Failure speed (m/s) at which stopping and going take the same distance, if there is one.

    Returns:
        The speed; whether the distances are equal there; why going was not possible earlier.
    """
    low = slowest

    def difference(speed: float) -> float:
        return stop(speed) - go(speed)

    why = ""
    try:
        difference(low)
    except SolveError as error:
        why = str(error)  # too weak to continue from a low speed: only later failures can
        low = _first_possible(go, low, latest)
    if difference(latest) <= 0.0:  # stopping is shorter at any speed up to lift-off
        return latest, False, why
    if difference(low) >= 0.0:
        return low, False, why
    return float(brentq(difference, low, latest, xtol=1e-6)), True, why


def _first_possible(go: Callable[[float], float], low: float, latest: float) -> float:
    """Lowest failure speed (m/s), to a hundredth of the range, from which going is possible."""
    for speed in np.linspace(low, latest, 101).tolist():
        try:
            go(speed)
        except SolveError:
            continue
        return float(speed)
    raise SolveError(f"take-off: the aircraft cannot continue from {latest:.1f} m/s")
