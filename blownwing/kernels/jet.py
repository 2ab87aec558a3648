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
_SLIM = 5e-5  # squared distance from a ring's axis over that from its farther end


class Far(NamedTuple):
    """What tubes are to points that lie many radii off.

    A ring's dipoles, their sum S and the moments S c and S c c of their arms c from the axis, are
    spread along the axis between the ring's ends: the first three terms of their potential's
    expansion. Three, because the doublets' jump at the wing has a third harmonic. The moments are
    Sx, Sy, Sz; Sy cy, Sy cz + Sz cy, Sz cz, Sx cy, Sx cz; Sy cy², 2 Sy cy cz + Sz cy²,
    2 Sz cy cz + Sy cz², Sz cz². A tube's cross-sections are alike, so that those of one section
    times `scale` (tubes, rings, MOMENTS) serve all of its rings.
    """

    y: NDArray[np.float64]  # (tubes,) of the axes, m
    z: NDArray[np.float64]
    reach: NDArray[np.float64]  # (tubes,) squared distance from the axis, beyond which, m²
    scale: NDArray[np.float64]


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


@summing
def tube_potential(px, py, pz, own, gx, gy, gz, around, images, shapes, first, far, out):
    """Fill out[i, q] with the potential at point i of all tubes at unit value q, 0 at the others.

    px, py, pz: (n,) points; own: (n,) panel a point lies on, whose own (principal) value is 0, or
    −1; gx, gy, gz: nodes; around: panels per ring; images: as in kernels.vortex; shapes: (tubes,
    places, around + MOMENTS) what one of a ring's values makes of its panels and its section's
    moments; first: (tubes + 1,) value that each tube begins with, ring by ring; far: `Far`; out:
    (n, values).
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
        acts = np.empty((rings, around + MOMENTS))
        for i in range(chunk * n // _CHUNKS, (chunk + 1) * n // _CHUNKS):
            for t in range(tubes):
                s = t * each
                acts[:] = 0.0
                for m in range(images.shape[0]):
                    # A reflected point sees the sheet itself: reflection of both is what is meant.
                    qx = px[i]
                    qy = images[m, 0] * py[i]
                    qz = images[m, 1] * pz[i] + images[m, 2]
                    dy = qy - far.y[t]
                    dz = qz - far.z[t]
                    fore, aft = _near(qx, dy * dy + dz * dz, gx, s, length, rings, far.reach[t])
                    for ring in range(rings):
                        if ring < fore or ring >= aft:
                            x = s + ring * length
                            row = acts[ring, around:]
                            _far_potential(
                                qx, dy, dz, gx[x], gx[x + length], far.scale[t, ring], row
                            )
                    if fore == aft:
                        continue
                    start = fore * length
                    stop = (aft + 1) * length
                    for k in range(start, stop):
                        dx = gx[s + k] - qx
                        ey = gy[s + k] - qy
                        ez = gz[s + k] - qz
                        rx[k] = dx
                        ry[k] = ey
                        rz[k] = ez
                        rr[k] = np.sqrt(dx * dx + ey * ey + ez * ez)
                    for k in range(start, stop - length - 1):
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
                    for k in range(start, stop - length - 1):
                        tmp[k] = -_arctan2(tmp[k], low[k]) / _TWO_PI
                    if m == 0 and own[i] >= 0:
                        at = own[i] - t * rings * around
                        if 0 <= at < rings * around:
                            tmp[at + at // around] = 0.0
                    for ring in range(fore, aft):
                        for j in range(around):
                            acts[ring, j] += tmp[ring * length + j]
                _placed(acts, shapes[t], first[t], first[t + 1], out[i])


@inline
def _placed(acts, shape, first, last, row):
    """Set the values of one tube from what its panels and its section's moments do."""
    rings = acts.shape[0]
    places = (last - first) // rings
    for ring in range(rings):
        for p in range(places):
            total = 0.0
            for q in range(acts.shape[1]):
                total += acts[ring, q] * shape[p, q]
            row[first + ring * places + p] = total


@inline
def _near(qx, across, gx, s, length, rings, reach):
    """Rings, from the first to that behind the last, of which a point needs the panels.

    across: squared distance from the axis. Close to the axis the far field's terms cancel.
    """
    low = rings
    high = 0
    for ring in range(rings):
        front = gx[s + ring * length] - qx
        back = gx[s + (ring + 1) * length] - qx
        gap = max(front, -back, 0.0)
        end = max(back, -front)
        if across + gap * gap <= reach or across < _SLIM * end * end:
            low = min(low, ring)
            high = ring + 1
    return min(low, high), high


