"""A small wing in an open jet in still air, through the whole solve."""

from __future__ import annotations

import math
from pathlib import Path

from blownwing.validation import Row, published_rows
from blownwing.validation.scenes import SMALL, jet, rectangle, solution

FAST = 1000.0


def factor(aspect: float, size: float) -> float:
    """δ of a wing whose span is ``size`` jet diameters."""
    radius = 0.5 * aspect / size
    one = jet(radius, FAST, SMALL, 2.0 * radius, nozzle=True)
    model = {"chordwise": 6, "spanwise": 24, "jet_around": 40, "jet_rings": 40}
    found = solution(rectangle(aspect), SMALL, propellers=[one], model=model).totals
    bound, free = found["CL"] / FAST**2, found["CL_unblown"]
    slope = free / math.radians(SMALL)
    # Both lifts are at one incidence: the jet's effect as a change of it.
    return (bound - free) / slope / bound * math.pi * radius**2 / aspect


def computed() -> dict[str, float]:
    """Interference factors by quantity."""
    large, small = factor(8.0, 0.2), factor(8.0, 0.1)
    return {
        "δ, A 4, span 0.2 of the diameter": factor(4.0, 0.2),
        "δ, A 8, span 0.2 of the diameter": large,
        "δ, A 8, extrapolated to a small wing": 2.0 * small - large,
    }


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
