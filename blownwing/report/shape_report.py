"""What a shape search found: terminal, figure, table and the optimum as a case file."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray
from rich.console import Console
from rich.table import Table
from rich.text import Text

from blownwing.case.model import Case
from blownwing.report import style
from blownwing.solution.files import write_text, write_whole
from blownwing.solution.model import CAUTION
from blownwing.study.confirmation import AGREES, FINER, SUSPECT, Confirmation
from blownwing.study.relocation import file_text
from blownwing.study.shape_search import ShapeResult

Array = NDArray[np.float64]

_NAMES = {
    "induced_drag": "induced drag",
    "drag": "wing drag, induced and skin friction",
    "power": "shaft power",
}


def print_shape(result: ShapeResult, check: Confirmation, objective: str, console: Console) -> None:
    """Print before and after, the gain and what it rests on."""
    before, after = result.shape_before, result.shape_after
    grid = Table(title="Shape of the wing at the same lift", title_justify="left")
    grid.add_column("")
    for heading in ("before", "after", "change"):
        grid.add_column(heading, justify="right")
    rows = [
        ("lift, N", before.lift.value, after.lift.value),
        ("induced drag, N", before.induced.value, after.induced.value),
        ("skin friction (estimate), N", before.profile.value, after.profile.value),
        ("root bending moment, N m", before.bending.value, after.bending.value),
        ("area, m2", before.area.value, after.area.value),
    ]
    if before.power is not None and after.power is not None:
        rows.append(("shaft power, W", before.power.value, after.power.value))
    for name, first, second in rows:
        grid.add_row(name, f"{first:.5g}", f"{second:.5g}", f"{100 * (second / first - 1):+.2f} %")
    console.print(grid)
    finer, coupled = check.gains
    edge = "with slipstream edges" if result.before.model.jet_edge else "slipstreams superposed"
    trim = ", thrusts carrying the drag" if objective == "power" else ""
    console.print(
        Text(
            f"Saved: {100 * result.gain:.2f} % of the {_NAMES[objective]}, against the wing as it "
            f"was, turned as a whole to the same lift{trim}. On {FINER} x {FINER} times the "
            f"panels: {100 * finer:.2f} %. By the full coupling, {edge}: {100 * coupled:.2f} %."
        )
    )
    for warning in warnings(result, check, objective):
        console.print(Text(warning, style="bold"))
    bounds = ", ".join(result.active) or "none"
    spread = "One start, so its spread is not known"
    if result.ends > 1:
        spread = f"Spread between {result.ends} starts: {100 * result.spread:.3g} %"
    console.print(
        Text(
            f"At a bound: {bounds}. {spread}. "
            f"{result.evaluations} evaluations with gradients, {result.rounds} balances of wing "
            "and propellers."
        )
    )
    console.print(Text(CAUTION, style="dim"))


def warnings(result: ShapeResult, check: Confirmation, objective: str) -> list[str]:
    """What should make the reader doubt the gain."""
    found = []
    finer, coupled = check.gains
    if abs(finer - result.gain) > AGREES * abs(result.gain):
        found.append(
            "The gain differs by more than a tenth on the finer lattice: use more panels before "
            "believing it."
        )
    if result.gain > SUSPECT:
        found.append(
            f"More than 10 % of the {_NAMES[objective]}: published gains of chord and twist behind "
            "propellers are smaller (Rakshith and others 2015: 9.15 % of induced drag); look for a "
            "poor baseline."
        )
    if coupled < 0.5 * result.gain:
        found.append("The full coupling keeps less than half of the gain.")
    return found


def shape_figure(result: ShapeResult) -> Figure:
    """Draw chord and twist along the span, before and after, and where the discs are."""
    figure = style.new_figure(9.0, 5.6)
    upper, lower = figure.subplots(2, 1, sharex=True)
    for case, label, colour, dash in (
        (result.before, "before", style.BLACK, "--"),
        (result.after, "after", style.BLUE, "-"),
    ):
        y, chord, twist = distributions(case)
        upper.plot(y, chord, dash, color=colour, label=label)
        lower.plot(y, twist, dash, color=colour)
    low = result.after.wing.stations[0].y
    for item in result.after.propeller_list():
        if item.position[1] + item.radius > low:
            for axes in (upper, lower):
                span = (item.position[1] - item.radius, item.position[1] + item.radius)
                axes.axvspan(max(span[0], low), span[1], **style.BAND)
    upper.set_ylim(bottom=0.0)
    upper.set_ylabel("chord, m")
    lower.set_ylabel("twist, °")
    lower.set_xlabel("y, m")
    style.head(upper, "Chord and twist at the same lift; shaded: behind a disc")
    style.name(figure, result.before.title)
    figure.legend(loc="outside lower center", ncols=2)
    return figure


def distributions(case: Case) -> tuple[Array, Array, Array]:
    """y [m], chord [m] and twist [deg] of the stations."""
    table = np.array([(s.y, s.chord, s.twist) for s in case.wing.stations])
    return table[:, 0], table[:, 1], table[:, 2]


def write_shape(
    result: ShapeResult, prefix: Path, fmt: style.Format | None, source: str = ""
) -> list[Path]:
    """Write the optimum as a case file, distributions as CSV and, with a format, the figure.

    source: text of the case's own file, whose comments then stay.
    """
    title = f"{result.after.title}, best shape" if result.after.title else "Best shape"
    found = file_text(result.after.replace(title=title), prefix.parent, source)
    text = "# Found by a shape search.\n" + found
    y, chord, twist = distributions(result.before)
    _, chord_after, twist_after = distributions(result.after)

    def write_table(partial: Path) -> None:
        with partial.open("x", newline="", encoding="utf-8") as stream:
            rows = csv.writer(stream, lineterminator="\n")
            names = ("chord before [m]", "chord after [m]", "twist before [deg]")
            rows.writerow(["y [m]", *names, "twist after [deg]"])
            for row in zip(y, chord, chord_after, twist, twist_after, strict=True):
                rows.writerow([repr(float(v)) for v in row])

    optimum = prefix.with_name(f"{prefix.name}_optimum.toml")
    table = prefix.with_name(f"{prefix.name}_shape.csv")
    written = [
        write_text(optimum, text),
        write_whole(table, write_table),
    ]
    if fmt is not None:
        with style.settings():
            place = prefix.with_name(f"{prefix.name}_shape.{fmt}")
            written.append(style.save_figure(shape_figure(result), place, fmt))
    return written
