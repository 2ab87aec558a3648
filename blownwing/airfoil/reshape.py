"""One lift curve turned into another: shifted zero lift, steeper slope, higher or lower peak.

`reshaped` scales the curve about its zero-lift point. With r the ratio of the peaks and s that of
the slopes, cl'(α) = r cl(α₀ + (α − α₀') s / r): the slope is exactly s times the old one, the peak
exactly r times, and what happens between them keeps its shape. `raised` slides the upper half up
its straight line instead.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from blownwing.airfoil.attached import LiftLine, lift_line
from blownwing.airfoil.section import SectionTable, table_from_rows

Array = NDArray[np.float64]

# Trends with Reynolds number below that of a measurement: common practice, no source.
PEAK_GROWTH = 0.2  # of the largest cl, per decade
DRAG_EXPONENT = 0.2
_LEAST_PEAK_RATIO = 0.25
_STRAIGHT = 9  # points of the straight part that is put in


@dataclass(frozen=True)
class Change:
    """How a row is reshaped: shift of zero lift (rad), ratio of slopes, of peaks up and down."""

    zero_lift_shift: float = 0.0
    slope_ratio: float = 1.0
    upper_ratio: float = 1.0
    lower_ratio: float = 1.0


def data_row(table: SectionTable, index: int) -> tuple[Array, Array]:
    """Incidences (n,) in rad and cl, cd, cm (3, n) of row `index` where it is data."""
    low, high = table.data_range[index]
    inside = (table.alpha >= low - 1e-9) & (table.alpha <= high + 1e-9)
    values = np.array([table.cl[index], table.cd[index], table.cm[index]])
    return table.alpha[inside], values[:, inside]


def table_line(table: SectionTable, reynolds: float) -> LiftLine:
    """Zero-lift angle, slope and peaks of the row nearest to a Reynolds number.

    reynolds: of the chord.
    """
    index = int(np.argmin(np.abs(np.log(table.reynolds / max(reynolds, 1.0)))))
    alpha, row = data_row(table, index)
    return lift_line(alpha, row[0])


def reshaped(alpha: Array, row: Array, line: LiftLine, change: Change) -> tuple[Array, Array]:
    """A changed row of data.

    Args:
        alpha: (n,) rad. row: (3, n) cl, cd, cm. line: of these data. change: wanted.

    Returns:
        New incidences (n,), increasing, and the row; cd and cm stay with their share of the peak.
    """
    scale = np.where(alpha >= line.zero_lift_angle, change.upper_ratio, change.lower_ratio)
    moved = (alpha - line.zero_lift_angle) * scale / change.slope_ratio
    shifted = line.zero_lift_angle + change.zero_lift_shift + moved
    return shifted, np.array([row[0] * scale, row[1], row[2]])


def raised(alpha: Array, row: Array, line: LiftLine, change: Change) -> tuple[Array, Array]:
    """A row of data whose upper lift curve slides up its own straight line to a higher peak.

    What bends the curve toward its peak, and the peak's distance in incidence from the straight
    line, stay as they are. The stall then comes at α₀' + (α_s − α₀ + Δcl/a)/s, with a the slope, s
    its ratio, Δcl the peak's growth and α₀' the new zero-lift angle: lower than before where zero
    lift moves by more than the growth needs. Stretching the curve instead would raise the angle of
    a flapped section's stall, which falls in practice. The lower half is stretched as in
    `reshaped`; cd and cm stay with their share of the way to the peak.

    Args:
        alpha: (n,) rad. row: (3, n) cl, cd, cm. line: of these data. change: wanted.

    Returns:
        New incidences, increasing, and the row; more points than before.
    """
    x = alpha - line.zero_lift_angle
    climb = line.clmax * (change.upper_ratio - 1.0) / line.slope
    if climb <= 0.0:
        return reshaped(alpha, row, line, change)
    upper = x > 0.0
    peak = float(x[upper][np.argmax(row[0][upper])])
    lower, below = reshaped(alpha[~upper], row[:, ~upper], line, change)
    start = np.linspace(0.0, climb, _STRAIGHT)
    old = x[upper]
    way = np.concatenate((start, old + climb))
    # beyond the peak values keep their distance from it, before it their share of the way
    place = np.where(way < peak + climb, way * peak / (peak + climb), way - climb)
    lift = np.concatenate((line.slope * start, row[0][upper] + line.slope * climb))
    rest = np.array([np.interp(place, x, values) for values in row[1:]])
    origin = line.zero_lift_angle + change.zero_lift_shift
    apart = way > 1e-9
    angles = np.concatenate((lower, origin + way[apart] / change.slope_ratio))
    values = np.concatenate((below, np.vstack((lift, rest))[:, apart]), axis=1)
    return angles, values


def peak_ratio(peak: float, growth: float) -> float:
    """(|peak| + growth) / |peak|, but at least a quarter: some lift of either sign remains.

    peak: largest or least cl, not 0; growth: of its amount.
    """
    return max(1.0 + growth / abs(peak), _LEAST_PEAK_RATIO)


def mirrored(table: SectionTable) -> SectionTable:
    """The section upside down: cl(−α) = −cl(α), likewise cm."""
    return replace(
        table,
        cl=-table.cl[:, ::-1],
        cd=table.cd[:, ::-1],
        cm=-table.cm[:, ::-1],
        measured=-table.data_range[:, ::-1],
    )


def over_reynolds(table: SectionTable, levels: tuple[float, ...]) -> SectionTable:
    """A table of one Reynolds number carried down to lower ones; above its own it is held.

    Both peaks fall by 0.2 per decade, and drag grows at every incidence by what the least drag
    does as Re^−0.2: common practice, no source. Without it a model-size wing would be given the
    stall of a full-size one.

    Args:
        table: of one Reynolds number.
        levels: Reynolds numbers wanted; those not below the table's are left out.
    """
    own = float(table.reynolds[0])
    alpha, row = data_row(table, 0)
    line = lift_line(alpha, row[0])
    lower = [level for level in levels if level < 0.999 * own]
    rows = []
    for level in lower:
        loss = -PEAK_GROWTH * math.log10(own / level)
        upper_ratio, lower_ratio = peak_ratio(line.clmax, loss), peak_ratio(line.clmin, loss)
        change = Change(upper_ratio=upper_ratio, lower_ratio=lower_ratio)
        moved, values = reshaped(alpha, row, line, change)
        values[1] += float(row[1].min()) * ((own / level) ** DRAG_EXPONENT - 1.0)
        rows.append((moved, values))
    if not rows:
        return table
    source = f"{table.source}; below Re {own:.3g} with common trends of peak and drag"
    below = table_from_rows(table.name, source, np.array(lower), rows)
    return SectionTable(
        table.name,
        source,
        np.array([*lower, own]),
        *(
            np.vstack([getattr(below, name), getattr(table, name)])
            for name in ("cl", "cd", "cm", "data_range")
        ),
    )
