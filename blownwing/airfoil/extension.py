"""Rows of section data on a uniform grid round the whole circle of incidence.

Between data points runs a monotone cubic: no overshoot, a continuous slope, and the largest lift
is the largest one in the data. Beyond the data the section continues as a stalled plate.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Drag coefficient of the stalled section broadside on, for aspect ratio about 10:
# 1.11 + 0.018 AR (Viterna & Corrigan 1982).
BROADSIDE_DRAG = 1.11 + 0.018 * 10.0
# A plate stalls somewhere near 10°; data that end before are held up to there.
_LEAST_START = math.radians(10.0)


def monotone_slopes(x: Array, y: Array) -> Array:
    """Slopes dy/dx of the monotone cubic through points, along the last axis of `y`.

    Args:
        x: (n,) increasing, two points or more.
        y: (..., n).

    Source: Fritsch & Butland (1984), "A method for constructing local monotone piecewise cubic
    interpolants", SIAM Journal on Scientific and Statistical Computing 5, 300-304; three-point
    formula at the ends, limited to keep the shape.
    """
    step = np.diff(x)
    secant = np.diff(y, axis=-1) / step
    if len(x) == 2:
        return np.repeat(secant, 2, axis=-1)
    before, after = secant[..., :-1], secant[..., 1:]
    one, two = 2.0 * step[1:] + step[:-1], step[1:] + 2.0 * step[:-1]
    same = before * after > 0.0
    safe_before, safe_after = np.where(same, before, 1.0), np.where(same, after, 1.0)
    mean = (one + two) / (one / safe_before + two / safe_after)
    ends = [
        _end_slope(step[k], step[m], secant[..., k], secant[..., m]) for k, m in ((0, 1), (-1, -2))
    ]
    inner = np.where(same, mean, 0.0)
    result: Array = np.concatenate([ends[0][..., None], inner, ends[1][..., None]], axis=-1)
    return result


def _end_slope(step: float, next_step: float, secant: Array, next_secant: Array) -> Array:
    slope = ((2.0 * step + next_step) * secant - step * next_secant) / (step + next_step)
    slope = np.where(slope * secant <= 0.0, 0.0, slope)
    turning = secant * next_secant <= 0.0
    limited = turning & (np.abs(slope) > 3.0 * np.abs(secant))
    return np.asarray(np.where(limited, 3.0 * secant, slope))


def monotone_values(x: Array, y: Array, at: Array) -> Array:
    """The monotone cubic through (x (n,), y (..., n)) at points `at` (m,); held beyond the ends."""
    slopes = monotone_slopes(x, y)
    i = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
    h = x[i + 1] - x[i]
    t = np.clip((at - x[i]) / h, 0.0, 1.0)
    rise = y[..., i + 1] - y[..., i]
    first, last = slopes[..., i] * h - rise, rise - slopes[..., i + 1] * h
    result: Array = y[..., i] + t * (rise + (1.0 - t) * (first * (1.0 - t) + last * t))
    return result


def extended(alpha: Array, row: Array, grid: Array) -> Array:
    """cl, cd and cm round the whole circle.

    Args:
        alpha: (n,) rad, incidences of the data, increasing, within ±80° or reaching ±180°.
        row: (3, n) cl, cd, cm.
        grid: (m,) rad, from −π to π.

    Returns:
        (3, m): the monotone cubic of the data, the stalled plate beyond.
    """
    result = monotone_values(alpha, row, grid)
    rear = 2.0 * float(np.interp(0.0, alpha, row[1]))
    high, low = grid > alpha[-1], grid < alpha[0]
    if alpha[-1] < math.pi - 1e-9:
        result[:, high] = _stalled(grid[high], alpha[-1], row[:, -1], rear)
    if alpha[0] > 1e-9 - math.pi:
        mirror = np.array([-1.0, 1.0, -1.0])
        stalled = _stalled(-grid[low], -alpha[0], mirror * row[:, 0], rear)
        result[:, low] = mirror[:, None] * stalled
    return result


def _stalled(alpha: Array, end: float, at_end: Array, rear: float) -> Array:
    """cl, cd, cm (3, n) from the end of the data (rad, below 80°) to π, continuous at the end.

    Viterna & Corrigan (1982), "Fixed pitch rotor performance of large horizontal axis wind
    turbines", NASA CP-2230, up to 90°; the same mirrored with 0.7 of the lift for the reversed
    section, falling to no lift and the drag `rear` at 180° (common practice, no source). The
    moment moves towards a centre of pressure at half chord.
    """
    start = max(end, _LEAST_START)
    s, c = math.sin(start), math.cos(start)
    lift_rest = (at_end[0] - BROADSIDE_DRAG * s * c) * s / c**2
    drag_rest = (at_end[1] - BROADSIDE_DRAG * s * s) / c
    folded = np.where(alpha > 0.5 * math.pi, math.pi - alpha, alpha)
    reached = np.maximum(folded, start)
    sine, cosine = np.sin(reached), np.cos(reached)
    cl = 0.5 * BROADSIDE_DRAG * np.sin(2.0 * reached) + lift_rest * cosine**2 / sine
    cd = BROADSIDE_DRAG * sine**2 + drag_rest * cosine
    share = folded / start
    back = alpha > 0.5 * math.pi
    near_rear = back & (folded < start)
    cl = np.where(back, -0.7 * cl, cl)
    cl = np.where(near_rear, cl * share, cl)
    cd = np.where(near_rear, rear + (cd - rear) * share, cd)
    turn = np.clip((alpha - start) / (0.5 * math.pi - start), 0.0, 1.0)
    cm = at_end[2] + (-0.25 * BROADSIDE_DRAG - at_end[2]) * turn
    cm = np.where(back, -0.25 * BROADSIDE_DRAG * (math.pi - alpha) / (0.5 * math.pi), cm)
    return np.array([cl, np.maximum(cd, 1e-4), cm])
