"""Rotors that the tests build from formulae."""

import math
from dataclasses import dataclass

import numpy as np

from blownwing.airfoil.section import ALPHA_GRID, SectionTable
from blownwing.propeller.blade import Blade


@dataclass(frozen=True)
class TestAir:
    """Air of constant properties; sound so fast that compressibility does not act."""

    __test__ = False

    density: float = 1.225
    viscosity: float = 1.8e-5
    speed_of_sound: float = 1e6


AIR = TestAir()


def linear_section(slope=2.0 * math.pi, drag=1e-9, drag_at=None):
    """cl = slope × α within ±60°, held beyond; a constant drag, or drag_at(α)."""
    cl = slope * np.clip(ALPHA_GRID, -1.05, 1.05)
    cd = np.full_like(cl, drag) if drag_at is None else drag_at(ALPHA_GRID)
    return SectionTable("line", "a test", np.array([1e6]), cl[None], cd[None], 0.0 * cl[None])


def blade_of(x, chord, twist, section):
    """A blade from arrays over r/R."""
    x = np.array(x, dtype=float)
    return Blade(
        "test",
        "a test",
        x,
        np.array(chord, dtype=float) + 0.0 * x,
        np.array(twist, dtype=float) + 0.0 * x,
        ("line",) * len(x),
        {"line": section},
    )
