"""A blade's section tables as the kernel takes them: one array on common Reynolds numbers."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from blownwing.airfoil.section import ALPHA_GRID, SectionTable
from blownwing.errors import InputError
from blownwing.propeller.blade import Blade

Array = NDArray[np.float64]


def packed_sections(blade: Blade, radius: Array) -> tuple[NDArray[np.int64], Array, Array]:
    """Tables of the elements at `radius` (n,) in r/R; between unlike stations they are mixed.

    Returns:
        (n,) row of each element in the tables; (n_tables, n_re, n_alpha, 2) cl and cd; (n_re,)
        logarithms of the Reynolds numbers.

    Raises:
        InputError: a table that is not on the common grid of incidences.
    """
    keys = list(blade.tables)
    levels = np.unique(np.concatenate([blade.tables[key].reynolds for key in keys]))
    log_levels = np.log(levels)
    grids = np.array([_on_levels(blade.tables[key], log_levels) for key in keys])
    own = [keys.index(section) for section in blade.sections]
    place = np.clip(np.searchsorted(blade.radius, radius) - 1, 0, len(own) - 2)
    share = (radius - blade.radius[place]) / np.diff(blade.radius)[place]
    share = np.clip(share, 0.0, 1.0)
    rows: dict[tuple[int, int, float], int] = {}
    stations = np.empty(len(radius), dtype=np.int64)
    for j, (i, t) in enumerate(zip(place.tolist(), share.tolist(), strict=True)):
        first, second = own[i], own[i + 1]
        key = (first, first, 0.0) if first == second else (first, second, t)
        stations[j] = rows.setdefault(key, len(rows))
    polars = np.array([grids[a] if t == 0 else _mixed(grids[a], grids[b], t) for a, b, t in rows])
    return stations, polars, log_levels


def _mixed(first: Array, second: Array, share: float) -> Array:
    return (1.0 - share) * first + share * second


def _on_levels(table: SectionTable, log_levels: Array) -> Array:
    """cl and cd (n_re, n_alpha, 2) interpolated in log Reynolds number, held at the ends."""
    if not np.array_equal(table.alpha, ALPHA_GRID):
        raise InputError(f"section {table.name}: incidence must be on the uniform half-degree grid")
    known = np.log(table.reynolds)
    if np.array_equal(known, log_levels):
        return np.stack([table.cl, table.cd], axis=-1)
    place = np.interp(log_levels, known, np.arange(len(known), dtype=np.float64))
    low = np.minimum(place.astype(int), max(len(known) - 2, 0))
    high = np.minimum(low + 1, len(known) - 1)
    t = (place - low)[:, None]
    return np.stack([(1.0 - t) * v[low] + t * v[high] for v in (table.cl, table.cd)], axis=-1)
