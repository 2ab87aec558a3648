"""A grid-convergence study in the terminal."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table
from rich.text import Text

from blownwing.study.convergence import HIGHEST, Convergence

_UNITS = {"thrust": " N", "power": " W", "lift": " N", "drag": " N"}


def print_convergence(found: Convergence, console: Console) -> None:
    """Print values on three lattices, observed order, extrapolated value and index."""
    grid = Table(box=None, pad_edge=False, title="Grid convergence", title_justify="left")
    grid.add_column("quantity")
    for count in found.panels:
        grid.add_column(f"{count} panels", justify="right", overflow="fold")
    for heading in ("order", "extrapolated", "index"):
        grid.add_column(heading, justify="right")
    for item in found.estimates:
        order = "none seen" if item.order is None else f"{item.order:.2f}"
        if item.capped:
            order += f" → {HIGHEST:g}"
        best = "" if item.extrapolated is None else f"{item.extrapolated:.5g}"
        index = f"{100.0 * item.index[0]:.2f} %"
        if item.steady:
            order, best, index = "steady", "", "0 %"
        values = [f"{value:.5g}{_UNITS.get(item.name, '')}" for value in item.values]
        grid.add_row(item.name, *values, order, best, index)
    console.print(grid)
    console.print(
        Text(
            "Index after Roache 1994: the band around the middle lattice's value (the case's own) "
            "in which the value for vanishing panels is expected. Where no order is seen: what the "
            "three values lie apart, or three times the last change on an assumed first order if "
            "that is more. An order above the method's own is taken as that. Wing lattice only: "
            "tubes and blade elements stay as they are."
        )
    )
