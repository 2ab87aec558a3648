"""Mean induced velocity on every bound segment, accurate enough for near-field induced drag.

Sampling the velocity of line vortices at a segment's middle leaves an error that does not vanish
with refinement on swept or tapered wings: near each node the field goes like 1/distance, and
neighbouring segments of unequal length sample it unequally. Here the field is split in two.

* Half the two-dimensional field of the trailing lines, which carries all of the induced drag, is
  sampled at the strip's own point, as in the Trefftz plane.
* The rest does no net work (Munk 1921, NACA Report 121, stagger theorem). It is taken of vortices
  with a core, |r|² + ε² for |r|², as wide as the panels are long: reciprocity holds for any core,
  so the sum is untouched, while the field becomes smooth enough for two Gauss points.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from blownwing.wing.system import WingSystem, frame_velocity

Array = NDArray[np.float64]

_POINTS = (np.polynomial.legendre.leggauss(2)[0] + 1.0) / 2.0
_WEIGHTS = np.polynomial.legendre.leggauss(2)[1] / 2.0


def bound_velocity(system: WingSystem, gamma: Array) -> Array:
    """Mean velocity (k, 3, panels) [m/s] that the lattice induces on its bound segments.

    gamma: (k, panels), k sets of circulations. In sideslip, where legs miss the nodes of the rows
    behind, the plain value at the strip's point is used.
    """
    lattice = system.lattice
    ends = system.nodes.reshape(3, lattice.rows, lattice.columns + 1)
    start = ends[:, :, :-1]
    segment = ends[:, :, 1:] - start
    core = panel_length(system)

    def sampled(fraction: Array | float, core: float) -> Array:
        points = np.ascontiguousarray((start + fraction * segment).reshape(3, -1))
        return frame_velocity(system, points, gamma, core).reshape(-1, *segment.shape)

    if system.frame.yaw != 0.0:
        velocity = sampled(lattice.fraction, 0.0)
    else:
        velocity = sum(w * sampled(t, core) for t, w in zip(_POINTS, _WEIGHTS, strict=True))
        for one, circulations in zip(velocity, gamma, strict=True):
            total = circulations.reshape(lattice.rows, lattice.columns).sum(axis=0)
            one[1:] += half_trailing(system, total, lattice.fraction)[:, None, :]
            for t, weight in zip(_POINTS, _WEIGHTS, strict=True):
                across = np.full(lattice.columns, t)
                one[1:] -= weight * half_trailing(system, total, across, core)[:, None, :]
    return np.stack([system.frame.velocities(v.reshape(3, -1)) for v in velocity])


def panel_length(system: WingSystem) -> float:
    """Mean panel chord in the system's frame, m."""
    return float(system.lattice.chord.mean()) / system.lattice.rows / system.frame.stretch


def half_trailing(system: WingSystem, circ: Array, fraction: Array, core: float = 0.0) -> Array:
    """Half the two-dimensional velocity (2, columns) [m/s], y and z, of the trailing lines.

    circ: (columns,) strip circulations; fraction: (columns,) place across each strip; core: core
    radius of the lines, m. Half the field acts at the wing, all of it in the Trefftz plane.
    """
    lattice = system.lattice
    corner = np.stack((lattice.edge_x + lattice.edge_chord, lattice.edge_y, lattice.edge_z))
    _, y, z = system.frame.points(corner)
    at_y, at_z = y[:-1] + fraction * np.diff(y), z[:-1] + fraction * np.diff(z)
    shed = np.zeros(y.size)
    shed[1:] += circ
    shed[:-1] -= circ
    out = np.zeros((2, circ.size))
    for sy, sz, offset in system.images:
        dy = (sy * at_y)[:, None] - y[None, :]
        dz = (sz * at_z + offset)[:, None] - z[None, :]
        line = 1.0 / (4.0 * np.pi * (dy * dy + dz * dz + core * core))
        out[0] -= sy * ((dz * line) @ shed)
        out[1] += sz * ((dy * line) @ shed)
    return out
