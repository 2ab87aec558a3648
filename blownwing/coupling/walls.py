"""Where slipstreams overlap at the wing: each ends on the plane in which their circles meet.

Staggered or closely spaced propellers send streams that run into each other a little. The stretch
between the two meeting points becomes a plane wall from one stream to the other; it carries the
ratio of their speeds, and between equal speeds it vanishes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from blownwing.errors import InputError
from blownwing.geometry.tube import Cut

Array = NDArray[np.float64]

TOUCH = 1e-3  # of the radii: tubes may come this much into each other, by round-off and snapping
DEEPEST = 1.0 / 3.0  # overlap over the smaller radius


def meeting_cuts(
    y: Array, z: Array, radius: Array, outermost: NDArray[np.int64], names: Sequence[str]
) -> dict[int, tuple[Cut, ...]]:
    """Cuts of the interfaces (k,) that overlap others, by interface.

    y, z, radius: (k,) circles at the wing, m; outermost: those that lie in no other; names: (k,)
    of their propellers. Raises InputError for streams that overlap by more than a third of the
    smaller radius.
    """
    cuts: dict[int, tuple[Cut, ...]] = {}
    across = y[outermost] - y[outermost, None], z[outermost] - z[outermost, None]
    distance, reach = np.hypot(*across), radius[outermost] + radius[outermost, None]
    for one, other in np.argwhere(distance < (1.0 - TOUCH) * reach).tolist():
        if one >= other:
            continue
        i, j = int(outermost[one]), int(outermost[other])
        apart, overlap = distance[one, other], reach[one, other] - distance[one, other]
        least = min(radius[i], radius[j])
        if overlap > DEEPEST * least * (1.0 + 1e-9):
            raise InputError(
                f"propellers {names[i]} and {names[j]}: their slipstreams overlap by "
                f"{overlap:.3g} m at the wing; accepted with model.jet_edge = true is at most "
                f"a third of the smaller radius, {DEEPEST * least:.3g} m"
            )
        angle = float(np.arctan2(across[1][one, other], across[0][one, other]))
        first = float(0.5 * (apart + (radius[i] ** 2 - radius[j] ** 2) / apart))
        cuts[i] = (*cuts.get(i, ()), Cut(angle, first, j))
        cuts[j] = (*cuts.get(j, ()), Cut(angle + np.pi, float(apart) - first, i))
    return cuts


def inside_cuts(cuts: Sequence[Cut], y: Array, z: Array) -> NDArray[np.bool_]:
    """Whether points y, z (n,), m, from the axis lie on a stream's own side of all its cuts."""
    own = np.ones(y.shape, dtype=np.bool_)
    for cut in cuts:
        own &= y * np.cos(cut.angle) + z * np.sin(cut.angle) <= cut.distance
    return own


def cut_crossings(cuts: Sequence[Cut], radius: float, height: float) -> list[float]:
    """Where a line at `height` over the axis crosses a cut circle, from the axis; all in m.

    radius: of the circle.
    """
    half = math.sqrt(max(radius**2 - height**2, 0.0))
    turns = [(math.cos(cut.angle), height * math.sin(cut.angle), cut.distance) for cut in cuts]
    places = [-half, half, *((d - rise) / cos for cos, rise, d in turns if abs(cos) > 1e-9)]
    slack = 1e-9 * radius
    return [
        place
        for place in places
        if math.hypot(place, height) <= radius + slack
        and all(place * cos + rise <= d + slack for cos, rise, d in turns)
    ]
