"""Gutin's tones."""

from __future__ import annotations

import math
from pathlib import Path

from blownwing.propeller.noise import gutin_tones
from blownwing.validation import Row, published_rows


def computed() -> dict[str, float]:
    """Sound pressures by quantity."""
    values = {}
    for degrees, count in ((90, 3), (105, 2)):
        tones = gutin_tones(
            thrust=1500.0,
            power=60e3,
            omega=2400.0 * math.pi / 30.0,
            blades=2,
            diameter=2.0,
            speed_of_sound=340.0,
            distance=50.0,
            angle=math.radians(degrees),
        )
        for k in range(count):
            values[f"tone {k + 1} at {degrees}°, Pa"] = float(tones.pressure[k])
    return values


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
