"""Tip propellers against inboard ones at equal lift and thrust."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from blownwing.case.model import Case
from blownwing.study.lift.peak import trimmed
from blownwing.validation import Row, published_rows

BLADES = Path(__file__).parents[2] / "shared" / "blades"
HALF, CHORD, DIAMETER, SPEED, LIFT = 0.73, 0.24, 0.237, 40.0, 0.5
THRUST = 0.12 * 1.225 * SPEED**2 * DIAMETER**2 / 0.8**2


def state(y: float, spin: str) -> Any:
    """Totals at the compared lift with one propeller on each half at y."""
    stations = [
        {"y": 0.0, "chord": CHORD, "airfoil": "naca0015"},
        {"y": HALF, "chord": CHORD, "airfoil": "naca0015"},
    ]
    propeller = {
        "name": "tractor",
        "position": [-0.2, y, 0.0],
        "diameter": DIAMETER,
        "blades": 4,
        "blade": "tunnel_4.csv",
        "spin": spin,
        "mirror": True,
        "thrust": THRUST,
    }
    tables = {
        "flow": {"airspeed": SPEED, "alpha": 6.0, "density": 1.225},
        "wing": {"stations": stations},
        "propellers": [propeller],
    }
    return trimmed(Case.from_tables(tables, BLADES), "CL", LIFT).totals


def computed() -> dict[str, float]:
    """Relative change of wing drag, and change of induced drag with the spin."""
    tip, inboard = state(HALF, "inboard_up"), state(0.5 * HALF, "inboard_up")
    other = state(HALF, "outboard_up")
    return {
        "wing drag, tip over inboard at equal lift and thrust, less one": tip["CD"] / inboard["CD"]
        - 1.0,
        "induced drag, inboard-up less outboard-up on the tip (sign)": tip["CD_induced"]
        - other["CD_induced"],
    }


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
