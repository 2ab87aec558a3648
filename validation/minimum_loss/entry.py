"""The minimum-loss design procedure for its article's example."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from blownwing.propeller.optimum import minimum_loss
from blownwing.validation import Row, published_rows

# ft, s, lbf, slug
SPEED, OMEGA, RADIUS = 110.0 * 5280.0 / 3600.0, 2400.0 * math.pi / 30.0, 2.875
DENSITY, POWER = 0.0023769, 70.0 * 550.0
UNIT = 0.5 * DENSITY * SPEED**2 * math.pi * RADIUS**2


def computed() -> dict[str, float]:
    """Displacement, thrust and efficiency by quantity."""
    radii = np.linspace(1.0 / 5.75, 1.0, 2001)
    values = {}
    for blades in (2, 3):
        for glide in (0.0, 0.0138):
            advance = SPEED / (OMEGA * RADIUS)
            found = minimum_loss(radii, advance, blades, glide, power=POWER / (UNIT * SPEED))
            head = f"{blades} blades, drag/lift {glide}"
            values[f"{head}: ζ"] = found.displacement
            values[f"{head}: thrust, lbf"] = found.thrust * UNIT
            values[f"{head}: efficiency"] = found.efficiency
    return values


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
