"""How figures name a study's parameters and results, with their units."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from typing import Any

from blownwing.study.sweep.table import StudyTable, described

_UNITS = {
    "thrust": "N", "power": "W", "rpm": "1/min", "pitch": "°", "alpha": "°", "beta": "°",
    "airspeed": "m/s", "altitude": "m", "diameter": "m", "x": "m", "y": "m", "z": "m", "chord": "m",
    "twist": "°", "incidence": "°", "toe": "°", "deflection": "°", "density": "kg/m³",
    "roll_rate": "°/s", "pitch_rate": "°/s", "yaw_rate": "°/s", "ground_height": "m",
    "isa_offset": "K", "reference_area": "m²", "reference_chord": "m",
}  # fmt: skip


_WING = ("lift", "CL", "drag", "CD", "CD_induced", "thrust", "power", "net_axial_force")
_AIRCRAFT = (
    "take_off_distance", "CLmax", "range", "cruise_power", "approach_stall", "gradient_failed",
    "noise",
)  # fmt: skip


def main_quantities(table: StudyTable) -> tuple[str, ...]:
    """The results of a study that come first."""
    names = _AIRCRAFT if _AIRCRAFT[0] in table.results else _WING
    return tuple(name for name in names if name in table.results)


def best_quantities(table: StudyTable) -> tuple[str, ...]:
    """The results that stand beside the ranked one in a list of the best cases."""
    names = main_quantities(table)
    if _AIRCRAFT[0] in names:
        return names
    return tuple(name for name in ("CL", "CD_induced", "thrust", "power") if name in names)


def effect_words(table: StudyTable) -> tuple[list[str], str]:
    """Heads of the columns behind the inputs' effects, and what the effects' cells say."""
    names = {name.partition(" ")[0] for values in table.summary.values() for name in values}
    words = "main effects as shares of variance"
    words += " ± standard error (total effects)" if "total" in names else ""
    fitted = "unexplained" in names
    words += "; what the fit leaves of it at points left out" if fitted else ""
    return ["not explained"] if fitted else [], words


def effect_cells(table: StudyTable, values: Mapping[str, float]) -> list[str]:
    """Effects of each input on a quantity; of an expansion with what it leaves unexplained.

    values: shares of variance, by the names of the table's summary.
    """
    cells = []
    for key in table.parameters:
        text = f"{values.get(f'effect {key}', 0.0):z.2f}"
        if f"total {key}" in values:
            text += f" ± {values[f'band {key}']:.2f} ({values[f'total {key}']:.2f})"
        cells.append(text)
    if "unexplained" in values:
        cells.append(f"{100.0 * values['unexplained']:.2g} %")
    return cells


def label_of(name: str) -> str:
    """A result with its unit."""
    units = described(name).units
    return name if units == "1" else f"{name} [{units}]"


def factors_of(table: StudyTable) -> set[str]:
    """Keys whose values are factors on what the case has, as the study's text says."""
    try:
        asked: dict[str, Any] = tomllib.loads(table.study_toml).get("sweep", {})
    except tomllib.TOMLDecodeError:
        return set()
    return {str(p.get("key")) for p in asked.get("parameters", ()) if p.get("factor")}


def parameter_of(table: StudyTable, key: str) -> str:
    """A dotted key with the unit that its values have in a case."""
    if key in factors_of(table):
        return f"{key} [× the case's]"
    units = _UNITS.get(key.rpartition(".")[2])
    return f"{key} [{units}]" if units else key
