"""What a shape search found: its words, its table, and the optimum as a case file."""

from __future__ import annotations

import csv
from pathlib import Path

from blownwing.report.assumed import assumed
from blownwing.report.placement_report import changed_row
from blownwing.report.words import ASSUMED, WARNINGS
from blownwing.solution.files import write_whole
from blownwing.solution.groups import Words
from blownwing.study.optimum import distributions, shape_rows
from blownwing.study.place.confirmation import AGREES, FINER, SUSPECT, Confirmation
from blownwing.study.relocation import file_text
from blownwing.study.shape.search import ShapeResult

_NAMES = {
    "induced_drag": "induced drag",
    "drag": "wing drag, induced and skin friction",
    "power": "shaft power",
}


def shape_words(result: ShapeResult, check: Confirmation, objective: str) -> Words:
    """Before and after, the gain and what it rests on.

    Raises InputError for a blade file that cannot be read.
    """
    finer, coupled = check.gains
    edge = "with slipstream edges" if result.before.model.jet_edge else "slipstreams superposed"
    trim = ", thrusts carrying the drag" if objective == "power" else ""
    lead = (
        f"Saved: {100 * result.gain:.2f} % of the {_NAMES[objective]}, against the wing as it "
        f"was, turned as a whole to the same lift{trim}. On {FINER} x {FINER} times the "
        f"panels: {100 * finer:.2f} %. By the full coupling, {edge}: {100 * coupled:.2f} %."
    )
    pairs = zip(shape_rows(result.shape_before), shape_rows(result.shape_after), strict=True)
    rows = tuple(
        changed_row(meaning, units, first, second)
        for (_, units, meaning, first), (*_, second) in pairs
    )
    lists = (
        (WARNINGS, tuple(warnings(result, check, objective))),
        ("The search", (_search_line(result),)),
        (ASSUMED, tuple(assumed(result.before))),
    )
    sections = (("Shape of the wing at the same lift", rows),)
    return Words(lead, sections, tuple(item for item in lists if item[1]))


def _search_line(result: ShapeResult) -> str:
    bounds = ", ".join(result.active) or "none"
    spread = "One start, so its spread is not known"
    if result.ends > 1:
        spread = f"Spread between {result.ends} starts: {100 * result.spread:.3g} %"
    return (
        f"At a bound: {bounds}. {spread}. {result.evaluations} evaluations with gradients, "
        f"{result.rounds} balances of wing and propellers."
    )


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


def shape_text(result: ShapeResult, folder: Path, source: str = "") -> str:
    """The optimum as the text of a case file for a folder.

    source: text of the case's own file, whose comments then stay.
    """
    title = f"{result.after.title}, best shape" if result.after.title else "Best shape"
    found = file_text(result.after.replace(title=title), folder, source)
    return "# Found by a shape search.\n" + found


def write_shape(result: ShapeResult, path: Path) -> Path:
    """Write chord and twist along the span, before and after, as CSV.

    Errors as for `write_whole`.
    """
    y, chord, twist = distributions(result.before)
    _, chord_after, twist_after = distributions(result.after)

    def write_table(partial: Path) -> None:
        with partial.open("x", newline="", encoding="utf-8") as stream:
            rows = csv.writer(stream, lineterminator="\n")
            names = ("chord before [m]", "chord after [m]", "twist before [deg]")
            rows.writerow(["y [m]", *names, "twist after [deg]"])
            for row in zip(y, chord, chord_after, twist, twist_after, strict=True):
                rows.writerow([repr(float(v)) for v in row])

    return write_whole(path, write_table)
