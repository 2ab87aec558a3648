"""Potentials and velocities of doublet panels on slipstream tubes, and potentials of horseshoes.

Tubes are stored as one flat run of nodes, tube by tube, ring by ring (a ring of m panels has m + 1
nodes, the last repeating the first on a closed tube), so that long inner loops vectorise; the
panels that would join two rings' ends are computed and dropped. Outward normals; a panel of
strength D has ψ_outside − ψ_inside = D, and potential −D Ω / 4π with Ω its solid angle.

Solid angles: Van Oosterom & Strackee 1983, "The solid angle of a plane triangle", IEEE Trans.
Biomed. Eng. 30, 125-126. A horseshoe's sheet is the triangle of its two nodes and the point at
infinity along +x.
"""

from __future__ import annotations

import math

import numpy as np

from blownwing.kernels.jit import inline, parallel, prange, summing

_CHUNKS = 32
_FOUR_PI = 4.0 * np.pi
_TWO_PI = 2.0 * np.pi
_C1 = math.tan(math.pi / 8.0)
_T1 = math.tan(math.pi / 16.0)
_T3 = math.tan(3.0 * math.pi / 16.0)
_ON_LINE = 1e-10


@inline
def _padded(count):
    """Row length of a work block that keeps every row on the alignment of the first."""
    return (count + 7) // 8 * 8


@inline
def _arctan2(y, x):
    """atan2 by selects only, to 3e-15, so that loops over it vectorise."""
    ax = abs(x)
    ay = abs(y)
    high = max(ax, ay)
    low = min(ax, ay)
    # one of three angles is taken off, so that |t| ≤ tan(π/16)
    third = low > _T3 * high
    second = low > _T1 * high
    top = low - high if third else (low - _C1 * high if second else low)
    bottom = high + low if third else (high + _C1 * low if second else high)
    base = 0.25 * math.pi if third else (0.125 * math.pi if second else 0.0)
    t = top / (bottom + 1e-300)
    q = t * t
    p = 1.0 / 15.0 - q / 17.0
    p = 1.0 / 13.0 - q * p
    p = 1.0 / 11.0 - q * p
    p = 1.0 / 9.0 - q * p
    p = 1.0 / 7.0 - q * p
    p = 1.0 / 5.0 - q * p
    p = 1.0 / 3.0 - q * p
    p = 1.0 - q * p
    r = base + t * p
    r = 0.5 * math.pi - r if ay > ax else r
    r = math.pi - r if x < 0.0 else r
    return math.copysign(r, y)


