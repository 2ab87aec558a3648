"""The slender-wing limit of the lift slope."""

from __future__ import annotations

from pathlib import Path

from blownwing.validation import Row, published_rows
from blownwing.validation.scenes import lift_slope, rectangle


def computed() -> dict[str, float]:
    """Slopes by quantity."""
    return {f"CLα, A {a}, per rad": lift_slope(rectangle(a)) for a in (0.1, 0.2)}


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
