"""The constructed NACA 0012 against a measurement."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from blownwing.airfoil.handbook import named_section
from blownwing.airfoil.library import LEVELS
from blownwing.airfoil.packed import coefficients
from blownwing.airfoil.reshape import over_reynolds
from blownwing.validation import Row, published_rows

REYNOLDS = 6e6


def computed() -> dict[str, float]:
    """Slope, peak and drag by quantity."""
    table = over_reynolds(
        named_section("naca0012"), LEVELS
    )  # as names without a table of their own
    cl, cd, _ = coefficients(table, np.radians([0.0, 4.0]), REYNOLDS)
    peaks = table.cl.max(axis=1)
    return {
        "lift slope below 6°, per deg": float(cl[1] - cl[0]) / 4.0,
        "largest cl": float(np.interp(math.log(REYNOLDS), np.log(table.reynolds), peaks)),
        "cd at 4°, smooth below tripped": float(cd[1]),
    }


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
