"""Trim: the rotor speed or blade pitch at which a rotor gives a wanted thrust or power."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blownwing.errors import InputError, SolveError
from blownwing.kernels import blade as kernel
from blownwing.propeller.rotor import (
    ANGLE_TOLERANCE,
    AirState,
    Rotor,
    RotorLoads,
    checked_inflow,
    integrated_loads,
    packed_loads,
    spin_sign,
)

Array = NDArray[np.float64]

TIP_MACH_LIMIT = 0.95
PITCH_RANGE = (math.radians(-30.0), math.radians(60.0))
SCAN_POINTS = 49
MAX_STEPS = 60


def trim_rotor(
    rotor: Rotor,
    air: AirState,
    inflow: ArrayLike,
    target: float,
    quantity: str = "thrust",
    vary: str = "rpm",
    start: float | None = None,
    *,
    omega: float = 0.0,
    pitch: float = 0.0,
    spin: str = "clockwise",
    tolerance: float = 1e-9,
) -> tuple[float, float, RotorLoads]:
    """Rotor speed or pitch for a wanted thrust or power, on the branch below the stall.

    Secant steps from `start` end in a few evaluations when it is near. Without it, or when the
    steps leave the branch on which the quantity grows, the whole range is scanned from below (up
    to a tip Mach number of 0.95, or from -30 to 60 degrees of pitch) and the first crossing taken.

    Args:
        rotor, air, inflow, spin: as for `solve_rotor`.
        target: N or W.
        quantity: "thrust" or "power".
        vary: "rpm" or "pitch".
        start: a neighbouring solution's rotor speed (rad/s) or pitch (rad), whichever varies.
        omega: rad/s, the fixed rotor speed when pitch varies.
        pitch: rad, the fixed pitch when the rotor speed varies.
        tolerance: on the quantity, relative to the target, or to a thousandth of ρAV² if that is
            more (of ρAV³ for power).

    Returns:
        (omega, pitch, loads).

    Raises:
        InputError: an argument outside its range.
        SolveError: the target cannot be reached; says what can.
    """
    _check(target, quantity, vary, omega)
    values = checked_inflow(rotor, inflow)
    sign = spin_sign(spin)
    fastest = _fastest(rotor, air, values)
    lowest, highest = (0.0, fastest) if vary == "rpm" else PITCH_RANGE
    kept: dict[str, tuple[Array, Array]] = {}

    def state(x: float) -> tuple[float, float]:
        return (x, pitch) if vary == "rpm" else (omega, x)

    def error(x: float) -> float:
        speed, angle = state(x)
        sums, radial = integrated_loads(rotor, air, speed, angle, sign, values, ANGLE_TOLERANCE)
        kept["last"] = (sums, radial)
        thrust = float(sums[kernel.SUM_THRUST])
        return (thrust if quantity == "thrust" else float(sums[kernel.SUM_TORQUE]) * speed) - target

    axial = abs(float(values[0].mean()))
    least = 1e-3 * air.density * math.pi * rotor.radius**2 * (axial**2 + 1.0)
    close = tolerance * max(abs(target), least if quantity == "thrust" else least * (axial + 1.0))
    x: float | None = None
    if start is not None:
        x = _secant(error, start, target, lowest, highest, close, vary)
    if x is None:
        x = _scanned(error, lowest, highest, close, target, quantity, vary)
    speed, angle = state(x)
    return speed, angle, packed_loads(rotor, speed, angle, *kept["last"])


def _check(target: float, quantity: str, vary: str, omega: float) -> None:
    if quantity not in ("thrust", "power"):
        raise InputError(f'trim: found quantity "{quantity}"; accepted are "thrust" and "power"')
    if vary not in ("rpm", "pitch"):
        raise InputError(f'trim: found vary "{vary}"; accepted are "rpm" and "pitch"')
    if not math.isfinite(target):
        raise InputError(f"trim: found target {target:g}; accepted is a finite {quantity}")
    if vary == "pitch" and not 0.0 < omega < math.inf:
        raise InputError(f"trim on pitch: found omega {omega:g} rad/s; accepted is above 0")


def _fastest(rotor: Rotor, air: AirState, inflow: Array) -> float:
    """Rotor speed at which the tip reaches the Mach limit in the mean axial flow, rad/s."""
    limit = TIP_MACH_LIMIT * air.speed_of_sound
    axial = float(inflow[0].mean())
    if abs(axial) >= limit:
        raise SolveError(
            f"trim: the axial flow of {axial:.1f} m/s alone exceeds a tip Mach number of "
            f"{TIP_MACH_LIMIT}"
        )
    return math.sqrt(limit**2 - axial**2) / rotor.radius


def _secant(
    error: Callable[[float], float],
    x: float,
    target: float,
    lowest: float,
    highest: float,
    close: float,
    vary: str,
) -> float | None:
    """Root near `x` on a growing branch, or None when the steps leave it."""
    if not lowest < x < highest:
        return None
    reach = 0.3 * x if vary == "rpm" else math.radians(5.0)
    first, f_first = x, error(x)
    if abs(f_first) <= close:
        return first
    # a propeller's thrust and power grow about as the cube of its speed at constant airspeed
    level = max(abs(f_first + target), abs(target), abs(f_first))
    share = min(abs(f_first) / (3.0 * level), 0.03)
    trial = max(share, 1e-6) * x if vary == "rpm" else math.radians(0.1)
    x = first - math.copysign(trial, f_first)
    for _ in range(12):
        if not lowest < x < highest:
            return None
        value = error(x)
        slope = (value - f_first) / (x - first)
        if not slope > 0.0:
            return None
        if abs(value) <= close:
            return x
        first, f_first = x, value
        step = -value / slope
        if abs(step) > reach:
            return None
        if abs(step) <= 1e-15 * max(abs(x), 1.0):
            return x
        x += step
    return None


def _scanned(
    error: Callable[[float], float],
    lowest: float,
    highest: float,
    close: float,
    target: float,
    quantity: str,
    vary: str,
) -> float:
    """Root at the first upward crossing of a scan from below."""
    grid = np.linspace(lowest, highest, SCAN_POINTS)
    if vary == "rpm":
        grid = highest * np.linspace(0.0, 1.0, SCAN_POINTS)[1:] ** 1.5
    # the second pass looks closer at the peak (or trough) that the first one saw
    for _ in range(2):
        values = [error(float(grid[0]))]
        for k in range(1, len(grid)):
            values.append(error(float(grid[k])))
            if values[k - 1] < 0.0 <= values[k]:
                ends = float(grid[k - 1]), values[k - 1], float(grid[k]), values[k]
                return _bracketed(error, *ends, close)
        low = max(values) < 0.0
        at = int(np.argmax(values) if low else np.argmin(values))
        best, found = float(grid[at]), values[at] + target
        grid = np.linspace(grid[max(at - 1, 0)], grid[min(at + 1, len(grid) - 1)], 17)
    word = "largest" if low else "smallest"
    unit = "N" if quantity == "thrust" else "W"
    place = (
        f"{best * 30.0 / math.pi:.0f} rpm"
        if vary == "rpm"
        else f"a pitch of {math.degrees(best):.1f} deg"
    )
    raise SolveError(
        f"{quantity} of {target:.4g} {unit} cannot be reached by varying {vary}: the {word} "
        f"{quantity} reachable is {found:.4g} {unit}, at {place}"
    )


def _bracketed(
    error: Callable[[float], float],
    lower: float,
    f_lower: float,
    upper: float,
    f_upper: float,
    close: float,
) -> float:
    """Root of a bracketed crossing: false position with halved weights, bisection every third."""
    if abs(f_upper) <= close:
        error(upper)
        return upper
    for step in range(MAX_STEPS):
        x = upper - f_upper * (upper - lower) / (f_upper - f_lower)
        if step % 3 == 2 or not lower < x < upper:
            x = 0.5 * (lower + upper)
        value = error(x)
        if abs(value) <= close or upper - lower <= 1e-14 * max(abs(upper), 1.0):
            return x
        if value > 0.0:
            upper, f_upper, f_lower = x, value, 0.5 * f_lower
        else:
            lower, f_lower, f_upper = x, value, 0.5 * f_upper
    raise SolveError(f"trim did not close: the error stays at {value:.3g} near {x:.6g}")
