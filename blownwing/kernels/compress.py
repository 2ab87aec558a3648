"""Blocks of an influence matrix between clusters: filled, approximated by crosses, multiplied.

Sources are closed vortex rings (a, b, c, d) or horseshoes whose legs leave a and b along +x; as
doublet sheets both also have a potential. Targets are points, with a normal where the velocity
along it is wanted. Sources and targets are numbered cluster by cluster, so that a block is a range
of rows and one of columns.

Cross approximation: Bebendorf 2000, "Approximation of boundary element matrices", Numer. Math. 86,
565-589, with partial pivoting; rows and columns that the pivots did not choose are looked at before
an approximation is accepted. Potentials: Van Oosterom & Strackee 1983, see kernels.jet.

Source arrays q: (12, n) x, y, z of a, b, c, d; target arrays t: (6, n) point and normal.
"""

from __future__ import annotations

import math

import numpy as np

from blownwing.kernels.jit import inline, parallel, serial, summing

RING_VELOCITY, HORSESHOE_VELOCITY, RING_POTENTIAL, HORSESHOE_POTENTIAL = range(4)
KINDS = {  # by whether velocities are wanted and whether the sources are horseshoes
    (True, False): RING_VELOCITY,
    (True, True): HORSESHOE_VELOCITY,
    (False, False): RING_POTENTIAL,
    (False, True): HORSESHOE_POTENTIAL,
}

_FOUR_PI = 4.0 * math.pi
_TWO_PI = 2.0 * math.pi
_ON_LINE = 1e-10  # a point this close (relative, squared) to a vortex feels nothing from it
_CHECKS = 2  # rows outside the pivots that must agree, and columns
_STRIDE = 7919  # a prime, to pick them all over the block


@inline
def _segment(ax, ay, az, a, bx, by, bz, b, ux, uy, uz):
    """4π u·v of a straight vortex; a…: from its start to the point, b…: from its end."""
    ab = a * b
    low = ab + ax * bx + ay * by + az * bz
    cross = ux * (ay * bz - az * by) + uy * (az * bx - ax * bz) + uz * (ax * by - ay * bx)
    near = low < _ON_LINE * ab
    top = 0.0 if near else (a + b) * cross
    return top / (1.0 if near else ab * low)


@inline
def _leg(dx, dy, dz, d, uy, uz):
    """4π u·v of a leg along +x; dx, dy, dz: from its start to the point, d long."""
    c2 = max(dy * dy + dz * dz, 1e-24 * d * d)
    down = dx > 0.0
    top = d + dx if down else 1.0
    low = d * c2 if down else d * (d - dx)
    return (uz * dy - uy * dz) * top / low


@inline
def _from_corner(px, py, pz, q, corner, j):
    """Vector from a corner of source j to the point, and its length."""
    x = px - q[3 * corner, j]
    y = py - q[3 * corner + 1, j]
    z = pz - q[3 * corner + 2, j]
    return x, y, z, np.sqrt(x * x + y * y + z * z)


@inline
def _ring_velocity(px, py, pz, ux, uy, uz, q, j):
    ax, ay, az, a = _from_corner(px, py, pz, q, 0, j)
    bx, by, bz, b = _from_corner(px, py, pz, q, 1, j)
    cx, cy, cz, c = _from_corner(px, py, pz, q, 2, j)
    dx, dy, dz, d = _from_corner(px, py, pz, q, 3, j)
    front = _segment(ax, ay, az, a, bx, by, bz, b, ux, uy, uz)
    right = _segment(bx, by, bz, b, cx, cy, cz, c, ux, uy, uz)
    back = _segment(cx, cy, cz, c, dx, dy, dz, d, ux, uy, uz)
    left = _segment(dx, dy, dz, d, ax, ay, az, a, ux, uy, uz)
    return (front + right + back + left) / _FOUR_PI


@inline
def _horseshoe_velocity(px, py, pz, ux, uy, uz, q, j):
    ax, ay, az, a = _from_corner(px, py, pz, q, 0, j)
    bx, by, bz, b = _from_corner(px, py, pz, q, 1, j)
    bound = _segment(ax, ay, az, a, bx, by, bz, b, ux, uy, uz)
    legs = _leg(bx, by, bz, b, uy, uz) - _leg(ax, ay, az, a, uy, uz)
    return (bound + legs) / _FOUR_PI


