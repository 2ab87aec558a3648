"""The ideal actuator disc against momentum theory."""

from __future__ import annotations

import math
from pathlib import Path

from blownwing.propeller.disc import disc_loads
from blownwing.validation import Row, published_rows

DENSITY, DIAMETER, SPEED = 1.225, 1.7, 40.0


def computed() -> dict[str, float]:
    """Speed, radius and efficiency by quantity."""
    values = {}
    area = 0.25 * math.pi * DIAMETER**2
    for loading in (0.5, 1, 3, 8):
        thrust = loading * 0.5 * DENSITY * SPEED**2 * area
        disc = disc_loads(thrust, DIAMETER, SPEED, DENSITY)
        values[f"Vj/V, Tc {loading}"] = disc.far_velocity / SPEED
        values[f"Rj/R, Tc {loading}"] = disc.far_radius / (0.5 * DIAMETER)
        values[f"η, Tc {loading}"] = disc.efficiency
    rest = disc_loads(1000.0, DIAMETER, 0.0, DENSITY)
    values["Rj/R at rest"] = rest.far_radius / (0.5 * DIAMETER)
    return values


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
