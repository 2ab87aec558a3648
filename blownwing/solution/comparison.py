"""Results side by side: values, differences, the bands of both, and which inputs differ."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blownwing.errors import InputError
from blownwing.solution.model import Solution
from blownwing.solution.variables import VARIABLES

Array = NDArray[np.float64]

SHOWN = (
    "alpha", "airspeed", "lift", "CL", "CL_unblown", "CL_superposed", "CL_from_thrust", "drag",
    "CD", "CD_induced", "CD_induced_farfield", "CD_profile", "C_pitch", "C_roll", "C_yaw",
    "thrust", "power",
    "net_axial_force", "efficiency", "half_lift", "half_drag",
)  # fmt: skip
ANGLE = 1e-6  # deg, by which angles of a polar may differ and count as the same
_NOTHING = 1e-7  # of the larger value: below it a difference is round-off


@dataclass(frozen=True)
class Compared:
    """One quantity of several results.

    Attributes:
        name, units, meaning: of the quantity.
        values: one per result, None where it does not exist.
        bands: half widths of the numerical bands, None where the file has none.
        differences: each less the first, None where one of them is missing.
        difference_bands: sums of both bands; a finer lattice may bring so much.
    """

    name: str
    units: str
    meaning: str
    values: tuple[float | None, ...]
    bands: tuple[float | None, ...]
    differences: tuple[float | None, ...]
    difference_bands: tuple[float | None, ...]

    def certain(self, index: int) -> bool | None:
        """Whether a difference is larger than its band; None without bands."""
        difference, band = self.differences[index], self.difference_bands[index]
        if difference is None or band is None:
            return None
        return abs(difference) > band


@dataclass(frozen=True)
class Change:
    """One input that is not the same in all results: its dotted key and the values as text."""

    key: str
    values: tuple[str, ...]


@dataclass(frozen=True)
class Comparison:
    """Results side by side.

    Attributes:
        names: short ones, unique.
        solutions: each at one angle. polars: the results as they were given.
        rows: what is compared. changes: inputs that differ.
    """

    names: tuple[str, ...]
    solutions: tuple[Solution, ...]
    polars: tuple[Solution, ...]
    rows: tuple[Compared, ...]
    changes: tuple[Change, ...]


def compared(
    names: Sequence[str], results: Sequence[Solution], alpha: float | None = None
) -> Comparison:
    """Put results side by side; the first is what the others are held against.

    Args:
        names: one per result, unique.
        results: at least two.
        alpha: deg, at which polars are compared; default: the first one's middle angle.

    Raises:
        InputError: fewer than two results, names that repeat, or a polar without the angle.
    """
    if len(results) < 2:
        raise InputError(f"compare: found {len(results)} result; accepted are two or more")
    if len(set(names)) != len(names):
        raise InputError("compare: found a name twice; accepted are files of different names")
    first = results[0]
    if alpha is None and any(r.polar for r in results):
        alphas = first.alphas or (float(first.totals["alpha"]),)
        alpha = alphas[len(alphas) // 2]
    solutions = tuple(_at(name, r, alpha) for name, r in zip(names, results, strict=True))
    rows = []
    for name in SHOWN:
        row = _row(name, solutions)
        if row is not None:
            rows.append(row)
    return Comparison(tuple(names), solutions, tuple(results), tuple(rows), changed_inputs(results))


def _at(name: str, result: Solution, alpha: float | None) -> Solution:
    if not result.polar:
        return result
    found = [k for k, a in enumerate(result.alphas) if alpha is not None and abs(a - alpha) < ANGLE]
    if not found:
        known = ", ".join(f"{a:g}" for a in result.alphas)
        raise InputError(f"{name}: has no angle of {alpha:g} deg; accepted are {known}")
    return result.at(found[0])


def _row(name: str, solutions: Sequence[Solution]) -> Compared | None:
    values = [None if name not in s.totals else float(s.totals[name]) for s in solutions]
    if all(value is None for value in values):
        return None
    bands = [_band(s, name) for s in solutions]
    differences: list[float | None] = []
    sums: list[float | None] = []
    for value, band in zip(values, bands, strict=True):
        start = values[0]
        if value is None or start is None:
            differences.append(None)
            sums.append(None)
            continue
        change = value - start
        close = abs(change) <= _NOTHING * max(abs(value), abs(start))
        differences.append(0.0 if close else change)
        sums.append(None if band is None or bands[0] is None else band + bands[0])
    variable = VARIABLES["totals"][name]
    return Compared(
        name, variable.units, variable.long_name, tuple(values), tuple(bands),
        tuple(differences), tuple(sums),
    )  # fmt: skip


def _band(solution: Solution, name: str) -> float | None:
    if name in solution.bands:
        return float(solution.bands[name]["band"])
    # lift and drag follow their coefficients
    parent = {"lift": "CL", "drag": "CD"}.get(name)
    pressure, area = (
        solution.totals.get(k) for k in ("reference_dynamic_pressure", "reference_area")
    )
    if (
        parent is not None
        and parent in solution.bands
        and pressure is not None
        and area is not None
    ):
        return float(solution.bands[parent]["band"] * pressure * area)
    return None


def changed_inputs(results: Sequence[Solution]) -> tuple[Change, ...]:
    """Inputs that are not the same in all stored cases; propellers go by their names."""
    tables = [_flat(tomllib.loads(result.case_toml)) for result in results]
    keys = dict.fromkeys(key for table in tables for key in table)
    changes = []
    for key in keys:
        values = tuple(_text(table.get(key)) for table in tables)
        if len(set(values)) > 1 and key != "title":
            changes.append(Change(key, values))
    return tuple(changes)


def _flat(value: Any, where: str = "") -> dict[str, Any]:
    """Leaves of nested tables by dotted key; lists of numbers and words are leaves."""
    if isinstance(value, Mapping):
        items = [(str(key), item) for key, item in value.items()]
    elif isinstance(value, list) and value and all(isinstance(item, Mapping) for item in value):
        items = [(str(item.get("name", index)), item) for index, item in enumerate(value)]
    else:
        return {where: value}
    found: dict[str, Any] = {}
    for key, item in items:
        found |= _flat(item, f"{where}.{key}" if where else key)
    return found


def _text(value: Any) -> str:
    if value is None:
        return "–"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float | int):
        return f"{value:g}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_text, value)) + "]"
    return str(value)


def loading(solution: Solution) -> Array:
    """(strips,) section cl times chord, m; circulation, m²/s, where there is no cl (at rest)."""
    strips = solution.strips
    return np.asarray(strips["cl"] * strips["chord"] if "cl" in strips else strips["circulation"])


def loading_at(solution: Solution, y: Array) -> Array:
    """The loading (n,) at other places along the span; 0 beyond the tips.

    y: (n,) m. Units as `loading`.
    """
    return np.interp(y, solution.strips["y"], loading(solution), left=0.0, right=0.0)
