"""A lifting line through circular jets with Koning's images at their edge; for tests only.

A trailing vortex inside a jet of speed V_j = V/m is seen inside together with an image of strength
λ = (1 − m²)/(1 + m²) at the inverse point, and outside reduced by 2m/(1 + m²); one outside is seen
outside with an image −λ, and inside reduced by the same factor. Koning 1935, "Influence of the
propeller on other parts of the airplane structure", in Durand, "Aerodynamic Theory" IV, division M;
Glauert 1933, ARC R&M 1566 (m → 0). Images at the jet's centre cancel within every horseshoe.
"""

from __future__ import annotations

import numpy as np


def strip_edges(half_span, radius, inside, outside):
    """Edges over the whole span, crowded at the jet's edges and the tips."""

    def cosine(low, high, count):
        return low + (high - low) * 0.5 * (1.0 - np.cos(np.linspace(0.0, np.pi, count + 1)))

    starboard = cosine(radius, half_span, outside)
    return np.concatenate((-starboard[::-1], cosine(-radius, radius, inside)[1:-1], starboard))


def loaded_line(aspect, radius_ratio, speed_ratio, images=True, strips=(80, 120), incidence=1.0):
    """Edges y (n + 1,), circulations (n,) and CL of a rectangular wing of chord 1 at V = 1.

    radius_ratio: jet radius over span, on the centre line; speed_ratio: V_j/V; images: False adds
    the local speed only; sections have a lift slope of 2π; CL is on the free stream.
    """
    half = 0.5 * aspect
    radius = radius_ratio * aspect
    edges = strip_edges(half, radius, *strips)
    middle = _angle_middles(radius, half, strips)
    inside = np.abs(middle) < radius
    m = 1.0 / speed_ratio
    image = (1.0 - m * m) / (1.0 + m * m)
    through = 2.0 * m / (1.0 + m * m)
    wash = np.zeros((middle.size, middle.size))
    for sign, at in ((-1.0, edges[:-1]), (1.0, edges[1:])):
        own = 1.0 / (middle[:, None] - at[None, :])
        if not images:
            wash += sign * own
            continue
        safe = np.where(at == 0.0, 1.0, at)
        far = np.where(at == 0.0, 0.0, 1.0 / (middle[:, None] - (radius**2 / safe)[None, :]))
        both_in = own + image * far
        both_out = own - image * far
        wash += sign * np.where(
            inside[:, None] & inside[None, :],
            both_in,
            np.where(~inside[:, None] & ~inside[None, :], both_out, through * own),
        )
    # Downwash of a horseshoe of unit circulation: (1/4π)(1/(y − port) − 1/(y − starboard)).
    wash /= -4.0 * np.pi
    speed = np.where(inside, speed_ratio, 1.0)
    # Γ = π c V (α − w/V)
    matrix = np.eye(middle.size) + np.pi * wash
    circulation = np.linalg.solve(matrix, np.pi * speed * incidence)
    lift = 2.0 * np.sum(speed * circulation * np.diff(edges)) / aspect
    return edges, circulation, float(lift)


def _angle_middles(radius, half, strips):
    """Points at the middle angles of every cosine segment."""
    inner, outer = strips

    def middles(low, high, count):
        t = (np.arange(count) + 0.5) * np.pi / count
        return low + (high - low) * 0.5 * (1.0 - np.cos(t))

    starboard = middles(radius, half, outer)
    return np.concatenate((-starboard[::-1], middles(-radius, radius, inner), starboard))
