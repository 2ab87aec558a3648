"""Operation off design: constant speed, windmilling, stopped, feathered and reversed.

Fixed pitch at a given rotor speed is `solve_rotor`; fixed pitch for a wanted thrust or power is
`trim_rotor` on rpm. Here is what else a propeller does in axial flow.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from blownwing.errors import InputError, SolveError
from blownwing.propeller.rotor import (
    AirState,
    Rotor,
    RotorLoads,
    axial_inflow,
    solve_rotor,
)
from blownwing.propeller.trim import PITCH_RANGE, TIP_MACH_LIMIT, StalledBlades, trim_rotor

# Tip speed over airspeed: blades of a degree or two of twist at the tip, nothing turns faster.
FASTEST_WINDMILL = 40.0
_POINTS = 61


def constant_speed(
    rotor: Rotor,
    air: AirState,
    speed: float,
    omega: float,
    target: float,
    quantity: str = "power",
) -> RotorLoads:
    """A governed propeller: rotor speed held, pitch found for a power (W) or thrust (N).

    Args:
        rotor, air: as for `solve_rotor`. speed: airspeed, m/s. omega: rad/s, above 0.
        target: W or N; negative for a propeller that brakes in the ordinary pitch range.
        quantity: "power" or "thrust".

    Raises:
        InputError: an argument outside its range.
        SolveError: the target cannot be reached; says what can.
    """
    return trim_rotor(
        rotor, air, axial_inflow(rotor, speed), target, quantity, "pitch", omega=omega
    )[2]


def most_thrust(
    rotor: Rotor, air: AirState, speed: float, omega: float, power: float
) -> RotorLoads:
    """A governed propeller at its largest thrust: at the power, or less where blades would stall.

    Args:
        rotor, air: as for `solve_rotor`. speed: airspeed, m/s. omega: rad/s, above 0.
        power: largest shaft power, W, above 0.

    Raises:
        InputError: as for `solve_rotor`.
        SolveError: no pitch gives thrust within the power.
    """
    from scipy.optimize import minimize_scalar

    inflow = axial_inflow(rotor, speed)

    def at(pitch: float) -> RotorLoads:
        return solve_rotor(rotor, air, omega, pitch, "clockwise", inflow)

    try:
        return trim_rotor(rotor, air, inflow, power, "power", "pitch", omega=omega)[2]
    except StalledBlades as error:
        top = error.pitch
    except SolveError:  # more power than these blades take at any pitch
        top = PITCH_RANGE[1]
        if at(top).power > power:
            raise
    pitches = np.linspace(PITCH_RANGE[0], top, _POINTS)
    thrusts = [at(float(pitch)).thrust for pitch in pitches]
    best = int(np.argmax(thrusts))
    low, high = pitches[max(best - 1, 0)], pitches[min(best + 1, _POINTS - 1)]
    found = minimize_scalar(
        lambda pitch: -at(float(pitch)).thrust, bounds=(low, high), method="bounded",
        options={"xatol": 1e-5},
    )  # fmt: skip
    loads = at(float(found.x))
    if loads.power > power or loads.thrust <= 0.0:
        raise SolveError(
            f"governed propeller: no pitch gives thrust within {power:.4g} W at {speed:g} m/s"
        )
    return loads


def windmill(
    rotor: Rotor, air: AirState, speed: float, pitch: float, drag: float = 0.0
) -> RotorLoads:
    """A propeller that turns freely: the rotor speed at which it drives just its own friction.

    Args:
        rotor, air: as for `solve_rotor`. speed: m/s, above 0. pitch: rad.
        drag: torque of friction (bearings, a motor carried along), N m, 0 or more.

    Returns:
        The loads at the fastest stable speed (torque from the air falls as it turns faster), up to
        a tip Mach number of 0.95 and a tip speed of 40 times the airspeed.

    Raises:
        InputError: a speed or drag outside its range.
        SolveError: the air does not keep this blade turning.
    """
    if not 0.0 < speed < math.inf or not 0.0 <= drag < math.inf:
        raise InputError(
            f"windmill: found {speed:g} m/s and {drag:g} N m; accepted are above 0 and 0 or more"
        )
    inflow = axial_inflow(rotor, speed)
    limit = TIP_MACH_LIMIT * air.speed_of_sound
    if speed >= limit:
        raise SolveError(f"windmill: {speed:g} m/s alone exceeds a tip Mach of {TIP_MACH_LIMIT}")
    fastest = min(math.sqrt(limit**2 - speed**2), FASTEST_WINDMILL * speed) / rotor.radius

    def surplus(omega: float) -> float:
        return -solve_rotor(rotor, air, omega, pitch, "clockwise", inflow).torque - drag

    found = _last_fall(surplus, fastest * np.linspace(0.0, 1.0, _POINTS)[1:] ** 1.5)
    if found is None:
        raise SolveError(
            f"windmill: at {speed:g} m/s and pitch {math.degrees(pitch):.1f} deg the air does not "
            "keep this propeller turning"
        )
    return solve_rotor(rotor, air, found, pitch, "clockwise", inflow)


def stopped(rotor: Rotor, air: AirState, speed: float, pitch: float) -> RotorLoads:
    """A propeller held still: drag is −thrust, and the torque is what the lock must hold.

    Args:
        rotor, air: as for `solve_rotor`. speed: m/s. pitch: rad.

    Raises:
        InputError, SolveError: as for `solve_rotor`.
    """
    return solve_rotor(rotor, air, 0.0, pitch, "clockwise", axial_inflow(rotor, speed))


def feathered(rotor: Rotor, air: AirState, speed: float) -> RotorLoads:
    """A stopped propeller at the pitch of no torque, where it stays still without a lock.

    Args:
        rotor, air: as for `solve_rotor`. speed: m/s, above 0.

    Raises:
        InputError: a speed not above 0.
        SolveError: no pitch from 0 to 110 degrees balances the torque.
    """
    if not 0.0 < speed < math.inf:
        raise InputError(f"feathered: found {speed:g} m/s; accepted is above 0")

    def torque(pitch: float) -> float:
        return stopped(rotor, air, speed, pitch).torque

    # near the feathered blade the flow comes along the chord: from there the torque changes sign
    found = _last_fall(torque, np.radians(np.linspace(110.0, 0.0, 2 * _POINTS)))
    if found is None:
        raise SolveError("feathered: no pitch from 0 to 110 deg holds this propeller still")
    return stopped(rotor, air, speed, found)


def reverse(
    rotor: Rotor,
    air: AirState,
    speed: float,
    omega: float,
    *,
    thrust: float | None = None,
    power: float | None = None,
) -> RotorLoads:
    """Reverse thrust by pitch at a held rotor speed.

    Args:
        rotor, air: as for `solve_rotor`. speed: m/s. omega: rad/s, above 0.
        thrust: N, below 0; or power: shaft power taken up, W, above 0, on the side of negative
            thrust.

    Returns:
        The loads at the pitch nearest to zero thrust that does it.

    Raises:
        InputError: both or neither, or of the wrong sign.
        SolveError: it cannot be reached; says what can.
    """
    if (thrust is None) == (power is None) or not 0.0 < omega < math.inf:
        raise InputError("reverse: accepted is one of thrust and power, and a rotor speed above 0")
    if (thrust is not None and not thrust < 0.0) or (power is not None and not power > 0.0):
        raise InputError("reverse: accepted are a thrust below 0 N or a power above 0 W")
    inflow = axial_inflow(rotor, speed)

    def loads(pitch: float) -> RotorLoads:
        return solve_rotor(rotor, air, omega, pitch, "clockwise", inflow)

    def error(pitch: float) -> float:
        found = loads(pitch)
        if thrust is not None:
            return found.thrust - thrust
        return (power or 0.0) - found.power

    idle = _last_fall(
        lambda p: -loads(p).thrust, np.linspace(PITCH_RANGE[0], PITCH_RANGE[1], _POINTS)
    )
    if idle is None:
        raise SolveError("reverse: no pitch in the range gives zero thrust to start from")
    grid = np.linspace(idle, idle - math.radians(35.0), _POINTS)
    values = [error(float(p)) for p in grid]
    for k in range(1, _POINTS):
        if values[k - 1] > 0.0 >= values[k]:
            return loads(_refined(error, float(grid[k - 1]), float(grid[k])))
    least = int(np.argmin(values))
    reached = values[least] + thrust if thrust is not None else (power or 0.0) - values[least]
    raise SolveError(
        f"reverse: {'thrust' if thrust is not None else 'power'} cannot be reached; the most is "
        f"{reached:.4g} {'N' if thrust is not None else 'W'} at a pitch of "
        f"{math.degrees(grid[least]):.1f} deg"
    )


def _last_fall(function: Callable[[float], float], grid: np.ndarray) -> float | None:
    """The last crossing from positive to negative along a grid, refined; None without one."""
    values = [function(float(x)) for x in grid]
    for k in range(len(grid) - 1, 0, -1):
        if values[k - 1] > 0.0 >= values[k]:
            return _refined(function, float(grid[k - 1]), float(grid[k]))
    return None


def _refined(function: Callable[[float], float], above: float, below: float) -> float:
    """Where a function falls through zero between two points, by bracketed secant steps."""
    f_above, f_below = function(above), function(below)
    for step in range(80):
        if f_above == f_below or abs(above - below) <= 1e-13 * max(abs(above), abs(below), 1e-3):
            break
        x = below - f_below * (below - above) / (f_below - f_above)
        if step % 3 == 2 or not min(above, below) < x < max(above, below):
            x = 0.5 * (above + below)
        value = function(x)
        if value == 0.0:
            return x
        if value > 0.0:
            above, f_above, f_below = x, value, 0.5 * f_below
        else:
            below, f_below, f_above = x, value, 0.5 * f_above
    return below
