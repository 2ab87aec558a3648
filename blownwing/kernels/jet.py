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
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from blownwing.kernels.jit import inline, parallel, prange, summing

_CHUNKS = 32
_FOUR_PI = 4.0 * np.pi
_TWO_PI = 2.0 * np.pi
_C1 = math.tan(math.pi / 8.0)
_T1 = math.tan(math.pi / 16.0)
_T3 = math.tan(3.0 * math.pi / 16.0)
_ON_LINE = 1e-10
MOMENTS = 12


class Far(NamedTuple):
    """What tubes are to points that lie many radii beside them.

    A ring's dipoles, their sum S and the moments S c and S c c of their arms c from the axis, are
    spread along the axis between the ring's ends: the first three terms of their potential's
    expansion. Three, because the doublets' jump at the wing has a third harmonic.
    moments: (tubes, rings, MOMENTS, places) at unit value of each place Sx, Sy, Sz; Sy cy,
    Sy cz + Sz cy, Sz cz, Sx cy, Sx cz; Sy cy², 2 Sy cy cz + Sz cy², 2 Sz cy cz + Sy cz², Sz cz²
    [m², m³, m⁴].
    """

    y: NDArray[np.float64]  # (tubes,) of the axes, m
    z: NDArray[np.float64]
    reach: NDArray[np.float64]  # (tubes,) squared distance from the axis, beyond which, m²
    moments: NDArray[np.float64]


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
def tube_potential(px, py, pz, own, gx, gy, gz, around, images, shapes, first, far, out):
    """Fill out[i, q] with the potential at point i of all tubes at unit value q, 0 at the others.

    px, py, pz: (n,) points; own: (n,) panel a point lies on, whose own (principal) value is 0, or
    −1; gx, gy, gz: nodes; around: panels per ring; images: as in kernels.vortex; shapes: (tubes,
    around, places) from the values of a ring to its panels; first: (tubes + 1,) value that each
    tube begins with, ring by ring; far: `Far`; out: (n, values).
    """
    n = px.size
    tubes = shapes.shape[0]
    each = gx.size // tubes
    length = around + 1
    rings = each // length - 1
    for chunk in prange(_CHUNKS):
        work = np.empty((6, _padded(each)))
        rx = work[0]
        ry = work[1]
        rz = work[2]
        rr = work[3]
        tmp = work[4]
        low = work[5]
        terms = np.empty((rings, MOMENTS))
        for i in range(chunk * n // _CHUNKS, (chunk + 1) * n // _CHUNKS):
            out[i] = 0.0
            for m in range(images.shape[0]):
                # A reflected point sees the sheet itself: reflection of both is what is meant.
                qx = px[i]
                qy = images[m, 0] * py[i]
                qz = images[m, 1] * pz[i] + images[m, 2]
                for t in range(tubes):
                    s = t * each
                    dy = qy - far.y[t]
                    dz = qz - far.z[t]
                    if dy * dy + dz * dz > far.reach[t]:
                        for ring in range(rings):
                            x = s + ring * length
                            _far_potential(qx, dy, dz, gx[x], gx[x + length], terms[ring])
                        _summed(terms, far.moments[t], first[t], first[t + 1], out[i])
                        continue
                    for k in range(each):
                        dx = gx[s + k] - qx
                        dy = gy[s + k] - qy
                        dz = gz[s + k] - qz
                        rx[k] = dx
                        ry[k] = dy
                        rz[k] = dz
                        rr[k] = np.sqrt(dx * dx + dy * dy + dz * dz)
                    for k in range(each - length - 1):
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
                    for k in range(each - length - 1):
                        tmp[k] = -_arctan2(tmp[k], low[k]) / _TWO_PI
                    if m == 0 and own[i] >= 0:
                        at = own[i] - t * rings * around
                        if 0 <= at < rings * around:
                            tmp[at + at // around] = 0.0
                    _gathered(tmp, shapes[t], rings, first[t], first[t + 1], out[i])


@inline
def _gathered(tmp, shape, rings, first, last, row):
    """Add the panels of one tube, taken from its flat run, to the values that they hang on."""
    around = shape.shape[0]
    places = (last - first) // rings
    for ring in range(rings):
        at = first + ring * places
        for j in range(around):
            value = tmp[ring * (around + 1) + j]
            for p in range(places):
                row[at + p] += value * shape[j, p]


@inline
def _summed(terms, moments, first, last, row):
    """Add what one tube does from afar to the values that its moments hang on."""
    rings = terms.shape[0]
    places = (last - first) // rings
    for ring in range(rings):
        at = first + ring * places
        for term in range(MOMENTS):
            value = terms[ring, term]
            for p in range(places):
                row[at + p] += value * moments[ring, term, p]


@inline
def _far_potential(qx, y, z, front, back, terms):
    """Potential of a ring's moments, spread along its axis, at y, z from there; see `Far`."""
    xa = front - qx
    xb = back - qx
    rho = y * y + z * z
    a = 1.0 / np.sqrt(xa * xa + rho)
    b = 1.0 / np.sqrt(xb * xb + rho)
    a3 = a * a * a
    b3 = b * b * b
    i3 = (xb * b - xa * a) / rho
    i5 = (xb * b3 - xa * a3 + 2.0 * i3) / (3.0 * rho)
    i7 = (xb * b3 * b * b - xa * a3 * a * a + 4.0 * i5) / (5.0 * rho)
    d3 = a3 - b3
    scale = 1.0 / (_FOUR_PI * (back - front))
    terms[0] = scale * (b - a)
    terms[1] = scale * y * i3
    terms[2] = scale * z * i3
    terms[3] = scale * (3.0 * y * y * i5 - i3)
    terms[4] = scale * 3.0 * y * z * i5
    terms[5] = scale * (3.0 * z * z * i5 - i3)
    terms[6] = -scale * y * d3
    terms[7] = -scale * z * d3
    third = -0.5 * scale
    terms[8] = third * y * (9.0 * i5 - 15.0 * y * y * i7)
    terms[9] = third * z * (3.0 * i5 - 15.0 * y * y * i7)
    terms[10] = third * y * (3.0 * i5 - 15.0 * z * z * i7)
    terms[11] = third * z * (9.0 * i5 - 15.0 * z * z * i7)


@inline
def _far_slope(qx, y, z, ux, uy, uz, front, back, core2, terms):
    """The slope of `_far_potential` along u; of vortices with a core, to first order in it."""
    xa = front - qx
    xb = back - qx
    rho = y * y + z * z + core2
    a = 1.0 / np.sqrt(xa * xa + rho)
    b = 1.0 / np.sqrt(xb * xb + rho)
    a3 = a * a * a
    b3 = b * b * b
    a5 = a3 * a * a
    b5 = b3 * b * b
    i3 = (xb * b - xa * a) / rho
    i5 = (xb * b3 - xa * a3 + 2.0 * i3) / (3.0 * rho)
    i7 = (xb * b5 - xa * a5 + 4.0 * i5) / (5.0 * rho)
    a7 = a5 * a * a
    b7 = b5 * b * b
    i9 = (xb * b7 - xa * a7 + 6.0 * i7) / (7.0 * rho)
    d3 = a3 - b3
    d5 = a5 - b5
    scale = 1.0 / (_FOUR_PI * (back - front))
    across = uy * y + uz * z
    # slopes of the integrals of 1/r³, 1/r⁵ and 1/r⁷, of 1/r³ between the ends, along u
    s3 = ux * d3 - 3.0 * across * i5
    s5 = ux * d5 - 5.0 * across * i7
    s7 = ux * (a7 - b7) - 7.0 * across * i9
    sd = 3.0 * (ux * (xa * a5 - xb * b5) - across * d5)
    # a core leaves a field that has a curl: 1/r is no longer harmonic
    inner = i3 - 3.0 * core2 * i5
    terms[0] = scale * (ux * (xb * b3 - xa * a3 - 3.0 * core2 * i5) + across * d3)
    terms[1] = scale * (uy * inner + y * s3)
    terms[2] = scale * (uz * inner + z * s3)
    terms[3] = scale * (6.0 * y * uy * i5 + 3.0 * y * y * s5 - s3)
    terms[4] = scale * 3.0 * ((uy * z + uz * y) * i5 + y * z * s5)
    terms[5] = scale * (6.0 * z * uz * i5 + 3.0 * z * z * s5 - s3)
    terms[6] = -scale * (uy * d3 + y * sd)
    terms[7] = -scale * (uz * d3 + z * sd)
    third = -0.5 * scale
    yy = y * y
    zz = z * z
    terms[8] = third * (uy * (9.0 * i5 - 45.0 * yy * i7) + y * (9.0 * s5 - 15.0 * yy * s7))
    terms[9] = third * (
        uz * (3.0 * i5 - 15.0 * yy * i7) + z * (3.0 * s5 - 15.0 * yy * s7) - 30.0 * uy * y * z * i7
    )
    terms[10] = third * (
        uy * (3.0 * i5 - 15.0 * zz * i7) + y * (3.0 * s5 - 15.0 * zz * s7) - 30.0 * uz * y * z * i7
    )
    terms[11] = third * (uz * (9.0 * i5 - 45.0 * zz * i7) + z * (9.0 * s5 - 15.0 * zz * s7))


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
def tube_normal(px, py, pz, nx, ny, nz, gx, gy, gz, around, images, shapes, first, far, out):
    """Fill out[i, q] with the velocity along a normal at point i of all tubes at unit value q.

    A panel of strength D is a vortex ring of circulation −D about its outward normal. nx, ny, nz:
    (n,) normals; the rest as in `tube_potential`.
    """
    n = px.size
    tubes = shapes.shape[0]
    each = gx.size // tubes
    length = around + 1
    rings = each // length - 1
    for chunk in prange(_CHUNKS):
        work = np.empty((7, _padded(each)))
        rx = work[0]
        ry = work[1]
        rz = work[2]
        rr = work[3]
        ring_ = work[4]
        axial = work[5]
        tmp = work[6]
        terms = np.empty((rings, MOMENTS))
        for i in range(chunk * n // _CHUNKS, (chunk + 1) * n // _CHUNKS):
            out[i] = 0.0
            for m in range(images.shape[0]):
                sy = images[m, 0]
                sz = images[m, 1]
                qx = px[i]
                qy = sy * py[i]
                qz = sz * pz[i] + images[m, 2]
                for t in range(tubes):
                    s = t * each
                    dy = qy - far.y[t]
                    dz = qz - far.z[t]
                    if dy * dy + dz * dz > far.reach[t]:
                        ux = nx[i]
                        uy = sy * ny[i]
                        uz = sz * nz[i]
                        for ring in range(rings):
                            x = s + ring * length
                            front = gx[x]
                            back = gx[x + length]
                            _far_slope(qx, dy, dz, ux, uy, uz, front, back, 0.0, terms[ring])
                        _summed(terms, far.moments[t], first[t], first[t + 1], out[i])
                        continue
                    ux = nx[i] / _FOUR_PI
                    uy = sy * ny[i] / _FOUR_PI
                    uz = sz * nz[i] / _FOUR_PI
                    for k in range(each):
                        dx = qx - gx[s + k]
                        dy = qy - gy[s + k]
                        dz = qz - gz[s + k]
                        rx[k] = dx
                        ry[k] = dy
                        rz[k] = dz
                        rr[k] = np.sqrt(dx * dx + dy * dy + dz * dz)
                    for k in range(each - 1):
                        ring_[k] = _segment_dot(rx, ry, rz, rr, k, k + 1, ux, uy, uz)
                    for k in range(each - length):
                        axial[k] = _segment_dot(rx, ry, rz, rr, k, k + length, ux, uy, uz)
                    for k in range(each - length - 1):
                        tmp[k] = ring_[k + length] + axial[k] - ring_[k] - axial[k + 1]
                    _gathered(tmp, shapes[t], rings, first[t], first[t + 1], out[i])


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
def tube_velocity(
    px, py, pz, owner, gx, gy, gz, around, images, ring, axial, far, owned, halves, sums, core, out
):
    """Fill out[c, i] with the velocity at point i of all tubes but those of its own disc.

    owner: (n,) disc that a point lies on, −1 for none; ring, axial: circulations [m²/s] of the
    segments node → next node of the ring and node → next ring, on the nodes' flat run (0 on those
    that do not exist); far: `Far`; owned: (tubes,) disc of each tube; halves: (tubes,) images that
    make up a tube, 1 or, of half a tube on the plane of symmetry, 2; sums: (tubes, rings, MOMENTS)
    moments of the doublets; core: vortex core radius, m.
    """
    n = px.size
    tubes = owned.size
    each = gx.size // tubes
    length = around + 1
    rings = each // length - 1
    core2 = core * core
    for chunk in prange(_CHUNKS):
        work = np.empty((4, _padded(each)))
        rx = work[0]
        ry = work[1]
        rz = work[2]
        rr = work[3]
        terms = np.empty((3, MOMENTS))
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
                vx = 0.0
                vy = 0.0
                vz = 0.0
                for t in range(tubes):
                    if owner[i] >= 0 and owned[t] == owner[i] and m < halves[t]:
                        continue
                    s = t * each
                    dy = qy - far.y[t]
                    dz = qz - far.z[t]
                    if dy * dy + dz * dz > far.reach[t]:
                        for r in range(rings):
                            front = gx[s + r * length]
                            back = gx[s + (r + 1) * length]
                            _far_slope(qx, dy, dz, 1.0, 0.0, 0.0, front, back, core2, terms[0])
                            _far_slope(qx, dy, dz, 0.0, 1.0, 0.0, front, back, core2, terms[1])
                            _far_slope(qx, dy, dz, 0.0, 0.0, 1.0, front, back, core2, terms[2])
                            for term in range(MOMENTS):
                                vx += terms[0, term] * sums[t, r, term]
                                vy += terms[1, term] * sums[t, r, term]
                                vz += terms[2, term] * sums[t, r, term]
                        continue
                    for k in range(each):
                        dx = qx - gx[s + k]
                        dy = qy - gy[s + k]
                        dz = qz - gz[s + k]
                        rx[k] = dx
                        ry[k] = dy
                        rz[k] = dz
                        rr[k] = np.sqrt(dx * dx + dy * dy + dz * dz + core2)
                    for step in range(2):
                        stride = 1 if step == 0 else length
                        strength = ring if step == 0 else axial
                        for k in range(each - stride):
                            j = k + stride
                            ab = rr[k] * rr[j]
                            low = ab + rx[k] * rx[j] + ry[k] * ry[j] + rz[k] * rz[j] + core2
                            near = low < _ON_LINE * ab
                            top = 0.0 if near else strength[s + k] * (rr[k] + rr[j])
                            f = top / (1.0 if near else ab * low * _FOUR_PI)
                            vx += f * (ry[k] * rz[j] - rz[k] * ry[j])
                            vy += f * (rz[k] * rx[j] - rx[k] * rz[j])
                            vz += f * (rx[k] * ry[j] - ry[k] * rx[j])
                out[0, i] += vx
                out[1, i] += sy * vy
                out[2, i] += sz * vz
