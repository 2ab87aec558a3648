"""The wing's linear system: normal velocities of all panels, made ready once per geometry.

Its matrix is factored, or, where that would take too much time or memory, compressed.

Flow conditions, propellers and slipstreams only change right-hand sides: legs run along x whatever
the incidence and sideslip. Compressibility stretches x by 1/B, B² = 1 − M² (Göthert 1940: the
potential at matching points and hence Γ is unchanged, the wing condition in unstretched slopes).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lapack

from blownwing.errors import SolveError
from blownwing.geometry.lattice import Lattice, with_rows
from blownwing.kernels import vortex

if TYPE_CHECKING:
    from blownwing.wing.iterative import IterativeSolver

Array = NDArray[np.float64]

RESIDUAL = 1e-10  # relative, of a system that is solved by iteration


@dataclass(frozen=True)
class Frame:
    """Axes of the potential problem: those of the case with x divided by `stretch`."""

    stretch: float = 1.0

    def points(self, xyz: Array) -> Array:
        """Points (3, …) of the case's axes in this frame; a copy."""
        found = xyz.copy()
        found[0] /= self.stretch
        return found

    def normals(self, xyz: Array) -> Array:
        """Covectors (3, n) such that their product with frame velocities is the normal velocity."""
        return self.points(xyz)

    def velocities(self, uvw: Array) -> Array:
        """Velocities (3, …) of the frame back in the case's axes."""
        return self.points(uvw)


@dataclass(frozen=True)
class DirectSolver:
    """A factored influence matrix; read-only."""

    factor: Array  # LU of the transposed matrix
    pivots: NDArray[np.int32]

    def solved(self, right: Array) -> Array:
        """Solution of the system; right: (panels,) or (panels, k)."""
        return self._back(right, 1)

    def solved_transposed(self, right: Array) -> Array:
        """Solution of the transposed system; right: (panels,) or (panels, k)."""
        return self._back(right, 0)

    def _back(self, right: Array, transposed: int) -> Array:
        found, info = lapack.dgetrs(self.factor, self.pivots, right, trans=transposed)
        if info != 0:
            raise SolveError("the wing's linear system could not be solved")
        return np.asarray(found)


@dataclass(frozen=True)
class WingSystem:
    """A lattice with its influence matrix, ready to be solved; read-only."""

    lattice: Lattice
    normals: Array  # (3, panels), case axes
    frame: Frame
    images: Array  # (m, 3), see kernels.vortex
    nodes: Array  # (3, nodes), frame axes
    solver: DirectSolver | IterativeSolver

    @property
    def direct(self) -> bool:
        """Whether the matrix is factored, not compressed."""
        return isinstance(self.solver, DirectSolver)


def mirror_images(symmetric: bool, ground_z: float | None) -> Array:
    """Rows (sy, sz, offset) of the evaluations that stand for the mirror planes, self first.

    symmetric: whether y = 0 is one; ground_z: m, of the other, None without. (m, 3), offsets in m.
    """
    rows = [(1.0, 1.0, 0.0)]
    if symmetric:
        rows.append((-1.0, 1.0, 0.0))
    if ground_z is not None:
        rows += [(sy, -1.0, 2.0 * ground_z) for sy, _, _ in rows]
    return np.array(rows)


def factored_system(
    lattice: Lattice, normals: Array, frame: Frame, ground_z: float | None = None
) -> WingSystem:
    """Assemble and factor the influence matrix.

    normals: (3, panels) unit normals; ground_z: z of a ground plane, m, None without. Raises
    SolveError when the matrix is singular.
    """
    images = mirror_images(lattice.symmetric, ground_z)
    solver = direct_solver(lattice, normals, frame, images)
    return WingSystem(lattice, normals, frame, images, frame.points(lattice.nodes), solver)


def compressed_system(
    lattice: Lattice, normals: Array, frame: Frame, ground_z: float | None = None
) -> WingSystem:
    """The same system with its matrix compressed, to be solved by iteration.

    Arguments as for `factored_system`. Raises SolveError when the matrix is singular.
    """
    # Imported here: few wings are large enough to need it.
    from blownwing.wing.iterative import iterative_solver

    images = mirror_images(lattice.symmetric, ground_z)
    solver = iterative_solver(lattice, normals, frame, images)
    return WingSystem(lattice, normals, frame, images, frame.points(lattice.nodes), solver)


