"""Solutions as CSV tables: the strips, and the blade loads of every propeller along its radius."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from blownwing.case.model import Case
from blownwing.solution.files import write_rows
from blownwing.solution.model import Solution
from blownwing.solution.variables import POLAR_COORDINATE, POLAR_DIMENSION, VARIABLES


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


def _polar(prefix: Path, solution: Solution) -> Path:
    """Totals over the angle of attack, one row each."""
    table = VARIABLES["totals"]
    names = [name for name in table if name in solution.totals]
    header = [f"{name} [{table[name].units}]" for name in names]
    columns = [solution.totals[name] for name in names]
    return _rows(prefix, "polar", header, zip(*columns, strict=True))


def _lift_curve(prefix: Path, solution: Solution) -> Path:
    """The solves of a search for the largest lift, blown and unblown."""
    rows = [
        (name, alpha, lift)
        for name, peak in solution.peaks.items()
        for alpha, lift in zip(peak["scan_alpha"], peak["scan_CL"], strict=True)
    ]
    return _rows(prefix, "lift_curve", ["wing", "alpha [deg]", "CL [1]"], rows)


def _rows(prefix: Path, end: str, header: list[str], rows: Iterable[Iterable[Any]]) -> Path:
    cells = ([v if isinstance(v, str) else repr(float(v)) for v in row] for row in rows)
    return write_rows(prefix.with_name(f"{prefix.name}_{end}.csv"), [header, *cells])


def _table(
    prefix: Path,
    end: str,
    kind: str,
    along: str,
    values: Mapping[str, Any],
    alphas: tuple[float, ...],
) -> Path:
    table = VARIABLES[kind]
    names = [name for name in table if name in values and table[name].dim == along]
    header = [f"{name} [{table[name].units}]" for name in names]
    if alphas:
        header.insert(0, f"{POLAR_DIMENSION} [{POLAR_COORDINATE.units}]")

    rows = [header]
    for index, alpha in enumerate(alphas or (None,)):
        columns = [values[n][index] if alphas and table[n].per_alpha else values[n] for n in names]
        lead = [] if alpha is None else [repr(alpha)]
        rows += [lead + [repr(float(v)) for v in row] for row in zip(*columns, strict=True)]
    return write_rows(prefix.with_name(f"{prefix.name}_{end}.csv"), rows)
