"""Derivatives by positions along x of what lattice and tubes do, contracted with an adjoint.

Velocities depend on differences of positions, so that the derivative by a point's place is minus
the sum of those by the places of the vortex's two ends; one end that moves along x changes its leg
by the element it leaves behind (Biot–Savart), and its bound segment. Tubes stay: only the points
at which they are felt move, and the horseshoes whose potential they feel.
"""

from __future__ import annotations

import math

import numpy as np

from blownwing.kernels.jit import inline, serial, summing

_FOUR_PI = 4.0 * math.pi
_ON_LINE = 1e-10  # as in kernels.jet: a point on a segment's line feels nothing from it


@inline
def _leg_slope(dx, c2, d, core2):
    """Slope by the point's x of a leg's factor in kernels.vortex; 1/d³ without a core."""
    down = dx > 0.0
    low = c2 + core2 if down else d * (d - dx) + core2
    top = c2 / d if down else (d - dx) * (d - dx) * d
    return top / (low * d * d) if down else top / (low * low * d * d)


@serial
def contracted_slopes(
    px, py, pz, nx, ny, nz, ax, ay, az, columns, images, adjoint, gamma, core, by_node, by_point
):
    """Add to by_node and by_point the slopes by x of Σᵢⱼ adjointᵢ gammaⱼ vᵢⱼ·nᵢ.

    In 1/m of the sum. px…nz: (n,) points, m, and unit normals; ax, ay, az: (rows * (columns + 1),)
    nodes, m, row by row, port to starboard; adjoint: (n,); gamma: (rows * columns,), m²/s; core: of
    the legs, as in kernels.vortex.velocity_influence, m; by_node, by_point: as nodes and points.
    """
    rows = ax.size // (columns + 1)
    core2 = core * core
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
                    first += (uz * gy - uy * gz) * _leg_slope(gx, gy * gy + gz * gz, g, core2)
                    second -= (uz * hy - uy * hz) * _leg_slope(hx, hy * hy + hz * hz, h, core2)
                    by_node[s] += strength * first
                    by_node[s + 1] += strength * second
                    by_point[i] -= strength * (first + second)


