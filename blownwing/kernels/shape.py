"""Derivatives of the lattice's influence by positions along x, contracted with an adjoint.

Velocities depend on differences of positions, so that the derivative by a point's place is minus
the sum of those by the places of the vortex's two ends; one end that moves along x changes its leg
by the element it leaves behind (Biot–Savart), and its bound segment.
"""

from __future__ import annotations

import math

import numpy as np

from blownwing.kernels.jit import serial

_FOUR_PI = 4.0 * math.pi


@serial
def contracted_slopes(
    px, py, pz, nx, ny, nz, ax, ay, az, columns, images, adjoint, gamma, by_node, by_point
):
    """Add to by_node and by_point the slopes by x of Σᵢⱼ adjointᵢ gammaⱼ vᵢⱼ·nᵢ.

    px…nz: (n,) points and normals; ax, ay, az: (rows * (columns + 1),) nodes row by row, port to
    starboard; adjoint: (n,); gamma: (rows * columns,); by_node, by_point: as nodes and points.
    """
    rows = ax.size // (columns + 1)
    for i in range(px.size):
        for m in range(images.shape[0]):
            sy = images[m, 0]
            sz = images[m, 1]
            qx = px[i]
            qy = sy * py[i]
            qz = sz * pz[i] + images[m, 2]
            ux = adjoint[i] * nx[i] / _FOUR_PI
            uy = adjoint[i] * sy * ny[i] / _FOUR_PI
            uz = adjoint[i] * sz * nz[i] / _FOUR_PI
            for row in range(rows):
                for k in range(columns):
                    strength = gamma[row * columns + k]
                    s = row * (columns + 1) + k
                    gx = qx - ax[s]
                    gy = qy - ay[s]
                    gz = qz - az[s]
                    hx = qx - ax[s + 1]
                    hy = qy - ay[s + 1]
                    hz = qz - az[s + 1]
                    g = np.sqrt(gx * gx + gy * gy + gz * gz)
                    h = np.sqrt(hx * hx + hy * hy + hz * hz)
                    low = g * h + gx * hx + gy * hy + gz * hz
                    sum_ = 1.0 / g + 1.0 / h
                    size = sum_ / low
                    cross = (
                        ux * (gy * hz - gz * hy)
                        + uy * (gz * hx - gx * hz)
                        + uz * (gx * hy - gy * hx)
                    )
                    size_g = (gx / g**3 + size * (h * gx / g + hx)) / low
                    size_h = (hx / h**3 + size * (g * hx / h + gx)) / low
                    first = cross * size_g + size * (uy * hz - uz * hy)
                    second = cross * size_h + size * (uz * gy - uy * gz)
                    first += (uz * gy - uy * gz) / g**3
                    second -= (uz * hy - uy * hz) / h**3
                    by_node[s] += strength * first
                    by_node[s + 1] += strength * second
                    by_point[i] -= strength * (first + second)
