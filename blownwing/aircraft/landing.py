"""Landing: from the screen over the flare to the stop, and the climb-out when it is broken off."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PchipInterpolator

from blownwing.aircraft.approach import ApproachState
from blownwing.aircraft.configuration import Configuration, unpowered
from blownwing.aircraft.ground import Forces, Roll, rolled
from blownwing.aircraft.polar import solved_polar
from blownwing.aircraft.power import setting_thrust
from blownwing.case.air import GRAVITY
from blownwing.case.model import Case
from blownwing.errors import SolveError

_SHARES = (0.2, 0.45, 0.7, 1.0)  # of the touchdown speed, where forces on the wheels are solved


@dataclass(frozen=True)
class Landing:
    """A landing with all motors.

    Attributes:
        speed: m/s, over the screen. touchdown: m/s. path: deg, of the approach flown.
        approach, flare: m, from the screen to the flare and to the touchdown. free: m, before
            brakes. braked: m, to the stop. distance: m, the sum. field: m, distance times factor.
        height: m, at which the flare begins. sink: m/s, on the approach. time: s.
        reverse: N, held through the braked roll. keeps_thrust: whether touchdown is slower than
            the stall without thrust, so that thrust must be kept until then.
    """

    speed: float
    touchdown: float
    path: float
    approach: float
    flare: float
    free: float
    braked: float
    distance: float
    field: float
    height: float
    sink: float
    time: float
    reverse: float
    keeps_thrust: bool


@dataclass(frozen=True)
class AirPart:
    """From the screen to the touchdown: approach m, flare m, height of the flare m, time s."""

    approach: float
    flare: float
    height: float
    time: float


def air_part(
    speed: float, touchdown: float, path: float, obstacle: float, load: float, headwind: float = 0.0
) -> AirPart:
    """Straight approach and an arc that ends level at the ground, over the ground.

    The arc is flown at the mean of approach and touchdown speed, radius V²/(g (n − 1)); where its
    start would lie above the screen, the flare begins at the screen.

    Args:
        speed, touchdown: m/s. path: deg, below 0. obstacle: screen height, m. load: factor n.
        headwind: m/s.

    Source: Raymer (1989), "Aircraft Design: A Conceptual Approach", section 17.9 (from memory).
    """
    angle = math.radians(-path)
    mean = 0.5 * (speed + touchdown)
    radius = mean * mean / (GRAVITY * (load - 1.0))
    height = radius * (1.0 - math.cos(angle))
    if height >= obstacle:
        # still on the arc at the screen: what is left of it to the ground
        left = math.acos(1.0 - obstacle / radius)
        time = radius * left / mean
        return AirPart(0.0, radius * math.sin(left) - headwind * time, obstacle, time)
    straight = (obstacle - height) / math.sin(angle)
    first, second = straight / speed, radius * angle / mean
    return AirPart(
        straight * math.cos(angle) - headwind * first,
        radius * math.sin(angle) - headwind * second,
        height,
        first + second,
    )


def landed(case: Case, configuration: Configuration, final: ApproachState) -> Landing:
    """A landing from an approach.

    On the ground the powered propellers of the landing give no thrust until the brakes are on,
    then `reverse` of what they give at rest, held to the stop; the others do what the schedule
    says.

    Args:
        case: the user's. configuration: landing. final: the approach.

    Raises:
        InputError: a propeller without a motor.
        SolveError: when the aircraft does not come to rest.
    """
    aircraft = configuration.aircraft
    setup, ground = aircraft.landing, aircraft.take_off
    touchdown = setup.touchdown_margin * final.stall_speed
    if touchdown > final.speed:
        touchdown = final.speed
    air = air_part(
        final.speed, touchdown, final.path, ground.obstacle, setup.flare_load, ground.headwind
    )
    reverse = 0.0
    if setup.reverse > 0.0:
        reverse = setup.reverse * sum(setting_thrust(case, configuration, 0.0, 1.0).values())
    forces = _on_wheels(configuration, touchdown)
    rolling = setup.delay * max(touchdown - ground.headwind, 0.0)
    brakes = _braked(configuration, forces, touchdown, reverse)
    distance = air.approach + air.flare + rolling + brakes.distance
    return Landing(
        speed=final.speed,
        touchdown=touchdown,
        path=final.path,
        approach=air.approach,
        flare=air.flare,
        free=rolling,
        braked=brakes.distance,
        distance=distance,
        field=setup.factor * distance,
        height=air.height,
        sink=final.speed * math.sin(math.radians(-final.path)),
        time=air.time + setup.delay + brakes.time,
        reverse=reverse,
        keeps_thrust=touchdown < final.unblown_stall_speed,
    )


def _braked(configuration: Configuration, forces: Forces, speed: float, reverse: float) -> Roll:
    setup, ground = configuration.aircraft.landing, configuration.aircraft.take_off

    def slowed(at: float) -> tuple[float, float, float]:
        along, lift, power = forces(at)
        return along - reverse, lift, power

    return rolled(
        slowed,
        configuration.weight,
        setup.braking,
        ground.slope,
        ground.headwind,
        speed,
        ground.headwind,
    )


def _on_wheels(configuration: Configuration, fastest: float) -> Forces:
    """Drag and what lift is left on the wheels, of wing and propellers without drive.

    Both go nearly as the square of speed; what is left is interpolated.
    """
    idle = unpowered(configuration)
    setup, ground = configuration.aircraft.landing, configuration.aircraft.take_off
    speeds = fastest * np.array(_SHARES)
    rows, polar, alpha = [], None, ground.ground_alpha
    for speed in speeds.tolist():
        polar = solved_polar(idle, speed, {}, (alpha,), ground.ground_height, polar)
        forces = polar.at(alpha)
        pressure = 0.5 * polar.density * speed * speed
        rest = idle.drag_area + idle.folded_drag_area
        rows.append(
            (
                (forces["along"] - forces["drag"] - forces["tail_drag"]) / pressure - rest,
                ((forces["lift"] + forces["up"]) * (1.0 - setup.spoiled_lift) + forces["tail_lift"])
                / pressure,
            )
        )
    if not np.all(np.isfinite(rows)):
        raise SolveError("landing: forces on the wheels are not finite")
    curve = PchipInterpolator(speeds, np.array(rows), axis=0)
    density = configuration.case.air.density

    def at(speed: float) -> tuple[float, float, float]:
        along, lift = curve(min(max(speed, float(speeds[0])), float(speeds[-1])))
        pressure = 0.5 * density * speed * speed
        return float(along) * pressure, float(lift) * pressure, 0.0

    return at