def direct_solver(lattice: Lattice, normals: Array, frame: Frame, images: Array) -> DirectSolver:
    """Factors of a lattice's influence.

    normals: (3, panels) unit, case axes; images: (m, 3), see kernels.vortex. Raises SolveError when
    the matrix is singular.
    """
    matrix = np.empty((lattice.panels, lattice.panels))
    vortex.normal_influence(
        *frame.points(lattice.collocation),
        *frame.normals(normals),
        *frame.points(lattice.nodes),
        lattice.columns,
        images,
        matrix,
    )
    if lattice.parts:  # columns that carry nothing: no condition, no circulation
        still = np.flatnonzero(~np.tile(lattice.live, lattice.rows))
        matrix[still, still] = 1.0
    # The row-wise matrix is its own transpose in Fortran order: factor that in place, no copy.
    factor, pivots, info = lapack.dgetrf(matrix.T, overwrite_a=True)
    if info != 0:
        raise SolveError("the wing's influence matrix is singular: two panels coincide")
    return DirectSolver(factor, pivots)


def coarsened(system: WingSystem, rows: int) -> WingSystem:
    """A factored system of the same strips with fewer panels along the chord, `rows`.

    Raises SolveError when its matrix is singular.
    """
    lattice = with_rows(system.lattice, rows)
    normals = mean_normals(system.normals, system.lattice.rows, rows)
    solver = direct_solver(lattice, normals, system.frame, system.images)
    nodes = system.frame.points(lattice.nodes)
    return WingSystem(lattice, normals, system.frame, system.images, nodes, solver)


def mean_normals(normals: Array, rows: int, few: int) -> Array:
    """Unit normals (3, few * columns) of few panels on every strip, from (3, rows * columns)."""
    parts = np.array_split(normals.reshape(3, rows, -1), few, axis=1)
    mean = np.stack([part.mean(axis=1) for part in parts], axis=1)
    return np.ascontiguousarray((mean / np.linalg.norm(mean, axis=0)).reshape(3, -1))


def circulation(
    system: WingSystem,
    normal_onset: Array,
    start: Array | None = None,
    tolerance: float = RESIDUAL,
) -> Array:
    """Circulations Γ [m²/s] that cancel the normal onset velocity.

    normal_onset: (panels,) or (panels, k), m/s, as the result's shape; start, tolerance: a first
    guess (panels,) and the relative residual, for a compressed system, which takes one set of
    velocities (panels,) at a time. Raises SolveError when the system could not be solved.
    """
    if isinstance(system.solver, DirectSolver):
        return system.solver.solved(-normal_onset)
    return system.solver.solved(-normal_onset, start, tolerance)


def transposed_circulation(system: WingSystem, right: Array) -> Array:
    """Adjoint circulations λ, (panels,) or (panels, k), with Aᵀ λ = right, of the same shape.

    Raises SolveError when the system could not be solved.
    """
    return system.solver.solved_transposed(right)


def velocity_at(system: WingSystem, points: Array, gamma: Array) -> Array:
    """Velocity (3, n) [m/s] at points (3, n) [m], case axes.

    gamma: (panels,) circulations, m²/s.
    """
    return system.frame.velocities(frame_velocity(system, system.frame.points(points), gamma)[0])


def frame_velocity(system: WingSystem, points: Array, gamma: Array, core: float = 0.0) -> Array:
    """Velocity (k, 3, n) [m/s] of k sets of circulations at points (3, n) [m], in the frame.

    gamma: (k, panels) or (panels,) for one set, m²/s; core: radius that smooths every vortex, m.
    """
    sets = np.atleast_2d(gamma)
    out = np.empty((sets.shape[0], *points.shape))
    vortex.induced_velocity(
        *points, *system.nodes, system.lattice.columns, system.images, sets, core, out
    )
    return out


def velocity_matrix(system: WingSystem, points: Array, core: float) -> Array:
    """Matrix (3, n, panels) from circulations to frame velocities at points (3, n) of case axes.

    core: vortex core radius, m. `Frame.velocities` of the product gives case axes.
    """
    out = np.empty((3, points.shape[1], system.lattice.panels))
    vortex.velocity_influence(
        *system.frame.points(points),
        *system.nodes,
        system.lattice.columns,
        system.images,
        core,
        out,
    )
    return out