@inline
def _ring_potential(px, py, pz, q, j):
    ax, ay, az, a = _from_corner(px, py, pz, q, 0, j)
    bx, by, bz, b = _from_corner(px, py, pz, q, 1, j)
    cx, cy, cz, c = _from_corner(px, py, pz, q, 2, j)
    dx, dy, dz, d = _from_corner(px, py, pz, q, 3, j)
    # the product of the ends of the diagonal a-c serves both triangles
    ux = ay * cz - az * cy
    uy = az * cx - ax * cz
    uz = ax * cy - ay * cx
    first = bx * ux + by * uy + bz * uz
    second = -(dx * ux + dy * uy + dz * uz)
    side = a * c + ax * cx + ay * cy + az * cz
    ab = ax * bx + ay * by + az * bz
    bc = bx * cx + by * cy + bz * cz
    ad = ax * dx + ay * dy + az * dz
    dc = dx * cx + dy * cy + dz * cz
    low1 = b * side + ab * c + bc * a
    low2 = d * side + ad * c + dc * a
    return math.atan2(low1 * second + low2 * first, low1 * low2 - first * second) / _TWO_PI


@inline
def _horseshoe_potential(px, py, pz, q, j):
    ax, ay, az, a = _from_corner(px, py, pz, q, 0, j)
    bx, by, bz, b = _from_corner(px, py, pz, q, 1, j)
    top = by * az - bz * ay
    low = a * b + ax * bx + ay * by + az * bz - ax * b - bx * a
    return -math.atan2(top, low) / _TWO_PI


@serial
def _row(kind, t, i, q, first, last, images, out):
    """out[j - first] = the influence on target i of the sources first … last."""
    for j in range(last - first):
        out[j] = 0.0
    for m in range(images.shape[0]):
        sy = images[m, 0]
        sz = images[m, 1]
        px = t[0, i]
        py = sy * t[1, i]
        pz = sz * t[2, i] + images[m, 2]
        ux = t[3, i]
        uy = sy * t[4, i]
        uz = sz * t[5, i]
        if kind == RING_VELOCITY:
            for j in range(last - first):
                out[j] += _ring_velocity(px, py, pz, ux, uy, uz, q, first + j)
        elif kind == HORSESHOE_VELOCITY:
            for j in range(last - first):
                out[j] += _horseshoe_velocity(px, py, pz, ux, uy, uz, q, first + j)
        elif kind == RING_POTENTIAL:
            for j in range(last - first):
                out[j] += _ring_potential(px, py, pz, q, first + j)
        else:
            for j in range(last - first):
                out[j] += _horseshoe_potential(px, py, pz, q, first + j)


@serial
def _column(kind, t, first, last, q, j, images, out):
    """out[i - first] = the influence of source j on the targets first … last."""
    for i in range(last - first):
        out[i] = 0.0
    for m in range(images.shape[0]):
        sy = images[m, 0]
        sz = images[m, 1]
        up = images[m, 2]
        if kind == RING_VELOCITY:
            for k in range(last - first):
                i = first + k
                out[k] += _ring_velocity(
                    t[0, i], sy * t[1, i], sz * t[2, i] + up,
                    t[3, i], sy * t[4, i], sz * t[5, i], q, j,
                )  # fmt: skip
        elif kind == HORSESHOE_VELOCITY:
            for k in range(last - first):
                i = first + k
                out[k] += _horseshoe_velocity(
                    t[0, i], sy * t[1, i], sz * t[2, i] + up,
                    t[3, i], sy * t[4, i], sz * t[5, i], q, j,
                )  # fmt: skip
        elif kind == RING_POTENTIAL:
            for k in range(last - first):
                i = first + k
                out[k] += _ring_potential(t[0, i], sy * t[1, i], sz * t[2, i] + up, q, j)
        else:
            for k in range(last - first):
                i = first + k
                out[k] += _horseshoe_potential(t[0, i], sy * t[1, i], sz * t[2, i] + up, q, j)