@inline
def _integrals(xa, xb, rho):
    """Along a line from xa to xb at a squared distance rho: ∫ r⁻³, r⁻⁵, r⁻⁷, r⁻⁹ (tells the
    field's change across) and the differences between the ends of r⁻¹, r⁻³, r⁻⁵, r⁻⁷, x r⁻³, x r⁻⁵.
    """
    a = 1.0 / np.sqrt(xa * xa + rho)
    b = 1.0 / np.sqrt(xb * xb + rho)
    aa = a * a
    bb = b * b
    a3 = a * aa
    b3 = b * bb
    a5 = a3 * aa
    b5 = b3 * bb
    a7 = a5 * aa
    b7 = b5 * bb
    over = 1.0 / rho
    i3 = (xb * b - xa * a) * over
    i5 = (xb * b3 - xa * a3 + 2.0 * i3) * over * (1.0 / 3.0)
    i7 = (xb * b5 - xa * a5 + 4.0 * i5) * over * 0.2
    i9 = (xb * b7 - xa * a7 + 6.0 * i7) * over * (1.0 / 7.0)
    return (i3, i5, i7, i9, b - a, a3 - b3, a5 - b5, a7 - b7, xb * b3 - xa * a3, xa * a5 - xb * b5)


@inline
def _far_potential(qx, y, z, front, back, scale, row):
    """Add the potential of a ring's moments, spread along its axis, at y, z from there."""
    i3, i5, i7, _, d1, d3, _, _, _, _ = _integrals(front - qx, back - qx, y * y + z * z)
    unit = 1.0 / (_FOUR_PI * (back - front))
    row[0] += unit * scale[0] * d1
    row[1] += unit * scale[1] * y * i3
    row[2] += unit * scale[2] * z * i3
    row[3] += unit * scale[3] * (3.0 * y * y * i5 - i3)
    row[4] += unit * scale[4] * 3.0 * y * z * i5
    row[5] += unit * scale[5] * (3.0 * z * z * i5 - i3)
    row[6] -= unit * scale[6] * y * d3
    row[7] -= unit * scale[7] * z * d3
    row[8] -= 0.5 * unit * scale[8] * y * (9.0 * i5 - 15.0 * y * y * i7)
    row[9] -= 0.5 * unit * scale[9] * z * (3.0 * i5 - 15.0 * y * y * i7)
    row[10] -= 0.5 * unit * scale[10] * y * (3.0 * i5 - 15.0 * z * z * i7)
    row[11] -= 0.5 * unit * scale[11] * z * (9.0 * i5 - 15.0 * z * z * i7)


@inline
def _far_slope(integrals, y, z, ux, uy, uz, core2, unit, scale, row):
    """Add the slope of the same along u; of vortices with a core, to first order in it."""
    i3, i5, i7, i9, _, d3, d5, d7, e3, e5 = integrals
    across = uy * y + uz * z
    yy = y * y
    zz = z * z
    # slopes of the integrals of r⁻³, r⁻⁵ and r⁻⁷, of r⁻³ between the ends, along u
    s3 = ux * d3 - 3.0 * across * i5
    s5 = ux * d5 - 5.0 * across * i7
    s7 = ux * d7 - 7.0 * across * i9
    sd = 3.0 * (ux * e5 - across * d5)
    # a core leaves a field that has a curl: 1/r is no longer harmonic
    inner = i3 - 3.0 * core2 * i5
    row[0] += unit * scale[0] * (ux * (e3 - 3.0 * core2 * i5) + across * d3)
    row[1] += unit * scale[1] * (uy * inner + y * s3)
    row[2] += unit * scale[2] * (uz * inner + z * s3)
    row[3] += unit * scale[3] * (6.0 * y * uy * i5 + 3.0 * yy * s5 - s3)
    row[4] += unit * scale[4] * 3.0 * ((uy * z + uz * y) * i5 + y * z * s5)
    row[5] += unit * scale[5] * (6.0 * z * uz * i5 + 3.0 * zz * s5 - s3)
    row[6] -= unit * scale[6] * (uy * d3 + y * sd)
    row[7] -= unit * scale[7] * (uz * d3 + z * sd)
    half = 0.5 * unit
    row[8] -= half * scale[8] * (uy * (9.0 * i5 - 45.0 * yy * i7) + y * (9.0 * s5 - 15.0 * yy * s7))
    row[9] -= (
        half
        * scale[9]
        * (
            uz * (3.0 * i5 - 15.0 * yy * i7)
            + z * (3.0 * s5 - 15.0 * yy * s7)
            - 30.0 * uy * y * z * i7
        )
    )
    row[10] -= (
        half
        * scale[10]
        * (
            uy * (3.0 * i5 - 15.0 * zz * i7)
            + y * (3.0 * s5 - 15.0 * zz * s7)
            - 30.0 * uz * y * z * i7
        )
    )
    row[11] -= (
        half * scale[11] * (uz * (9.0 * i5 - 45.0 * zz * i7) + z * (9.0 * s5 - 15.0 * zz * s7))
    )


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