@parallel
def panel_potential(px, py, pz, own, gx, gy, gz, around, images, out):
    """Fill out[i, p] with the potential at point i of panel p at unit D.

    px, py, pz: (n,) points; own: (n,) panel a point lies on, whose own (principal) value is 0, or
    −1; gx, gy, gz: nodes; around: panels per ring; images: as in kernels.vortex; out: (n, panels).
    All tubes have the same number of rings, out.shape[1] tells the panels.
    """
    n = px.size
    nodes = gx.size
    length = around + 1
    for chunk in prange(_CHUNKS):
        work = np.empty((6, _padded(nodes)))[:, :nodes]
        rx = work[0]
        ry = work[1]
        rz = work[2]
        rr = work[3]
        tmp = work[4]
        low = work[5]
        for i in range(chunk * n // _CHUNKS, (chunk + 1) * n // _CHUNKS):
            for m in range(images.shape[0]):
                # A reflected point sees the sheet itself: reflection of both is what is meant.
                qx = px[i]
                qy = images[m, 0] * py[i]
                qz = images[m, 1] * pz[i] + images[m, 2]
                for k in range(nodes):
                    dx = gx[k] - qx
                    dy = gy[k] - qy
                    dz = gz[k] - qz
                    rx[k] = dx
                    ry[k] = dy
                    rz[k] = dz
                    rr[k] = np.sqrt(dx * dx + dy * dy + dz * dz)
                for k in range(nodes - length - 1):
                    b = k + 1
                    c = k + length + 1
                    d = k + length
                    # cross product of the diagonal ends a and c serves both triangles
                    ux = ry[k] * rz[c] - rz[k] * ry[c]
                    uy = rz[k] * rx[c] - rx[k] * rz[c]
                    uz = rx[k] * ry[c] - ry[k] * rx[c]
                    n1 = -(rx[b] * ux + ry[b] * uy + rz[b] * uz)
                    n2 = rx[d] * ux + ry[d] * uy + rz[d] * uz
                    ac = rx[k] * rx[c] + ry[k] * ry[c] + rz[k] * rz[c]
                    ab = rx[k] * rx[b] + ry[k] * ry[b] + rz[k] * rz[b]
                    bc = rx[b] * rx[c] + ry[b] * ry[c] + rz[b] * rz[c]
                    ad = rx[k] * rx[d] + ry[k] * ry[d] + rz[k] * rz[d]
                    dc = rx[d] * rx[c] + ry[d] * ry[c] + rz[d] * rz[c]
                    la = rr[k]
                    lc = rr[c]
                    side = la * lc + ac
                    d1 = rr[b] * side + ab * lc + bc * la
                    d2 = rr[d] * side + ad * lc + dc * la
                    tmp[k] = d1 * n2 + d2 * n1
                    low[k] = d1 * d2 - n1 * n2
                # on its own this loop vectorises
                for k in range(nodes - length - 1):
                    tmp[k] = -_arctan2(tmp[k], low[k]) / _TWO_PI
                _compress(tmp, around, nodes, m, out[i])
                if m == 0 and own[i] >= 0:
                    out[i, own[i]] = 0.0


@inline
def _compress(tmp, around, nodes, first, row):
    """Copy the real panels of a flat run into a row of panels, adding after the first image."""
    length = around + 1
    panels = row.size
    p = 0
    k = 0
    # every tube has one ring of nodes more than of panels, dropped here
    rings = panels // around
    tubes = nodes // length - rings
    each = rings // tubes
    for _ in range(tubes):
        for _ in range(each):
            if first == 0:
                for j in range(around):
                    row[p + j] = tmp[k + j]
            else:
                for j in range(around):
                    row[p + j] += tmp[k + j]
            p += around
            k += length
        k += length


@parallel
def horseshoe_potential(px, py, pz, ax, ay, az, columns, images, out):
    """Fill out[i, p] with the potential at point i of lattice panel p at unit circulation.

    Points (n,); nodes as in kernels.vortex.normal_influence; out: (n, rows * columns).
    """
    n = px.size
    nodes = ax.size
    rows = nodes // (columns + 1)
    for chunk in prange(_CHUNKS):
        work = np.empty((5, _padded(nodes)))[:, :nodes]
        rx = work[0]
        ry = work[1]
        rz = work[2]
        rr = work[3]
        tmp = work[4]
        for i in range(chunk * n // _CHUNKS, (chunk + 1) * n // _CHUNKS):
            for m in range(images.shape[0]):
                qx = px[i]
                qy = images[m, 0] * py[i]
                qz = images[m, 1] * pz[i] + images[m, 2]
                for k in range(nodes):
                    dx = ax[k] - qx
                    dy = ay[k] - qy
                    dz = az[k] - qz
                    rx[k] = dx
                    ry[k] = dy
                    rz[k] = dz
                    rr[k] = np.sqrt(dx * dx + dy * dy + dz * dz)
                for k in range(nodes - 1):
                    a = rr[k]
                    b = rr[k + 1]
                    # seen from above the sheet runs starboard node, port node, infinity
                    top = ry[k + 1] * rz[k] - rz[k + 1] * ry[k]
                    dot = rx[k] * rx[k + 1] + ry[k] * ry[k + 1] + rz[k] * rz[k + 1]
                    low = a * b + dot + rx[k] * b + rx[k + 1] * a
                    tmp[k] = -_arctan2(top, low) / _TWO_PI
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
def panel_normal(px, py, pz, nx, ny, nz, gx, gy, gz, around, images, out):
    """Fill out[i, p] with the normal velocity at point i of tube panel p at unit D.

    A panel of strength D is a vortex ring of circulation −D about its outward normal.
    """
    n = px.size
    nodes = gx.size
    length = around + 1
    for chunk in prange(_CHUNKS):
        work = np.empty((7, _padded(nodes)))[:, :nodes]
        rx = work[0]
        ry = work[1]
        rz = work[2]
        rr = work[3]
        ring = work[4]
        axial = work[5]
        tmp = work[6]
        for i in range(chunk * n // _CHUNKS, (chunk + 1) * n // _CHUNKS):
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
                    dx = qx - gx[k]
                    dy = qy - gy[k]
                    dz = qz - gz[k]
                    rx[k] = dx
                    ry[k] = dy
                    rz[k] = dz
                    rr[k] = np.sqrt(dx * dx + dy * dy + dz * dz)
                for k in range(nodes - 1):
                    ring[k] = _segment_dot(rx, ry, rz, rr, k, k + 1, ux, uy, uz)
                for k in range(nodes - length):
                    axial[k] = _segment_dot(rx, ry, rz, rr, k, k + length, ux, uy, uz)
                for k in range(nodes - length - 1):
                    tmp[k] = ring[k + length] + axial[k] - ring[k] - axial[k + 1]
                _compress(tmp, around, nodes, m, out[i])


@inline
def _segment_dot(rx, ry, rz, rr, k, j, ux, uy, uz):
    ab = rr[k] * rr[j]
    low = ab + rx[k] * rx[j] + ry[k] * ry[j] + rz[k] * rz[j]
    cross = (
        ux * (ry[k] * rz[j] - rz[k] * ry[j])
        + uy * (rz[k] * rx[j] - rx[k] * rz[j])
        + uz * (rx[k] * ry[j] - ry[k] * rx[j])
    )
    near = low < _ON_LINE * ab
    top = 0.0 if near else (rr[k] + rr[j]) * cross
    return top / (1.0 if near else ab * low)


@summing
def tube_velocity(px, py, pz, gx, gy, gz, around, images, ring, axial, core, out):
    """Fill out[c, i] with the velocity at point i of all tubes.

    ring, axial: circulations [m²/s] of the segments node → next node of the ring and node → next
    ring, on the nodes' flat run (0 on those that do not exist); core: vortex core radius, m.
    """
    n = px.size
    nodes = gx.size
    length = around + 1
    core2 = core * core
    for chunk in prange(_CHUNKS):
        work = np.empty((4, _padded(nodes)))[:, :nodes]
        rx = work[0]
        ry = work[1]
        rz = work[2]
        rr = work[3]
        for i in range(chunk * n // _CHUNKS, (chunk + 1) * n // _CHUNKS):
            out[0, i] = 0.0
            out[1, i] = 0.0
            out[2, i] = 0.0
            for m in range(images.shape[0]):
                sy = images[m, 0]
                sz = images[m, 1]
                qx = px[i]
                qy = sy * py[i]
                qz = sz * pz[i] + images[m, 2]
                for k in range(nodes):
                    dx = qx - gx[k]
                    dy = qy - gy[k]
                    dz = qz - gz[k]
                    rx[k] = dx
                    ry[k] = dy
                    rz[k] = dz
                    rr[k] = np.sqrt(dx * dx + dy * dy + dz * dz + core2)
                vx = 0.0
                vy = 0.0
                vz = 0.0
                for step in range(2):
                    stride = 1 if step == 0 else length
                    strength = ring if step == 0 else axial
                    for k in range(nodes - stride):
                        j = k + stride
                        ab = rr[k] * rr[j]
                        low = ab + rx[k] * rx[j] + ry[k] * ry[j] + rz[k] * rz[j] + core2
                        near = low < _ON_LINE * ab
                        top = 0.0 if near else strength[k] * (rr[k] + rr[j])
                        f = top / (1.0 if near else ab * low * _FOUR_PI)
                        vx += f * (ry[k] * rz[j] - rz[k] * ry[j])
                        vy += f * (rz[k] * rx[j] - rx[k] * rz[j])
                        vz += f * (rx[k] * ry[j] - ry[k] * rx[j])
                out[0, i] += vx
                out[1, i] += sy * vy
                out[2, i] += sz * vz
