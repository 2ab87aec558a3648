"""The jump condition of the edge in a plane jet."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from blownwing.validation import Row, published_rows

Array = NDArray[np.float64]


def lift_factor(
    chord_over_height: float,
    speed_ratio: float,
    vortices: int = 40,
    panels: int = 400,
    reach: float = 2000.0,
) -> float:
    """K = lift / (2π α q_jet c) of a plate of chord 1 in a jet of height 1/chord_over_height.

    speed_ratio: μ, math.inf for still air outside; reach: jet heights up- and downstream, beyond
    which the sheets keep their strength.
    """
    kappa = 1.0 if math.isinf(speed_ratio) else (speed_ratio**2 - 1.0) / (speed_ratio**2 + 1.0)
    half = 0.5 / chord_over_height
    spot = (np.arange(vortices) + 0.25) / vortices
    check = (np.arange(vortices) + 0.75) / vortices
    unit = min(half, 0.5)
    end = math.asinh(2.0 * half * reach / unit)
    x = 0.5 + unit * np.sinh(np.linspace(-end, end, panels + 1))
    middle = 0.5 * (x[1:] + x[:-1])
    ends = np.concatenate(([-np.inf], x[1:-1], [np.inf]))

    # Normal velocity on the plate, of its own clockwise vortices and of the ends of the sheets.
    wing = -1.0 / (2.0 * np.pi * (check[:, None] - spot[None, :]))
    upward = _of_both_ends(check[:, None] - ends[None, :], half)
    sheet = upward[:, 1:] - upward[:, :-1]
    # Potential on the upper sheet, rising from 0 upstream, and of the lower sheet's equal step.
    from_wing = np.arctan2(half, spot[None, :] - middle[:, None]) / (2.0 * np.pi)
    angle = np.arctan2(ends[None, :] - middle[:, None], 2.0 * half)
    mean = np.diff(angle, axis=1) / (2.0 * np.pi)
    size = vortices + panels
    matrix = np.zeros((size, size))
    matrix[:vortices, :vortices], matrix[:vortices, vortices:] = wing, sheet
    matrix[vortices:, :vortices] = -2.0 * kappa * from_wing
    matrix[vortices:, vortices:] = np.eye(panels) - 2.0 * kappa * mean
    right = np.concatenate((-np.ones(vortices), np.zeros(panels)))
    strength = np.linalg.solve(matrix, right)
    # The force inside is μ² ρ V g, so over 2π α q_jet c the ratio is Σg / (π V α c).
    return float(np.sum(strength[:vortices]) / np.pi)


def _of_both_ends(dx: Array, height: float) -> Array:
    """Upward velocity at y = 0 of the ends, at ±height, of a pair of sheets of unit strength."""
    far = np.isinf(dx)
    near = np.where(far, 0.0, dx)
    return np.where(far, 0.0, near / (np.pi * (near * near + height**2)))


def computed() -> dict[str, float]:
    """Lift factors by quantity."""
    values = {
        f"K, c/H {size}, μ {ratio}": lift_factor(float(size), ratio)
        for size, ratio in (("1", 2), ("1", 1.5), ("1", 1.25), ("0.5", 2), ("0.5", 1.5))
    }
    values["K, c/H 1, still air outside"] = lift_factor(1.0, 100.0)
    return values


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
