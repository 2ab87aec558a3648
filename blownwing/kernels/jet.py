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

from blownwing.kernels.jit import inline, parallel, summing

_FOUR_PI = 4.0 * np.pi
_TWO_PI = 2.0 * np.pi
_C1 = math.tan(math.pi / 8.0)
_T1 = math.tan(math.pi / 16.0)
_T3 = math.tan(3.0 * math.pi / 16.0)
_ON_LINE = 1e-10
MOMENTS = 12
LANES = 16  # rings at a time, from afar
_PANELS = 32  # at a time: loops of a fixed length over one array vectorise
_PITCH = 40
_FLOOR = 1e-12  # of the reach: nearer the axis is the panels' part
_SLIM = 5e-5  # squared distance from a ring's axis over that from its farther end


class Far(NamedTuple):
    """What tubes are to points that lie many radii off.

    A ring's dipoles, their sum S and the moments S c and S c c of their arms c from the axis, are
    spread along the axis between the ring's ends: the first three terms of their potential's
    expansion. Three, because the doublets' jump at the wing has a third harmonic. The moments are
    Sx, Sy, Sz; Sy cy, Sy cz + Sz cy, Sz cz, Sx cy, Sx cz; Sy cy², 2 Sy cy cz + Sz cy²,
    2 Sz cy cz + Sy cz², Sz cz². A tube's cross-sections are alike, so that those of one section
    times a ring's scale serve all of its rings.

    blocks: for every LANES rings where they begin and where they end, x [m], and the scales of
    their MOMENTS over 4π times a ring's length; see `ring_blocks`.
    """

    y: NDArray[np.float64]  # (tubes,) of the axes, m
    z: NDArray[np.float64]
    reach: NDArray[np.float64]  # (tubes,) squared distance from the axis, beyond which, m²
    blocks: NDArray[np.float64]  # (tubes, k, (2 + MOMENTS) * LANES)


