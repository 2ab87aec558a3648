"""The ideal propeller: a uniformly loaded actuator disc without swirl."""

from __future__ import annotations

import math
from dataclasses import dataclass

from blownwing.errors import InputError


@dataclass(frozen=True)
class DiscLoads:
    """Momentum theory's state of a disc; speeds in m/s, lengths in m, thrust in N, power in W.

    Attributes:
        thrust: N.
        induced_velocity: axial, at the disc.
        power: ideal, T (V + vi).
        efficiency: V/(V + vi), 0 at rest.
        far_velocity: V + 2 vi, in the slipstream far downstream.
        far_radius: the slipstream's radius there.
    """

    thrust: float
    induced_velocity: float
    power: float
    efficiency: float
    far_velocity: float
    far_radius: float


def disc_loads(thrust: float, diameter: float, speed: float, density: float) -> DiscLoads:
    """Induced velocity, power and slipstream of a uniformly loaded disc.

    Args:
        thrust: N; negative for a disc that brakes, down to momentum theory's limit −½ρAV².
        diameter: m.
        speed: airspeed along the axis, 0 or more, m/s.
        density: kg/m³.

    Raises:
        InputError: an argument outside its range, or more braking than momentum theory allows.

    Source: Glauert (1935), "Airplane Propellers", in Durand, "Aerodynamic Theory" IV, division L,
    chapter II: vi = −V/2 + √(V²/4 + T/2ρA).
    """
    if not all(map(math.isfinite, (thrust, diameter, speed, density))):
        raise InputError("actuator disc: found a value that is not finite")
    if diameter <= 0.0 or density <= 0.0 or speed < 0.0:
        raise InputError(
            f"actuator disc: found diameter {diameter:g} m, density {density:g} kg/m3 and speed "
            f"{speed:g} m/s; accepted are diameter and density above 0 and speed 0 or more"
        )
    area = 0.25 * math.pi * diameter**2
    limit = -0.5 * density * area * speed**2
    if thrust < 0.0 and thrust <= limit:
        raise InputError(
            f"actuator disc: found thrust {thrust:g} N; accepted at {speed:g} m/s is more than "
            f"{limit:g} N, where momentum theory brings the slipstream to rest"
        )
    # the root's other form keeps its digits when the load is light
    root = math.sqrt(0.25 * speed**2 + 0.5 * thrust / (density * area))
    induced = 0.5 * thrust / (density * area) / (root + 0.5 * speed) if thrust != 0.0 else 0.0
    far = speed + 2.0 * induced
    contraction = math.sqrt((speed + induced) / far) if far > 0.0 else 1.0
    return DiscLoads(
        thrust=thrust,
        induced_velocity=induced,
        power=thrust * (speed + induced),
        efficiency=speed / (speed + induced) if speed > 0.0 else 0.0,
        far_velocity=far,
        far_radius=0.5 * diameter * contraction,
    )


def disc_thrust(speed_ratio: float, diameter: float, speed: float, density: float) -> float:
    """Thrust (N) of a disc whose slipstream far downstream runs at `speed_ratio` times V.

    diameter: m. speed: V, 0 or more, m/s. density: kg/m³.

    Raises:
        InputError: a ratio not above 0, or a size or density out of range.

    Source: Glauert (1935), as `disc_loads`: T = ½ρA (Vj² − V²).
    """
    if not (speed_ratio > 0.0 and math.isfinite(speed_ratio)):
        raise InputError(f"speed ratio: found {speed_ratio:g}; accepted is above 0")
    if not (diameter > 0.0 and density > 0.0 and speed >= 0.0):
        raise InputError(
            f"actuator disc: found diameter {diameter:g} m, density {density:g} kg/m3 and speed "
            f"{speed:g} m/s; accepted are diameter and density above 0 and speed 0 or more"
        )
    return 0.125 * math.pi * density * diameter**2 * speed**2 * (speed_ratio**2 - 1.0)
