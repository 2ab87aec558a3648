"""Clusters of points or panels that lie together, and pairs of clusters that lie apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

LEAF = 48  # items, at most, of a cluster that is not divided
_APART = 2.5  # the smaller of two clusters over their distance, at most, to be smooth to each other


@dataclass(frozen=True)
class Clusters:
    """A binary tree over items; cluster 0 holds all of them. Read-only."""

    order: Ints  # (items,) item numbers, cluster by cluster
    start: Ints  # (clusters,) range of each in `order`
    stop: Ints
    child: Ints  # (clusters,) the first of two neighbouring children, −1 for none
    low: Array  # (3, clusters) corners of the boxes around all items
    high: Array
    endless: bool  # the items go on along +x for ever

    @property
    def size(self) -> Array:
        """(clusters,) diagonals of the boxes, of endless items from their beginning on."""
        return np.asarray(np.linalg.norm(self.high - self.low, axis=0))


def clustered(low: Array, high: Array, endless: bool = False) -> Clusters:
    """Divide items at the middle of their longest extent until few are left together.

    low, high: (3, items) corners of the items' boxes, m.
    """
    centre = 0.5 * (low + high)
    order = np.arange(centre.shape[1])
    start, stop, child = [0], [order.size], [-1]
    k = 0
    while k < len(start):
        first, last = start[k], stop[k]
        if last - first > LEAF:
            mine = order[first:last]
            at = centre[:, mine]
            along = at[int(np.argmax(np.ptp(at, axis=1)))]
            middle = (last - first) // 2
            order[first:last] = mine[np.argsort(along, kind="stable")]
            child[k] = len(start)
            start += [first, first + middle]
            stop += [first + middle, last]
            child += [-1, -1]
        k += 1
    ranges = list(zip(start, stop, strict=True))
    return Clusters(
        order,
        np.array(start),
        np.array(stop),
        np.array(child),
        np.stack([low[:, order[a:b]].min(axis=1) for a, b in ranges], axis=1),
        np.stack([high[:, order[a:b]].max(axis=1) for a, b in ranges], axis=1),
        endless,
    )


def paired(
    targets: Clusters, sources: Clusters, images: Array, pairs: Ints | None = None
) -> tuple[Ints, Ints]:
    """Pairs (n, 2) of clusters that lie apart, and of undivided clusters that do not.

    Together they hold every target and source once. images: (m, 3) mirror planes, see
    kernels.vortex; pairs: (k, 2) to begin with, by default all targets with all sources.
    """
    t, s = (np.zeros(1, dtype=np.int64),) * 2 if pairs is None else pairs.T
    target_size, source_size = targets.size, sources.size
    far, near = [], []
    while t.size:
        smaller = np.minimum(target_size[t], source_size[s])
        distance = separation(targets, sources, images, np.stack((t, s), axis=1))
        apart = (distance > 0.0) & (smaller <= _APART * distance)
        far.append(np.stack((t[apart], s[apart]), axis=1))
        t, s = t[~apart], s[~apart]
        whole = (targets.child[t] < 0) & (sources.child[s] < 0)
        near.append(np.stack((t[whole], s[whole]), axis=1))
        t, s = divided(targets, sources, np.stack((t[~whole], s[~whole]), axis=1)).T
    return np.concatenate(far), np.concatenate(near)


def divided(targets: Clusters, sources: Clusters, pairs: Ints) -> Ints:
    """The pairs (n, 2) of the children of pairs (k, 2); a cluster without stands for itself."""
    t, s = pairs.T
    parts = []
    for i in (0, 1):
        for j in (0, 1):
            child_t, child_s = targets.child[t], sources.child[s]
            real = ((child_t >= 0) | (i == 0)) & ((child_s >= 0) | (j == 0))
            a = np.where(child_t >= 0, child_t + i, t)
            b = np.where(child_s >= 0, child_s + j, s)
            parts.append(np.stack((a[real], b[real]), axis=1))
    return np.concatenate(parts)


def block_ranges(targets: Clusters, sources: Clusters, pairs: Ints) -> Ints:
    """Ranges (n, 4) of targets and sources of pairs (n, 2) of clusters."""
    t, s = pairs.T
    return np.stack((targets.start[t], targets.stop[t], sources.start[s], sources.stop[s]), axis=1)


def separation(targets: Clusters, sources: Clusters, images: Array, pairs: Ints) -> Array:
    """Least distance (n,) [m] between the boxes of pairs (n, 2), mirrored targets included.

    images: (m, 3) mirror planes, see kernels.vortex.
    """
    t, s = pairs.T
    low, high = sources.low[:, s], sources.high[:, s].copy()
    if sources.endless:
        high[0] = np.inf
    least = np.full(t.size, np.inf)
    for sy, sz, offset in images:
        turn = np.array([1.0, sy, sz])[:, None]
        shift = np.array([0.0, 0.0, offset])[:, None]
        one, other = turn * targets.low[:, t] + shift, turn * targets.high[:, t] + shift
        gap = np.maximum(low - np.maximum(one, other), np.minimum(one, other) - high)
        least = np.minimum(least, np.linalg.norm(np.maximum(gap, 0.0), axis=0))
    return least