@serial
def potential_slopes(px, py, pz, ax, ay, az, columns, images, adjoint, gamma, by_node):
    """Add to by_node the slopes by x of Σᵢⱼ adjointᵢ gammaⱼ φᵢⱼ, φ as `jet.horseshoe_potential`.

    px, py, pz, adjoint: (n,); nodes, gamma, images, by_node: as in `contracted_slopes`.
    """
    nodes = ax.size
    strength = np.zeros(nodes)  # of the segment to the next node, 0 at the ends of rows
    for p in range(gamma.size):
        strength[p + p // columns] = gamma[p]
    work = np.empty((5, nodes))
    ry = work[0]
    rz = work[1]
    down = work[2]
    slope = work[3]
    left = work[4]
    for i in range(px.size):
        for m in range(images.shape[0]):
            qx = px[i]
            qy = images[m, 0] * py[i]
            qz = images[m, 1] * pz[i] + images[m, 2]
            weight = adjoint[i] / (2.0 * math.pi)
            for k in range(nodes):
                dx = ax[k] - qx
                dy = ay[k] - qy
                dz = az[k] - qz
                d = np.sqrt(dx * dx + dy * dy + dz * dz)
                ry[k] = dy
                rz[k] = dz
                down[k] = d + dx
                slope[k] = weight * (1.0 + dx / d)
            left[0] = 0.0
            for k in range(nodes - 1):
                # of the half solid angle's tangent top / low only low changes
                top = ry[k + 1] * rz[k] - rz[k + 1] * ry[k]
                low = down[k] * down[k + 1] + ry[k] * ry[k + 1] + rz[k] * rz[k + 1]
                share = strength[k] * top / (top * top + low * low)
                by_node[k] += share * slope[k] * down[k + 1]
                left[k + 1] = share * slope[k + 1] * down[k]
            for k in range(nodes):
                by_node[k] += left[k]


@summing
def tube_slopes(part, parts, px, py, pz, nx, ny, nz, gx, gy, gz, around, images, ring, axial, out):
    """Fill out (n,) with the slopes by each point's x of v·n, v the velocity of all tubes.

    px…nz: (n,) points, m, and unit normals; out in 1/s; gx, gy, gz, around, ring, axial: as in
    kernels.jet.tube_velocity.
    """
    nodes = gx.size
    length = around + 1
    for i in range(part * px.size // parts, (part + 1) * px.size // parts):
        work = np.empty((5, nodes))
        rx = work[0]
        ry = work[1]
        rz = work[2]
        rr = work[3]
        inverse = work[4]
        total = 0.0
        for m in range(images.shape[0]):
            qx = px[i]
            qy = images[m, 0] * py[i]
            qz = images[m, 1] * pz[i] + images[m, 2]
            ux = nx[i] / _FOUR_PI
            uy = images[m, 0] * ny[i] / _FOUR_PI
            uz = images[m, 1] * nz[i] / _FOUR_PI
            for k in range(nodes):
                dx = qx - gx[k]
                dy = qy - gy[k]
                dz = qz - gz[k]
                d = np.sqrt(dx * dx + dy * dy + dz * dz)
                rx[k] = dx
                ry[k] = dy
                rz[k] = dz
                rr[k] = d
                inverse[k] = 1.0 / d
            for step in range(2):
                stride = 1 if step == 0 else length
                strength = ring if step == 0 else axial
                for k in range(nodes - stride):
                    j = k + stride
                    ab = rr[k] * rr[j]
                    low = ab + rx[k] * rx[j] + ry[k] * ry[j] + rz[k] * rz[j]
                    near = low < _ON_LINE * ab
                    share = 0.0 if near else strength[k]
                    low = 1.0 / (1.0 if near else low)
                    a = inverse[k]
                    b = inverse[j]
                    size = (a + b) * low
                    turn = uy * (rz[k] - rz[j]) - uz * (ry[k] - ry[j])
                    cross = (
                        ux * (ry[k] * rz[j] - rz[k] * ry[j])
                        + uy * (rz[k] * rx[j] - rx[k] * rz[j])
                        + uz * (rx[k] * ry[j] - ry[k] * rx[j])
                    )
                    along = rx[k] * rr[j] * a + rx[j] * rr[k] * b + rx[k] + rx[j]
                    fall = rx[k] * a * a * a + rx[j] * b * b * b + size * along
                    total += share * (size * turn - cross * fall * low)
        out[i] = total


@serial
def tube_weights(px, py, pz, wx, wy, wz, gx, gy, gz, around, images, core, ring, axial):
    """Add to ring and axial (nodes,) what Σᵢ vᵢ·wᵢ is of each segment at unit circulation.

    px…wz: (n,) points, m, and weights; segments to the next node of the ring and to the next ring;
    the rest as in `tube_slopes`; core: vortex core radius, as in kernels.jet.tube_velocity, m.
    """
    length = around + 1
    core2 = core * core
    for i in range(px.size):
        for m in range(images.shape[0]):
            qx = px[i]
            qy = images[m, 0] * py[i]
            qz = images[m, 1] * pz[i] + images[m, 2]
            ux = wx[i] / _FOUR_PI
            uy = images[m, 0] * wy[i] / _FOUR_PI
            uz = images[m, 1] * wz[i] / _FOUR_PI
            for step in range(2):
                stride = 1 if step == 0 else length
                total = ring if step == 0 else axial
                for k in range(gx.size - stride):
                    j = k + stride
                    ax = qx - gx[k]
                    ay = qy - gy[k]
                    az = qz - gz[k]
                    bx = qx - gx[j]
                    by = qy - gy[j]
                    bz = qz - gz[j]
                    a = np.sqrt(ax * ax + ay * ay + az * az + core2)
                    b = np.sqrt(bx * bx + by * by + bz * bz + core2)
                    low = a * b + ax * bx + ay * by + az * bz + core2
                    if low > _ON_LINE * a * b:
                        cross = (
                            ux * (ay * bz - az * by)
                            + uy * (az * bx - ax * bz)
                            + uz * (ax * by - ay * bx)
                        )
                        total[k] += (1.0 / a + 1.0 / b) * cross / low
