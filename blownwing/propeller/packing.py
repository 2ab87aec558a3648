"""A blade's section tables as the kernel takes them: one for each element."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from blownwing.airfoil.packed import PackedSections, packed
from blownwing.propeller.blade import Blade

Array = NDArray[np.float64]


def packed_sections(blade: Blade, radius: Array) -> tuple[NDArray[np.int64], PackedSections]:
    """Tables of the elements at `radius` (n,) in r/R; between unlike stations they are mixed.

    Returns:
        (n,) index of each element's table, and the tables.
    """
    pack = packed(list(blade.tables.values()))
    if len(blade.tables) == 1:
        return np.zeros(len(radius), dtype=np.int64), pack
    own = np.array([list(blade.tables).index(section) for section in blade.sections])
    place = np.interp(radius, blade.radius, np.arange(len(own)))
    left = np.minimum(place.astype(int), len(own) - 2)
    first, second, share = own[left], own[left + 1], place - left
    share = np.where(first == second, 0.0, share)
    mixes = np.column_stack((first, second, share))
    rows, stations = np.unique(mixes, axis=0, return_inverse=True)
    one, two = rows[:, :2].astype(int).T
    values, peaks = (
        (1.0 - share) * part[one] + share * part[two]
        for part, share in (
            (pack.values, rows[:, 2, None, None, None]),
            (pack.peaks, rows[:, 2, None, None]),
        )
    )
    return stations.ravel(), PackedSections(pack.log_reynolds, values, peaks)
