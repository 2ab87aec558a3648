"""A grid-convergence study in the terminal."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from blownwing.report.columns import digits, print_columns
from blownwing.study.convergence import HIGHEST, Convergence

_UNITS = {"thrust": "N", "power": "W", "lift": "N", "drag": "N"}


def print_convergence(found: Convergence, console: Console) -> None:
    """Print values on three lattices, observed order, extrapolated value and index."""
    heads = ["quantity", *(f"{count} panels" for count in found.panels), "order", "extrapolated"]
    rows = []
    for item in found.estimates:
        order = "none" if item.order is None else f"{item.order:.2f}"
        if item.capped:
            order += f" → {HIGHEST:g}"
        best = "" if item.extrapolated is None else digits(item.extrapolated)
        index = f"{100.0 * item.index[0]:.2f} %"
        if item.steady:
            order, best, index = "steady", "", "0 %"
        name = item.name + (f", {_UNITS[item.name]}" if item.name in _UNITS else "")
        rows.append([name, *map(digits, item.values), order, best, index])
    print_columns(console, [*heads, "index"], rows, "Grid convergence")
    console.print(
        Text(
            "Index after Roache 1994: the band around the middle lattice's value (the case's own) "
            "in which the value for vanishing panels is expected. Where no order is seen: what the "
            "three values lie apart, or three times the last change on an assumed first order if "
            "that is more. An order above the method's own is taken as that. Wing lattice only: "
            "tubes and blade elements stay as they are."
        )
    )
