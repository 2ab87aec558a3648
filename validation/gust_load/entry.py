"""The load factor of a discrete gust."""

from __future__ import annotations

from pathlib import Path

from blownwing.aircraft.gust import gust_load
from blownwing.validation import Row, published_rows

POUND_PER_FOOT2, FOOT, KNOT = 47.88026, 0.3048, 1852.0 / 3600.0


def computed() -> dict[str, float]:
    """Factors by quantity."""
    found = gust_load(15.0 * POUND_PER_FOOT2, 4.5 * FOOT, 5.0, 150.0 * KNOT, 50.0 * FOOT)
    return {
        "mass ratio": found.mass_ratio,
        "alleviation factor": found.alleviation,
        "added load factor": found.added,
    }


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
