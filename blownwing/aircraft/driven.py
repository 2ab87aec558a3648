"""A state at a lever setting, with the motors' power kept in the flow of the wing as well."""

from __future__ import annotations

import numpy as np

from blownwing.aircraft.configuration import Configuration
from blownwing.aircraft.polar import Polar, solved_polar
from blownwing.aircraft.power import motor_power, setting_thrust
from blownwing.case.model import Case

OVER = 1e-3  # of a motor's power: what is left above it unsaid
_GROWTH = 0.8  # of thrust with power, in logarithms: 2/3 at rest, 1 when fast
_FLOWN = (-1.0, 16.0)  # deg, incidences at which the power counts


def excess_power(case: Case, configuration: Configuration, polar: Polar) -> dict[str, float]:
    """Shaft power over the motor's, of each powered propeller, the largest at flown incidences.

    Raises:
        InputError: a propeller without a motor.
    """
    low, high = _FLOWN
    flown = (polar.alphas >= low) & (polar.alphas <= high)
    rows = flown if flown.any() else np.ones_like(flown)
    return {
        name: float(np.max(polar.powers[name][rows])) / motor_power(case, configuration, name)
        for name in configuration.powered
        if name in polar.powers
    }


def driven_polar(
    case: Case,
    configuration: Configuration,
    airspeed: float,
    setting: float,
    alphas: tuple[float, ...] | None = None,
    ground_height: float | None = None,
    near: Polar | None = None,
) -> Polar:
    """A polar at a lever setting, no motor above its power.

    Thrust available is that of a propeller in the free stream; a wing behind slows the flow through
    it, so that the same thrust asks for a few percent more or less power. Where it is more, thrust
    is taken back until it is not.

    Args:
        case: the user's, for the motors. airspeed: m/s. setting: of the thrust available.
        alphas, ground_height, near: as for `solved_polar`.

    Raises:
        InputError: a propeller without a motor.
        SolveError: a state does not converge, or a propeller without thrust (`setting_thrust`).
    """
    thrust = setting_thrust(case, configuration, airspeed, setting)
    for _ in range(4):
        polar = solved_polar(configuration, airspeed, thrust, alphas, ground_height, near)
        over = {
            name: ratio
            for name, ratio in excess_power(case, configuration, polar).items()
            if ratio > 1.0 + OVER
        }
        if not over:
            break
        near = polar
        # a quarter of the slack below the limit, so that one step mostly ends it
        thrust |= {n: thrust[n] * (r / (1.0 + 0.25 * OVER)) ** -_GROWTH for n, r in over.items()}
    return polar
