"""A flat rectangular wing of horseshoe vortices for the free-ring model.

Own and small on purpose: it shares nothing with the package's lattice. Chord along x, span along
y, plate in z = 0, wake straight along x.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lu_factor, lu_solve

Array = NDArray[np.float64]
Kernel = Callable[[Array, Array, Array, float], Array]

FAR = 2000.0  # length of the wake in chords; its end is felt by 1e-8
THIN = 1e-7  # core in chords of the wing's vortices on the wing itself


@dataclass(frozen=True)
class Plate:
    """The wing, solved by `solve`.

    Attributes:
        chord: chord.
        x: place of the leading edge.
        edges: y of the strips' edges, (s + 1,).
        points: collocation points, (rows · s, 3).
    """

    chord: float
    x: float
    edges: Array
    fronts: Array  # x of the bound vortices, (rows,)
    points: Array
    kernel: Kernel
    _factors: tuple[Array, Array]

    def chains(self, gamma: Array, parts: int = 1) -> list[tuple[Array, Array]]:
        """Chains of vortex segments with strengths: bound ones along y, trailing ones along x.

        Args:
            gamma: circulations, (rows · s,).
            parts: number of bound vortices over which each panel's Γ is spread. One makes the
                lattice's own condition; several make a field that is smooth close to the plate.
        """
        g = np.repeat(gamma.reshape(len(self.fronts), -1), parts, axis=0) / parts
        count = len(g)
        fronts = self.fronts
        if parts > 1:
            fronts = self.x + self.chord * (np.arange(count) + 0.5) / count
        bound = np.zeros((count, len(self.edges), 3))
        bound[:, :, 0] = fronts[:, None]
        bound[:, :, 1] = self.edges
        ends = np.append(fronts, self.x + self.chord * FAR)
        trail = np.zeros((len(self.edges), len(ends), 3))
        trail[:, :, 0] = ends
        trail[:, :, 1] = self.edges[:, None]
        total = np.cumsum(g, axis=0)
        shed = -np.diff(np.pad(total, ((0, 0), (1, 1))), axis=1).T
        return [(bound, g), (trail, np.ascontiguousarray(shed))]

    def solve(self, onset: Array) -> Array:
        """Γ (rows · s,) with no flow through the plate in the onset flow (rows · s, 3)."""
        return np.asarray(lu_solve(self._factors, -onset[:, 2]))

    def forces(self, gamma: Array, onset: Callable[[Array], Array]) -> Array:
        """Force over density on each strip, (s, 3): Kutta and Joukowski on every segment.

        Args:
            gamma: circulations, (rows · s,).
            onset: velocity of everything but the wing, (p, 3) to (p, 3).
        """
        (bound, g), (trail, shed) = self.chains(gamma)

        def load(ends: Array, strengths: Array) -> Array:
            middle = 0.5 * (ends[:, :-1] + ends[:, 1:]).reshape(-1, 3)
            flow = onset(middle)
            for chains, gammas in ((bound, g), (trail, shed)):
                flow = flow + self.kernel(middle, chains, gammas, THIN * self.chord)
            along = np.diff(ends, axis=1).reshape(-1, 3)
            force = strengths.reshape(-1, 1) * np.cross(flow, along)
            return np.asarray(force.reshape(*strengths.shape, 3))

        on_bound = load(bound, g).sum(axis=0)
        # Trailing vortices push the plate only as far as its trailing edge.
        last = trail.copy()
        last[:, -1, 0] = self.x + self.chord
        on_trail = load(last, shed).sum(axis=1)
        strip = on_bound + 0.5 * (on_trail[:-1] + on_trail[1:])
        strip[0] += 0.5 * on_trail[0]
        strip[-1] += 0.5 * on_trail[-1]
        return strip


def _cosine(low: float, high: float, count: int) -> tuple[Array, Array]:
    """Edges (count + 1,) and collocation places (count,) at the cosine mid-angles."""
    angle = np.pi * np.arange(2 * count + 1) / (2 * count)
    at = 0.5 * (low + high) - 0.5 * (high - low) * np.cos(angle)
    return at[::2], at[1::2]


def plate(
    kernel: Kernel,
    chord: float,
    x: float,
    aspect: float = 8.0,
    inner: float = 1.0,
    strips: tuple[int, int] = (14, 20),
    rows: int = 8,
) -> Plate:
    """A plate with more strips over the slipstream.

    Args:
        kernel: velocity of chains of segments.
        chord: chord.
        x: leading edge.
        aspect: aspect ratio.
        inner: equal strips on (−inner, inner), which takes in the slipstream and its edge.
        strips: number on (0, inner) and, cosine, on (inner, tip).
        rows: along the chord, equal.
    """
    middle = np.linspace(-inner, inner, 2 * strips[0] + 1)
    middle_at = 0.5 * (middle[:-1] + middle[1:])
    side, side_at = _cosine(inner, 0.5 * aspect * chord, strips[1])
    edges = np.concatenate([-side[::-1], middle[1:-1], side])
    at = np.concatenate([-side_at[::-1], middle_at, side_at])
    along = x + chord * np.linspace(0.0, 1.0, rows + 1)
    fronts = along[:-1] + 0.25 * np.diff(along)
    points = np.zeros((rows, len(at), 3))
    points[:, :, 0] = (along[:-1] + 0.75 * np.diff(along))[:, None]
    points[:, :, 1] = at
    flat = points.reshape(-1, 3)
    matrix = np.empty((len(flat), len(flat)))
    far = x + chord * FAR
    for i, front in enumerate(fronts):
        for j in range(len(at)):
            low, high = edges[j], edges[j + 1]
            shoe = np.array([[far, low, 0], [front, low, 0], [front, high, 0], [far, high, 0]])
            one = kernel(flat, shoe[None], np.ones((1, 3)), THIN * chord)
            matrix[:, i * len(at) + j] = one[:, 2]
    return Plate(chord, x, edges, fronts, flat, kernel, lu_factor(matrix))
