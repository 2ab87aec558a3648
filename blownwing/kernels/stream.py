"""Velocities of slipstreams: the jet inside each tube and the sink-like inflow outside it.

A disc of uniform load sheds a semi-infinite vortex cylinder. Its velocity is that of a uniform
sink disc of strength γ per unit area plus γ along the axis inside the cylinder (γ is twice the
velocity induced at the disc). Closed form by complete elliptic integrals: Branlard & Gaunaa 2015,
"Cylindrical vortex wake model: right cylinder", Wind Energy 18; integrals by Bulirsch's algorithm
(Bulirsch 1969, Numerische Mathematik 13, 305–315).
"""

from __future__ import annotations

import math

import numpy as np

from blownwing.kernels.jit import inline, parallel, serial

_EDGE = 1e-4  # squared modulus floor: keeps the logarithmic edge of the disc finite
_ON_CYLINDER = 1e-3  # relative distance from it up to which its mean value is taken
_CONVERGED = 1e-8  # of the two means, whose difference squares in every step
_BLOCK = 64  # points that take every step together, in work space that stays close
_GAUSS_T = np.array([0.5 - math.sqrt(0.15), 0.5, 0.5 + math.sqrt(0.15)])
_GAUSS_W = np.array([5.0 / 18.0, 8.0 / 18.0, 5.0 / 18.0])
FREE = -2  # a line's stream follows from its place
# A braked stream keeps at least this part of its speed. The law of speed and radius behind a disc
# stands here, in `_jet_part`, `_dipole` and `jet_velocity`, and in `slipstream.streams`.
SLOWEST = 0.1


@serial
def mean_steps(kc):
    """Steps in which the arithmetic and geometric means that start from 1 and kc come to agree.

    kc: without unit, above 0 to 1.
    """
    arithmetic, geometric, steps = 1.0, kc, 1
    while arithmetic - geometric > _CONVERGED * arithmetic:
        arithmetic, geometric = 0.5 * (arithmetic + geometric), math.sqrt(arithmetic * geometric)
        steps += 1
    return steps


@serial
def sink_row(n, x, r, radius, work):
    """Axial and radial velocity of a uniform sink disc of unit strength that stands at x = 0.

    x, r: n places along and from the axis, m; overwritten with the two velocities. work: nine rows.
    With c = (R − r)/(R + r), kc² = ((R − r)² + x²)/((R + r)² + x²) and Δ² = cos² + kc² sin², they
    are made of c (1 + c) ∫ 1/((cos² + c² sin²) Δ) and ∫ (sin² − cos²)/Δ from 0 to π/2. Bulirsch's
    steps for both share their means; all points take as many as the slowest, without branches, so
    that the loops vectorise.
    """
    scale = work[0]
    e = work[1]
    q = work[2]
    m = work[3]
    p = work[4]
    a = work[5]
    b = work[6]
    even = work[7]
    odd = work[8]
    for i in range(n):
        wide = (radius + r[i]) * (radius + r[i]) + x[i] * x[i]
        close = (radius - r[i]) * (radius - r[i]) + x[i] * x[i]
        c = (radius - r[i]) / (radius + r[i])
        size = abs(c)
        # On the cylinder the third-kind integral cancels the step; its mean is the first kind.
        on = size < _ON_CYLINDER
        scale[i] = 1.0 / math.sqrt(wide)
        e[i] = math.sqrt(max(close / wide, _EDGE))
        q[i] = e[i]
        m[i] = 1.0
        p[i] = 1.0 if on else size
        a[i] = 1.0 if on else 1.0 + c
        b[i] = 1.0 if on else (1.0 + c if c > 0.0 else -1.0 - c)
        even[i] = -1.0
        odd[i] = 1.0
    least = 1.0
    for i in range(n):
        least = min(least, e[i])
    for _ in range(mean_steps(least)):
        for i in range(n):
            both = 1.0 / (p[i] * m[i])
            g = e[i] * m[i] * both
            f = a[i]
            a[i] += b[i] * m[i] * both
            b[i] = 2.0 * (b[i] + f * g)
            f = even[i]
            even[i] += odd[i] * p[i] * both
            odd[i] = 2.0 * (odd[i] + f * q[i])
            p[i] += g
            m[i] += q[i]
            q[i] = 2.0 * math.sqrt(e[i])
            e[i] = q[i] * m[i]
    for i in range(n):
        on = abs(radius - r[i]) < _ON_CYLINDER * (radius + r[i])
        inside = 0.5 if on else (1.0 if r[i] < radius else 0.0)
        third = (b[i] + a[i] * m[i]) / (m[i] * (m[i] + p[i]))
        axial = 0.5 * inside + 0.25 * x[i] * scale[i] * third
        x[i] = axial - (inside if x[i] > 0.0 else 0.0)
        r[i] = -0.25 * radius * scale[i] * (odd[i] + even[i] * m[i]) / (m[i] * m[i])