def ring_blocks(values: NDArray[np.float64], last: bool = False) -> NDArray[np.float64]:
    """Values (tubes, rings, m) as (tubes, k, m * LANES), row by row for every LANES rings.

    last: whether the last block is filled up with the last ring's values, not with 0.
    values: of any unit.
    """
    tubes, rings, count = values.shape
    number = -(-rings // LANES)
    filled = np.zeros((tubes, number * LANES, count))
    filled[:, :rings] = values
    if last:
        filled[:, rings:] = values[:, -1:]
    blocks = filled.reshape(tubes, number, LANES, count).swapaxes(2, 3)
    return np.ascontiguousarray(blocks.reshape(tubes, number, count * LANES))


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
def tube_potential(
    part, parts, px, py, pz, own, gx, gy, gz, around, images, shapes, first, far, out
):
    """Fill out[i, q] with the potential at point i of all tubes at unit value q, 0 at the others.

    px, py, pz: (n,) points, m; own: (n,) panel a point lies on, whose own (principal) value is 0,
    or −1; gx, gy, gz: nodes, m; around: panels per ring; images: as in kernels.vortex; shapes:
    (tubes, places, around + MOMENTS) what one of a ring's values makes of its panels and its
    section's moments; first: (tubes + 1,) value that each tube begins with, ring by ring; far:
    `Far`; out: (n, values).
    """
    n = px.size
    tubes = shapes.shape[0]
    each = gx.size // tubes
    length = around + 1
    rings = each // length - 1
    work = np.empty(10 * _PITCH)
    acts = np.empty(each)
    sums = np.empty((MOMENTS + 1) * LANES)
    near = np.empty((images.shape[0], 2), dtype=np.int64)
    for i in range(part * n // parts, (part + 1) * n // parts):
        for t in range(tubes):
            s = t * each
            acts[:] = 0.0
            tube = (far.y[t], far.z[t], far.reach[t])
            fore, aft = _all_near(near, images, px[i], py[i], pz[i], gx, s, length, rings, tube)
            for k in range(far.blocks.shape[1]):
                sums[:] = 0.0
                for m in range(images.shape[0]):
                    if near[m, 0] > 0 or near[m, 1] < rings:
                        qy, qz = _reflected(images, m, py[i], pz[i])
                        block = far.blocks[t, k]
                        apart = (px[i], qy - far.y[t], qz - far.z[t], _FLOOR * far.reach[t])
                        inner = (near[m, 0] - k * LANES, near[m, 1] - k * LANES)
                        _far_potential(block, apart, inner, sums)
                _from_afar(sums, shapes[t], k, rings, first[t], first[t + 1], out[i])
            for m in range(images.shape[0]):
                qx = px[i]
                qy, qz = _reflected(images, m, py[i], pz[i])
                if near[m, 0] == near[m, 1]:
                    continue
                last = near[m, 1] * length - 1
                for at in range(near[m, 0] * length, last, _PANELS):
                    _arms(qx, qy, qz, gx, gy, gz, s + at, s + each, 0, 0.0, work)
                    _arms(qx, qy, qz, gx, gy, gz, s + at + length, s + each, 4, 0.0, work)
                    _solid_angles(work)
                    count = min(_PANELS, last - at)
                    part = acts[at : at + count]
                    for k in range(count):
                        part[k] -= work[8 * _PITCH + k]
                if m == 0 and own[i] >= 0:
                    at = own[i] - t * rings * around
                    if 0 <= at < rings * around:
                        acts[at + at // around] = 0.0
            _from_near(acts, fore, aft, shapes[t], first[t], first[t + 1], out[i])


@inline
def _reflected(images, m, y, z):
    """Where an image sees a point."""
    return images[m, 0] * y, images[m, 1] * z + images[m, 2]


@inline
def _arms(qx, qy, qz, gx, gy, gz, first, last, row, core2, work):
    """Set four rows of the work block: from a point to nodes from `first` on, and the distance."""
    count = min(_PITCH, last - first)
    x = gx[first : first + count]
    y = gy[first : first + count]
    z = gz[first : first + count]
    for k in range(count):
        work[row * _PITCH + k] = x[k] - qx
        work[(row + 1) * _PITCH + k] = y[k] - qy
        work[(row + 2) * _PITCH + k] = z[k] - qz
    for k in range(_PITCH):
        dx = work[row * _PITCH + k]
        dy = work[(row + 1) * _PITCH + k]
        dz = work[(row + 2) * _PITCH + k]
        work[(row + 3) * _PITCH + k] = np.sqrt(dx * dx + dy * dy + dz * dz + core2)


@inline
def _solid_angles(work):
    """Set a row to the solid angles over 4π of panels between a ring's nodes and the next ring's.

    The nodes' arms from the point stand in rows 0 to 3 and 4 to 7.
    """
    for k in range(_PANELS):
        ax = work[k]
        ay = work[_PITCH + k]
        az = work[2 * _PITCH + k]
        la = work[3 * _PITCH + k]
        bx = work[k + 1]
        by = work[_PITCH + k + 1]
        bz = work[2 * _PITCH + k + 1]
        dx = work[4 * _PITCH + k]
        dy = work[5 * _PITCH + k]
        dz = work[6 * _PITCH + k]
        cx = work[4 * _PITCH + k + 1]
        cy = work[5 * _PITCH + k + 1]
        cz = work[6 * _PITCH + k + 1]
        lc = work[7 * _PITCH + k + 1]
        # cross product of the diagonal ends a and c serves both triangles
        ux = ay * cz - az * cy
        uy = az * cx - ax * cz
        uz = ax * cy - ay * cx
        n1 = -(bx * ux + by * uy + bz * uz)
        n2 = dx * ux + dy * uy + dz * uz
        ac = ax * cx + ay * cy + az * cz
        ab = ax * bx + ay * by + az * bz
        bc = bx * cx + by * cy + bz * cz
        ad = ax * dx + ay * dy + az * dz
        dc = dx * cx + dy * cy + dz * cz
        side = la * lc + ac
        d1 = work[3 * _PITCH + k + 1] * side + ab * lc + bc * la
        d2 = work[7 * _PITCH + k] * side + ad * lc + dc * la
        work[8 * _PITCH + k] = d1 * n2 + d2 * n1
        work[9 * _PITCH + k] = d1 * d2 - n1 * n2
    for k in range(_PANELS):
        work[8 * _PITCH + k] = _arctan2(work[8 * _PITCH + k], work[9 * _PITCH + k]) / _TWO_PI


@inline
def _from_afar(sums, shape, block, rings, first, last, row):
    """Set the values of a block's rings from what their moments do."""
    around = shape.shape[1] - MOMENTS
    places = (last - first) // rings
    count = min(LANES, rings - block * LANES)
    for p in range(places):
        b0, b1, b2, b3, b4, b5 = (
            shape[p, around],
            shape[p, around + 1],
            shape[p, around + 2],
            shape[p, around + 3],
            shape[p, around + 4],
            shape[p, around + 5],
        )
        b6, b7, b8, b9, b10, b11 = (
            shape[p, around + 6],
            shape[p, around + 7],
            shape[p, around + 8],
            shape[p, around + 9],
            shape[p, around + 10],
            shape[p, around + 11],
        )
        for k in range(LANES):
            sums[MOMENTS * LANES + k] = (
                b0 * sums[k] + b1 * sums[LANES + k] + b2 * sums[2 * LANES + k]
                + b3 * sums[3 * LANES + k] + b4 * sums[4 * LANES + k] + b5 * sums[5 * LANES + k]
                + b6 * sums[6 * LANES + k] + b7 * sums[7 * LANES + k] + b8 * sums[8 * LANES + k]
                + b9 * sums[9 * LANES + k] + b10 * sums[10 * LANES + k]
                + b11 * sums[11 * LANES + k]
            )  # fmt: skip
        at = first + block * LANES * places + p
        for k in range(count):
            row[at + k * places] = sums[MOMENTS * LANES + k]


@inline
def _from_near(acts, fore, aft, shape, first, last, row):
    """Add to the values of one tube what its panels of the rings from fore to aft do."""
    around = shape.shape[1] - MOMENTS
    rings = acts.size // (around + 1) - 1
    places = (last - first) // rings
    for ring in range(fore, aft):
        act = acts[ring * (around + 1) : ring * (around + 1) + around]
        for p in range(places):
            total = 0.0
            for q in range(around):
                total += act[q] * shape[p, q]
            row[first + ring * places + p] += total


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
def _all_near(near, images, x, y, z, gx, s, length, rings, tube):
    """Set the rings that act by panels, from and to, as each image sees a point; those of any.

    near: (images, 2), filled; tube: y, z and squared reach of its axis. A reflected point sees the
    sheet itself: reflection of both is what is meant.
    """
    first = rings
    last = 0
    for m in range(images.shape[0]):
        qy, qz = _reflected(images, m, y, z)
        rho = (qy - tube[0]) ** 2 + (qz - tube[1]) ** 2
        fore, aft = _near(x, rho, gx, s, length, rings, tube[2])
        near[m, 0] = fore
        near[m, 1] = aft
        if fore != aft:
            first = min(first, fore)
            last = max(last, aft)
    return first, last


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
def _far_potential(block, apart, inner, sums):
    """Add the potentials of a block's moments, spread along the axis, at a point.

    apart: x of the point, its y and z off the axis, least squared distance; inner: rings whose
    panels act instead.
    """
    qx, y, z, least = apart
    rho = max(y * y + z * z, least)
    for k in range(LANES):
        i3, i5, i7, _, d1, d3, _, _, _, _ = _integrals(block[k] - qx, block[LANES + k] - qx, rho)
        own = 0.0 if inner[0] <= k < inner[1] else 1.0
        i3 *= own
        i5 *= own
        i7 *= 7.5 * own
        d3 *= own
        yy = y * y * i7
        zz = z * z * i7
        sums[k] += block[2 * LANES + k] * own * d1
        sums[LANES + k] += block[3 * LANES + k] * y * i3
        sums[2 * LANES + k] += block[4 * LANES + k] * z * i3
        sums[3 * LANES + k] += block[5 * LANES + k] * (3.0 * y * y * i5 - i3)
        sums[4 * LANES + k] += block[6 * LANES + k] * 3.0 * y * z * i5
        sums[5 * LANES + k] += block[7 * LANES + k] * (3.0 * z * z * i5 - i3)
        sums[6 * LANES + k] -= block[8 * LANES + k] * y * d3
        sums[7 * LANES + k] -= block[9 * LANES + k] * z * d3
        sums[8 * LANES + k] -= block[10 * LANES + k] * y * (4.5 * i5 - yy)
        sums[9 * LANES + k] -= block[11 * LANES + k] * z * (1.5 * i5 - yy)
        sums[10 * LANES + k] -= block[12 * LANES + k] * y * (1.5 * i5 - zz)
        sums[11 * LANES + k] -= block[13 * LANES + k] * z * (4.5 * i5 - zz)


@inline
def _far_slope(block, apart, inner, ux, uy, uz, sums):
    """Add the slopes of the same along u."""
    qx, y, z, least = apart
    rho = max(y * y + z * z, least)
    yy = y * y
    zz = z * z
    across = uy * y + uz * z
    for k in range(LANES):
        ends = _integrals(block[k] - qx, block[LANES + k] - qx, rho)
        i3, i5, i7, i9, _, d3, d5, d7, e3, e5 = ends
        own = 0.0 if inner[0] <= k < inner[1] else 1.0
        # slopes of the integrals of r⁻³, r⁻⁵ and r⁻⁷, of r⁻³ between the ends, along u
        s3 = own * (ux * d3 - 3.0 * across * i5)
        s5 = own * (ux * d5 - 5.0 * across * i7)
        s7 = own * (7.5 * ux * d7 - 52.5 * across * i9)
        sd = own * (3.0 * (ux * e5 - across * d5))
        i3 *= own
        i5 *= own
        i7 *= 7.5 * own
        d3 *= own
        sums[k] += block[2 * LANES + k] * (own * ux * e3 + across * d3)
        sums[LANES + k] += block[3 * LANES + k] * (uy * i3 + y * s3)
        sums[2 * LANES + k] += block[4 * LANES + k] * (uz * i3 + z * s3)
        sums[3 * LANES + k] += block[5 * LANES + k] * (6.0 * y * uy * i5 + 3.0 * yy * s5 - s3)
        sums[4 * LANES + k] += block[6 * LANES + k] * (3.0 * ((uy * z + uz * y) * i5 + y * z * s5))
        sums[5 * LANES + k] += block[7 * LANES + k] * (6.0 * z * uz * i5 + 3.0 * zz * s5 - s3)
        sums[6 * LANES + k] -= block[8 * LANES + k] * (uy * d3 + y * sd)
        sums[7 * LANES + k] -= block[9 * LANES + k] * (uz * d3 + z * sd)
        turn = 2.0 * y * z * i7
        sums[8 * LANES + k] -= block[10 * LANES + k] * (
            uy * (4.5 * i5 - 3.0 * yy * i7) + y * (4.5 * s5 - yy * s7)
        )
        sums[9 * LANES + k] -= block[11 * LANES + k] * (
            uz * (1.5 * i5 - yy * i7) + z * (1.5 * s5 - yy * s7) - uy * turn
        )
        sums[10 * LANES + k] -= block[12 * LANES + k] * (
            uy * (1.5 * i5 - zz * i7) + y * (1.5 * s5 - zz * s7) - uz * turn
        )
        sums[11 * LANES + k] -= block[13 * LANES + k] * (
            uz * (4.5 * i5 - 3.0 * zz * i7) + z * (4.5 * s5 - zz * s7)
        )


@inline
def _far_velocity(block, apart, inner, core2, sums):
    """Velocity of a block's moments, `sums`; of vortices with a core, to first order in it."""
    qx, y, z, least = apart
    rho = max(y * y + z * z, least) + core2
    yy = y * y
    zz = z * z
    u = 0.0
    v = 0.0
    w = 0.0
    for k in range(LANES):
        ends = _integrals(block[k] - qx, block[LANES + k] - qx, rho)
        i3, i5, i7, i9, _, d3, d5, d7, e3, e5 = ends
        own = 0.0 if inner[0] <= k < inner[1] else 1.0
        s0 = own * sums[k]
        s1 = own * sums[LANES + k]
        s2 = own * sums[2 * LANES + k]
        s3 = own * sums[3 * LANES + k]
        s4 = own * sums[4 * LANES + k]
        s5 = own * sums[5 * LANES + k]
        s6 = own * sums[6 * LANES + k]
        s7 = own * sums[7 * LANES + k]
        s8 = own * sums[8 * LANES + k]
        s9 = own * sums[9 * LANES + k]
        s10 = own * sums[10 * LANES + k]
        s11 = own * sums[11 * LANES + k]
        # a core leaves a field that has a curl: 1/r is no longer harmonic
        bent = 3.0 * core2 * i5
        # the terms' factors of r⁻³, r⁻⁵, r⁻⁷ and of r⁻³ between the ends, then their change across
        one = s1 * y + s2 * z - s3 - s5
        two = 3.0 * (s3 * yy + s4 * y * z + s5 * zz)
        two -= 1.5 * (3.0 * s8 * y + s9 * z + s10 * y + 3.0 * s11 * z)
        three = 7.5 * (yy * (s8 * y + s9 * z) + zz * (s10 * y + s11 * z))
        end = s6 * y + s7 * z
        across = s0 * d3 - 3.0 * one * i5 - 5.0 * two * i7 - 7.0 * three * i9 + 3.0 * end * d5
        u += s0 * (e3 - bent) + one * d3 + two * d5 + three * d7 - 3.0 * end * e5
        v += (
            s1 * (i3 - bent) - s6 * d3 + y * across
            + i5 * (6.0 * s3 * y + 3.0 * s4 * z - 4.5 * s8 - 1.5 * s10)
            + i7 * (22.5 * s8 * yy + 15.0 * s9 * y * z + 7.5 * s10 * zz)
        )  # fmt: skip
        w += (
            s2 * (i3 - bent) - s7 * d3 + z * across
            + i5 * (3.0 * s4 * y + 6.0 * s5 * z - 1.5 * s9 - 4.5 * s11)
            + i7 * (7.5 * s9 * yy + 15.0 * s10 * y * z + 22.5 * s11 * zz)
        )  # fmt: skip
    return u, v, w


@parallel
def horseshoe_potential(part, parts, px, py, pz, ax, ay, az, columns, images, out):
    """Fill out[i, p] with the potential at point i of lattice panel p at unit circulation.

    Points (n,), m; nodes as in kernels.vortex.normal_influence; out: (n, rows * columns).
    """
    n = px.size
    nodes = ax.size
    rows = nodes // (columns + 1)
    work = np.empty((5, _padded(nodes)))[:, :nodes]
    rx = work[0]
    ry = work[1]
    rz = work[2]
    rr = work[3]
    tmp = work[4]
    for i in range(part * n // parts, (part + 1) * n // parts):
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
def tube_normal(
    part, parts, px, py, pz, nx, ny, nz, gx, gy, gz, around, images, shapes, first, far, out
):
    """Fill out[i, q] with the velocity along a normal at point i of all tubes at unit value q.

    A panel of strength D is a vortex ring of circulation −D about its outward normal. nx, ny, nz:
    (n,) unit normals; out in 1/m; the rest as in `tube_potential`.
    """
    n = px.size
    tubes = shapes.shape[0]
    each = gx.size // tubes
    length = around + 1
    rings = each // length - 1
    work = np.empty(10 * _PITCH)
    along = np.empty(each)
    axial = np.empty(each)
    acts = np.empty(each)
    sums = np.empty((MOMENTS + 1) * LANES)
    near = np.empty((images.shape[0], 2), dtype=np.int64)
    for i in range(part * n // parts, (part + 1) * n // parts):
        for t in range(tubes):
            s = t * each
            acts[:] = 0.0
            tube = (far.y[t], far.z[t], far.reach[t])
            fore, aft = _all_near(near, images, px[i], py[i], pz[i], gx, s, length, rings, tube)
            for k in range(far.blocks.shape[1]):
                sums[:] = 0.0
                for m in range(images.shape[0]):
                    if near[m, 0] > 0 or near[m, 1] < rings:
                        qy, qz = _reflected(images, m, py[i], pz[i])
                        block = far.blocks[t, k]
                        apart = (px[i], qy - far.y[t], qz - far.z[t], _FLOOR * far.reach[t])
                        inner = (near[m, 0] - k * LANES, near[m, 1] - k * LANES)
                        uy = images[m, 0] * ny[i]
                        uz = images[m, 1] * nz[i]
                        _far_slope(block, apart, inner, nx[i], uy, uz, sums)
                _from_afar(sums, shapes[t], k, rings, first[t], first[t + 1], out[i])
            for m in range(images.shape[0]):
                qx = px[i]
                qy, qz = _reflected(images, m, py[i], pz[i])
                if near[m, 0] == near[m, 1]:
                    continue
                start = near[m, 0] * length
                stop = (near[m, 1] + 1) * length
                ux = nx[i] / _FOUR_PI
                uy = images[m, 0] * ny[i] / _FOUR_PI
                uz = images[m, 1] * nz[i] / _FOUR_PI
                for at in range(start, stop, _PANELS):
                    _arms(qx, qy, qz, gx, gy, gz, s + at, s + each, 0, 0.0, work)
                    _arms(qx, qy, qz, gx, gy, gz, s + at + length, s + each, 4, 0.0, work)
                    for k in range(_PANELS):
                        work[8 * _PITCH + k] = _segment_dot(work, k, k + 1, ux, uy, uz)
                        work[9 * _PITCH + k] = _segment_dot(work, k, 4 * _PITCH + k, ux, uy, uz)
                    count = min(_PANELS, stop - at)
                    ring_part = along[at : at + count]
                    axial_part = axial[at : at + count]
                    for k in range(count):
                        ring_part[k] = work[8 * _PITCH + k]
                        axial_part[k] = work[9 * _PITCH + k]
                part = acts[start : stop - length]
                behind = along[start + length : stop]
                ahead = along[start : stop - length]
                here = axial[start : stop - length]
                beside = axial[start + 1 : stop - length + 1]
                for k in range(part.size):
                    part[k] += behind[k] - ahead[k] + here[k] - beside[k]
            _from_near(acts, fore, aft, shapes[t], first[t], first[t + 1], out[i])


@inline
def _segment_dot(work, k, j, ux, uy, uz):
    """What a segment of unit circulation, whose ends' arms stand at k and j, does along u."""
    ax = work[k]
    ay = work[_PITCH + k]
    az = work[2 * _PITCH + k]
    ra = work[3 * _PITCH + k]
    bx = work[j]
    by = work[_PITCH + j]
    bz = work[2 * _PITCH + j]
    rb = work[3 * _PITCH + j]
    ab = ra * rb
    low = ab + ax * bx + ay * by + az * bz
    # arms to the point, not from it: the product of two is the same
    cross = ux * (ay * bz - az * by) + uy * (az * bx - ax * bz) + uz * (ax * by - ay * bx)
    near = low < _ON_LINE * ab
    top = 0.0 if near else (ra + rb) * cross
    return top / (1.0 if near else ab * low)


@summing
def tube_velocity(
    part,
    parts,
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
    """Fill out[c, i] with the velocity at point i of all tubes but those of its own disc, m/s.

    px … pz, gx … gz, around, images: as in `tube_potential`; owner: (n,) disc that a point lies on,
    −1 for none; panels: D [m²/s] of the panel behind and beside each node of the flat run; ring,
    axial: circulations [m²/s] of the segments node → next node of the ring and node → next ring
    (all 0 on those that do not exist); far: `Far`; owned: (tubes,) disc of each tube; halves:
    (tubes,) images that make up a tube, 1 or, of half a tube on the plane of symmetry, 2; sums:
    (tubes, rings, MOMENTS) moments of the doublets; core: vortex core radius, m.
    """
    n = px.size
    tubes = owned.size
    each = gx.size // tubes
    length = around + 1
    rings = each // length - 1
    core2 = core * core
    work = np.empty(10 * _PITCH)
    for i in range(part * n // parts, (part + 1) * n // parts):
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
                if fore > 0 or aft < rings:
                    apart = (qx, dy, dz, _FLOOR * far.reach[t])
                    for k in range(far.blocks.shape[1]):
                        inner = (fore - k * LANES, aft - k * LANES)
                        u, v, w = _far_velocity(far.blocks[t, k], apart, inner, core2, sums[t, k])
                        vx += u
                        vy += v
                        vz += w
                start = s + fore * length
                stop = s + (aft + 1) * length if aft > fore else start
                for at in range(start, stop, _PANELS):
                    _arms(qx, qy, qz, gx, gy, gz, at, s + each, 0, core2, work)
                    _arms(qx, qy, qz, gx, gy, gz, at + length, s + each, 4, core2, work)
                    count = min(_PANELS, stop - at)
                    along = ring[at : at + count]
                    across = axial[at : at + count]
                    for k in range(count):
                        work[8 * _PITCH + k] = along[k]
                        work[9 * _PITCH + k] = across[k]
                    # the rings beyond, which act by their moments, have no part in the ends
                    for k in range(count):
                        if at + k < start + length:
                            work[8 * _PITCH + k] = -panels[at + k]
                        elif at + k >= stop - length:
                            work[8 * _PITCH + k] = panels[at + k - length]
                            work[9 * _PITCH + k] = 0.0
                    for k in range(count, _PANELS):
                        work[8 * _PITCH + k] = 0.0
                        work[9 * _PITCH + k] = 0.0
                    u, v, w = _segments(work, core2)
                    vx += u
                    vy += v
                    vz += w
            out[0, i] += vx
            out[1, i] += sy * vy
            out[2, i] += sz * vz


@inline
def _segments(work, core2):
    """Velocity of segments of the strengths in rows 8 and 9 along a ring and to the next one."""
    u = 0.0
    v = 0.0
    w = 0.0
    for k in range(_PANELS):
        fu, fv, fw = _segment(work, k, k + 1, work[8 * _PITCH + k], core2)
        gu, gv, gw = _segment(work, k, 4 * _PITCH + k, work[9 * _PITCH + k], core2)
        u += fu + gu
        v += fv + gv
        w += fw + gw
    return u, v, w


@inline
def _segment(work, k, j, strength, core2):
    """Velocity of a segment whose ends' arms stand at k and j."""
    ax = work[k]
    ay = work[_PITCH + k]
    az = work[2 * _PITCH + k]
    ra = work[3 * _PITCH + k]
    bx = work[j]
    by = work[_PITCH + j]
    bz = work[2 * _PITCH + j]
    rb = work[3 * _PITCH + j]
    ab = ra * rb
    low = ab + ax * bx + ay * by + az * bz + core2
    # a segment that does not exist has arms of no meaning
    near = low < _ON_LINE * ab or strength == 0.0
    top = 0.0 if near else strength * (ra + rb)
    f = top / (1.0 if near else ab * low * _FOUR_PI)
    return f * (ay * bz - az * by), f * (az * bx - ax * bz), f * (ax * by - ay * bx)
