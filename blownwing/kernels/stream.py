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

from blownwing.kernels.jit import inline, parallel, prange, serial

_EDGE = 1e-4  # squared modulus floor: keeps the logarithmic edge of the disc finite
_GAUSS_T = np.array([0.5 - math.sqrt(0.15), 0.5, 0.5 + math.sqrt(0.15)])
_GAUSS_W = np.array([5.0 / 18.0, 8.0 / 18.0, 5.0 / 18.0])
FREE = -2  # a line's stream follows from its place
_STALLED_JET = 0.1  # a braked stream is never slower than this part of the disc's speed


@serial
def complete_elliptic(kc, p, a, b):
    """∫₀^{π/2} (a cos² + b sin²) / ((cos² + p sin²) √(cos² + kc² sin²)) dφ for kc > 0, p > 0."""
    root = math.sqrt(p)
    b = b / root
    p = root
    e = kc
    m = 1.0
    q = kc
    for _ in range(30):
        f = a
        a += b / p
        g = e / p
        b = 2.0 * (b + f * g)
        p += g
        g = m
        m += q
        if abs(g - q) <= 1e-8 * g:
            break
        q = 2.0 * math.sqrt(e)
        e = q * m
    return 0.5 * math.pi * (b + a * m) / (m * (m + p))


@serial
def sink_disc(x, r, radius):
    """Axial and radial velocity at (x, r) of a uniform sink disc of unit strength γ at x = 0."""
    wide = (radius + r) ** 2 + x * x
    kc2 = ((radius - r) ** 2 + x * x) / wide
    kc = math.sqrt(max(kc2, _EDGE))
    scale = 1.0 / math.sqrt(wide)
    c = (radius - r) / (radius + r)
    if abs(c) < 1e-3:
        # On the cylinder the third-kind integral cancels the step; its mean is the first kind.
        axial = 0.25 + 0.5 * x * scale * complete_elliptic(kc, 1.0, 1.0, 1.0) / math.pi
        inside = 0.5
    else:
        third = complete_elliptic(kc, c * c, 1.0 + c, c * (1.0 + c))
        inside = 1.0 if c > 0.0 else 0.0
        axial = 0.5 * (inside + x * scale * third / math.pi)
    if x > 0.0:
        axial -= inside
    radial = -radius * scale * complete_elliptic(kc, 1.0, -1.0, 1.0) / math.pi
    return axial, radial


@parallel
def sink_fields(points, centres, axes, radii, out):
    """Fill out[d, c, i]: velocity component c at point i of disc d at unit strength γ.

    points: (3, n); centres, axes: (discs, 3), axes point downstream; radii: (discs,).
    """
    n = points.shape[1]
    for i in prange(n):
        for d in range(radii.size):
            gx = points[0, i] - centres[d, 0]
            gy = points[1, i] - centres[d, 1]
            gz = points[2, i] - centres[d, 2]
            ax = axes[d, 0]
            ay = axes[d, 1]
            az = axes[d, 2]
            x = gx * ax + gy * ay + gz * az
            gx -= x * ax
            gy -= x * ay
            gz -= x * az
            r = math.sqrt(gx * gx + gy * gy + gz * gz)
            u, v = sink_disc(x, r, radii[d])
            v = v / r if r > 1e-12 * radii[d] else 0.0
            out[d, 0, i] = u * ax + v * gx
            out[d, 1, i] = u * ay + v * gy
            out[d, 2, i] = u * az + v * gz


@inline
def _profile(r, mid, values, d):
    """Piecewise linear in radius between annulus middles, constant beyond them."""
    n = mid.shape[1]
    if r <= mid[d, 0]:
        return values[d, 0]
    if r >= mid[d, n - 1]:
        return values[d, n - 1]
    k = 1
    while mid[d, k] < r:
        k += 1
    t = (r - mid[d, k - 1]) / (mid[d, k] - mid[d, k - 1])
    return values[d, k - 1] * (1.0 - t) + values[d, k] * t


@parallel
def jet_velocity(
    starts, ends, owner, member, centres, axes, courses, radii, growth, normal_speed, mean,
    mid, axial, swirl, sinks, velocity, along, upward, cover,
):  # fmt: skip
    """Velocity that all slipstreams add, averaged over short straight lines.

    starts, ends: (3, n) ends of the lines (equal for points), m; owner: (n,) disc whose own stream
    a line must not feel, or −1; member: (n,) disc whose stream a line lies in whatever the geometry
    says, −1 for a line outside all streams, or FREE to find out; centres, axes, courses:
    (discs, 3) disc centre, axis and direction of the tube; radii; growth: 1 for a propeller's
    stream, 0 for a constant jet; normal_speed:
    (discs,) undisturbed speed through the disc; mean: (discs,) mean induced speed at the disc;
    mid, axial, swirl: (discs, annuli) middles, induced axial speed and r·v_θ (signed about the
    course); sinks: (discs, 3, n) from `sink_fields` at the lines' middles.
    Fills velocity (3, n), along (n,) axial speed added, upward (n,) swirl's z component, cover
    (n,) covered part of each line.
    """
    n = starts.shape[1]
    for i in prange(n):
        vx = 0.0
        vy = 0.0
        vz = 0.0
        speed = 0.0
        lift = 0.0
        covered = 0.0
        for d in range(radii.size):
            if d == owner[i]:
                continue
            ex = courses[d, 0]
            ey = courses[d, 1]
            ez = courses[d, 2]
            gx = starts[0, i] - centres[d, 0]
            gy = starts[1, i] - centres[d, 1]
            gz = starts[2, i] - centres[d, 2]
            hx = ends[0, i] - centres[d, 0]
            hy = ends[1, i] - centres[d, 1]
            hz = ends[2, i] - centres[d, 2]
            xg = gx * ex + gy * ey + gz * ez
            xh = hx * ex + hy * ey + hz * ez
            x = 0.5 * (xg + xh)
            part = 0.0
            if x > 0.0 and (member[i] == FREE or member[i] == d):
                gain = 1.0 + growth[d] * x / math.sqrt(x * x + radii[d] * radii[d])
                scale = 1.0
                if growth[d] > 0.0:
                    here = normal_speed[d] + mean[d]
                    there = normal_speed[d] + mean[d] * gain
                    there = max(there, _STALLED_JET * here)
                    if there > 0.0:
                        scale = math.sqrt(here / there)
                edge = radii[d] * scale
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
                if member[i] == d:
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
                    for q in range(3):
                        t = low + part * _GAUSS_T[q]
                        w = part * _GAUSS_W[q]
                        px = gx + t * hx
                        py = gy + t * hy
                        pz = gz + t * hz
                        r = math.sqrt(px * px + py * py + pz * pz)
                        origin = min(r, edge) / scale
                        u = w * gain * _profile(origin, mid, axial, d)
                        core = max(r, mid[d, 0] * scale)
                        s = w * _profile(origin, mid, swirl, d) / (core * core)
                        vx += u * axes[d, 0] + s * (ey * pz - ez * py)
                        vy += u * axes[d, 1] + s * (ez * px - ex * pz)
                        up = s * (ex * py - ey * px)
                        vz += u * axes[d, 2] + up
                        speed += u
                        lift += up
                    covered += part
            if part < 1.0:
                g = 2.0 * mean[d] * growth[d] * (1.0 - part)
                vx += g * sinks[d, 0, i]
                vy += g * sinks[d, 1, i]
                vz += g * sinks[d, 2, i]
        velocity[0, i] = vx
        velocity[1, i] = vy
        velocity[2, i] = vz
        along[i] = speed
        upward[i] = lift
        cover[i] = covered
