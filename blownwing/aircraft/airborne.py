"""From lift-off to the screen: transition on an arc, then a straight climb."""

from __future__ import annotations

import math
from dataclasses import dataclass

from blownwing.case.air import GRAVITY
from blownwing.errors import SolveError

LIFT_SHARE = 0.9  # of CLmax used in the transition


@dataclass(frozen=True)
class Airborne:
    """The airborne part of a take-off: arc radius m, load factor, distance m, time s."""

    radius: float
    load_factor: float
    distance: float
    time: float


def transition_radius(stall_speed: float, mean_speed: float, load_factor: float) -> float:
    """Radius (m) of the arc after lift-off: R = m² Vs²/(g (n − 1)); 6.96 Vs²/g at 1.15 and 1.19.

    Args:
        stall_speed: m/s. mean_speed: multiple m of it on the arc. load_factor: n.

    Raises:
        SolveError: when there is no lift to curve the path upward.

    Source: Anderson (1999), "Aircraft Performance and Design", section 6.7.2.
    """
    if load_factor <= 1.0:
        raise SolveError(
            f"take-off: {mean_speed:g} times the stall speed leaves no lift to curve the path "
            f"upward (load factor {load_factor:.3f})"
        )
    return (mean_speed * stall_speed) ** 2 / (GRAVITY * (load_factor - 1.0))


def to_screen(
    stall_speed: float,
    gradient: float,
    obstacle: float = 15.24,
    lift_off: float = 1.1,
    screen: float = 1.2,
    headwind: float = 0.0,
) -> Airborne:
    """Distance over the ground from lift-off to the screen height.

    The speed grows from `lift_off` to `screen` times the stall speed; at their mean m the load
    factor is 0.9 m², 0.9 CLmax being used.

    Args:
        stall_speed: m/s, at the take-off setting.
        gradient: of the steady climb at the mean speed, sine of the angle.
        obstacle: screen height, m. lift_off, screen: multiples of the stall speed.
        headwind: m/s.

    Raises:
        SolveError: when the screen lies above the arc and the aircraft does not climb.

    Source: as `transition_radius`.
    """
    mean = 0.5 * (lift_off + screen)
    speed = mean * stall_speed
    load = LIFT_SHARE * mean * mean
    radius = transition_radius(stall_speed, mean, load)
    angle = math.asin(min(max(gradient, -1.0), 1.0))
    top = radius * (1.0 - math.cos(angle)) if angle > 0.0 else 0.0
    if top >= obstacle:
        over = math.acos(1.0 - obstacle / radius)
        distance, path = radius * math.sin(over), radius * over
    elif angle > 0.0:
        distance = radius * math.sin(angle) + (obstacle - top) / math.tan(angle)
        path = radius * angle + (obstacle - top) / math.sin(angle)
    else:
        raise SolveError(
            f"take-off: no climb after lift-off (gradient {100.0 * gradient:.1f} %), the screen of "
            f"{obstacle:.1f} m is not reached"
        )
    time = path / speed
    return Airborne(radius, load, distance - headwind * time, time)
