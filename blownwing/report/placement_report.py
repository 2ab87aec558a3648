"""What a placement search found: terminal, and the optimum as a case file."""

from __future__ import annotations

from pathlib import Path

from rich.console import Console
from rich.table import Table
from rich.text import Text

from blownwing.case.model import Case
from blownwing.solution.files import write_whole
from blownwing.solution.model import CAUTION
from blownwing.study.model import PlacementSearch
from blownwing.study.placement import PlacementResult
from blownwing.study.relocation import relocated
from blownwing.study.table import described

_SHOWN = ("lift", "drag", "CD_induced", "thrust", "net_axial_force", "power", "efficiency")


def print_placement(result: PlacementResult, problem: PlacementSearch, console: Console) -> None:
    """Print the optimum, what it changes, and what it rests on."""
    grid = Table(title=f"{problem.best} {problem.objective}", title_justify="left")
    grid.add_column("")
    grid.add_column("before", justify="right")
    grid.add_column("after", justify="right")
    for name in dict.fromkeys((problem.objective, *_SHOWN)):
        if name in result.before and name in result.after:
            label = f"{name} [{described(name).units}]"
            grid.add_row(label, f"{result.before[name]:.6g}", f"{result.after[name]:.6g}")
    console.print(grid)
    for key, value in result.edits.items():
        console.print(Text(f"{key} = {value:.6g}"))
    console.print(
        Text(
            f"At a bound: {', '.join(result.active) or 'none'}. Spread between starts: "
            f"{100 * result.spread:.3g} %. {result.runs} cases solved, slipstreams superposed: "
            "confirm with model.jet_edge = true."
        )
    )
    if result.failed:
        console.print(Text(f"{len(result.failed)} starts failed; the first: {result.failed[0]}"))
    console.print(Text(CAUTION, style="dim"))


def write_optimum(base: Case, result: PlacementResult, path: Path) -> Path:
    """Write the optimum as a case file that runs from where it lies."""
    text = relocated(base.replace(**result.edits), path.parent).to_toml()

    def write(partial: Path) -> None:
        partial.write_text(text, encoding="utf-8")

    return write_whole(path, write)
