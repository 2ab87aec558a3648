"""A swept wing in the wind tunnel: lift and span loading."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from blownwing.validation import Row, published_rows
from blownwing.validation.scenes import rectangle, solution

PLACES = ("0.082", "0.163", "0.245", "0.367", "0.510", "0.653")


def computed() -> dict[str, float]:
    """Lift coefficients by quantity."""
    wing = rectangle(5.0, 0.2, 45.0)
    values = {f"CL at {a}°": solution(wing, a).totals["CL"] for a in (2.1, 4.2, 6.3)}
    strips = solution(wing, 4.2).strips
    for place in PLACES:
        section = float(np.interp(0.5 * float(place), strips["y"], strips["cl"]))
        values[f"section cl at 4.2°, 2y/b {place}"] = section
    return values


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
