"""Take-off: roll, rotation, transition and climb to the screen; a motor failing on the way."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from blownwing.aircraft.airborne import Airborne, to_screen
from blownwing.aircraft.configuration import Configuration, unpowered
from blownwing.aircraft.driven import driven_polar
from blownwing.aircraft.ground import Forces, Roll, closed_roll, rolled, timed_roll
from blownwing.aircraft.polar import Balance, Polar, balanced, check_tail
from blownwing.aircraft.stall import Stall
from blownwing.case.model import Case
from blownwing.errors import SolveError

Array = NDArray[np.float64]

_GROUND_SHARES = (0.0, 0.25, 0.5, 0.75, 1.0, 1.25)  # of the lift-off speed
_CLOSE = 1e-4  # of the weight; deg


@dataclass(frozen=True)
class TakeOffRun:
    """A take-off with all motors.

    Attributes:
        lift_off: m/s. lift_off_alpha: deg, at once after it. stall_speed: m/s, the one used.
        roll: to lift-off. rotation: m rolled while rotating. airborne: to the screen.
        distance: m in total. closed: m, ground roll by the closed form with the thrust at
            lift-off speed / √2, for comparison.
        gradient: of the climb after lift-off. energy: J at the shafts. history: airspeeds m/s,
            net force N, lift N, power W on the wheels, one row each. track: time s, airspeed m/s,
            distance m of the ground roll, one row each, stepped in time.
        limited_by: what sets the lift-off speed.
    """

    lift_off: float
    lift_off_alpha: float
    stall_speed: float
    roll: Roll
    rotation: float
    airborne: Airborne
    distance: float
    closed: float
    gradient: float
    energy: float
    history: Array
    track: Array
    limited_by: str


def ground_forces(
    case: Case, configuration: Configuration, fastest: float, powered: bool = True
) -> Array:
    """Forces on the wheels in ground effect: (4, n) airspeeds, net forces, lifts, powers, SI.

    Args:
        case: the user's. configuration: take-off, with or without a failure.
        fastest: m/s, the lift-off speed. powered: False for zero thrust (brakes on).

    Raises:
        InputError: a propeller without a motor.
        SolveError: a state does not converge, or a propeller without thrust.
    """
    setup = configuration.aircraft.take_off
    if not powered:
        configuration = unpowered(configuration)
    speeds = fastest * np.array(_GROUND_SHARES)
    rows, polar = [], None
    alphas, height = (setup.ground_alpha,), setup.ground_height
    for speed in speeds.tolist():
        if speed == 0.0 and not configuration.powered:
            rows.append((0.0, 0.0, 0.0))
            continue
        polar = driven_polar(case, configuration, speed, setup.setting, alphas, height, polar)
        # On its wheels the aircraft needs no balance of moments from the tail.
        forces = polar.at(setup.ground_alpha)
        rest = (
            0.5
            * polar.density
            * speed**2
            * (configuration.drag_area + configuration.folded_drag_area)
        )
        rows.append(
            (
                forces["along"] - forces["drag"] - forces["tail_drag"] - rest,
                forces["lift"] + forces["tail_lift"] + forces["up"],
                forces["power"],
            )
        )
    return np.vstack((speeds, np.array(rows).T))


def between(points: Array) -> Forces:
    """Forces on the wheels over airspeed, interpolated between those of `ground_forces`.

    points: (4, n), as those are; beyond the ends they are held.
    """
    speeds = points[0]
    curve = PchipInterpolator(speeds, points[1:], axis=1)

    def at(speed: float) -> tuple[float, float, float]:
        along, lift, power = curve(min(max(speed, 0.0), float(speeds[-1])))
        return float(along), float(lift), float(power)

    return at


def climb_at(configuration: Configuration, polar: Polar, lift: float) -> tuple[float, Balance]:
    """Incidence (deg) and balance where a polar's trimmed lift has a value, N.

    Raises:
        SolveError: when it is not reached, or the tail cannot balance it.
    """

    def state(alpha: float) -> Balance:
        return balanced(configuration, polar.at(alpha), polar.airspeed, polar.density)

    low, high = float(polar.alphas[0]), float(polar.alphas[-1])
    if not state(low).lift < lift < state(high).lift:
        raise SolveError(
            f"{configuration.phase.replace('_', '-')} at {polar.airspeed:.1f} m/s: a lift of "
            f"{lift:.0f} N is not reached between {low:g} and {high:g} deg"
        )
    alpha = float(brentq(lambda a: state(a).lift - lift, low, high, xtol=1e-10))
    found = state(alpha)
    check_tail(configuration, found, polar.airspeed)
    return alpha, found


def take_off(
    case: Case, configuration: Configuration, stalled: Stall, least: float = 0.0
) -> TakeOffRun:
    """A take-off with all motors at the take-off setting.

    Args:
        case: the user's. configuration: take-off. stalled: at the take-off setting.
        least: m/s, slowest lift-off asked for by other things than the stall.

    Raises:
        InputError: a wind that the aircraft would be blown back by (`rolled`).
        SolveError: when the aircraft does not reach lift-off or does not climb.
    """
    setup, weight = configuration.aircraft.take_off, configuration.weight
    wanted = setup.lift_off_margin * stalled.speed
    speed, limited = wanted, f"{setup.lift_off_margin:g} x stall speed"
    if least > wanted:
        speed, limited = least, "raised for control with a motor failed"
    polar = driven_polar(case, configuration, speed, setup.setting)
    alpha, _ = climb_at(configuration, polar, weight)
    if alpha > setup.rotation_limit + _CLOSE:
        alpha = setup.rotation_limit
        speed = _lifting_speed(case, configuration, polar, alpha)
        limited = f"rotation limited to {alpha:g} deg"
    stall_speed = speed / setup.lift_off_margin  # the margins follow a raised lift-off speed
    history = ground_forces(case, configuration, speed)
    forces = between(history)
    roll = rolled(
        forces, weight, setup.friction, setup.slope, setup.headwind, setup.headwind, speed
    )
    rotation = (speed - setup.headwind) * setup.rotation_time
    gradient = steady_gradient(case, configuration, mean_speed(configuration, stall_speed), polar)
    airborne = to_screen(
        stall_speed,
        gradient,
        setup.obstacle,
        setup.lift_off_margin,
        setup.screen_margin,
        setup.headwind,
    )
    power = forces(speed)[2]
    return TakeOffRun(
        lift_off=speed,
        lift_off_alpha=alpha,
        stall_speed=stall_speed,
        roll=roll,
        rotation=rotation,
        airborne=airborne,
        distance=roll.distance + rotation + airborne.distance,
        closed=_closed(configuration, forces, speed),
        gradient=gradient,
        energy=roll.energy + power * (setup.rotation_time + airborne.time),
        history=history,
        track=np.stack(
            timed_roll(
                forces,
                weight,
                setup.friction,
                speed,
                slope=setup.slope,
                headwind=setup.headwind,
                step=0.05,
            )
        ),
        limited_by=limited,
    )


def _lifting_speed(case: Case, configuration: Configuration, slower: Polar, alpha: float) -> float:
    """Speed (m/s) at which the lift at an incidence, deg, is the weight; slower: where it is less.

    Raises:
        SolveError: when there is none, or the tail cannot balance it.
    """
    setup, weight = configuration.aircraft.take_off, configuration.weight
    polar, power, previous = slower, 2.0, (0.0, 0.0)
    for step in range(12):
        speed = polar.airspeed
        state = balanced(configuration, polar.at(alpha), speed, polar.density)
        gain, place = math.log(max(state.lift / weight, 0.1)), math.log(speed)
        if step and abs(gain) <= _CLOSE:
            check_tail(configuration, state, speed)
            return speed
        if step > 1:  # lift grows at most like the square of speed, which makes the first step
            power = max((gain - previous[1]) / (place - previous[0]), 0.1)
        previous = place, gain
        speed = math.exp(place - gain / power)
        polar = driven_polar(case, configuration, speed, setup.setting, (alpha,), near=polar)
    raise SolveError(
        f"take-off: no lift-off speed found with the rotation limited to {alpha:g} deg"
    )


def mean_speed(configuration: Configuration, stall_speed: float) -> float:
    """Speed (m/s) halfway between lift-off and screen, from the stall speed (m/s)."""
    setup = configuration.aircraft.take_off
    return 0.5 * (setup.lift_off_margin + setup.screen_margin) * stall_speed


def steady_gradient(
    case: Case, configuration: Configuration, speed: float, near: Polar | None = None
) -> float:
    """Climb gradient (sine of the angle) at the take-off setting.

    speed: m/s. near: a polar to start from. SolveError: the aircraft cannot fly at that speed, or
    the gradient does not settle. InputError: a propeller without a motor.
    """
    setup = configuration.aircraft.take_off
    polar = driven_polar(case, configuration, speed, setup.setting, near=near)
    gradient = 0.0
    for _ in range(20):  # lift carries W cos γ
        lift = configuration.weight * math.sqrt(max(1.0 - gradient * gradient, 0.0))
        _, state = climb_at(configuration, polar, lift)
        new = min(max(state.excess / configuration.weight, -0.9), 0.9)
        if abs(new - gradient) < 1e-7:
            return new
        gradient = new
    raise SolveError(f"take-off: the climb gradient at {speed:.1f} m/s does not settle")


def _closed(configuration: Configuration, forces: Forces, speed: float) -> float:
    """Ground roll (m) by the closed form: thrust and drag taken at lift-off speed / √2."""
    setup, case = configuration.aircraft.take_off, configuration.case
    middle = speed / math.sqrt(2.0)
    along, lift, _ = forces(middle)
    pressure = 0.5 * case.air.density * middle * middle * configuration.area
    # thrust less drag is what is known; the closed form's drag is then none
    return closed_roll(
        configuration.weight,
        configuration.area,
        case.air.density,
        along,
        lift / pressure,
        0.0,
        setup.friction + setup.slope,
        speed,
    )
