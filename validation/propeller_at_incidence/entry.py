"""Propellers at incidence: inflow factor and normal force."""

from __future__ import annotations

import math
from pathlib import Path

from blownwing.case.air import air_at
from blownwing.propeller.blade import read_blade
from blownwing.propeller.incidence import fin_slope, inflow_factor
from blownwing.propeller.rotor import axial_inflow, build_rotor, solve_rotor
from blownwing.validation import Row, published_rows

BLADE = Path(__file__).parents[2] / "shared" / "blades" / "cruise_3.csv"
SPEED, OMEGA, ANGLE = 50.0, 210.0, math.radians(1.0)


def force_ratio(pitch: float) -> float:
    """Normal force of the blade elements over the fin's, pitch in degrees."""
    air, rotor = air_at(), build_rotor(read_blade(BLADE), 1.8, 3, 30)
    inflow = axial_inflow(rotor, SPEED, ANGLE, 36)
    loads = solve_rotor(rotor, air, OMEGA, math.radians(pitch), "clockwise", inflow)
    unit = 0.5 * air.density * SPEED**2 * math.pi * rotor.radius**2
    fin = fin_slope(rotor, math.radians(pitch), loads.thrust / unit)
    return loads.force_up / ANGLE / unit / fin


def computed() -> dict[str, float]:
    """Factors and force ratios by quantity."""
    values = {f"inflow factor, Tc {tc}": inflow_factor(tc) for tc in (0.5, 1, 4)}
    values["normal force over the fin's, light thrust"] = force_ratio(-6.0)
    values["normal force over the fin's, higher thrust"] = force_ratio(2.0)
    return values


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
