"""A wing's linear system that is too large to be factored: compressed, solved by iteration.

A lattice of horseshoes is one of closed rings and a last row of horseshoes, with circulations
summed along the chord; rings act over a short range, which compression wants. GMRES (Saad & Schultz
1986, SIAM J. Sci. Stat. Comput. 7, 856-869) solves it, preconditioned by exact solutions of
overlapping groups of neighbouring strips of which each keeps its own part (Cai & Sarkis 1999, "A
restricted additive Schwarz preconditioner for general sparse linear systems", SIAM J. Sci. Comput.
21, 792-797), plus that of a lattice of the same strips with few panels along the chord, which knows
what all strips do to each other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lapack

from blownwing.errors import SolveError
from blownwing.geometry.lattice import Lattice, with_rows
from blownwing.kernels import vortex
from blownwing.wing.compressed import Compressed, Targets, compressed, horseshoes, rings, targets_at
from blownwing.wing.system import RESIDUAL, DirectSolver, Frame, direct_solver, mean_normals

Array = NDArray[np.float64]
Product = Callable[[Array], Array]
Each = Callable[[Callable[..., Any], Iterable[Any]], Iterable[Any]]

_GROUP = 768  # unknowns of a group of strips, about
_COARSE_ROWS = 4
_COARSE = 2500  # unknowns of the coarse lattice, at most
_STEPS = 200  # of GMRES in one round
_ROUND = 1e-5  # of the residual, reached in one round
_ROUNDS = 6


@dataclass(frozen=True)
class RingForm:
    """Influence of a lattice's horseshoes, held as that of its rings; `@` takes circulations."""

    rows: int
    rings: Compressed | None  # all rows but the last, None if there is one
    last: Compressed

    @property
    def nbytes(self) -> int:
        """Bytes that it takes."""
        return self.last.nbytes + (0 if self.rings is None else self.rings.nbytes)

    @property
    def T(self) -> TransposedRingForm:
        """The transposed matrix."""
        return TransposedRingForm(self)

    def __matmul__(self, gamma: Array) -> Array:
        strength = np.cumsum(gamma.reshape(self.rows, -1), axis=0)
        found: Array = self.last @ strength[-1]
        if self.rings is not None:
            found = found + self.rings @ strength[:-1].ravel()
        return found


@dataclass(frozen=True)
class TransposedRingForm:
    """The transpose of a `RingForm`."""

    form: RingForm

    def __matmul__(self, x: Array) -> Array:
        parts = [self.form.last.T @ x]
        if self.form.rings is not None:
            parts.insert(0, self.form.rings.T @ x)
        strength = np.concatenate(parts).reshape(self.form.rows, -1)
        return np.ascontiguousarray(np.cumsum(strength[::-1], axis=0)[::-1]).ravel()


@dataclass(frozen=True)
class Group:
    """Neighbouring strips with their own factored influence, in single precision."""

    panels: NDArray[np.int64]
    own: NDArray[np.bool_]  # of `panels`, those that no other group owns
    factor: NDArray[np.float32]
    pivots: NDArray[np.int32]


@dataclass(frozen=True)
class Coarse:
    """A lattice with few rows, factored, and the ways to it and back along the chord."""

    solver: DirectSolver
    gathered: Array  # (few, rows), from normal velocities to those of the few rows
    spread: Array  # (rows, few), from the few rows' circulations to those of all

    def solved(self, x: Array) -> Array:
        """Smooth part of the circulations (panels,) of normal velocities x (panels,)."""
        right = self.gathered @ x.reshape(self.gathered.shape[1], -1)
        found = self.solver.solved(right.ravel()).reshape(right.shape)
        return np.asarray(self.spread @ found).ravel()

    def solved_transposed(self, x: Array) -> Array:
        """The transpose of `solved`."""
        right = self.spread.T @ x.reshape(self.spread.shape[0], -1)
        found = self.solver.solved_transposed(right.ravel()).reshape(right.shape)
        return np.asarray(self.gathered.T @ found).ravel()


