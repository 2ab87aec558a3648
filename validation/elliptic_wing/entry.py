"""Span efficiency and lift slope of elliptic wings."""

from __future__ import annotations

from pathlib import Path

from blownwing.validation import Row, published_rows
from blownwing.validation.scenes import elliptic, lift_slope, solution


def computed() -> dict[str, float]:
    """Efficiency and slope by quantity."""
    efficiency = solution(elliptic(8.0), 3.0).totals["span_efficiency_unblown"]
    return {
        "span efficiency, A 8": efficiency,
        "CLα, A 32, per rad": lift_slope(elliptic(32.0)),
    }


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
