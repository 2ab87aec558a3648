"""The wing's linear system: normal velocities of all panels, factored once per geometry.

Flow conditions, propellers and slipstreams only change right-hand sides: legs run along x whatever
the incidence and sideslip. Compressibility stretches x by 1/B, B² = 1 − M² (Göthert 1940: the
potential at matching points and hence Γ is unchanged, the wing condition in unstretched slopes).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lapack

from blownwing.errors import SolveError
from blownwing.geometry.lattice import Lattice
from blownwing.kernels import vortex

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Frame:
    """Axes of the potential problem: those of the case with x divided by `stretch`."""

    stretch: float = 1.0

    def points(self, xyz: Array) -> Array:
        """Points (3, n) of the case's axes in this frame."""
        return np.stack((xyz[0] / self.stretch, xyz[1], xyz[2]))

    def normals(self, xyz: Array) -> Array:
        """Covectors (3, n) such that their product with frame velocities is the normal velocity."""
        return self.points(xyz)

    def velocities(self, uvw: Array) -> Array:
        """Velocities (3, …) of the frame back in the case's axes."""
        return np.stack((uvw[0] / self.stretch, uvw[1], uvw[2]))


@dataclass(frozen=True)
class WingSystem:
    """A lattice with its factored influence matrix; read-only."""

    lattice: Lattice
    normals: Array  # (3, panels), case axes
    frame: Frame
    images: Array  # (m, 3), see kernels.vortex
    nodes: Array  # (3, nodes), frame axes
    factor: Array  # LU of the transposed matrix
    pivots: NDArray[np.int32]


def mirror_images(symmetric: bool, ground_z: float | None) -> Array:
    """Rows (sy, sz, offset) of the evaluations that stand for the mirror planes, self first."""
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

    normals: (3, panels) unit normals; ground_z: height of a ground plane, m. Raises SolveError
    when the matrix is singular.
    """
    images = mirror_images(lattice.symmetric, ground_z)
    nodes = frame.points(lattice.nodes)
    points = frame.points(lattice.collocation)
    n = frame.normals(normals)
    matrix = np.empty((lattice.panels, lattice.panels))
    vortex.normal_influence(*points, *n, *nodes, lattice.columns, images, matrix)
    # The row-wise matrix is its own transpose in Fortran order: factor that in place, no copy.
    factor, pivots, info = lapack.dgetrf(matrix.T, overwrite_a=True)
    if info != 0:
        raise SolveError("the wing's influence matrix is singular: two panels coincide")
    return WingSystem(lattice, normals, frame, images, nodes, factor, pivots)


def circulation(system: WingSystem, normal_onset: Array) -> Array:
    """Circulations Γ, (panels,) or (panels, k), that cancel the normal onset velocity [m/s]."""
    gamma, info = lapack.dgetrs(system.factor, system.pivots, -normal_onset, trans=1)
    if info != 0:
        raise SolveError("the wing's linear system could not be solved")
    return np.asarray(gamma)


def velocity_at(system: WingSystem, points: Array, gamma: Array) -> Array:
    """Velocity (3, n) that circulations gamma (panels,) induce at points (3, n), case axes."""
    return system.frame.velocities(frame_velocity(system, system.frame.points(points), gamma)[0])


def frame_velocity(system: WingSystem, points: Array, gamma: Array, core: float = 0.0) -> Array:
    """Velocity (k, 3, n) of k sets of circulations (k, panels) at points (3, n), in the frame.

    core: radius that smooths every vortex, m.
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
