"""The linear tube of doublets with the disc's condition, small and dense, to set beside the rings.

Own and separate from the package's tubes. φ is the potential of all flow across the stream, ψ = φ
outside and φ/μ inside a straight slipstream. The slope of the edge and the pressure are continuous
across it and the disc does nothing in its own plane, hence the edge is a sheet of doublets

    D = ψ_out − ψ_in = 2κ ψ_mean − 2(μ − 1)/(μ² + 1) φ_rim(θ),   κ = (μ² − 1)/(μ² + 1),

with ψ_mean of everything else and the principal value of the sheet, φ_rim the potential just ahead
of the disc's rim at the same azimuth. Flat panels of constant D: potential by the solid angle
(Van Oosterom & Strackee 1983, IEEE Trans. Biomed. Eng. 30, "The solid angle of a plane triangle",
from memory), velocity as that of a vortex ring around the panel. Free stream 1 along x.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from rings import induced

Array = NDArray[np.float64]
Potential = Callable[[Array], Array]


def _triangle(a: Array, b: Array, c: Array) -> Array:
    """Solid angle of triangles whose corners are seen at a, b, c (..., 3)."""
    ra, rb, rc = (np.linalg.norm(v, axis=-1) for v in (a, b, c))
    top = np.einsum("...i,...i", a, np.cross(b, c))
    dots = (np.einsum("...i,...i", *pair) for pair in ((a, b), (a, c), (b, c)))
    ab, ac, bc = dots
    return np.asarray(2.0 * np.arctan2(top, ra * rb * rc + ab * rc + ac * rb + bc * ra))


def solid_angle(points: Array, quads: Array) -> Array:
    """Solid angle (p, q) over 4π of `quads` (q, 4, 3) seen from `points` (p, 3).

    Positive on the side to which a right-handed turn of the corners points; zero in its plane.
    """
    corner = [quads[None, :, k] - points[:, None] for k in range(4)]
    first = _triangle(corner[0], corner[1], corner[2])
    return (first + _triangle(corner[0], corner[2], corner[3])) / (-4.0 * np.pi)


@dataclass(frozen=True)
class Tube:
    """One or two straight tubes along x from the discs at x = 0; solve with `doublets`.

    Attributes:
        ratio: μ.
        quads: panels, (q, 4, 3).
        rim: points just ahead of the front edge, one for each panel's azimuth, (q, 3).
    """

    ratio: float
    quads: Array
    rim: Array

    def doublets(self, potential: Potential, condition: bool = True) -> Array:
        """D (q,) in a cross-flow of the given potential, (p, 3) to (p,).

        Args:
            potential: of everything but the tubes.
            condition: with the disc's term; without it the stream comes from far upstream.
        """
        mu = self.ratio
        kappa = (mu**2 - 1.0) / (mu**2 + 1.0)
        share = (mu - 1.0) / (mu**2 + 1.0) if condition else 0.0
        centres = self.quads.mean(axis=1)
        mean = solid_angle(centres, self.quads)
        np.fill_diagonal(mean, 0.0)
        front = solid_angle(self.rim, self.quads)
        system = np.eye(len(mean)) - 2.0 * kappa * mean + 2.0 * share * front
        onset = 2.0 * kappa * potential(centres) - 2.0 * share * potential(self.rim)
        return np.asarray(np.linalg.solve(system, onset))

    def velocity(self, points: Array, doublets: Array) -> Array:
        """∇ψ (p, 3) of the sheets."""
        loops = np.concatenate([self.quads, self.quads[:, :1]], axis=1)
        # A sheet across which ψ rises by D along n has −D around it in the right-handed sense.
        strengths = np.repeat(-doublets[:, None], 4, axis=1)
        return induced(points, loops, strengths, 1e-9)


def tube(
    ratio: float,
    radius: float,
    around: int = 32,
    along: int = 32,
    length: float = 60.0,
    places: tuple[float, ...] = (0.0,),
) -> Tube:
    """Panels of straight tubes whose axes lie at y in `places`.

    Args:
        ratio: μ.
        radius: radius; the polygon across x has the circle's area.
        around: panels around, a multiple of four.
        along: panels along, widening (sinh) from the disc.
        length: length of the tubes.
        places: y of the axes.
    """
    turn = 2.0 * np.pi / around
    wide = radius * np.sqrt(turn / np.sin(turn))
    angle = np.arange(around + 1) * turn
    first = 0.25 * turn * radius
    stretch = _stretch(length / first, along)
    x = length * np.sinh(stretch * np.linspace(0.0, 1.0, along + 1)) / np.sinh(stretch)
    grid = np.empty((along + 1, around + 1, 3))
    grid[:, :, 0] = x[:, None]
    grid[:, :, 1] = wide * np.cos(angle)
    grid[:, :, 2] = wide * np.sin(angle)
    # Corners turn right-handed about the outward normal.
    quads = np.stack([grid[:-1, :-1], grid[:-1, 1:], grid[1:, 1:], grid[1:, :-1]], axis=2)
    front = 0.5 * (grid[0, :-1] + grid[0, 1:]) - np.array([1e-6 * radius, 0.0, 0.0])
    shape = np.array([0.0, 1.0, 0.0])
    return Tube(
        ratio,
        np.concatenate([quads.reshape(-1, 4, 3) + y * shape for y in places]),
        np.concatenate([np.tile(front, (along, 1)) + y * shape for y in places]),
    )


def _stretch(ratio: float, count: int) -> float:
    """s of sinh(s t)/sinh(s) whose first of `count` steps is 1/ratio of the whole."""
    low, high = 1e-6, 50.0
    for _ in range(100):
        middle = 0.5 * (low + high)
        small = np.sinh(middle / count) / np.sinh(middle) < 1.0 / ratio
        low, high = (low, middle) if small else (middle, high)
    return 0.5 * (low + high)
