"""Many section tables as one set of arrays, evaluated for all strips of a wing at once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blownwing.airfoil.extension import monotone_slopes, monotone_values
from blownwing.airfoil.section import FINE_GRID, MACH_CAP, SectionTable
from blownwing.errors import InputError, SolveError
from blownwing.kernels.section import strip_coefficients

Array = NDArray[np.float64]


@dataclass(frozen=True)
class PackedSections:
    """Tables on common grids.

    Attributes:
        names: (n_tables) of the sections.
        log_reynolds: (n_re,) natural logarithms, increasing.
        alpha: (n_a,) rad, uniform from −π to π.
        values: (n_tables, n_re, n_a, 4) cl, cd, cm and dcl/dα.
        peaks: (n_tables, n_re, 2) largest and least cl.
    """

    names: tuple[str, ...]
    log_reynolds: Array
    alpha: Array
    values: Array
    peaks: Array


@dataclass(frozen=True)
class SectionValues:
    """Coefficients of strips, (n,) each: cl, cd, cm about the quarter chord, dcl/dα per rad."""

    cl: Array
    cd: Array
    cm: Array
    lift_slope: Array


def packed(tables: Sequence[SectionTable]) -> PackedSections:
    """Tables on the fine grid of incidence and on all their Reynolds numbers together.

    Raises:
        InputError: no table.
    """
    if not tables:
        raise InputError("sections: found none; accepted are one or more")
    levels = np.log(np.unique(np.concatenate([table.reynolds for table in tables])))
    values = np.array([_on_levels(table, levels) for table in tables])
    lift = values[..., 0]
    peaks = np.stack([lift.max(axis=-1), lift.min(axis=-1)], axis=-1)
    for array in (levels, values, peaks):
        array.flags.writeable = False
    return PackedSections(tuple(t.name for t in tables), levels, FINE_GRID, values, peaks)


def _on_levels(table: SectionTable, levels: Array) -> Array:
    """(n_re, n_a, 4) of one table, linear in log Reynolds number and held at its ends."""
    own = np.array([table.cl, table.cd, table.cm])
    if not np.array_equal(table.alpha, FINE_GRID):
        own = monotone_values(table.alpha, own, FINE_GRID)
    place = np.interp(levels, np.log(table.reynolds), np.arange(len(table.reynolds), dtype=float))
    row = np.minimum(place.astype(int), max(len(table.reynolds) - 2, 0))
    after = np.minimum(row + 1, len(table.reynolds) - 1)
    share = (place - row)[:, None]
    mixed = (1.0 - share) * own[:, row] + share * own[:, after]
    return np.stack([*mixed, monotone_slopes(FINE_GRID, mixed[0])], axis=-1)


def packed_coefficients(
    pack: PackedSections,
    first: ArrayLike,
    second: ArrayLike,
    share: ArrayLike,
    alpha: ArrayLike,
    reynolds: ArrayLike,
    mach: ArrayLike = 0.0,
) -> SectionValues:
    """Coefficients of strips, each between two sections.

    Args:
        pack: the tables.
        first, second: (n,) indices of the two tables of a strip.
        share: (n,) of the second one, 0 to 1.
        alpha: (n,) rad.
        reynolds: (n,) of the strip's chord; held at the tables' ends.
        mach: (n,) Mach number across the strip. Prandtl-Glauert's factor multiplies lift and
            moment, its growth ends at Mach 0.8, and lift stays within the peaks. Largest lift falls
            with Mach number in truth; that is left out, and small below Mach 0.3.

    Lift is a cubic in incidence with a continuous slope, which is returned; only where the factor
    carries it into a peak does the slope jump to 0. Drag and moment are linear between the grid's
    points, all are linear in log Reynolds number.

    Raises:
        SolveError: an incidence or a Reynolds number that is not finite.

    Source: Glauert (1928), "The effect of compressibility on the lift of an aerofoil", Proceedings
    of the Royal Society A 118, 113-119, for the factor; the limits are common practice.
    """
    given = (first, second, share, alpha, reynolds, mach)
    one, two, share, angle, level, speed = np.broadcast_arrays(*given)
    if not (np.all(np.isfinite(angle)) and np.all(np.isfinite(level))):
        raise SolveError("sections: found an incidence or Reynolds number of a strip not finite")
    n, count = len(pack.alpha) - 1, len(pack.log_reynolds)
    step = 2.0 * math.pi / n
    place = ((angle.ravel() + math.pi) % (2.0 * math.pi)) / step
    point = np.minimum(place.astype(np.int64), n - 1)
    levels = np.arange(count, dtype=float)
    level = np.interp(np.log(np.maximum(level.ravel(), 1.0)), pack.log_reynolds, levels)
    row = np.minimum(level.astype(np.int64), max(count - 2, 0))
    out = np.empty((4, place.size))
    strip_coefficients(
        pack.values,
        pack.peaks,
        np.stack((one.ravel(), two.ravel())).astype(np.int64),
        np.stack((1.0 - share.ravel(), share.ravel())).astype(np.float64),
        row,
        level - row,
        point,
        place - point,
        step,
        1.0 / np.sqrt(1.0 - np.minimum(speed.ravel(), MACH_CAP) ** 2.0),
        out,
    )
    cl, cd, cm, slope = out.reshape(4, *angle.shape)
    return SectionValues(cl, cd, cm, slope)
