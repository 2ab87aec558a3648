"""Climb: gradient and rate over speed, all motors or one failed, and what the failure asks of
the controls."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blownwing.aircraft.configuration import Configuration, failed, opposite
from blownwing.aircraft.control import moments_left
from blownwing.aircraft.driven import driven_polar
from blownwing.aircraft.held import held_climb
from blownwing.aircraft.polar import Balance, Polar
from blownwing.aircraft.tables import Table
from blownwing.aircraft.takeoff import climb_at, steady_gradient
from blownwing.case.model import Case
from blownwing.errors import SolveError
from blownwing.trim.control import Limit, nearest

Array = NDArray[np.float64]

_SPEEDS = 41


@dataclass(frozen=True)
class Climb:
    """A steady climb: speed m/s, gradient (sine), rate m/s, incidence deg, shaft power W.

    trim_drag: N, of the tail. control: of a drawn aircraft, the angle that balances it, deg.
    """

    speed: float
    gradient: float
    rate: float
    alpha: float
    power: float
    trim_drag: float
    control: float


@dataclass(frozen=True)
class FailureClimb:
    """The climb with motors failed and the moments to be held.

    Attributes:
        failed: names. speed: m/s. gradient: sine; alpha: deg; power: W.
        roll, roll_available: C_roll to be held and what ailerons give, None of a drawn aircraft.
        yaw, yaw_available: C_yaw likewise; `yaw_available` is None without a fin in the case.
        smallest_speed: m/s, where fin (and ailerons) just hold the moments at this thrust.
        is_held: whether they do at this speed.
        limits: of a drawn aircraft, whose climb is held: what that asks of each control.
        sideslip: deg, of that climb.
    """

    failed: tuple[str, ...]
    speed: float
    gradient: float
    alpha: float
    power: float
    roll: float
    roll_available: float | None
    yaw: float
    yaw_available: float | None
    smallest_speed: float
    is_held: bool
    limits: tuple[Limit, ...] = ()
    sideslip: float = 0.0

    @property
    def nearest(self) -> Limit | None:
        """The limit of a drawn aircraft that is nearest."""
        return nearest(self.limits) if self.limits else None


def climb_state(table: Table, speed: float, setting: float | None = None) -> Climb:
    """Steady climb (or descent) at a speed.

    speed: m/s. setting: share of the thrust available; absent: the largest.

    Raises:
        SolveError: when the aircraft cannot fly at that speed, or outside the table.
    """
    weight = table.configuration.weight
    largest = table.setting_limit(speed)
    used = min(largest if setting is None else setting, float(table.settings[-1]))
    gradient = 0.0
    for _ in range(30):
        lift = weight * math.sqrt(max(1.0 - gradient * gradient, 0.0))
        alpha = table.trimmed_alpha(speed, used, lift)
        state = table.balance(speed, used, alpha)
        new = min(max(state.excess / weight, -0.95), 0.95)
        if abs(new - gradient) < 1e-8:
            return _climb(speed, new, alpha, state)
        gradient = new
    raise SolveError(f"climb at {speed:.1f} m/s: the gradient does not settle")


def climb_curve(table: Table, slowest: float) -> list[Climb]:
    """Climbs at full setting over the table's speeds, from a slowest one (m/s) on.

    Raises:
        SolveError: as for `climb_state`.
    """
    speeds = np.linspace(max(slowest, table.speeds[0]), table.speeds[-1], _SPEEDS)
    return [climb_state(table, speed) for speed in speeds.tolist()]


def steepest(curve: list[Climb]) -> Climb:
    """The climb of the best gradient."""
    return max(curve, key=lambda climb: climb.gradient)


def fastest_climb(curve: list[Climb]) -> Climb:
    """The climb of the best rate."""
    return max(curve, key=lambda climb: climb.rate)


def failure_climb(
    case: Case, configuration: Configuration, names: tuple[str, ...], speed: float, setting: float
) -> FailureClimb:
    """Climb with the motors of some propellers failed, and the moments this leaves.

    The moments of wing and propellers at zero sideslip are what ailerons and fin have to hold:
    ailerons give the aircraft's `roll_coefficient`, the fin q S_fin cl_fin l_fin (common practice,
    no source). Both moments are nearly independent of speed at a given thrust, so that the smallest
    speed follows from dynamic pressure. A drawn aircraft is in balance about all axes instead,
    rudder, ailerons, sideslip and bank included in its drag.

    Args:
        case: the user's. configuration: of the phase, all motors. names: of failed propellers.
        speed: m/s. setting: of those that remain, a share of the thrust available.

    Raises:
        InputError: a propeller without a motor.
        SolveError: when the aircraft cannot fly at that speed.
    """
    fewer = failed(configuration, names)
    polar = driven_polar(case, fewer, speed, setting)
    new, alpha, state = _settled_climb(fewer, polar)
    moments = moments_left(fewer, state.roll, state.yaw, speed, polar.density)
    if fewer.trim is not None:
        flown = held_climb(fewer, speed, polar.thrusts)
        share = flown.nearest.share
        return FailureClimb(
            names,
            speed,
            gradient=flown.gradient,
            alpha=flown.alpha,
            power=flown.power,
            roll=moments.roll,
            roll_available=None,
            yaw=moments.yaw,
            yaw_available=None,
            smallest_speed=speed * math.sqrt(share),
            is_held=share <= 1.0,
            limits=flown.limits,
            sideslip=flown.sideslip,
        )
    return FailureClimb(
        names,
        speed,
        new,
        alpha,
        state.power,
        moments.roll,
        moments.roll_available,
        moments.yaw,
        moments.yaw_available,
        speed * math.sqrt(moments.demand),
        moments.is_held,
    )


def solved_climb(case: Case, configuration: Configuration, speed: float, setting: float) -> Climb:
    """Steady climb at a speed (m/s) and setting, from a solve of its own instead of a table.

    setting: share of the thrust available.

    Raises:
        InputError: a propeller without a motor.
        SolveError: when the aircraft cannot fly at that speed.
    """
    gradient, alpha, state = _solved_climb(case, configuration, speed, setting)
    return _climb(speed, gradient, alpha, state)


def _climb(speed: float, gradient: float, alpha: float, state: Balance) -> Climb:
    rate = gradient * speed
    return Climb(speed, gradient, rate, alpha, state.power, state.tail_drag, state.control)


def _solved_climb(
    case: Case, configuration: Configuration, speed: float, setting: float
) -> tuple[float, float, Balance]:
    return _settled_climb(configuration, driven_polar(case, configuration, speed, setting))


def _settled_climb(configuration: Configuration, polar: Polar) -> tuple[float, float, Balance]:
    """Gradient, incidence (deg) and balance of a steady climb."""
    gradient = 0.0
    for _ in range(30):
        lift = configuration.weight * math.sqrt(max(1.0 - gradient * gradient, 0.0))
        alpha, state = climb_at(configuration, polar, lift)
        new = min(max(state.excess / configuration.weight, -0.95), 0.95)
        if abs(new - gradient) < 1e-8:
            return new, alpha, state
        gradient = new
    raise SolveError(f"climb at {polar.airspeed:.1f} m/s: the gradient does not settle")


def failed_gradient(case: Case, fewer: Configuration, speed: float) -> float:
    """Climb gradient (sine) with motors failed at the take-off setting, held where a tail is drawn.

    fewer: take-off, with the failure. speed: m/s.

    Raises:
        SolveError: when the aircraft cannot fly at that speed.
    """
    if fewer.trim is None:
        return steady_gradient(case, fewer, speed)
    setting = fewer.aircraft.take_off.setting
    return held_climb(fewer, speed, driven_polar(case, fewer, speed, setting).thrusts).gradient


def symmetric_failure(case: Case, name: str) -> tuple[str, ...]:
    """The failed propeller and its mirror image, shut down to balance the moments."""
    mirror = opposite(case, name)
    return (name,) if mirror is None else (name, mirror)
