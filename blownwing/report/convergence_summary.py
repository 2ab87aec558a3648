"""A grid-convergence study in the terminal."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table
from rich.text import Text

from blownwing.study.convergence import Convergence

_UNITS = {"thrust": " N", "power": " W", "lift": " N", "drag": " N"}


def print_convergence(found: Convergence, console: Console) -> None:
    """Print values on three lattices, observed order, extrapolated value and index."""
    grid = Table(title="Grid convergence", title_justify="left")
    grid.add_column("quantity")
    for count in found.panels:
        grid.add_column(f"{count} panels", justify="right")
    for heading in ("order", "extrapolated", "index"):
        grid.add_column(heading, justify="right")
    for item in found.estimates:
        order = "none seen" if item.order is None else f"{item.order:.2f}"
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
            "in which the value for vanishing panels is expected; where no order is seen, three "
            "times the last change on an assumed first order. Wing lattice only: tubes and blade "
            "elements stay as they are."
        )
    )
