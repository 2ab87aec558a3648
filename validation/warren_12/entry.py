"""Lift and moment slope of the Warren-12 planform."""

from __future__ import annotations

import math
from pathlib import Path

from blownwing.validation import Row, published_rows
from blownwing.validation.scenes import SMALL, solution


def computed() -> dict[str, float]:
    """Slopes by quantity."""
    half = math.sqrt(2.0)
    wing = [{"y": 0.0, "chord": 1.5}, {"y": half, "x": 1.35355 * half, "chord": 0.5}]
    found = solution(wing, SMALL, reference_chord=1.0).totals
    alpha = math.radians(SMALL)
    return {
        "CLα, per rad": found["CL"] / alpha,
        "CMα about the apex, per rad": found["C_pitch"] / alpha,
    }


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
