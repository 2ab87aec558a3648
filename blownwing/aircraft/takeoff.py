"""Take-off: roll, rotation, transition and climb to the screen; a motor failing on the way."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from blownwing.aircraft.airborne import Airborne, to_screen
from blownwing.aircraft.configuration import Configuration, failed
from blownwing.aircraft.ground import Forces, Roll, closed_roll, rolled, timed_roll
from blownwing.aircraft.polar import Balance, Polar, balanced, solved_polar
from blownwing.aircraft.stall import Stall, setting_thrust
from blownwing.case.model import Case
from blownwing.errors import SolveError

Array = NDArray[np.float64]

_GROUND_SHARES = (0.0, 0.25, 0.5, 0.75, 1.0, 1.25)  # of the lift-off speed


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


@dataclass(frozen=True)
class FailedTakeOff:
    """A motor failing in the roll: speed m/s, metres to stop, and to the screen if continued.

    `going` is None with the reason in `why_not` when the aircraft cannot continue.
    """

    propeller: str
    speed: float
    stopping: float
    going: float | None
    gradient: float
    why_not: str
    is_balanced: bool


def ground_forces(
    case: Case, configuration: Configuration, fastest: float, powered: bool = True
) -> tuple[Forces, Array]:
    """Forces on the wheels over airspeed, in ground effect, interpolated between solves.

    Args:
        case: the user's. configuration: take-off, with or without a failure.
        fastest: m/s, the lift-off speed. powered: False for zero thrust (brakes on).

    Returns:
        The function, and the solved points (4, n): airspeed, net force, lift, power.
    """
    setup = configuration.aircraft.take_off
    if not powered:  # zero thrust, no drag: as if folded, which every kind of propeller can do
        idle = (*configuration.idle, *configuration.powered)
        configuration = replace(configuration, powered=(), idle=idle, idle_state="folded")
    speeds = fastest * np.array(_GROUND_SHARES)
    rows = []
    for speed in speeds.tolist():
        if speed == 0.0 and not configuration.powered:
            rows.append((0.0, 0.0, 0.0))
            continue
        thrust = setting_thrust(case, configuration, speed, setup.setting)
        alphas = (setup.ground_alpha,)
        polar = solved_polar(configuration, speed, thrust, alphas, setup.ground_height)
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
                forces["along"] - forces["drag"] - rest,
                forces["lift"] + forces["up"],
                forces["power"],
            )
        )
    table = np.array(rows).T
    curve = PchipInterpolator(speeds, table, axis=1)

    def at(speed: float) -> tuple[float, float, float]:
        along, lift, power = curve(min(max(speed, 0.0), float(speeds[-1])))
        return float(along), float(lift), float(power)

    return at, np.vstack((speeds, table))


def climb_at(configuration: Configuration, polar: Polar, lift: float) -> tuple[float, Balance]:
    """Incidence (deg) and balance where a polar's trimmed lift has a value, N.

    Raises:
        SolveError: when it is not reached.
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
    return alpha, state(alpha)


def take_off(case: Case, configuration: Configuration, stalled: Stall) -> TakeOffRun:
    """A take-off with all motors at the take-off setting.

    Args:
        case: the user's. configuration: take-off. stalled: at the take-off setting.

    Raises:
        SolveError: when the aircraft does not reach lift-off or does not climb.
    """
    setup, weight = configuration.aircraft.take_off, configuration.weight
    wanted = setup.lift_off_margin * stalled.speed
    speed, alpha, limited = wanted, math.inf, f"{setup.lift_off_margin:g} x stall speed"
    for _ in range(12):
        thrust = setting_thrust(case, configuration, speed, setup.setting)
        polar = solved_polar(configuration, speed, thrust)
        alpha, _ = climb_at(configuration, polar, weight)
        if alpha <= setup.rotation_limit + 1e-3:
            break
        # not enough incidence before the tail strikes: lift grows like the square of speed
        state = balanced(
            configuration, polar.at(setup.rotation_limit), polar.airspeed, polar.density
        )
        speed *= max(math.sqrt(weight / state.lift), 1.0 + 1e-5)
        limited = f"rotation limited to {setup.rotation_limit:g} deg"
    else:
        raise SolveError(
            f"take-off: no lift-off speed found with the rotation limited to "
            f"{setup.rotation_limit:g} deg"
        )
    stall_speed = speed / setup.lift_off_margin  # the margins follow a raised lift-off speed
    forces, history = ground_forces(case, configuration, speed)
    roll = rolled(
        forces, weight, setup.friction, setup.slope, setup.headwind, setup.headwind, speed
    )
    rotation = (speed - setup.headwind) * setup.rotation_time
    gradient = _gradient(case, configuration, _mean_speed(configuration, stall_speed))
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


