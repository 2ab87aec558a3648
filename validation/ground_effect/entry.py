"""Induced drag of an elliptic wing near the ground."""

from __future__ import annotations

from pathlib import Path

from blownwing.validation import Row, published_rows
from blownwing.validation.scenes import elliptic, solution

ASPECT = 8.0


def factor(**flow: float) -> float:
    """Far-field induced drag over the square of the lift."""
    found = solution(elliptic(ASPECT), 2.0, flow=flow).totals
    return float(found["CD_induced_farfield"] / found["CL"] ** 2)


def computed() -> dict[str, float]:
    """Ratios by quantity."""
    free = factor()
    heights = (0.1, 0.15, 0.2, 0.25, 0.5, 1.0)
    return {
        f"CDi/CL² over free air, h/b {h}": factor(ground_height=h * ASPECT) / free for h in heights
    }


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
