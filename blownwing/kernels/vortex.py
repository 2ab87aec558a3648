"""Velocities of straight vortices: bound segments with semi-infinite legs along +x.

Every panel is a horseshoe: a bound segment between two neighbouring nodes of its row and two
legs leaving the nodes along +x (the caller turns and stretches its axes so that this holds).
Neighbouring panels share nodes, so each node's leg and distance are computed once per point.

Accurate forms: Katz & Plotkin, "Low-Speed Aerodynamics", 2nd ed. (2001), section 10.4.5 for the
segment, with the sum of lengths factored so that it does not cancel far from the segment; the leg
takes (r + s)/(r c²) downstream and 1/(r (r - s)) upstream of its node, since either form alone
loses digits on the other side.

``images`` has one row (sy, sz, offset) per evaluation: the point goes to (x, sy y, sz z + offset)
and the resulting velocity is reflected back, which adds a mirror plane y = 0 (sy = -1) or a
ground plane (sz = -1, offset = -2 h) without extra vortices.
"""

from __future__ import annotations

import numpy as np

from blownwing.kernels.jit import inline, parallel, summing

_ON_LINE = 1e-10  # a point this close (relative, squared) to a vortex feels nothing from it
_FOUR_PI = 4.0 * np.pi


@inline
def _padded(count):
    """Row length of a work block that keeps every row on the alignment of the first."""
    return (count + 7) // 8 * 8


