"""Electric range at constant mass."""

from __future__ import annotations

from pathlib import Path

from blownwing.aircraft.energy import WATT_HOUR, electric_range
from blownwing.validation import Row, published_rows

CASES = ((180, 0.73, 12, 0.25), (250, 0.75, 14, 0.3), (400, 0.8, 16, 0.35))


def computed() -> dict[str, float]:
    """Ranges by quantity."""
    return {
        f"{e} Wh/kg, η {n}, L/D {g}, battery {b}, km": electric_range(e * WATT_HOUR, n, g, b) / 1e3
        for e, n, g, b in CASES
    }


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
