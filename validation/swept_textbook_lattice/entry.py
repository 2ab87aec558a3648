"""The worked example of a swept wing with four horseshoes per semi-span."""

from __future__ import annotations

import math
from pathlib import Path

from blownwing.validation import Row, published_rows
from blownwing.validation.scenes import SMALL, SPEED, rectangle, solution


def computed() -> dict[str, float]:
    """Lift slope and strip strengths by quantity."""
    model = {"chordwise": 1, "spanwise": 4, "spacing": "uniform"}
    found = solution(rectangle(5.0, 0.2, 45.0), SMALL, model=model)
    alpha = math.radians(SMALL)
    values = {"CLα, A 5, 45°, per rad": found.totals["CL"] / alpha}
    for k, circulation in enumerate(found.strips["circulation"][4:], start=1):
        strength = float(circulation) / (4.0 * math.pi * SPEED * alpha)
        values[f"strip {k} strength Γ/(4π b V α)"] = strength
    return values


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