@parallel
def fill_blocks(part, parts, kind, t, q, own, images, blocks, offsets, out):
    """Write blocks row by row into a flat array.

    kind: one of the module's four; t, q: as at its head, m; images: as in kernels.vortex; blocks:
    (n, 4) target range, source range; offsets: (n,) where each starts in out; own: (targets,)
    source that a target lies on, whose own influence is 0, or −1. out: 1/m of velocities, no unit
    of potentials.
    """
    for b in range(part, blocks.shape[0], parts):
        first = blocks[b, 2]
        last = blocks[b, 3]
        at = offsets[b]
        for i in range(blocks[b, 0], blocks[b, 1]):
            line = out[at : at + last - first]
            _row(kind, t, i, q, first, last, images, line)
            if first <= own[i] < last:
                # only its mirror images count
                k = own[i] - first
                _row(kind, t, i, q, own[i], own[i] + 1, images[1:], line[k : k + 1])
            at += last - first


@parallel
def cross_blocks(part, parts, kind, t, q, images, blocks, limits, most, room, offsets, ranks):
    """Approximate blocks by sums of columns times rows.

    kind, t, q, images, blocks, offsets: as in `fill_blocks`; limits: (n,) accepted error of each
    block's elements, root of their sum of squares; most: largest rank. Into room go, from
    offsets[b], the columns (most, rows) and the rows (most, columns) of every block; ranks: (n,)
    terms used, −1 where `most` did not do.
    """
    # neighbours in size go to different threads
    for b in range(part, blocks.shape[0], parts):
        m = blocks[b, 1] - blocks[b, 0]
        n = blocks[b, 3] - blocks[b, 2]
        start = offsets[b]
        cut = start + most * m
        u = room[start:cut].reshape((most, m))
        v = room[cut : cut + most * n].reshape((most, n))
        ranks[b] = _crossed(kind, t, q, images, blocks[b], limits[b], u, v)


