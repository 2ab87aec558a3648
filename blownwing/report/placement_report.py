"""What a placement search found: its words, and the optimum as a case file."""

from __future__ import annotations

from pathlib import Path

from blownwing.case.model import Case
from blownwing.report.assumed import assumed
from blownwing.report.words import ASSUMED, WARNINGS
from blownwing.solution.groups import Line, Words
from blownwing.study.model import PlacementSearch
from blownwing.study.place.confirmation import FINER, SUSPECT, PlacementCheck
from blownwing.study.place.search import PlacementResult
from blownwing.study.relocation import file_text
from blownwing.study.sweep.table import described

_PATTERNS = 4  # spin patterns that are named
_SHOWN = ("lift", "drag", "CD_induced", "thrust", "net_axial_force", "power", "efficiency")


def placement_words(
    base: Case, result: PlacementResult, check: PlacementCheck, problem: PlacementSearch
) -> Words:
    """The optimum, what it changes, and what it rests on.

    Raises InputError for a blade file that cannot be read.
    """
    edge = "with slipstream edges" if base.model.jet_edge else "slipstreams superposed"
    lattice = "following the slipstreams" if result.following else "kept"
    lead = (
        f"Gained: {100.0 * check.gain:.2f} % of {problem.objective}, against the case as it "
        f"was{_held(problem)}; {edge}, lattice {lattice}. By the full coupling on {FINER} x "
        f"{FINER} times the panels: {100.0 * check.finer:.2f} %, from {check.before:.6g} to "
        f"{check.after:.6g}."
    )
    sections = (
        (f"{problem.best.capitalize()} {problem.objective}", tuple(_changes(result, problem))),
        ("Found", tuple(_found(result, problem))),
        (f"Spin patterns, {len(result.patterns)} tried", tuple(_patterns(result, problem))),
    )
    lists = (
        (WARNINGS, tuple(warnings(base, check) + _unequal(result, problem))),
        ("The search", tuple(_search_lines(result, problem.objective))),
        (ASSUMED, tuple(assumed(base))),
    )
    return Words(lead, tuple(s for s in sections if s[1]), tuple(item for item in lists if item[1]))


def changed_row(name: str, units: str, first: float, second: float, shares: bool = True) -> Line:
    """A quantity after a search, what it was, and the change as a share.

    first, second: before and after, both in `units`.
    """
    was = f"was {first:.6g}"
    if shares and abs(first) > 1e-9:
        was += f", {100.0 * (second / first - 1.0):+z.2f} %"
    return (name if units == "1" else f"{name} [{units}]", f"{second:.6g}", was)


def _changes(result: PlacementResult, problem: PlacementSearch) -> list[Line]:
    rows = []
    for name in dict.fromkeys((problem.objective, *_SHOWN)):
        if name in result.before and name in result.after:
            shares = not (name == "net_axial_force" and problem.drag_trim)
            units = described(name).units
            rows.append(changed_row(name, units, result.before[name], result.after[name], shares))
    return rows


def _unequal(result: PlacementResult, problem: PlacementSearch) -> list[str]:
    if not result.patterns or problem.lift is not None:
        return []
    return [
        "Spin patterns are ranked at the incidence of the case, where their lifts differ: "
        "placement.lift holds it."
    ]


def _found(result: PlacementResult, problem: PlacementSearch) -> list[Line]:
    ranges = {item.key: item for item in problem.parameters}
    rows = []
    for key, value in result.edits.items():
        text = value if isinstance(value, str) else f"{value:.6g}"
        words = "holds what is asked" if not isinstance(value, str) else ""
        if key in ranges:
            words = f"searched {ranges[key].low:g} to {ranges[key].high:g}"
            words += ", at a bound" if key in result.active else ""
        rows.append((key, text, words))
    return rows


def _patterns(result: PlacementResult, problem: PlacementSearch) -> list[Line]:
    """The best spin patterns, and the worst, at the optimum's places."""
    sign = -1.0 if problem.best == "largest" else 1.0
    where = f"{problem.objective} at these places{_held(problem)}"
    shown = result.patterns[:_PATTERNS]
    rows = [(pattern, f"{sign * value:.6g}", where) for pattern, value in shown]
    if len(result.patterns) > len(shown):
        pattern, value = result.patterns[-1]
        rows.append((f"worst: {pattern}", f"{sign * value:.6g}", where))
    return rows


def _search_lines(result: PlacementResult, objective: str) -> list[str]:
    spread = "One start, so its spread is not known"
    if result.ends > 1:
        spread = (
            f"Spread between {result.ends} starts: {100.0 * result.spread:.3g} % of "
            f"{objective}, {100.0 * result.places:.3g} % of the ranges"
        )
    lines = [
        f"At a bound: {', '.join(result.active) or 'none'}. {spread}. {result.runs} cases solved."
    ]
    if result.failed:
        lines.append(f"{len(result.failed)} starts failed; the first: {result.failed[0]}")
    return lines


def _held(problem: PlacementSearch) -> str:
    held = []
    if problem.lift is not None:
        held.append("the same lift")
    if problem.drag_trim:
        held.append("drag trim")
    return f" at {' and '.join(held)}" if held else ""


def warnings(base: Case, check: PlacementCheck) -> list[str]:
    """What should make the reader doubt the gain."""
    found = []
    if check.differs:
        found.append(
            "The gain differs by more than a tenth on the finer lattice: use more panels before "
            "believing it."
        )
    if check.gain > SUSPECT:
        found.append(
            "More than 10 %: look for a poor baseline, or an optimum outside what the model "
            "describes."
        )
    if not base.model.jet_edge:
        found.append(
            "Superposed slipstreams overrate what a slipstream does to the wing: confirm with "
            "model.jet_edge = true."
        )
    return found


def optimum_text(base: Case, result: PlacementResult, folder: Path, source: str = "") -> str:
    """The optimum as the text of a case file that runs from where it lies.

    folder: where it will lie. source: text of the case's own file, whose comments then stay.
    Raises InputError for edits that break a rule.
    """
    title = f"{base.title}, best places" if base.title else "Best places"
    return file_text(base.replace(**result.edits, title=title), folder, source)
