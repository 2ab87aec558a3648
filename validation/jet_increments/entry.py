"""Lift gained by a wing through one constant jet with an edge."""

from __future__ import annotations

from pathlib import Path

from blownwing.validation import Row, published_rows
from blownwing.validation.scenes import jet, rectangle, solution

JETS = ((0.25, 1.5), (0.5, 1.2), (0.5, 1.5), (0.5, 2.0), (1.0, 1.5), (1.0, 2.0), (2.0, 1.5))
ALPHA = 2.0


def computed() -> dict[str, float]:
    """Relative increments of lift by quantity."""
    values = {}
    for radius, ratio in JETS:
        found = solution(rectangle(8.0), ALPHA, propellers=[jet(radius, ratio, ALPHA)]).totals
        values[f"ΔCL/CL, R/c {radius}, μ {ratio}"] = found["CL"] / found["CL_unblown"] - 1.0
    return values


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