def _mean_speed(configuration: Configuration, stall_speed: float) -> float:
    setup = configuration.aircraft.take_off
    return 0.5 * (setup.lift_off_margin + setup.screen_margin) * stall_speed


def _gradient(case: Case, configuration: Configuration, speed: float) -> float:
    """Climb gradient (sine of the angle) at the take-off setting."""
    setup = configuration.aircraft.take_off
    thrust = setting_thrust(case, configuration, speed, setup.setting)
    polar = solved_polar(configuration, speed, thrust)
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


def failed_take_off(
    case: Case, configuration: Configuration, run: TakeOffRun, name: str
) -> FailedTakeOff:
    """A motor failing in the roll: stop, or continue to the screen.

    At the failure speed of the case, or at the balanced one, where both take the same distance.
    Stopping: reaction time at the speed reached, then brakes and zero thrust.

    Args:
        case: the user's. configuration: take-off. run: with all motors. name: of the propeller.
    """
    setup, weight = configuration.aircraft.take_off, configuration.weight
    fewer = failed(configuration, (name,))
    all_at_work, _ = ground_forces(case, configuration, run.lift_off)
    with_failure, _ = ground_forces(case, fewer, run.lift_off)
    braked, _ = ground_forces(case, configuration, run.lift_off, powered=False)
    why_not, climb, gradient = "", None, -math.inf
    try:
        gradient = _gradient(case, fewer, _mean_speed(configuration, run.stall_speed))
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

    given = configuration.aircraft.failure_speed
    latest = run.lift_off
    if given is not None:
        speed = min(given, latest)
        going = go(speed) if climb is not None else None
        return FailedTakeOff(name, speed, stop(speed), going, gradient, why_not, False)
    if climb is None:
        return FailedTakeOff(name, latest, stop(latest), None, gradient, why_not, False)
    return _balanced(name, setup.headwind, latest, stop, go, gradient)


def _balanced(
    name: str,
    slowest: float,
    latest: float,
    stop: Callable[[float], float],
    go: Callable[[float], float],
    gradient: float,
) -> FailedTakeOff:
    """The failure at the speed where stopping and going take the same distance, if there is one."""
    low = max(slowest, 0.0) + 1e-3 * latest

    def difference(speed: float) -> float:
        return stop(speed) - go(speed)

    why = ""
    try:
        difference(low)
    except SolveError as error:
        why = str(error)  # too weak to continue from a low speed: only later failures can
        low = _first_possible(go, low, latest)
    if difference(latest) <= 0.0:  # stopping is shorter at any speed up to lift-off
        return FailedTakeOff(name, latest, stop(latest), go(latest), gradient, why, False)
    if difference(low) >= 0.0:
        return FailedTakeOff(name, low, stop(low), go(low), gradient, why, False)
    speed = float(brentq(difference, low, latest, xtol=1e-6))
    return FailedTakeOff(name, speed, stop(speed), go(speed), gradient, why, True)


def _first_possible(go: Callable[[float], float], low: float, latest: float) -> float:
    """Lowest failure speed (m/s), to a hundredth of the range, from which going is possible."""
    for speed in np.linspace(low, latest, 101).tolist():
        try:
            go(speed)
        except SolveError:
            continue
        return float(speed)
    raise SolveError(f"take-off: the aircraft cannot continue from {latest:.1f} m/s")
