"""A trimmed aircraft on the terminal, and trims over airspeed as a table."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.table import Table
from rich.text import Text

from blownwing.solution.records import heading
from blownwing.solution.tables import write_columns
from blownwing.trim.balance import Trimmed
from blownwing.trim.band import Band
from blownwing.trim.control import ControlSpeed
from blownwing.trim.derivatives import COEFFICIENTS, Derivatives, coefficients
from blownwing.trim.settings import limits_of, unit_of

_UNITS = {"": "x", "deg": "°"}


def print_trim(
    found: Trimmed, beside: Derivatives | None, band: Band | None, console: Console
) -> None:
    """Print what balances the aircraft, and how it answers beside that state.

    band: with the streams at the tail elsewhere, None without one.
    """
    case, trim = found.case, found.trim
    console.print(Text(f"In balance at {case.flow.airspeed:g} m/s, {trim.weight:.0f} N", "bold"))
    table = _table("", "found", "limits", *(() if band is None else ("band",)))
    for item, value in zip(trim.unknowns, found.values.tolist(), strict=True):
        unit = unit_of(item)
        least, most = limits_of(item)
        row = [f"{value:+.3f} {_UNITS.get(unit, unit)}", f"{least:g} to {most:g}"]
        if band is not None:
            row.append("{:+.3f} to {:+.3f}".format(*band.values[item.name]))
        table.add_row(Text(item.name), *row)
    console.print(table)
    if band is not None:
        console.print(Text(band_words(band)))
    worst = float(np.max(np.abs(found.residual)))
    names = "forces over weight, moments over weight × chord"
    console.print(Text(f"Left over: {worst:.1e} ({names}); {found.passes} passes"))
    lift, drag, *_ = coefficients(case, found.point.flow, *found.net.surfaces)
    pull = coefficients(case, found.point.flow, *found.net.propellers)
    console.print(
        Text(
            f"Surfaces CL {lift:.4f}, CD {drag:.4f}; "
            f"propellers CL {pull[0]:+.4f}, CD {pull[1]:+.4f}"
        )
    )
    if beside is not None:
        _print_derivatives(found, beside, console)
    console.print()


def band_words(band: Band) -> str:
    """What the band of a trim is of."""
    heights = ", ".join(f"{name} {height:.2f} m" for name, height in band.heights.items())
    margin = ""
    if band.static_margin is not None:
        margin = "; static margin {:.1%} to {:.1%}".format(*band.static_margin)
    return (
        f"Band: wakes and streams higher or lower ({heights}: all that their local course rises)"
        f"{margin}. Our own sensitivity: power-on estimates and measurements were found apart "
        "(Purser & Spear 1947, NACA TN 1474), no number of theirs is at hand."
    )


def _print_derivatives(found: Trimmed, beside: Derivatives, console: Console) -> None:
    console.print()
    console.print(
        Text("Derivatives (per rad, per pb/2V, qc/2V, rb/2V, per relative drive)", "bold")
    )
    table = _table("by", *COEFFICIENTS)
    for name, values in beside.by.items():
        table.add_row(Text(name), *(f"{v:z.4f}" for v in values.tolist()))
    console.print(table)
    chord = found.case.wing.chord
    bare = beside.neutral_point_unpowered
    words = f"Neutral point at x = {beside.neutral_point:.3f} m"
    if bare is not None:
        words += f", without propellers {bare:.3f} m"
    words += f"; static margin {beside.static_margin:.1%} of {chord:.3f} m"
    console.print(Text(words))
    if beside.control_per_g is not None:
        name, value = beside.control_per_g
        console.print(Text(f"{name} {value:+.2f}° per g in a steady pull-up"))


def print_control_speed(found: ControlSpeed, console: Console) -> None:
    """Print the smallest control speed and what runs out below it."""
    values = ", ".join(f"{name} {value:+.2f}" for name, value in found.state.named.items())
    console.print(Text(f"Smallest control speed {found.speed:.2f} m/s: {values}"))
    console.print(Text(f"Below it {found.runs_out}"))
    console.print()


def print_speeds(found: Sequence[Trimmed], console: Console) -> None:
    """Print trims over airspeed, a line each."""
    names = [item.name for item in found[0].trim.unknowns]
    table = _table("m/s", "CL", "CD", *names)
    for one in found:
        lift, drag, *_ = coefficients(one.case, one.point.flow, *one.net.surfaces)
        values = [f"{v:z.3f}" for v in one.values.tolist()]
        table.add_row(f"{one.case.flow.airspeed:g}", f"{lift:.4f}", f"{drag:.4f}", *values)
    console.print(Text("In balance over airspeed", "bold"))
    console.print(table)
    console.print()


def _table(*heads: str) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="underline")
    for index, head in enumerate(heads):
        table.add_column(Text(head), justify="right" if index else "left", no_wrap=True)
    return table


def write_speeds(found: Sequence[Trimmed], path: Path) -> Path:
    """Write trims over airspeed as CSV and return the file.

    Raises InputError when the place cannot be written, SolveError when the system refuses while
    writing.
    """
    columns: dict[str, list[float]] = {}
    for one in found:
        own = coefficients(one.case, one.point.flow, *one.net.surfaces)
        pull = coefficients(one.case, one.point.flow, *one.net.propellers)
        values = {
            "airspeed [m/s]": one.case.flow.airspeed,
            "CL_surfaces [1]": own[0],
            "CD_surfaces [1]": own[1],
            "CL_propellers [1]": pull[0],
            "CD_propellers [1]": pull[1],
            "residual [1]": float(np.max(np.abs(one.residual))),
        }
        for item, value in zip(one.trim.unknowns, one.values, strict=True):
            values[heading(item.name, unit_of(item) or "1")] = value
        for head, value in values.items():
            columns.setdefault(head, []).append(value)
    return write_columns(path, columns)