@summing
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
        work = np.empty((6, _padded(each)))
        rx = work[0]
        ry = work[1]
        rz = work[2]
        rr = work[3]
        along = work[4]
        axial = work[5]
        acts = np.empty((rings, around + MOMENTS))
        for i in range(chunk * n // _CHUNKS, (chunk + 1) * n // _CHUNKS):
            for t in range(tubes):
                s = t * each
                acts[:] = 0.0
                for m in range(images.shape[0]):
                    sy = images[m, 0]
                    sz = images[m, 1]
                    qx = px[i]
                    qy = sy * py[i]
                    qz = sz * pz[i] + images[m, 2]
                    dy = qy - far.y[t]
                    dz = qz - far.z[t]
                    rho = dy * dy + dz * dz
                    fore, aft = _near(qx, rho, gx, s, length, rings, far.reach[t])
                    ux = nx[i]
                    uy = sy * ny[i]
                    uz = sz * nz[i]
                    for ring in range(rings):
                        if ring < fore or ring >= aft:
                            front = gx[s + ring * length]
                            back = gx[s + (ring + 1) * length]
                            unit = 1.0 / (_FOUR_PI * (back - front))
                            lines = _integrals(front - qx, back - qx, rho)
                            row = acts[ring, around:]
                            _far_slope(
                                lines, dy, dz, ux, uy, uz, 0.0, unit, far.scale[t, ring], row
                            )
                    if fore == aft:
                        continue
                    start = fore * length
                    stop = (aft + 1) * length
                    ux = nx[i] / _FOUR_PI
                    uy = sy * ny[i] / _FOUR_PI
                    uz = sz * nz[i] / _FOUR_PI
                    for k in range(start, stop):
                        dx = qx - gx[s + k]
                        ey = qy - gy[s + k]
                        ez = qz - gz[s + k]
                        rx[k] = dx
                        ry[k] = ey
                        rz[k] = ez
                        rr[k] = np.sqrt(dx * dx + ey * ey + ez * ez)
                    for k in range(start, stop - 1):
                        along[k] = _segment_dot(rx, ry, rz, rr, k, k + 1, ux, uy, uz)
                    for k in range(start, stop - length):
                        axial[k] = _segment_dot(rx, ry, rz, rr, k, k + length, ux, uy, uz)
                    for ring in range(fore, aft):
                        k = ring * length
                        for j in range(around):
                            acts[ring, j] += (
                                along[k + j + length]
                                + axial[k + j]
                                - along[k + j]
                                - axial[k + j + 1]
                            )
                _placed(acts, shapes[t], first[t], first[t + 1], out[i])


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
    px,
    py,
    pz,
    owner,
    gx,
    gy,
    gz,
    around,
    images,
    panels,
    ring,
    axial,
    far,
    owned,
    halves,
    sums,
    core,
    out,
):
    """Fill out[c, i] with the velocity at point i of all tubes but those of its own disc.

    owner: (n,) disc that a point lies on, −1 for none; panels: D [m²/s] of the panel behind and
    beside each node of the flat run; ring, axial: circulations [m²/s] of the segments node → next
    node of the ring and node → next ring (all 0 on those that do not exist); far: `Far`; owned:
    (tubes,) disc of each tube; halves: (tubes,) images that make up a tube, 1 or, of half a tube
    on the plane of symmetry, 2; sums: (tubes, rings, MOMENTS) moments of the doublets; core: vortex
    core radius, m.
    """
    n = px.size
    tubes = owned.size
    each = gx.size // tubes
    length = around + 1
    rings = each // length - 1
    core2 = core * core
    for chunk in prange(_CHUNKS):
        work = np.empty((6, _padded(each)))
        rx = work[0]
        ry = work[1]
        rz = work[2]
        rr = work[3]
        along = work[4]
        across = work[5]
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
                    fore, aft = _near(qx, dy * dy + dz * dz, gx, s, length, rings, far.reach[t])
                    for r in range(rings):
                        if fore <= r < aft:
                            continue
                        front = gx[s + r * length]
                        back = gx[s + (r + 1) * length]
                        lines = _integrals(front - qx, back - qx, dy * dy + dz * dz + core2)
                        unit = 1.0 / (_FOUR_PI * (back - front))
                        terms[:] = 0.0
                        _far_slope(lines, dy, dz, 1.0, 0.0, 0.0, core2, unit, sums[t, r], terms[0])
                        _far_slope(lines, dy, dz, 0.0, 1.0, 0.0, core2, unit, sums[t, r], terms[1])
                        _far_slope(lines, dy, dz, 0.0, 0.0, 1.0, core2, unit, sums[t, r], terms[2])
                        for term in range(MOMENTS):
                            vx += terms[0, term]
                            vy += terms[1, term]
                            vz += terms[2, term]
                    if fore == aft:
                        continue
                    start = fore * length
                    stop = (aft + 1) * length
                    for k in range(start, stop):
                        dx = qx - gx[s + k]
                        dy = qy - gy[s + k]
                        dz = qz - gz[s + k]
                        rx[k] = dx
                        ry[k] = dy
                        rz[k] = dz
                        rr[k] = np.sqrt(dx * dx + dy * dy + dz * dz + core2)
                    for k in range(start, stop):
                        along[k] = ring[s + k]
                        across[k] = axial[s + k]
                    # the rings beyond, which act by their moments, have no part in the end rings
                    for k in range(start, start + length):
                        along[k] = -panels[s + k]
                    for k in range(stop - length, stop):
                        along[k] = panels[s + k - length]
                    for step in range(2):
                        stride = 1 if step == 0 else length
                        strength = along if step == 0 else across
                        for k in range(start, stop - stride):
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