@dataclass(frozen=True)
class IterativeSolver:
    """A compressed influence matrix and its preconditioner; read-only."""

    matrix: RingForm
    groups: tuple[Group, ...]
    coarse: Coarse | None  # None where it would not be coarser, or too large

    @property
    def nbytes(self) -> int:
        """Bytes that it takes."""
        coarse = 0 if self.coarse is None else self.coarse.solver.factor.nbytes
        return self.matrix.nbytes + coarse + sum(group.factor.nbytes for group in self.groups)

    def precondition(self, x: Array, each: Each = map) -> Array:
        """Approximate circulations (panels,) of normal velocities x (panels,).

        each: `map`, or the like of `workers`.
        """
        out = np.empty_like(x) if self.coarse is None else self.coarse.solved(x)
        parts = each(lambda group: _back(group, x[group.panels], 1), self.groups)
        for group, part in zip(self.groups, parts, strict=True):
            mine = group.panels[group.own]
            out[mine] = part[group.own] + (0.0 if self.coarse is None else out[mine])
        return out

    def precondition_transposed(self, x: Array, each: Each = map) -> Array:
        """The transposed preconditioner's product with x (panels,)."""
        out = np.zeros_like(x) if self.coarse is None else self.coarse.solved_transposed(x)

        def part(group: Group) -> Array:
            return _back(group, np.where(group.own, x[group.panels], 0.0), 0)

        for group, found in zip(self.groups, each(part, self.groups), strict=True):
            out[group.panels] += found
        return out

    def solved(
        self, right: Array, start: Array | None = None, tolerance: float = RESIDUAL
    ) -> Array:
        """Circulations (panels,) of normal velocities right (panels,); start: a first guess."""
        with workers() as each:
            precondition = partial(self.precondition, each=each)
            product = self.matrix.__matmul__
            return iterated(product, precondition, right, start, tolerance, "wing's")

    def solved_transposed(self, right: Array) -> Array:
        """Solution (panels,) of the transposed system."""
        with workers() as each:
            precondition = partial(self.precondition_transposed, each=each)
            product = self.matrix.T.__matmul__
            return iterated(product, precondition, right, None, RESIDUAL, "wing's adjoint")


@contextmanager
def workers() -> Iterator[Each]:
    """Something like `map` that uses as many threads as the kernels do."""
    count = numba.get_num_threads()
    if count == 1:
        yield map
        return
    with ThreadPoolExecutor(count) as pool:
        yield pool.map