@parallel
def sink_fields(part, parts, points, centres, axes, radii, out):
    """Fill out[d, c, i]: velocity component c at point i of disc d at unit strength γ.

    points: (3, n) m; centres, axes: (discs, 3), centres in m, axes unit, downstream; radii:
    (discs,) m; out: without unit. Source: Branlard & Gaunaa 2015, "Cylindrical vortex wake model:
    right cylinder", Wind Energy 18.
    """
    n = points.shape[1]
    blocks = (n + _BLOCK - 1) // _BLOCK
    for low in range(
        _BLOCK * (part * blocks // parts), _BLOCK * ((part + 1) * blocks // parts), _BLOCK
    ):
        size = min(_BLOCK, n - low)
        space = np.empty((12, _BLOCK))
        x = space[9]
        r = space[10]
        far = space[11]
        for d in range(radii.size):
            ax = axes[d, 0]
            ay = axes[d, 1]
            az = axes[d, 2]
            across = out[d, :, low : low + size]
            for i in range(size):
                gx = points[0, low + i] - centres[d, 0]
                gy = points[1, low + i] - centres[d, 1]
                gz = points[2, low + i] - centres[d, 2]
                along = gx * ax + gy * ay + gz * az
                gx -= along * ax
                gy -= along * ay
                gz -= along * az
                across[0, i] = gx
                across[1, i] = gy
                across[2, i] = gz
                x[i] = along
                r[i] = math.sqrt(gx * gx + gy * gy + gz * gz)
                far[i] = r[i]
            sink_row(size, x, r, radii[d], space)
            for i in range(size):
                v = r[i] / far[i] if far[i] > 1e-12 * radii[d] else 0.0
                across[0, i] = x[i] * ax + v * across[0, i]
                across[1, i] = x[i] * ay + v * across[1, i]
                across[2, i] = x[i] * az + v * across[2, i]


@inline
def _turning(along, speed):
    """Shares of cross-flow and of push across in a stream: s(s + a)/(s² + a²) and s²/(s² + a²)."""
    scale = speed * speed + along * along
    if scale == 0.0:
        return 0.0, 0.0
    return speed * (speed + along) / scale, speed * speed / scale


@serial
def turned_courses(free_stream, distance, streams, courses):
    """Fill courses (discs, 3) with the unit directions of the developed slipstreams.

    A disc pushes along its axis, and the outer air has to go round the stream as that turns. With
    s the stream's speed along the axis and a that of the outer air, the flow across the axis in the
    stream is f cross + s²/(s² + a²) push: momentum across the stream with the outer air's own
    (apparent) mass. It is what the inflow factor of Ribner 1945, "Propellers in Yaw", NACA Report
    820, implies. free_stream: (3,) V∞, m/s; distance: (discs,) x, m, at which s is taken; streams:
    see `slipstream.streams`.
    """
    fast = max(math.sqrt(np.sum(free_stream * free_stream)), 1e-9)
    for d in range(streams.radii.size):
        x = max(distance[d], 0.0)
        along = np.sum(free_stream * streams.axes[d])
        speed = along + streams.mean[d] * (
            1.0 + streams.growth[d] * x / math.sqrt(x * x + streams.radii[d] * streams.radii[d])
        )
        kept, pushed = _turning(max(along, 0.0), speed)
        square = 0.0
        for c in range(3):
            courses[d, c] = (
                speed * streams.axes[d, c]
                + kept * streams.cross[d, c]
                + pushed * streams.push[d, c]
            )
            square += courses[d, c] * courses[d, c]
        length = math.sqrt(square)
        # A disc that brakes the air to a standstill leaves no direction but its own axis.
        still = length < 1e-9 * fast
        for c in range(3):
            courses[d, c] = streams.axes[d, c] if still else courses[d, c] / length


@serial
def loaded_streams(
    axial, swirl, inplane, weights, source, flips, unit_axes, density, radii, normal_speed, held,
    jet_axial, jet_swirl, mean, push,
):  # fmt: skip
    """Fill jet_axial, jet_swirl (discs, annuli), mean (discs,) and push (discs, 3).

    axial, swirl: (units, annuli) m/s and m²/s; weights: (units, annuli) area shares; density:
    kg/m³; held: (discs,) 1 where the stream starts at its disc, else 0; inplane: (units, 2) forces
    on the blades in the disc's plane along rows 1 and 2 of unit_axes (units, 3, 3), N; source,
    flips: (discs,) unit of a disc, −1 where it is the unit's mirror image; the rest as in
    `jet_velocity`.
    """
    for d in range(source.size):
        k = source[d]
        mean[d] = 0.0
        blows = 0.0
        for j in range(axial.shape[1]):
            jet_axial[d, j] = axial[k, j]
            jet_swirl[d, j] = flips[d] * swirl[k, j]
            mean[d] += weights[k, j] * jet_axial[d, j]
            blows += abs(jet_axial[d, j])
        mass = density * math.pi * radii[d] * radii[d] * (normal_speed[d] + mean[d])
        # stopped blades leave no slipstream
        share = held[d] / mass if mass > 0.0 and blows > 0.0 else 0.0
        for c in range(3):
            force = inplane[k, 0] * unit_axes[k, 1, c] + inplane[k, 1] * unit_axes[k, 2, c]
            push[d, c] = -share * (flips[d] * force if c == 1 else force)


@inline
def _place(r, mid, d):
    """Annulus k and share t: a profile at r is v[k − 1] (1 − t) + v[k] t, constant at its ends."""
    n = mid.shape[1]
    if r <= mid[d, 0]:
        return 1, 0.0
    if r >= mid[d, n - 1]:
        return n - 1, 1.0
    k = 1
    while mid[d, k] < r:
        k += 1
    return k, (r - mid[d, k - 1]) / (mid[d, k] - mid[d, k - 1])


@inline
def _jet_part(i, d, covered, lines, streams, velocity, along, upward):
    """Covered part of line `i` in stream `d`, whose jet is added; arguments as `jet_velocity`."""
    ex = streams.courses[d, 0]
    ey = streams.courses[d, 1]
    ez = streams.courses[d, 2]
    gx = lines.starts[0, i] - streams.centres[d, 0]
    gy = lines.starts[1, i] - streams.centres[d, 1]
    gz = lines.starts[2, i] - streams.centres[d, 2]
    hx = lines.ends[0, i] - streams.centres[d, 0]
    hy = lines.ends[1, i] - streams.centres[d, 1]
    hz = lines.ends[2, i] - streams.centres[d, 2]
    xg = gx * ex + gy * ey + gz * ez
    xh = hx * ex + hy * ey + hz * ez
    x = 0.5 * (xg + xh)
    part = 0.0
    if x > 0.0:
        t = x / math.sqrt(x * x + streams.radii[d] * streams.radii[d])
        gain = 1.0 + streams.growth[d] * t
        scale = 1.0
        here = streams.normal_speed[d] + streams.mean[d]
        there = max(streams.normal_speed[d] + streams.mean[d] * gain, SLOWEST * here)
        if streams.growth[d] > 0.0 and there > 0.0:
            scale = math.sqrt(here / there)
        edge = streams.radii[d] * scale
        gx -= xg * ex
        gy -= xg * ey
        gz -= xg * ez
        hx -= xh * ex + gx
        hy -= xh * ey + gy
        hz -= xh * ez + gz
        # |g + t h| = edge bounds the covered interval of t
        c = gx * gx + gy * gy + gz * gz - edge * edge
        b = gx * hx + gy * hy + gz * hz
        a = hx * hx + hy * hy + hz * hz
        low = 0.0
        high = 0.0
        if covered:
            high = 1.0
        elif a < 1e-20 * edge * edge:
            if c < 0.0:
                high = 1.0
        else:
            root = b * b - a * c
            if root > 0.0:
                root = math.sqrt(root)
                low = max(0.0, (-b - root) / a)
                high = min(1.0, (-b + root) / a)
        if high > low:
            part = high - low
            if lines.turning[d]:
                # half turned at the disc, as on the axis of a half-infinite doublet cylinder
                grown = 0.5 * part * (1.0 + 2.0 * t - t * t * t)
                kept, pushed = _turning(streams.normal_speed[d], there)
                for c in range(3):
                    turn = (kept - 1.0) * streams.cross[d, c] + pushed * streams.push[d, c]
                    velocity[c, i] += grown * turn
            for q in range(3):
                t = low + part * _GAUSS_T[q]
                w = part * _GAUSS_W[q]
                px = gx + t * hx
                py = gy + t * hy
                pz = gz + t * hz
                r = math.sqrt(px * px + py * py + pz * pz)
                k, share = _place(min(r, edge) / scale, streams.middles, d)
                u = (
                    w
                    * gain
                    * (streams.axial[d, k - 1] * (1.0 - share) + streams.axial[d, k] * share)
                )
                core = max(r, streams.middles[d, 0] * scale)
                s = (
                    w
                    * (streams.swirl[d, k - 1] * (1.0 - share) + streams.swirl[d, k] * share)
                    / (core * core)
                )
                up = s * (ex * py - ey * px)
                velocity[0, i] += u * streams.axes[d, 0] + s * (ey * pz - ez * py)
                velocity[1, i] += u * streams.axes[d, 1] + s * (ez * px - ex * pz)
                velocity[2, i] += u * streams.axes[d, 2] + up
                along[i] += u
                upward[i] += up
    return part


@inline
def _dipole(d, streams, out):
    """Fill out (3,) with the strength p of the outer air's flow p·r/r² round a turned stream."""
    here = streams.normal_speed[d] + streams.mean[d]
    there = max(
        streams.normal_speed[d] + streams.mean[d] * (1.0 + streams.growth[d]), SLOWEST * here
    )
    size = 0.0
    if there > 0.0:
        kept, pushed = _turning(streams.normal_speed[d], there)
        area = (
            streams.radii[d] * streams.radii[d] * (here / there if streams.growth[d] > 0.0 else 1.0)
        )
        for c in range(3):
            turn = (kept - 1.0) * streams.cross[d, c] + pushed * streams.push[d, c]
            out[c] = -turn * streams.normal_speed[d] / there * area
            size += abs(out[c])
    return size, area if there > 0.0 else 1.0


@parallel
def jet_velocity(part, parts, lines, streams, velocity, along, upward, cover):
    """Velocity that all slipstreams add, averaged over short straight lines.

    lines, streams: see `slipstream.streams`; velocity: (3, n), along: (n,) axial speed added,
    upward: (n,) swirl's z component, m/s; cover: (n,) covered share of each line.
    """
    n = lines.starts.shape[1]
    blocks = (n + _BLOCK - 1) // _BLOCK
    for low in range(
        _BLOCK * (part * blocks // parts), _BLOCK * ((part + 1) * blocks // parts), _BLOCK
    ):
        size = min(_BLOCK, n - low)
        space = np.empty((2, _BLOCK))
        share = space[0]
        gap = space[1]
        dipole = np.empty(3)
        for i in range(low, low + size):
            velocity[0, i] = 0.0
            velocity[1, i] = 0.0
            velocity[2, i] = 0.0
            along[i] = 0.0
            upward[i] = 0.0
            cover[i] = 0.0
        for d in range(streams.radii.size):
            ex = streams.courses[d, 0]
            ey = streams.courses[d, 1]
            ez = streams.courses[d, 2]
            strength = 2.0 * streams.mean[d] * streams.growth[d]
            widest = (
                streams.radii[d]
                if streams.mean[d] >= 0.0
                else streams.radii[d] / math.sqrt(SLOWEST)
            )
            for k in range(size):
                i = low + k
                gx = lines.middles[0, i] - streams.centres[d, 0]
                gy = lines.middles[1, i] - streams.centres[d, 1]
                gz = lines.middles[2, i] - streams.centres[d, 2]
                x = gx * ex + gy * ey + gz * ez
                reach = 1.0001 * (widest + lines.halves[i])  # round-off must not leave out a line
                outside = gx * gx + gy * gy + gz * gz - x * x - reach * reach
                gap[k] = outside if x > 0.0 else 1.0
                share[k] = 1.0
            for k in range(size):
                i = low + k
                if lines.owner[i] == d:
                    share[k] = 0.0
                elif lines.member[i] == d or (lines.member[i] == FREE and gap[k] <= 0.0):
                    inside = _jet_part(
                        i, d, lines.member[i] == d, lines, streams, velocity, along, upward
                    )
                    cover[i] += inside
                    share[k] = 1.0 - inside
            if strength != 0.0:
                for c in range(3):
                    for k in range(size):
                        velocity[c, low + k] += strength * share[k] * lines.sinks[d, c, low + k]
            if not lines.turning[d]:
                continue
            moved, area = _dipole(d, streams, dipole)
            if moved == 0.0:
                continue
            px = dipole[0]
            py = dipole[1]
            pz = dipole[2]
            for k in range(size):
                i = low + k
                gx = lines.middles[0, i] - streams.centres[d, 0]
                gy = lines.middles[1, i] - streams.centres[d, 1]
                gz = lines.middles[2, i] - streams.centres[d, 2]
                x = gx * ex + gy * ey + gz * ez
                gx -= x * ex
                gy -= x * ey
                gz -= x * ez
                r2 = max(gx * gx + gy * gy + gz * gz, area)
                root = math.sqrt(x * x + r2)
                # potential p·r/r² · (1 + x/√(x² + r²))/2: a half-infinite line of dipoles
                dot = px * gx + py * gy + pz * gz
                fall = 0.5 * share[k] / (root * root * root)
                near = 0.5 * share[k] * (1.0 + x / root) / r2
                out = 2.0 * near * dot / r2 + fall * dot * x / r2
                velocity[0, i] += near * px - out * gx + fall * dot * ex
                velocity[1, i] += near * py - out * gy + fall * dot * ey
                velocity[2, i] += near * pz - out * gz + fall * dot * ez
