"""A plain flap by thin-aerofoil theory."""

from __future__ import annotations

from pathlib import Path

from blownwing.airfoil.camber import flap_effectiveness, flap_moment_slope
from blownwing.validation import Row, published_rows


def computed() -> dict[str, float]:
    """Effectiveness and moment by quantity."""
    values = {}
    for share in (0.1, 0.2):
        values[f"effectiveness, flap {share:.2f} chord"] = float(flap_effectiveness(share))
        moment = float(flap_moment_slope(share))
        values[f"moment per flap angle, flap {share:.2f} chord, 1/rad"] = moment
    return values


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