def iterative_solver(
    lattice: Lattice, normals: Array, frame: Frame, images: Array
) -> IterativeSolver:
    """Compress a lattice's influence on its own collocation points and ready its preconditioner.

    normals: (3, panels) unit, case axes; images: (m, 3), see kernels.vortex. Raises SolveError when
    the matrix is singular.
    """
    nodes, points = frame.points(lattice.nodes), frame.points(lattice.collocation)
    n = frame.normals(normals)
    matrix = ring_form(targets_at(points, n), lattice, nodes, images, float(lattice.chord.mean()))
    groups = _groups(lattice, nodes, points, n, images)
    few = min(_COARSE_ROWS, _COARSE // lattice.columns)
    if few < 1 or 2 * few > lattice.rows:
        return IterativeSolver(matrix, groups, None)
    mean = mean_normals(normals, lattice.rows, few)
    solver = direct_solver(with_rows(lattice, few), mean, frame, images)
    return IterativeSolver(matrix, groups, Coarse(solver, *_chordwise(lattice.rows, few)))


def _chordwise(rows: int, few: int) -> tuple[Array, Array]:
    """Matrices (few, rows) that average over rows and (rows, few) that spread circulations.

    Circulations summed along the chord go with those of a flat plate, (θ + sin θ)/π.
    """
    share = np.zeros((few, rows))
    for k, part in enumerate(np.array_split(np.arange(rows), few)):
        share[k, part] = 1.0 / part.size

    def carried(count: int) -> Array:
        angle = np.arccos(1.0 - 2.0 * (np.arange(count) + 0.75) / count)
        return np.asarray((angle + np.sin(angle)) / np.pi)

    known = np.concatenate(([0.0], carried(few)))
    sums = np.tri(few)  # of the few rows' circulations along the chord
    spread = [np.interp(carried(rows), known, np.concatenate(([0.0], s))) for s in sums.T]
    return share, np.diff(np.stack(spread, axis=1), axis=0, prepend=0.0)


def ring_form(
    targets: Targets, lattice: Lattice, nodes: Array, images: Array, length: float
) -> RingForm:
    """Influence of a lattice's horseshoes on targets: normal velocities, or potentials.

    nodes: (3, rows * (columns + 1)) ends of the bound segments, frame axes, m; images: (m, 3), see
    kernels.vortex; length: for reference, m.
    """
    place = nodes.reshape(3, lattice.rows, lattice.columns + 1)
    port, starboard = place[:, :, :-1], place[:, :, 1:]
    last = horseshoes(port[:, -1].copy(), starboard[:, -1].copy(), length)
    trailing = compressed(targets, last, images, length)
    if lattice.rows == 1:
        return RingForm(1, None, trailing)
    corners = np.stack((port[:, :-1], starboard[:, :-1], starboard[:, 1:], port[:, 1:]))
    ahead = compressed(targets, rings(corners.reshape(4, 3, -1)), images, length)
    return RingForm(lattice.rows, ahead, trailing)


def iterated(
    product: Product,
    precondition: Product,
    right: Array,
    start: Array | None,
    tolerance: float,
    name: str,
) -> Array:
    """Solution (n,) of a linear system by GMRES, preconditioned from the right.

    product, precondition: of a vector (n,); right: (n,); start: a first guess; tolerance: of the
    residual over `right`. Raises SolveError when it stalls.
    """
    from scipy.sparse.linalg import LinearOperator, gmres

    wanted = tolerance * float(np.linalg.norm(right))
    size = right.size
    operator = LinearOperator(
        (size, size), matvec=lambda x: product(precondition(x)), dtype=np.float64
    )
    found = np.zeros_like(right) if start is None else start
    missing = right if start is None else right - product(start)
    for _ in range(_ROUNDS):
        left = float(np.linalg.norm(missing))
        if left <= wanted:
            return found
        # A preconditioner of single precision is not quite linear: one round gains a few digits.
        step, info = gmres(
            operator, missing, rtol=0.0, atol=max(0.5 * wanted, _ROUND * left), restart=_STEPS,
            maxiter=1,
        )  # fmt: skip
        if info < 0 or not np.all(np.isfinite(step)):
            break
        found = found + precondition(step)
        missing = right - product(found)
    raise SolveError(
        f'the {name} compressed linear system did not converge; model.matrix = "full" solves it '
        "directly where memory allows"
    )


def _groups(
    lattice: Lattice, nodes: Array, points: Array, normals: Array, images: Array
) -> tuple[Group, ...]:
    rows, columns = lattice.rows, lattice.columns
    width = max(3, min(columns, _GROUP // rows))
    beside = max(1, width // 6)
    step = width - 2 * beside
    number = np.arange(rows * columns).reshape(rows, columns)
    place = nodes.reshape(3, rows, columns + 1)

    def group(first: int) -> Group:
        low, high = max(0, first - beside), min(columns, first + step + beside)
        panels = number[:, low:high].ravel()
        strip = np.arange(low, high)
        own = np.tile((strip >= first) & (strip < first + step), rows)
        matrix = np.empty((panels.size, panels.size))
        vortex.normal_influence(
            *np.ascontiguousarray(points[:, panels]),
            *np.ascontiguousarray(normals[:, panels]),
            *np.ascontiguousarray(place[:, :, low : high + 1].reshape(3, -1)),
            high - low,
            images,
            matrix,
        )
        factor, pivots, info = lapack.sgetrf(matrix.T.astype(np.float32), overwrite_a=True)
        if info != 0:
            raise SolveError("the wing's influence matrix is singular: two panels coincide")
        return Group(panels, own, factor, pivots)

    return tuple(group(first) for first in range(0, columns, step))


def _back(group: Group, right: Array, transposed: int) -> Array:
    """Solution of a group's own system; the factors are of the transposed matrix."""
    found, info = lapack.sgetrs(
        group.factor, group.pivots, right.astype(np.float32), trans=transposed
    )
    if info != 0:
        raise SolveError("the wing's linear system could not be solved")
    return np.asarray(found, dtype=np.float64)
