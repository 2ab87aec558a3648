"""Few unknowns round a tube: its doublets vary smoothly between the corners of its cross-section.

Where the wing or another slipstream pierces a tube its doublets jump; between two such corners they
are smooth. They are sought at some of an arc's panels, near Chebyshev points, and are polynomials
through these at the others. Panels stay as fine as velocities near the wing need them, while the
equations, and what panels do to each other, shrink with the number of places.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

_PER_PLACE = 3.6  # panels of an arc for each place
_LEAST = 3  # places of an arc that has as many panels


@dataclass(frozen=True)
class RingBasis:
    """Places at which doublets are sought, and the way from them to all panels; read-only."""

    rings: int
    panels: Ints  # (n,) panel of each unknown
    rims: Ints  # (m,) azimuth of each place of the rims, counted through all tubes
    rim_of: Ints  # (n,) place at the rim with the azimuth of each unknown
    tube_of: Ints  # (m,) tube of each place at the rims
    shapes: tuple[Array, ...]  # of each tube (around, places), from places to all azimuths
    padded: Array  # (tubes, around, most places) the same, 0 where there are fewer
    first: Ints  # (tubes + 1,) unknown that each tube begins with

    @property
    def size(self) -> int:
        """Number of unknowns n."""
        return int(self.panels.size)

    def by_tube(self, places: Array) -> Array:
        """Values sought (n,) as (tubes, rings, most places), 0 where there are fewer."""
        parts = np.zeros((len(self.shapes), self.rings, self.padded.shape[2]))
        for k, shape in enumerate(self.shapes):
            of = places[self.first[k] : self.first[k + 1]]
            parts[k, :, : shape.shape[1]] = of.reshape(self.rings, -1)
        return parts

    def spread(self, places: Array) -> Array:
        """Values on all panels from those sought (n,)."""
        return self._each(places, self.rings, False)

    def spread_rim(self, places: Array) -> Array:
        """Values at all azimuths of the rims from those at places (m,)."""
        return self._each(places, 1, False)

    def gathered(self, values: Array) -> Array:
        """The transpose of `spread`: from the last axis of values (…, panels) to (…, n)."""
        return self._each(values, self.rings, True)

    def gathered_rim(self, values: Array) -> Array:
        """The transpose of `spread_rim`: from the last axis of values to (…, m)."""
        return self._each(values, 1, True)

    def _each(self, values: Array, rings: int, back: bool) -> Array:
        """Values of all tubes times their shapes, or times the transposed ones, ring by ring."""
        parts, start = [], 0
        for shape in self.shapes:
            factor = shape if back else shape.T
            width = rings * factor.shape[0]
            part = values[..., start : start + width]
            product = np.ascontiguousarray(part).reshape(-1, factor.shape[0]) @ factor
            parts.append(product.reshape(*values.shape[:-1], -1))
            start += width
        return np.concatenate(parts, axis=-1) if parts else np.zeros((*values.shape[:-1], 0))


@lru_cache(maxsize=32)
def ring_basis(arcs: tuple[tuple[int, ...], ...], around: int, rings: int) -> RingBasis:
    """Places on tubes of `rings` rings of `around` panels.

    arcs: for each tube how many panels its arcs have, in order; panels of an arc are alike.
    """
    found = [_places(of, around) for of in arcs]
    along = around * np.arange(rings)[:, None]
    counts = [places.size for places, _ in found]
    first = np.concatenate(([0], np.cumsum(counts))).tolist()

    padded = np.zeros((len(found), around, max(counts, default=0)))
    for k, (_, shape) in enumerate(found):
        padded[k, :, : counts[k]] = shape

    def joined(parts: list[Ints]) -> Ints:
        return np.concatenate([np.zeros(0, dtype=np.int64), *parts])

    return RingBasis(
        rings=rings,
        panels=joined([(k * rings * around + along + p).ravel() for k, (p, _) in enumerate(found)]),
        rims=joined([k * around + p for k, (p, _) in enumerate(found)]),
        rim_of=joined([np.tile(first[k] + np.arange(n), rings) for k, n in enumerate(counts)]),
        tube_of=joined([np.full(n, k) for k, n in enumerate(counts)]),
        shapes=tuple(shape for _, shape in found),
        padded=padded,
        first=rings * np.array([0, *np.cumsum(counts).tolist()]),
    )


def usual_places(around: int) -> int:
    """Places round a tube of so many panels that is cut in halves."""
    return len(_chosen(around // 2)) + len(_chosen(around - around // 2))


def _chosen(count: int) -> list[int]:
    """Panels of an arc of `count`, near Chebyshev points; the same from either end."""
    number = min(count, max(_LEAST, int(np.ceil(count / _PER_PLACE))))
    number += (count - number) % 2  # an arc and its mirror image have the same places
    lower: list[int] = []
    for k in range(number // 2):
        place = count * (0.5 - 0.5 * np.cos(np.pi * (k + 0.5) / number))
        lower.append(max(int(place), lower[-1] + 1 if lower else 0))
    middle = [count // 2] if number % 2 else []
    return [*lower, *middle, *(count - 1 - i for i in reversed(lower))]


def _places(arcs: tuple[int, ...], around: int) -> tuple[Ints, Array]:
    """Azimuths of the places on one ring, and their shapes (around, places)."""
    places: list[int] = []
    columns: list[Array] = []
    start = 0
    for count in arcs:
        middle, chosen = np.arange(count) + 0.5, _chosen(count)
        for i in chosen:
            column = np.zeros(around)
            factors = [(middle - middle[j]) / (i - j) for j in chosen if j != i]
            column[start : start + count] = np.prod(factors, axis=0) if factors else 1.0
            columns.append(column)
            places.append(start + i)
        start += count
    return np.array(places, dtype=np.int64), np.stack(columns, axis=1)