@parallel
def normal_influence(part, parts, px, py, pz, nx, ny, nz, ax, ay, az, columns, images, out):
    """Fill out[i, p] with the normal velocity at point i of panel p at unit circulation.

    px…nz: (n,) points, m, and unit normals; ax, ay, az: (rows * (columns + 1),) nodes, m, row by
    row, port to starboard; images: see the module's head; out: (n, rows * columns), 1/m.
    """
    n = px.size
    nodes = ax.size
    rows = nodes // (columns + 1)
    work = np.empty((6, _padded(nodes)))[:, :nodes]
    rx = work[0]
    ry = work[1]
    rz = work[2]
    rr = work[3]
    leg = work[4]
    tmp = work[5]
    for i in range(part * n // parts, (part + 1) * n // parts):
        for m in range(images.shape[0]):
            sy = images[m, 0]
            sz = images[m, 1]
            qx = px[i]
            qy = sy * py[i]
            qz = sz * pz[i] + images[m, 2]
            ux = nx[i] / _FOUR_PI
            uy = sy * ny[i] / _FOUR_PI
            uz = sz * nz[i] / _FOUR_PI
            for k in range(nodes):
                dx = qx - ax[k]
                dy = qy - ay[k]
                dz = qz - az[k]
                c2 = dy * dy + dz * dz
                d2 = dx * dx + c2
                d = np.sqrt(d2)
                c2 = max(c2, 1e-24 * d2)
                down = dx > 0.0
                top = d + dx if down else 1.0
                low = d * c2 if down else d * (d - dx)
                leg[k] = (uz * dy - uy * dz) * top / low
                rx[k] = dx
                ry[k] = dy
                rz[k] = dz
                rr[k] = d
            for k in range(nodes - 1):
                a = rr[k]
                b = rr[k + 1]
                ab = a * b
                low = ab + rx[k] * rx[k + 1] + ry[k] * ry[k + 1] + rz[k] * rz[k + 1]
                cross = (
                    ux * (ry[k] * rz[k + 1] - rz[k] * ry[k + 1])
                    + uy * (rz[k] * rx[k + 1] - rx[k] * rz[k + 1])
                    + uz * (rx[k] * ry[k + 1] - ry[k] * rx[k + 1])
                )
                near = low < _ON_LINE * ab
                top = 0.0 if near else (a + b) * cross
                low = 1.0 if near else ab * low
                tmp[k] = top / low + leg[k + 1] - leg[k]
            for row in range(rows):
                o = row * columns
                s = row * (columns + 1)
                if m == 0:
                    for k in range(columns):
                        out[i, o + k] = tmp[s + k]
                else:
                    for k in range(columns):
                        out[i, o + k] += tmp[s + k]


@parallel
def velocity_influence(part, parts, px, py, pz, ax, ay, az, columns, images, core, out):
    """Fill out[c, i, p] with velocity component c at point i of panel p at unit circulation.

    Points and nodes as in `normal_influence`; core: vortex core radius [m] that keeps points on a
    trailing leg finite (0 for points clear of the lattice's wake); out: (3, n, rows * columns),
    1/m.
    """
    n = px.size
    nodes = ax.size
    rows = nodes // (columns + 1)
    core2 = core * core
    work = np.empty((8, _padded(nodes)))[:, :nodes]
    rx = work[0]
    ry = work[1]
    rz = work[2]
    rr = work[3]
    leg = work[4]
    tx = work[5]
    ty = work[6]
    tz = work[7]
    for i in range(part * n // parts, (part + 1) * n // parts):
        for m in range(images.shape[0]):
            sy = images[m, 0]
            sz = images[m, 1]
            qx = px[i]
            qy = sy * py[i]
            qz = sz * pz[i] + images[m, 2]
            for k in range(nodes):
                dx = qx - ax[k]
                dy = qy - ay[k]
                dz = qz - az[k]
                c2 = dy * dy + dz * dz
                d2 = dx * dx + c2
                d = np.sqrt(d2)
                c2 = max(c2 + core2, 1e-24 * d2)
                down = dx > 0.0
                top = d + dx if down else 1.0
                low = d * c2 if down else d * (d - dx) + core2
                leg[k] = top / (low * _FOUR_PI)
                rx[k] = dx
                ry[k] = dy
                rz[k] = dz
                rr[k] = d
            for k in range(nodes - 1):
                a = rr[k]
                b = rr[k + 1]
                ab = a * b
                low = ab + rx[k] * rx[k + 1] + ry[k] * ry[k + 1] + rz[k] * rz[k + 1]
                near = low < _ON_LINE * ab
                top = 0.0 if near else a + b
                low = 1.0 if near else ab * low * _FOUR_PI
                f = top / low
                g = leg[k]
                h = leg[k + 1]
                tx[k] = f * (ry[k] * rz[k + 1] - rz[k] * ry[k + 1])
                ty[k] = f * (rz[k] * rx[k + 1] - rx[k] * rz[k + 1]) - h * rz[k + 1] + g * rz[k]
                tz[k] = f * (rx[k] * ry[k + 1] - ry[k] * rx[k + 1]) + h * ry[k + 1] - g * ry[k]
            for row in range(rows):
                o = row * columns
                s = row * (columns + 1)
                if m == 0:
                    for k in range(columns):
                        out[0, i, o + k] = tx[s + k]
                        out[1, i, o + k] = sy * ty[s + k]
                        out[2, i, o + k] = sz * tz[s + k]
                else:
                    for k in range(columns):
                        out[0, i, o + k] += tx[s + k]
                        out[1, i, o + k] += sy * ty[s + k]
                        out[2, i, o + k] += sz * tz[s + k]


@summing
def induced_velocity(part, parts, px, py, pz, ax, ay, az, columns, images, gamma, core, out):
    """Fill out[g, c, i] with the velocity at point i of the whole lattice, without a stored matrix.

    gamma: (k, rows * columns) circulations [m²/s], k sets at once; core: radius of every vortex's
    core, |r|² + core² for |r|², m; out: (k, 3, n), m/s; the rest as in `normal_influence`. The legs
    of neighbouring panels are summed first: node k carries the difference of its two panels.
    """
    core2 = core * core
    n = px.size
    sets = gamma.shape[0]
    nodes = ax.size
    rows = nodes // (columns + 1)
    shed = np.zeros((sets, nodes))
    bound = np.zeros((sets, nodes))
    for s in range(sets):
        for row in range(rows):
            for j in range(columns):
                k = row * (columns + 1) + j
                g = gamma[s, row * columns + j] / _FOUR_PI
                bound[s, k] = g
                shed[s, k] -= g
                shed[s, k + 1] += g
    work = np.empty((6, _padded(nodes)))[:, :nodes]
    rx = work[0]
    ry = work[1]
    rz = work[2]
    rr = work[3]
    leg = work[4]
    seg = work[5]
    for i in range(part * n // parts, (part + 1) * n // parts):
        for s in range(sets):
            for c in range(3):
                out[s, c, i] = 0.0
        for m in range(images.shape[0]):
            sy = images[m, 0]
            sz = images[m, 1]
            qx = px[i]
            qy = sy * py[i]
            qz = sz * pz[i] + images[m, 2]
            for k in range(nodes):
                dx = qx - ax[k]
                dy = qy - ay[k]
                dz = qz - az[k]
                c2 = dy * dy + dz * dz + core2
                d2 = dx * dx + c2
                d = np.sqrt(d2)
                c2 = max(c2, 1e-24 * d2)
                down = dx > 0.0
                top = d + dx if down else 1.0
                low = d * c2 if down else d * (d - dx)
                leg[k] = top / low
                rx[k] = dx
                ry[k] = dy
                rz[k] = dz
                rr[k] = d
            for k in range(nodes - 1):
                a = rr[k]
                b = rr[k + 1]
                ab = a * b
                low = ab + rx[k] * rx[k + 1] + ry[k] * ry[k + 1] + rz[k] * rz[k + 1] + core2
                near = low < _ON_LINE * ab
                top = 0.0 if near else a + b
                low = 1.0 if near else ab * low
                seg[k] = top / low
            for s in range(sets):
                vx = 0.0
                vy = 0.0
                vz = 0.0
                for k in range(nodes):
                    f = shed[s, k] * leg[k]
                    vy -= f * rz[k]
                    vz += f * ry[k]
                for k in range(nodes - 1):
                    f = bound[s, k] * seg[k]
                    vx += f * (ry[k] * rz[k + 1] - rz[k] * ry[k + 1])
                    vy += f * (rz[k] * rx[k + 1] - rx[k] * rz[k + 1])
                    vz += f * (rx[k] * ry[k + 1] - ry[k] * rx[k + 1])
                out[s, 0, i] += vx
                out[s, 1, i] += sy * vy
                out[s, 2, i] += sz * vz
