"""Largest lift of an elliptic wing with section tables."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from blownwing.airfoil.library import section_for
from blownwing.case.model import Case
from blownwing.study.lift.peak import peak_lift
from blownwing.validation import Row, published_rows
from blownwing.validation.scenes import elliptic

SECTION, SPEED = "naca2412", 60.0


def computed() -> dict[str, float]:
    """Ratio of largest lifts by quantity."""
    case = Case.from_tables(
        {
            "flow": {"airspeed": SPEED, "alpha": 8.0},
            "wing": {"stations": elliptic(8.0, SECTION)},
            "model": {"sections": "tables", "chordwise": 4, "spanwise": 24,
                      "compressibility": False},
        }
    )  # fmt: skip
    peak = peak_lift(case, near=16.0)
    table, strips = section_for(SECTION), peak.solution.strips
    reynolds = case.air.density * SPEED * strips["chord"] / case.air.viscosity
    largest = np.interp(np.log(reynolds), np.log(table.reynolds), table.cl.max(axis=1))
    area = strips["chord"] * strips["width"]
    mean = float(np.sum(largest * area) / np.sum(area))
    return {"CLmax over the sections' mean largest cl, A 8": peak.CL / mean}


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
