"""Gutin's tones."""

from __future__ import annotations

import math
from pathlib import Path

from blownwing.propeller.noise import ToneSource, gutin_tones
from blownwing.validation import Row, published_rows

SOURCE = ToneSource(
    thrust=1500.0, power=60e3, omega=2400.0 * math.pi / 30.0, blades=2, diameter=2.0
)


def computed() -> dict[str, float]:
    """Sound pressures by quantity."""
    values = {}
    for degrees, count in ((90, 3), (105, 2)):
        tones = gutin_tones(SOURCE, 340.0, 50.0, math.radians(degrees))
        for k in range(count):
            values[f"tone {k + 1} at {degrees}°, Pa"] = float(tones.pressure[k])
    return values


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
