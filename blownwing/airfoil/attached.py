"""The attached part of a lift curve, and estimates for drag and moment that nobody measured."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_FIT = math.radians(5.0)  # the slope is fitted this far to both sides of zero lift


@dataclass(frozen=True)
class LiftLine:
    """Straight part and peaks of a lift curve: zero-lift angle (rad), slope (per rad), cl."""

    zero_lift_angle: float
    slope: float
    clmax: float
    clmin: float


def lift_line(alpha: Array, cl: Array) -> LiftLine:
    """Zero-lift angle, slope and peaks of a lift curve before the deep stall.

    Args:
        alpha: (n,) rad, increasing. cl: (n,).

    The zero-lift angle is the first upward crossing of cl = 0, else the fitted line's. The slope is
    that of least squares within 5° of zero lift.
    """
    up = np.flatnonzero((cl[:-1] < 0.0) & (cl[1:] >= 0.0))
    if up.size:
        i = int(up[0])
        zero = float(alpha[i] - cl[i] * (alpha[i + 1] - alpha[i]) / (cl[i + 1] - cl[i]))
    else:
        zero = float(alpha[int(np.argmin(np.abs(cl)))])
    reach = np.linspace(max(zero - _FIT, alpha[0]), min(zero + _FIT, alpha[-1]), 21)
    slope, level = np.polyfit(reach, np.interp(reach, alpha, cl), 1)
    if not up.size:
        zero = float(-level / slope)
    return LiftLine(zero, float(slope), float(cl.max()), float(cl.min()))


def lost_share(alpha: Array, cl: Array, line: LiftLine) -> Array:
    """Share of the straight line's lift that the section has lost, 0 to 1, at each incidence.

    Within a degree of zero lift, where the ratio of two small numbers means nothing, it is 0.
    alpha: (n,) rad, increasing; cl: (n,); line: of these data.
    """
    away = np.abs(alpha - line.zero_lift_angle) > math.radians(1.0)
    ideal = np.where(away, line.slope * (alpha - line.zero_lift_angle), 1.0)
    return np.asarray(np.where(away, np.clip(1.0 - cl / ideal, 0.0, 1.0), 0.0))


def filled_drag(alpha: Array, cl: Array, cd: Array) -> Array:
    """Drag with the unmeasured readings (NaN) estimated; two measured ones at least.

    alpha: (n,) rad, increasing; cl, cd: (n,).

    Between measured readings linear in incidence. Beyond the last one it grows with the lift lost:
    a fully stalled plate has cd = 2 sin²α, of which the last measured drag gets the share by which
    the loss of lift has grown since. Common practice, no source; against the 80-grit readings of
    Ladson (1988), NASA TM 4074, it is 0.033 for 0.026 at the peak, 0.10 for 0.19 a degree on.
    """
    known = np.flatnonzero(np.isfinite(cd))
    plate = lost_share(alpha, cl, lift_line(alpha, cl)) * 2.0 * np.sin(alpha) ** 2
    filled = np.interp(alpha, alpha[known], cd[known])
    for end, beyond in ((known[0], slice(0, known[0])), (known[-1], slice(known[-1], None))):
        filled[beyond] += np.maximum(plate[beyond] - plate[end], 0.0)
    filled[known] = cd[known]
    return np.asarray(filled)


def filled_moment(alpha: Array, cl: Array, cm: Array, attached: float) -> Array:
    """Moment about the quarter chord with the unmeasured readings (NaN) estimated.

    alpha: (n,) rad, increasing; cl, cm: (n,); attached: cm where no lift is lost.

    It is `attached` where no lift is lost, and moves with the lost share towards a plate's with its
    centre of pressure at half chord, cm = −cl/4. Common practice, no source.
    """
    lost = lost_share(alpha, cl, lift_line(alpha, cl))
    estimate = (1.0 - lost) * attached - 0.25 * lost * cl
    return np.asarray(np.where(np.isfinite(cm), cm, estimate))
