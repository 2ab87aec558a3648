"""Section tables as arrays on common Reynolds numbers, and the look-up of wings and blades."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blownwing.airfoil.section import SectionTable
from blownwing.errors import InputError, SolveError
from blownwing.kernels.blade import strip_coefficients

Array = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class PackedSections:
    """Tables on common Reynolds numbers.

    Attributes:
        log_reynolds: (n_re,) natural logarithms, increasing.
        values: (n_tables, n_re, n_a, 4) cl, cd, cm and dcl/dα over `section.ALPHA_GRID`.
        peaks: (n_tables, n_re, 2) largest and least cl.
    """

    log_reynolds: Array
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
    """Tables on all their Reynolds numbers together; each keeps its own values between them.

    Raises:
        InputError: no table.
    """
    if not tables:
        raise InputError("sections: found none; accepted are one or more")
    if len(tables) == 1:
        table = tables[0]
        return PackedSections(np.log(table.reynolds), table.values[None], table.peaks[None])
    levels = np.log(np.unique(np.concatenate([table.reynolds for table in tables])))
    if all(table.reynolds.size == levels.size for table in tables):  # they are the same
        return PackedSections(
            levels, np.array([t.values for t in tables]), np.array([t.peaks for t in tables])
        )
    places = [np.interp(levels, np.log(t.reynolds), np.arange(len(t.reynolds))) for t in tables]
    values = np.array([_between(t.values, at) for t, at in zip(tables, places, strict=True)])
    peaks = np.array([_between(t.peaks, at) for t, at in zip(tables, places, strict=True)])
    return PackedSections(levels, values, peaks)


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
    points, all are linear in log Reynolds number. Blade elements use the same look-up
    (`kernels.blade.section_coefficients`).

    Raises:
        SolveError: an incidence or a Reynolds number that is not finite.

    Source: Glauert (1928), "The effect of compressibility on the lift of an aerofoil", Proceedings
    of the Royal Society A 118, 113-119, for the factor; the limits are common practice.
    """
    given = (first, second, share, alpha, reynolds, mach)
    one, two, *floats = np.broadcast_arrays(*given)
    pairs = np.stack((one.ravel(), two.ravel())).astype(np.int64)
    flat = [np.array(values, dtype=np.float64).ravel() for values in floats]
    found = strip_values(pack, pairs, *flat)
    return SectionValues(*(values.reshape(one.shape) for values in found))


def strip_values(
    pack: PackedSections, pairs: Ints, share: Array, alpha: Array, reynolds: Array, mach: Array
) -> tuple[Array, Array, Array, Array]:
    """cl, cd, cm and dcl/dα (n,) of `packed_coefficients` from arrays that are as long already.

    pairs: (2, n) indices of the tables; the others (n,), float64, contiguous. Raises SolveError as
    that does.
    """
    if not (np.isfinite(alpha).all() and np.isfinite(reynolds).all()):
        raise SolveError("sections: found an incidence or Reynolds number of a strip not finite")
    out = np.empty((4, alpha.size))
    strip_coefficients(
        pack.values, pack.peaks, pack.log_reynolds, pairs, share, alpha, reynolds, mach, out
    )
    cl, cd, cm, slope = out
    return cl, cd, cm, slope


def coefficients(
    table: SectionTable, alpha: ArrayLike, reynolds: ArrayLike, mach: ArrayLike = 0.0
) -> tuple[Array, Array, Array]:
    """cl, cd and cm of one section, of one shape.

    Arguments, errors and source as for `packed_coefficients`.
    """
    found = packed_coefficients(packed([table]), 0, 0, 0.0, alpha, reynolds, mach)
    return found.cl, found.cd, found.cm


def _between(rows: Array, place: Array) -> Array:
    """Rows (n_re, …) at fractional places (m,), linear between them."""
    low = np.minimum(place.astype(int), max(len(rows) - 2, 0))
    share = (place - low).reshape(-1, *(1,) * (rows.ndim - 1))
    return np.asarray((1.0 - share) * rows[low] + share * rows[np.minimum(low + 1, len(rows) - 1)])
