"""Influence matrices too large to be stored whole: full near the diagonal, approximated far off.

Between clusters that lie apart the influence is smooth and a block is a sum of few columns times
rows (Bebendorf 2000, Numer. Math. 86, 565-589; Hackbusch 1999, "A sparse matrix arithmetic based
on H-matrices", Computing 62, 89-108). Time and memory grow little faster than the unknowns.
Terms are kept in single precision, whose rounding is less than what the approximation leaves;
full blocks are not, since their elements nearly cancel in a smooth distribution.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blownwing.kernels import compress
from blownwing.wing.clusters import Clusters, block_ranges, clustered, divided, paired, separation

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

# Of an element at distance r from a panel of area a: times a/(4π r² length) for a velocity, times
# a/(4π r length) for a potential. Summed over a surface, such errors grow as a logarithm at most.
TOLERANCE = 3e-7
_MOST = 64  # terms of a block; one that needs more is divided
_ROOM = 2**22  # numbers that are approximated before they are packed


@dataclass(frozen=True)
class Targets:
    """Where an influence is felt: points and, for velocities, normals, in clusters."""

    clusters: Clusters
    values: Array  # (6, n), in the clusters' order
    velocity: bool  # along the normals; else the potential


@dataclass(frozen=True)
class Sources:
    """What exerts it: vortex rings or horseshoes, also as doublet sheets, in clusters."""

    clusters: Clusters
    corners: Array  # (12, n), in the clusters' order
    area: Array  # (n,) m², in the clusters' order


@dataclass(frozen=True)
class Compressed:
    """A matrix of influences; read-only. `@` multiplies it with a vector."""

    targets: Clusters
    sources: Clusters
    near: Ints  # (n, 4) ranges of full blocks
    near_start: Ints  # (n,) where each starts in `full`
    full: Array
    far: Ints  # (n, 4) ranges of approximated blocks
    rank: Ints  # (n,)
    far_start: Ints  # (n,) where each starts in `terms`
    terms: NDArray[np.float32]

    @property
    def nbytes(self) -> int:
        """Bytes that the matrix takes."""
        return int(self.full.nbytes + self.terms.nbytes)

    def __matmul__(self, x: Array) -> Array:
        return self.product(x, self.sources, self.targets, back=False)

    @property
    def T(self) -> Transposed:
        """The transposed matrix."""
        return Transposed(self)

    def product(self, x: Array, domain: Clusters, image: Clusters, back: bool) -> Array:
        """Product with x given on one tree, on the other; back: of the transposed matrix."""
        ordered, y = np.ascontiguousarray(x[domain.order]), np.zeros(image.order.size)
        crosses = (self.far, self.rank, self.far_start, self.terms, _starts(self.rank)[:-1], back)
        terms = np.empty(int(self.rank.sum()))
        compress.cross_terms(ordered, *crosses, terms)
        compress.crosses_times(terms, *crosses, y)
        compress.blocks_times(ordered, self.near, self.near_start, self.full, back, y)
        out = np.empty(y.size)
        out[image.order] = y
        return out


@dataclass(frozen=True)
class Transposed:
    """The transpose of a `Compressed`."""

    matrix: Compressed

    def __matmul__(self, x: Array) -> Array:
        return self.matrix.product(x, self.matrix.targets, self.matrix.sources, back=True)


def targets_at(points: Array, normals: Array | None = None) -> Targets:
    """Targets at points (3, n), m, with unit normals (3, n) for velocities, none for potentials."""
    clusters = clustered(points, points)
    values = np.zeros((6, points.shape[1]))
    values[:3] = points[:, clusters.order]
    if normals is not None:
        values[3:] = normals[:, clusters.order]
    return Targets(clusters, values, normals is not None)


def rings(corners: Array) -> Sources:
    """Closed vortex rings with corners (4, 3, n), m, in the order of their circulation."""
    clusters = clustered(corners.min(axis=0), corners.max(axis=0))
    across, along = corners[2] - corners[0], corners[3] - corners[1]
    area = 0.5 * np.linalg.norm(np.cross(across, along, axis=0), axis=0)
    flat = corners.reshape(12, -1)[:, clusters.order]
    return Sources(clusters, np.ascontiguousarray(flat), area[clusters.order])


def horseshoes(port: Array, starboard: Array, length: float) -> Sources:
    """Horseshoes with bound vortices from port to starboard (3, n), m, and legs along +x.

    length: m, of sheet that counts as theirs where their weight is estimated.
    """
    clusters = clustered(np.minimum(port, starboard), np.maximum(port, starboard), endless=True)
    flat = np.concatenate((port, starboard, starboard, port))[:, clusters.order]
    area = length * np.linalg.norm((starboard - port)[1:], axis=0)
    return Sources(clusters, np.ascontiguousarray(flat), area[clusters.order])


def compressed(
    targets: Targets,
    sources: Sources,
    images: Array,
    length: float,
    own: Ints | None = None,
    tolerance: float = TOLERANCE,
) -> Compressed:
    """Assemble the influence of sources on targets.

    images: (m, 3) mirror planes, see kernels.vortex; length: reference length, m; own: (targets,)
    the source that a point lies on and whose own influence is 0, or −1; tolerance: TOLERANCE says
    of what.
    """
    own = np.full(targets.values.shape[1], -1) if own is None else _ordered(own, targets, sources)
    squares = np.concatenate(([0.0], np.cumsum(sources.area**2)))
    kind = compress.KINDS[targets.velocity, sources.clusters.endless]
    common = kind, targets.values, sources.corners
    far, near = paired(targets.clusters, sources.clusters, images)
    full = [near]
    kept = [(np.zeros((0, 4), dtype=np.int64), np.zeros(0, dtype=np.int64))]
    terms, room = np.zeros(0, dtype=np.float32), np.empty(_ROOM)
    while far.size:
        missed = []
        for batch, most in _batches(targets.clusters, sources.clusters, far):
            block = block_ranges(targets.clusters, sources.clusters, batch)
            rows, columns = block[:, 1] - block[:, 0], block[:, 3] - block[:, 2]
            area = np.sqrt(squares[block[:, 3]] - squares[block[:, 2]])
            apart = separation(targets.clusters, sources.clusters, images, batch)
            if targets.velocity:
                # A panel larger than its distance acts no more strongly than one of that size.
                limit = np.minimum(area / apart**2, np.sqrt(columns)) / length
            else:
                # All panels together look like a sphere at most, whose errors add up at random.
                whole = 4.0 * np.pi / np.sqrt(sources.area.size)
                limit = np.minimum(area / (apart * length), whole)
            limit *= tolerance * np.sqrt(rows) / (4.0 * np.pi)
            ranks = _approximated(common, images, block, limit, most, room, terms)
            good = ranks >= 0
            kept.append((block[good], ranks[good]))
            missed.append(batch[~good])
        far = np.concatenate(missed)
        whole = (targets.clusters.child[far[:, 0]] < 0) & (sources.clusters.child[far[:, 1]] < 0)
        full.append(far[whole])
        far = divided(targets.clusters, sources.clusters, far[~whole])
    near = block_ranges(targets.clusters, sources.clusters, np.concatenate(full))
    near_start = _starts(_area(near))
    values = np.empty(int(near_start[-1]))
    compress.fill_blocks(*common, own, images, near, near_start[:-1], values)
    blocks, rank = (np.concatenate(parts) for parts in zip(*kept, strict=True))
    return Compressed(
        targets.clusters,
        sources.clusters,
        near,
        near_start[:-1],
        values,
        blocks,
        rank,
        _starts(rank * _extent(blocks))[:-1],
        terms,
    )


def _ordered(own: Ints, targets: Targets, sources: Sources) -> Ints:
    """`own` in the order of the clusters."""
    place = np.empty(sources.clusters.order.size, dtype=np.int64)
    place[sources.clusters.order] = np.arange(place.size)
    mine = own[targets.clusters.order]
    return np.where(mine >= 0, place[mine], -1)


def _batches(targets: Clusters, sources: Clusters, pairs: Ints) -> list[tuple[Ints, int]]:
    """Pairs of like size, as many as there is room for, and the most terms worth having."""
    block = block_ranges(targets, sources, pairs)
    worth = _area(block) // _extent(block)
    by_size = np.argsort(worth, kind="stable")
    need = np.cumsum(np.minimum(worth, _MOST)[by_size] * _extent(block)[by_size])
    count = int(need[-1] // _ROOM) + 1
    parts = np.split(by_size, np.searchsorted(need, np.arange(1, count) * _ROOM))
    return [(pairs[p], int(min(_MOST, max(1, worth[p].min())))) for p in parts if p.size]


def _approximated(
    common: tuple[int, Array, Array],
    images: Array,
    block: Ints,
    limit: Array,
    most: int,
    room: Array,
    terms: NDArray[np.float32],
) -> Ints:
    """Ranks (n,) of blocks, −1 for those that need too many terms; `terms` grows by the others.

    room: work space, for one block too large for it made anew.
    """
    offsets = _starts(most * _extent(block))
    if offsets[-1] > room.size:
        room = np.empty(int(offsets[-1]))
    ranks = np.empty(block.shape[0], dtype=np.int64)
    compress.cross_blocks(*common, images, block, limit, most, room, offsets[:-1], ranks)
    starts = terms.size + _starts(np.maximum(ranks, 0) * _extent(block))
    terms.resize(int(starts[-1]), refcheck=False)  # in place: a second copy would not fit
    compress.pack_crosses(room, block, most, offsets[:-1], ranks, starts[:-1], terms)
    return ranks


def _area(block: Ints) -> Ints:
    return (block[:, 1] - block[:, 0]) * (block[:, 3] - block[:, 2])


def _extent(block: Ints) -> Ints:
    return (block[:, 1] - block[:, 0]) + (block[:, 3] - block[:, 2])


def _starts(counts: Ints) -> Ints:
    return np.concatenate(([0], np.cumsum(counts)))
