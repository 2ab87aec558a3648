"""Solutions as CSV tables: the strips, and the blade loads of every propeller along its radius."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.solution.files import write_rows
from blownwing.solution.model import Solution
from blownwing.solution.records import heading
from blownwing.solution.storage import quantities
from blownwing.solution.variables import POLAR_DIMENSION, VARIABLES

Array = NDArray[np.float64]


def export_csv(solution: Solution, prefix: str | Path) -> list[Path]:
    """Write ``<prefix>_strips.csv``, ``_surface_<name>.csv`` and ``_propeller_<name>.csv``.

    The first row names each column with its units; a polar has the angle of attack in its first
    column, and its totals go to ``<prefix>_polar.csv``, a row for each angle. The scan of a search
    for the largest lift goes to ``<prefix>_lift_curve.csv``. A propeller without values along the
    radius gets no table; one with values round the azimuth gets
    ``<prefix>_propeller_<name>_azimuth.csv`` too.

    Raises:
        InputError: the folder is missing or not writable.
        SolveError: the system refused while writing.
    """
    prefix = Path(prefix)
    written = [_table(prefix, "strips", "strips", "y", solution.strips, solution.alphas)]
    for name, values in solution.surfaces.items():
        if "s" in values:
            end = f"surface_{name}"
            written.append(_table(prefix, end, "surfaces", "s", values, solution.alphas))
    if solution.polar:
        written.append(_polar(prefix, solution))
    if solution.peaks:
        written.append(_lift_curve(prefix, solution))
    for name, values in solution.propellers.items():
        for along, end in (("r", f"propeller_{name}"), ("azimuth", f"propeller_{name}_azimuth")):
            if along in values:
                written.append(_table(prefix, end, "propellers", along, values, solution.alphas))
    return written


def csv_word(text: str) -> str:
    """A name or sentence as a cell that no spreadsheet takes for a formula.

    A cell that starts with =, +, - or @ gets a leading quote, which spreadsheets read as "this is
    text"; tabs and line ends become blanks. Numbers never come here.
    """
    line = text if text.isprintable() else " ".join(text.split())
    return f"'{line}" if line.startswith(("=", "+", "-", "@")) else line


def csv_places(case: Case, prefix: Path) -> list[Path]:
    """The files that `export_csv` may write for the solution of a case."""
    ends = ["strips", "polar", "lift_curve"]
    ends += [f"surface_{item.name}" for item in case.surfaces]
    for item in case.propeller_list():
        ends += [f"propeller_{item.name}", f"propeller_{item.name}_azimuth"]
    return [prefix.with_name(f"{prefix.name}_{end}.csv") for end in ends]


def write_columns(path: Path, columns: Mapping[str, Any]) -> Path:
    """Write columns by their heads as CSV; where there is no value (None, NaN), the cell is empty.

    Raises:
        InputError: the folder is missing or not writable.
    """
    heads = [csv_word(head) for head in columns]
    cells = zip(*(map(_cell, values) for values in columns.values()), strict=True)
    return write_rows(path, [heads, *cells])


def _cell(value: Any) -> str:
    if isinstance(value, str):
        return csv_word(value)
    if isinstance(value, int):
        return str(value)
    return repr(float(value)) if value is not None and np.isfinite(value) else ""


def _polar(prefix: Path, solution: Solution) -> Path:
    """Totals over the angle of attack, one row each."""
    group = quantities("totals", solution.totals, ())
    columns = {
        heading(name, group[name].units): group[name].value
        for name in VARIABLES["totals"]
        if name in group
    }
    return write_columns(_place(prefix, "polar"), columns)


def _lift_curve(prefix: Path, solution: Solution) -> Path:
    """The solves of a search for the largest lift, blown and unblown."""
    rows = [
        (name, alpha, lift)
        for name, peak in solution.peaks.items()
        for alpha, lift in zip(peak["scan_alpha"], peak["scan_CL"], strict=True)
    ]
    heads = ("wing", "alpha [deg]", "CL [1]")
    columns = dict(zip(heads, zip(*rows, strict=True), strict=True))
    return write_columns(_place(prefix, "lift_curve"), columns)


def _place(prefix: Path, end: str) -> Path:
    return prefix.with_name(f"{prefix.name}_{end}.csv")


def _table(
    prefix: Path,
    end: str,
    kind: str,
    along: str,
    values: Mapping[str, Any],
    alphas: tuple[float, ...],
) -> Path:
    """Values along a dimension of a kind of group, in a polar all angles below each other."""
    group, count = quantities(kind, values, alphas), np.size(values[along])
    columns: dict[str, Array] = {}
    for name in (POLAR_DIMENSION, *VARIABLES[kind]):
        if name not in group:
            continue
        quantity = group[name]
        if name == POLAR_DIMENSION:
            column = np.repeat(alphas, count)
        elif quantity.over == (along,):
            column = np.tile(quantity.value, max(len(alphas), 1))
        elif quantity.over == (POLAR_DIMENSION, along):
            column = np.ravel(quantity.value)
        else:
            continue
        columns[heading(name, quantity.units)] = column
    return write_columns(_place(prefix, end), columns)
