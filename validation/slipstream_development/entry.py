"""Growth of the slipstream behind an ideal disc, through the whole solve."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from blownwing.validation import Row, published_rows
from blownwing.validation.scenes import SPEED, rectangle, solution

DENSITY = 1.2


def computed() -> dict[str, float]:
    """Growth by quantity; a disc of Tc = 1 and radius 0.5 m far from a small wing."""
    disc = {
        "name": "disc",
        "kind": "disc",
        "position": [-1e4, 500.0, 0.0],
        "diameter": 1.0,
        "thrust": 0.5 * DENSITY * SPEED**2 * 0.25 * math.pi,
    }
    model = {"jet_edge": False, "chordwise": 1, "spanwise": 2}
    found = solution(rectangle(6.0), 0.0, propellers=[disc], flow={"density": DENSITY}, model=model)
    tube = found.slipstreams["disc"]
    induced = 0.5 * (math.sqrt(2.0) - 1.0)
    growth = (tube["speed_ratio"] - 1.0) / induced
    return {
        f"induced velocity over that at the disc, x/R {x}": float(
            growth[np.argmin(np.abs(tube["x"] - 0.5 * x))]
        )
        for x in (0, 0.5, 1, 2)
    }


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
