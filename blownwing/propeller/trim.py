"""Trim: the rotor speed or blade pitch at which a rotor gives a wanted thrust or power."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blownwing.case.units import RPM
from blownwing.errors import InputError, SolveError
from blownwing.kernels import blade as kernel
from blownwing.propeller.rotor import (
    ANGLE_TOLERANCE,
    AirState,
    Rotor,
    RotorLoads,
    azimuths,
    checked_inflow,
    integrated_loads,
    packed_loads,
    spin_sign,
)

Array = NDArray[np.float64]

TIP_MACH_LIMIT = 0.95
PITCH_RANGE = (math.radians(-50.0), math.radians(60.0))
SCAN_POINTS = 49
COARSE_POINTS = 25
MAX_STEPS = 60
LOOK_BACK = math.radians(1.0)  # pitch taken off to see whether thrust still grows with it
FLAT_PEAK = 1e-3  # of the thrust: a peak this flat is not yet a stall


class StalledBlades(SolveError):
    """The power is reached only where more pitch stalls the blades; `pitch` is there, rad."""

    def __init__(self, message: str, pitch: float) -> None:
        super().__init__(message)
        self.pitch = pitch


def trim_rotor(
    rotor: Rotor,
    air: AirState,
    inflow: ArrayLike,
    target: float,
    quantity: str = "thrust",
    vary: str = "rpm",
    start: float | None = None,
    *,
    slope: float | None = None,
    omega: float = 0.0,
    pitch: float = 0.0,
    spin: str = "clockwise",
    tolerance: float = 1e-9,
) -> tuple[float, float, RotorLoads]:
    """Rotor speed or pitch for a wanted thrust or power, on the branch below the stall.

    Secant steps from `start` end in a few evaluations when it is near. Without it, or when the
    steps leave the branch on which the quantity grows, the whole range is scanned from below (up
    to a tip Mach number of 0.95, or from -50 to 60 degrees of pitch) and the first crossing taken:
    in the inflow averaged round the azimuth first, which costs little and starts the secant steps.
    Power grows with pitch far beyond the stall, thrust does not: a power found by pitch where less
    pitch gives more thrust is refused, since no governor is meant to hold a propeller there.

    Args:
        rotor, air, inflow, spin: as for `solve_rotor`.
        target: N or W.
        quantity: "thrust" or "power".
        vary: "rpm" or "pitch".
        start: a neighbouring solution's rotor speed (rad/s) or pitch (rad), whichever varies.
        slope: that solution's `RotorLoads.trim_slope`, which saves an evaluation.
        omega: rad/s, the fixed rotor speed when pitch varies.
        pitch: rad, the fixed pitch when the rotor speed varies.
        tolerance: on the quantity, relative to the target, or to a thousandth of ρAV² if that is
            more (of ρAV³ for power).

    Returns:
        (omega, pitch, loads).

    Raises:
        InputError: an argument outside its range.
        SolveError: the target cannot be reached; says what can. `StalledBlades` where it is
            reached beyond the stall only.
    """
    _check(target, quantity, vary, omega)
    values = checked_inflow(rotor, inflow)
    sign = spin_sign(spin)
    fastest = _fastest(rotor, air, values)
    lowest, highest = (0.0, fastest) if vary == "rpm" else PITCH_RANGE
    kept: dict[str, tuple[Array, Array]] = {}

    def state(x: float) -> tuple[float, float]:
        return (x, pitch) if vary == "rpm" else (omega, x)

    def error(x: float, stream: Array = values) -> float:
        speed, angle = state(x)
        sums, radial = integrated_loads(rotor, air, speed, angle, sign, stream, ANGLE_TOLERANCE)
        kept["last"] = (sums, radial)
        thrust = float(sums[kernel.SUM_THRUST])
        return (thrust if quantity == "thrust" else float(sums[kernel.SUM_TORQUE]) * speed) - target

    axial = abs(float(values[0].mean()))
    least = 1e-3 * air.density * math.pi * rotor.radius**2 * (axial**2 + 1.0)
    close = tolerance * max(abs(target), least if quantity == "thrust" else least * (axial + 1.0))
    limits = (lowest, highest)
    root: Root | None = None
    if start is not None:
        root = _secant(error, start, slope, target, limits, close, vary)
    if root is None and values.shape[1] > 1:
        mean = _azimuth_mean(values, sign)
        guess = _mean_root(lambda x: error(x, mean), target, limits, 1e4 * close, vary)
        if guess is not None:
            root = _secant(error, guess.x, guess.slope, target, limits, close, vary)
    if root is None:
        root = Root(_scanned(error, lowest, highest, close, target, quantity, vary), None)
    speed, angle = state(root.x)
    loads = packed_loads(rotor, speed, angle, *kept["last"])
    if vary == "pitch" and quantity == "power" and target > 0.0 and loads.thrust > 0.0:
        error(root.x - LOOK_BACK)
        refuse_stalled(target, angle, loads.thrust, float(kept["last"][0][kernel.SUM_THRUST]))
    return speed, angle, replace(loads, trim_slope=root.slope)


def refuse_stalled(power: float, pitch: float, thrust: float, less: float) -> None:
    """Raise StalledBlades where `LOOK_BACK` less than a pitch [rad] gives more thrust.

    power: W, that was asked for; thrust, less: N, at the pitch and at less of it.
    """
    if thrust > 0.0 and less > (1.0 + FLAT_PEAK) * thrust:
        raise StalledBlades(
            f"power of {power:.4g} W is reached by varying pitch only beyond the stall, at "
            f"{math.degrees(pitch):.1f} deg: one degree less gives {less:.4g} N instead of "
            f"{thrust:.4g} N; accepted is less power, more rpm or a larger propeller",
            pitch,
        )


class Root(NamedTuple):
    """Where the error vanishes, and its slope there if the way to it showed one."""

    x: float
    slope: float | None


def _azimuth_mean(inflow: Array, sign: float) -> Array:
    """The mean axial flow and swirl of every annulus, as the inflow of one azimuth station."""
    psi = azimuths(inflow.shape[1])[:, None]
    along = np.mean(sign * np.cos(psi) * inflow[1] - np.sin(psi) * inflow[2], axis=0)
    mean = np.zeros((3, 1, inflow.shape[2]))
    mean[0, 0] = inflow[0].mean(axis=0)
    mean[1, 0] = -sign * along  # a single station lies at the bottom
    return mean


def _mean_root(
    error: Callable[[float], float],
    target: float,
    limits: tuple[float, float],
    close: float,
    vary: str,
) -> Root | None:
    """Root at the first upward crossing of a coarse scan from below, or None."""
    grid = _grid(*limits, COARSE_POINTS, vary)
    before = error(grid[0])
    for low, high in pairwise(grid):
        value = error(high)
        if before < 0.0 <= value:
            slope = (value - before) / (high - low)
            return _secant(error, high - value / slope, slope, target, (low, high), close, vary)
        before = value
    return None


def _grid(lowest: float, highest: float, count: int, vary: str) -> list[float]:
    """Points of a scan from below, closer together at low rotor speeds."""
    share = np.linspace(0.0, 1.0, count)
    values = highest * share[1:] ** 1.5 if vary == "rpm" else lowest + (highest - lowest) * share
    return [float(x) for x in values]


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
    slope: float | None,
    target: float,
    limits: tuple[float, float],
    close: float,
    vary: str,
) -> Root | None:
    """Root near `x` on a growing branch, or None when the steps leave it."""
    lowest, highest = limits
    if not lowest < x < highest:
        return None
    reach = 0.3 * x if vary == "rpm" else math.radians(5.0)
    first, f_first = x, error(x)
    if abs(f_first) <= close:
        return Root(first, slope)
    if slope is not None and slope > 0.0 and abs(f_first) <= reach * slope:
        x = first - f_first / slope
    else:
        # a propeller's thrust and power grow about as the cube of its speed at constant airspeed
        level = max(abs(f_first + target), abs(target), abs(f_first))
        share = min(abs(f_first) / (3.0 * level), 0.03)
        trial = max(share, 1e-6) * x if vary == "rpm" else math.radians(0.1)
        x = first - math.copysign(trial, f_first)
    for _ in range(12):
        if not lowest < x < highest or x == first:
            return None
        value = error(x)
        slope = (value - f_first) / (x - first)
        if not slope > 0.0:
            return None
        if abs(value) <= close:
            return Root(x, slope)
        first, f_first = x, value
        step = -value / slope
        if abs(step) > reach:
            return None
        if abs(step) <= 1e-15 * max(abs(x), 1.0):
            return Root(x, slope)
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
    grid = _grid(lowest, highest, SCAN_POINTS, vary)
    # the second pass looks closer at the peak (or trough) that the first one saw
    for _ in range(2):
        values = [error(grid[0])]
        for k in range(1, len(grid)):
            values.append(error(grid[k]))
            if values[k - 1] < 0.0 <= values[k]:
                return _bracketed(error, grid[k - 1], values[k - 1], grid[k], values[k], close)
        low = max(values) < 0.0
        at = int(np.argmax(values) if low else np.argmin(values))
        best, found = grid[at], values[at] + target
        grid = np.linspace(grid[max(at - 1, 0)], grid[min(at + 1, len(grid) - 1)], 17).tolist()
    word = "largest" if low else "smallest"
    unit = "N" if quantity == "thrust" else "W"
    place = f"{best / RPM:.0f} rpm" if vary == "rpm" else f"a pitch of {math.degrees(best):.1f} deg"
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
