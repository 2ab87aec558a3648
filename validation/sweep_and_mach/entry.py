"""Lift slope with sweep and Mach number against a handbook formula."""

from __future__ import annotations

from pathlib import Path

from blownwing.validation import Row, published_rows
from blownwing.validation.scenes import lift_slope, rectangle


def computed() -> dict[str, float]:
    """Slopes by quantity."""
    values = {}
    for aspect, sweep, mach in ((5, 45, 0), (8, 0, 0), (8, 0, 0.5), (8, 25, 0.6)):
        slope = lift_slope(
            rectangle(aspect, 1.0, sweep), flow={"mach": mach}, model={"compressibility": True}
        )
        values[f"CLα, A {aspect}, {sweep}°, M {mach}"] = slope
    return values


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
