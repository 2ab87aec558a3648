"""Ground roll in closed form and integrated."""

from __future__ import annotations

from pathlib import Path

from blownwing.aircraft.ground import closed_roll, rolled
from blownwing.validation import Row, published_rows

WEIGHT, AREA, DENSITY, THRUST, FRICTION = 15000.0, 20.0, 1.225, 6000.0, 0.04
SPEED = 1.1 * (2.0 * WEIGHT / (DENSITY * AREA * 2.0)) ** 0.5
LIFT, DRAG = 0.5, 0.06 + 0.05 * 0.5**2


def forces(speed: float) -> tuple[float, float, float]:
    """Net force along the ground, lift and (unused) power at an airspeed."""
    pressure = 0.5 * DENSITY * speed**2 * AREA
    return THRUST - pressure * DRAG, pressure * LIFT, 0.0


def computed() -> dict[str, float]:
    """Distances by quantity."""
    closed = closed_roll(WEIGHT, AREA, DENSITY, THRUST, LIFT, DRAG, FRICTION, SPEED)
    free = rolled(lambda _speed: (THRUST, 0.0, 0.0), WEIGHT, 0.0, end=SPEED)
    return {
        "closed form, m": closed,
        "integrated, m": rolled(forces, WEIGHT, FRICTION, end=SPEED).distance,
        "integrated without drag and friction, m": free.distance,
    }


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
