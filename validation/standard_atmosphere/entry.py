"""The standard atmosphere at four altitudes."""

from __future__ import annotations

from pathlib import Path

from blownwing.case.air import air_at
from blownwing.validation import Row, published_rows


def computed() -> dict[str, float]:
    """Properties by quantity."""
    values = {}
    for altitude in (0, 5000, 11000, 20000):
        air = air_at(altitude)
        values[f"pressure, Pa at {altitude} m"] = air.pressure
        values[f"density, kg/m³ at {altitude} m"] = air.density
        values[f"speed of sound, m/s at {altitude} m"] = air.speed_of_sound
    return values


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
