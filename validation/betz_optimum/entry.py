"""Betz's optimum with infinitely many blades."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from blownwing.propeller.optimum import minimum_loss
from blownwing.validation import Row, published_rows

CASES = ((0.1, 0.45625), (0.2, 0.40744), (0.3, 0.35488), (0.5, 0.26103))


def computed() -> dict[str, float]:
    """Displacement and efficiency by quantity."""
    values = {}
    for advance, power in CASES:
        found = minimum_loss(np.linspace(1e-6, 1.0, 4001), advance, math.inf, power=power)
        values[f"ζ, λ {advance}, Pc {power}"] = found.displacement
        values[f"efficiency, λ {advance}, Pc {power}"] = found.efficiency
    return values


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
