"""Mean induced velocity on every bound segment, accurate enough for near-field induced drag.

Sampling the velocity of line vortices at a segment's middle leaves an error that does not vanish
with refinement on swept or tapered wings: near each node the field goes like 1/distance, and
neighbouring segments of unequal length sample it unequally. Here the field is split in two.

* Half the two-dimensional field of the trailing lines, which carries all of the induced drag, is
  sampled at the strip's own point, as in the Trefftz plane.
* The rest does no net work (Munk 1921, NACA Report 121, stagger theorem). It is taken of vortices
  with a core, |r|² + ε² for |r|², as wide as two panels are long: reciprocity holds for any core,
  so the sum is untouched, while the field becomes smooth enough for two Gauss points.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from blownwing.wing.system import WingSystem, frame_velocity

Array = NDArray[np.float64]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(2)
GAUSS = tuple(zip(((_NODES + 1.0) / 2.0).tolist(), (_WEIGHTS / 2.0).tolist(), strict=True))


def bound_velocity(system: WingSystem, gamma: Array) -> Array:
    """Mean velocity (k, 3, panels) [m/s] that the lattice induces on its bound segments.

    gamma: (k, panels), k sets of circulations, m²/s.
    """
    lattice = system.lattice
    ends = system.nodes.reshape(3, lattice.rows, lattice.columns + 1)
    start = ends[:, :, :-1]
    segment = ends[:, :, 1:] - start
    core = core_radii(system)
    velocity = np.zeros((gamma.shape[0], *segment.shape))
    for radius in np.unique(core).tolist():
        own = core == radius
        for t, weight in GAUSS:
            points = np.ascontiguousarray((start + t * segment)[:, :, own].reshape(3, -1))
            sampled = frame_velocity(system, points, gamma, radius)
            velocity[..., own] += weight * sampled.reshape(*velocity.shape[:3], -1)
    total = gamma.reshape(-1, lattice.rows, lattice.columns).sum(axis=1).T
    rest = half_trailing(system, total, lattice.fraction)
    for t, weight in GAUSS:
        rest -= weight * half_trailing(system, total, np.full(lattice.columns, t), core)
    velocity[:, 1:] += np.moveaxis(rest, 2, 0)[:, :, None, :]
    return np.stack([system.frame.velocities(v.reshape(3, -1)) for v in velocity])


def core_radii(system: WingSystem) -> Array:
    """Radii (columns,) of the smoothing core in the frame, m: two panels, a quarter chord at most.

    One for each surface, so that none depends on what flies far away.
    """
    lattice = system.lattice
    if not lattice.parts:
        mean = np.full(lattice.columns, float(lattice.chord.mean()))
    else:  # columns between surfaces carry nothing and go with the wing's
        mean = np.full(lattice.columns, lattice.chord[lattice.parts[0].strips].mean())
    for surface in {part.surface for part in lattice.parts}:
        own = np.zeros(lattice.columns, dtype=bool)
        for part in lattice.parts:
            own[part.strips] |= part.surface == surface
        mean[own] = lattice.chord[own].mean()
    return mean / system.frame.stretch * min(0.25, 2.0 / lattice.rows)


def half_trailing(
    system: WingSystem, circ: Array, fraction: Array, core: float | Array = 0.0
) -> Array:
    """Half the two-dimensional velocity (2, columns, …) [m/s], y and z, of the trailing lines.

    circ: (columns,) strip circulations, m²/s, or (columns, k) sets of them; fraction: (columns,)
    place across each strip; core: core radius of the lines, m, or radii (columns,) as the strips
    feel them. Half the field acts at the wing, all of it in the Trefftz plane.
    """
    y, z = system.lattice.edge_y, system.lattice.edge_z  # as in the frame, which leaves them
    shed = np.zeros((y.size, *circ.shape[1:]))
    shed[1:] += circ
    shed[:-1] -= circ
    return half_lines(system, shed, y, z, fraction, core)


def half_lines(
    system: WingSystem,
    strength: Array,
    y: Array,
    z: Array,
    fraction: Array,
    core: float | Array,
) -> Array:
    """Half the velocity (2, columns, …) [m/s] of whole lines along x at the strips' trailing edge.

    strength: (n,) circulations, m²/s, of lines at y, z (n,), m, frame axes, or (n, k) sets of them;
    fraction, core: as for `half_trailing`.
    """
    edge_y, edge_z = system.lattice.edge_y, system.lattice.edge_z
    at_y, at_z = edge_y[:-1] + fraction * np.diff(edge_y), edge_z[:-1] + fraction * np.diff(edge_z)
    out = np.zeros((2, at_y.size, *strength.shape[1:]))
    square = np.reshape(np.square(core), (-1, 1))
    for sy, sz, offset in system.images:
        dy = (sy * at_y)[:, None] - y[None, :]
        dz = (sz * at_z + offset)[:, None] - z[None, :]
        apart = dy * dy
        apart += dz * dz
        apart += square
        dy /= apart
        dz /= apart
        out[0] -= sy * (dz @ strength)
        out[1] += sz * (dy @ strength)
    return out / (4.0 * np.pi)
