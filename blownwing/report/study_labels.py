"""How figures name a study's parameters and results, with their units."""

from __future__ import annotations

from blownwing.study.table import described

_UNITS = {
    "thrust": "N", "power": "W", "rpm": "1/min", "pitch": "°", "alpha": "°", "beta": "°",
    "airspeed": "m/s", "altitude": "m", "diameter": "m", "x": "m", "y": "m", "z": "m", "chord": "m",
    "twist": "°", "incidence": "°", "toe": "°", "deflection": "°", "density": "kg/m³",
    "roll_rate": "°/s", "pitch_rate": "°/s", "yaw_rate": "°/s", "ground_height": "m",
    "isa_offset": "K", "reference_area": "m²", "reference_chord": "m",
}  # fmt: skip


def label_of(name: str) -> str:
    """A result with its unit."""
    units = described(name).units
    return name if units == "1" else f"{name} [{units}]"


def parameter_of(key: str) -> str:
    """A dotted key with the unit that its values have in a case."""
    units = _UNITS.get(key.rpartition(".")[2])
    return f"{key} [{units}]" if units else key
