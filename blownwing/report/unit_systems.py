"""Quantities on a terminal in SI or in the units of aviation in the United States."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from blownwing.case.units import FOOT, GRAVITY, KNOT, POUND

SystemName = Literal["si", "us"]

_POUND_FORCE = POUND * GRAVITY
_HORSEPOWER = 550.0 * FOOT * _POUND_FORCE


@dataclass(frozen=True)
class Unit:
    """A unit's name, its size in SI, and the decimals that suit it."""

    name: str
    size: float
    decimals: int

    def text(self, value: float, sign: str = "", more: int = 0) -> str:
        """A value in SI as text in this unit.

        sign: "+" to show it always; more: decimals beside the usual ones.
        """
        return f"{value / self.size:{sign}z.{self.decimals + more}f} {self.name}"


@dataclass(frozen=True)
class UnitSystem:
    """The units of a summary."""

    speed: Unit
    density: Unit
    pressure: Unit
    area: Unit
    force: Unit
    power: Unit


SYSTEMS: dict[SystemName, UnitSystem] = {
    "si": UnitSystem(
        Unit("m/s", 1.0, 1),
        Unit("kg/m³", 1.0, 3),
        Unit("Pa", 1.0, 0),
        Unit("m²", 1.0, 2),
        Unit("N", 1.0, 0),
        Unit("kW", 1000.0, 2),
    ),
    "us": UnitSystem(
        Unit("kt", KNOT, 1),
        Unit("lb/ft³", POUND / FOOT**3, 4),
        Unit("lbf/ft²", _POUND_FORCE / FOOT**2, 2),
        Unit("ft²", FOOT**2, 1),
        Unit("lbf", _POUND_FORCE, 1),
        Unit("hp", _HORSEPOWER, 2),
    ),
}