@serial
def _crossed(kind, t, q, images, block, limit, u, v):
    """Rank of one block's cross approximation in u, v, or −1."""
    most, m = u.shape
    n = v.shape[1]
    row = np.empty(n)
    column = np.empty(m)
    used = np.zeros(m, dtype=np.uint8)
    seen = 0
    rank = 0
    agreed = 0
    i = m // 2
    while True:
        used[i] = 1
        seen += 1
        _row(kind, t, block[0] + i, q, block[2], block[3], images, row)
        for k in range(rank):
            f = u[k, i]
            for j in range(n):
                row[j] -= f * v[k, j]
        pivot, size = _largest(row)
        # as if all rows were as far off as this one
        if size * math.sqrt(m) <= limit:
            agreed += 1
            if seen == m:
                return rank
            i = _other(used, (i + _STRIDE) % m)
            if agreed < _CHECKS:
                continue
            # Rows agree; a column shows the few that may not.
            wrong = False
            for check in range(_CHECKS):
                j = (n // 2 + check * _STRIDE) % n
                _remainder(kind, t, block, q, j, images, u, v, rank, column)
                worst, size = _largest(column)
                if size * math.sqrt(n) > limit and used[worst] == 0:
                    i = worst
                    wrong = True
                    break
            if not wrong:
                return rank
            continue
        agreed = 0
        if rank == most:
            return -1
        _remainder(kind, t, block, q, pivot, images, u, v, rank, column)
        scale = 1.0 / row[pivot]
        best = -1
        for r in range(m):
            u[rank, r] = column[r]
            if used[r] == 0 and (best < 0 or abs(column[r]) > abs(column[best])):
                best = r
        for j in range(n):
            v[rank, j] = row[j] * scale
        rank += 1
        if best < 0:
            return rank
        i = best


@serial
def _remainder(kind, t, block, q, j, images, u, v, rank, column):
    """Column j of a block less what its first terms give."""
    _column(kind, t, block[0], block[1], q, block[2] + j, images, column)
    for k in range(rank):
        f = v[k, j]
        for r in range(column.size):
            column[r] -= f * u[k, r]


@serial
def _largest(values):
    """Place of the largest magnitude, and the root of the sum of squares."""
    total = 0.0
    place = 0
    for k in range(values.size):
        total += values[k] * values[k]
        if abs(values[k]) > abs(values[place]):
            place = k
    return place, math.sqrt(total)


@inline
def _other(used, i):
    """The first unused row from i on, around the end."""
    while used[i] == 1:
        i = i + 1 if i + 1 < used.size else 0
    return i


@parallel
def pack_crosses(part, parts, room, blocks, most, offsets, ranks, starts, out):
    """Copy the used terms of `cross_blocks` to out, which may be of single precision.

    From starts[b] on: (rank, rows), then (rank, columns). The other arguments as in `cross_blocks`.
    """
    for b in range(part, blocks.shape[0], parts):
        m = blocks[b, 1] - blocks[b, 0]
        n = blocks[b, 3] - blocks[b, 2]
        u = offsets[b]
        v = u + most * m
        at = starts[b]
        for k in range(ranks[b] * m):
            out[at + k] = room[u + k]
        at += ranks[b] * m
        for k in range(ranks[b] * n):
            out[at + k] = room[v + k]


@summing
def cross_terms(part, parts, x, blocks, ranks, starts, data, inner, back, terms):
    """Fill terms with the products of x and one side of each cross, for `crosses_times`."""
    count = blocks.shape[0]
    for b in range(part * count // parts, (part + 1) * count // parts):
        m = blocks[b, 1] - blocks[b, 0]
        at = starts[b] if back else starts[b] + ranks[b] * m
        size = m if back else blocks[b, 3] - blocks[b, 2]
        base = blocks[b, 0] if back else blocks[b, 2]
        values = x[base : base + size]
        for k in range(ranks[b]):
            line = data[at + k * size : at + (k + 1) * size]
            total = 0.0
            for j in range(size):
                total += np.float64(line[j]) * values[j]
            terms[inner[b] + k] = total


@summing
def crosses_times(part, parts, terms, blocks, ranks, starts, data, inner, back, y):
    """Add to y the product of approximated blocks with the x of `cross_terms`.

    blocks, ranks, starts, data: of all blocks, from `pack_crosses`; inner: (n,) where each block's
    terms stand in `terms`; back: whether the transposed product is meant.
    """
    first = 2 if back else 0  # column of `blocks` where the range of y begins
    low = part * y.size // parts
    high = (part + 1) * y.size // parts
    for b in range(blocks.shape[0]):
        start = max(blocks[b, first], low)
        stop = min(blocks[b, first + 1], high)
        if start >= stop:
            continue
        size = blocks[b, first + 1] - blocks[b, first]
        at = starts[b] + start - blocks[b, first]
        if back:
            at += ranks[b] * (blocks[b, 1] - blocks[b, 0])
        sums = y[start:stop]
        width = stop - start
        k = 0
        # four terms at once read and write the sums less often
        while k + 4 <= ranks[b]:
            f = terms[inner[b] + k : inner[b] + k + 4]
            p = at + k * size
            one = data[p : p + width]
            two = data[p + size : p + size + width]
            three = data[p + 2 * size : p + 2 * size + width]
            four = data[p + 3 * size : p + 3 * size + width]
            for i in range(width):
                sums[i] += (
                    f[0] * np.float64(one[i])
                    + f[1] * np.float64(two[i])
                    + f[2] * np.float64(three[i])
                    + f[3] * np.float64(four[i])
                )
            k += 4
        while k < ranks[b]:
            one = data[at + k * size : at + k * size + width]
            for i in range(width):
                sums[i] += terms[inner[b] + k] * np.float64(one[i])
            k += 1


@summing
def blocks_times(part, parts, x, blocks, offsets, data, back, y):
    """Add to y the product of full blocks with x; arguments as in `crosses_times`."""
    low = part * y.size // parts
    high = (part + 1) * y.size // parts
    for b in range(blocks.shape[0]):
        first = blocks[b, 2]
        n = blocks[b, 3] - first
        if back:
            start = max(first, low)
            width = min(first + n, high) - start
            if width <= 0:
                continue
            sums = y[start : start + width]
            for i in range(blocks[b, 0], blocks[b, 1]):
                at = offsets[b] + (i - blocks[b, 0]) * n + start - first
                line = data[at : at + width]
                for j in range(width):
                    sums[j] += line[j] * x[i]
        else:
            values = x[first : first + n]
            for i in range(max(blocks[b, 0], low), min(blocks[b, 1], high)):
                at = offsets[b] + (i - blocks[b, 0]) * n
                line = data[at : at + n]
                total = 0.0
                for j in range(n):
                    total += line[j] * values[j]
                y[i] += total
