"""A wing through a circular jet against a lifting line with images at the jet's edge."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from blownwing.validation import Row, published_rows
from blownwing.validation.scenes import jet, rectangle, solution

Array = NDArray[np.float64]
RADIUS, ALPHA = 0.15, 1.0  # of the span; deg


def line_slope(aspect: float, ratio: float, inside: int = 60, outside: int = 90) -> float:
    """Lift slope per rad of a rectangular lifting line of 2π sections, on the free stream.

    ratio: of the jet's speed to the outer one. A trailing vortex inside sees its image λ at the
    inverse point, one outside −λ; across the edge it counts 2m/(1 + m²), m = 1/ratio,
    λ = (1 − m²)/(1 + m²).
    """
    half, radius, m = 0.5 * aspect, RADIUS * aspect, 1.0 / ratio
    image, through = (1.0 - m * m) / (1.0 + m * m), 2.0 * m / (1.0 + m * m)

    def cosine(low: float, high: float, at: Array) -> Array:
        return low + (high - low) * 0.5 * (1.0 - np.cos(np.pi * at))

    def spread(inner: Array, outer: Array) -> Array:
        wing = cosine(radius, half, outer)
        return np.unique(np.concatenate((-wing, cosine(-radius, radius, inner), wing)))

    edges = spread(np.arange(inside + 1) / inside, np.arange(outside + 1) / outside)
    keep = np.concatenate(([True], np.diff(edges) > 1e-9 * aspect))
    edges = edges[keep]
    middles = spread((np.arange(inside) + 0.5) / inside, (np.arange(outside) + 0.5) / outside)
    here = np.abs(middles) < radius
    wash = np.zeros((middles.size, middles.size))
    for sign, at in ((-1.0, edges[:-1]), (1.0, edges[1:])):
        own = 1.0 / (middles[:, None] - at)
        safe = np.where(np.abs(at) < 1e-9 * aspect, 1.0, at)
        far = 1.0 / (middles[:, None] - radius**2 / safe)
        far = np.where(safe == at, far, 0.0)
        both_in, both_out = own + image * far, own - image * far
        # A strip's two trailers are on its own side of the edge, also where one lies on it.
        side = np.broadcast_to(here[None, :], own.shape)
        wash += sign * np.where(
            here[:, None] & side, both_in, np.where(~here[:, None] & ~side, both_out, through * own)
        )
    wash /= -4.0 * np.pi
    speed = np.where(here, ratio, 1.0)
    gamma = np.linalg.solve(np.eye(middles.size) + np.pi * wash, np.pi * speed)
    return float(2.0 * np.sum(speed * gamma * np.diff(edges)) / aspect)


def gain(aspect: float, ratio: float) -> float:
    """The program's increment over the lifting line's."""
    one = jet(RADIUS * aspect, ratio, ALPHA, 0.3 * aspect, nozzle=True)
    model = {"chordwise": 4, "spanwise": 40}
    found = solution(rectangle(aspect), ALPHA, propellers=[one], model=model).totals
    line = line_slope(aspect, ratio) / line_slope(aspect, 1.0) - 1.0
    return float(found["CL"] / found["CL_unblown"] - 1.0) / line


def computed() -> dict[str, float]:
    """Slopes and increments by quantity."""
    values = {}
    for ratio in (2, 1.5, 1.25):
        values[f"lifting line, A 6, μ {ratio}, CLα per rad"] = line_slope(6.0, ratio)
    for ratio in (2, 1.5):
        limit = 2.0 * gain(48.0, ratio) - gain(24.0, ratio)
        values[f"increment over the lifting line's, c/R → 0, μ {ratio}"] = limit
    return values


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
