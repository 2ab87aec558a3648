"""What a placement search found: terminal, and the optimum as a case file."""

from __future__ import annotations

from pathlib import Path

from matplotlib.figure import Figure
from matplotlib.patches import Circle
from rich.console import Console
from rich.table import Table
from rich.text import Text

from blownwing.case.model import Case
from blownwing.coupling import solve
from blownwing.report import style
from blownwing.solution.files import write_text
from blownwing.solution.model import CAUTION, Solution
from blownwing.study.confirmation import FINER, SUSPECT, PlacementCheck
from blownwing.study.model import PlacementSearch
from blownwing.study.placement import PlacementResult
from blownwing.study.relocation import file_text
from blownwing.study.table import described

_PATTERNS = 4  # spin patterns that are printed
_SHOWN = ("lift", "drag", "CD_induced", "thrust", "net_axial_force", "power", "efficiency")


def print_placement(
    base: Case,
    result: PlacementResult,
    check: PlacementCheck,
    problem: PlacementSearch,
    console: Console,
) -> None:
    """Print the optimum, what it changes, and what it rests on."""
    grid = Table(title=f"{problem.best} {problem.objective}", title_justify="left")
    grid.add_column("")
    for heading in ("before", "after", "change"):
        grid.add_column(heading, justify="right")
    for name in dict.fromkeys((problem.objective, *_SHOWN)):
        if name in result.before and name in result.after:
            first, second = result.before[name], result.after[name]
            change = f"{100.0 * (second / first - 1.0):+.2f} %" if abs(first) > 1e-9 else ""
            label = f"{name} [{described(name).units}]"
            shown = "" if name == "net_axial_force" and problem.drag_trim else change
            grid.add_row(label, f"{first:.6g}", f"{second:.6g}", shown)
    console.print(grid)
    for key, value in result.edits.items():
        console.print(Text(f"{key} = {value if isinstance(value, str) else f'{value:.6g}'}"))
    if result.patterns:
        _print_patterns(result, problem, console)
    edge = "with slipstream edges" if base.model.jet_edge else "slipstreams superposed"
    lattice = "following the slipstreams" if result.following else "kept"
    console.print(
        Text(
            f"Gained: {100.0 * check.gain:.2f} % of {problem.objective}, against the case as it "
            f"was{_held(problem)}; {edge}, lattice {lattice}. By the full coupling on {FINER} x "
            f"{FINER} times the panels: {100.0 * check.finer:.2f} %, from {check.before:.6g} to "
            f"{check.after:.6g}."
        )
    )
    for warning in warnings(base, check):
        console.print(Text(warning, style="bold"))
    spread = "One start, so its spread is not known"
    if result.ends > 1:
        spread = (
            f"Spread between {result.ends} starts: {100.0 * result.spread:.3g} % of "
            f"{problem.objective}, {100.0 * result.places:.3g} % of the ranges"
        )
    console.print(
        Text(
            f"At a bound: {', '.join(result.active) or 'none'}. {spread}. "
            f"{result.runs} cases solved."
        )
    )
    if result.failed:
        console.print(Text(f"{len(result.failed)} starts failed; the first: {result.failed[0]}"))
    console.print(Text(CAUTION, style="dim"))


def _print_patterns(result: PlacementResult, problem: PlacementSearch, console: Console) -> None:
    """Print the best spin patterns, and the worst, at the optimum's places."""
    sign = -1.0 if problem.best == "largest" else 1.0
    grid = Table(title=f"spin patterns, {len(result.patterns)} tried", title_justify="left")
    grid.add_column("in the order of the propellers")
    grid.add_column(f"{problem.objective} [{described(problem.objective).units}]", justify="right")
    shown = result.patterns[:_PATTERNS]
    for pattern, value in shown:
        grid.add_row(pattern, f"{sign * value:.6g}")
    if len(result.patterns) > len(shown):
        pattern, value = result.patterns[-1]
        grid.add_row(f"worst: {pattern}", f"{sign * value:.6g}")
    console.print(grid)


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


def placement_figure(cases: tuple[Case, Case], solutions: tuple[Solution, Solution]) -> Figure:
    """Draw lift along the span and discs seen from behind, as it was and as it was found.

    Args:
        cases, solutions: before and after.
    """
    figure = style.new_figure(9.0, 5.6)
    upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=(3, 2))
    looks = (("before", style.BLACK, "--"), ("after", style.BLUE, "-"))
    for case, solution, (label, colour, dash) in zip(cases, solutions, looks, strict=True):
        strips = solution.strips
        pressure = 0.5 * case.air.density * case.flow.airspeed**2
        load = strips["cl_local_q"] * strips["chord"]
        if "cl" in strips:
            load = pressure * strips["cl"] * strips["chord"]
        upper.plot(strips["y"], load, dash, color=colour, label=label)
        lower.plot(strips["y"], strips["z"], "-", color=style.BLACK, linewidth=1.0)
        for item in case.propeller_list():
            _, y, z = item.position
            lower.add_patch(
                Circle((y, z), item.radius, fill=False, edgecolor=colour, linestyle=dash)
            )
    named = "lift per span, N/m" if all("cl" in s.strips for s in solutions) else "cl c, m"
    upper.set_ylabel(named)
    lower.set_aspect("equal", adjustable="datalim")
    lower.set_ylabel("z, m")
    lower.set_xlabel("y, m")
    style.head(upper, "Lift along the span, and discs seen from behind")
    style.name(figure, cases[0].title)
    figure.legend(loc="outside lower center", ncols=2)
    return figure


def write_placement_figure(
    base: Case, result: PlacementResult, path: Path, fmt: style.Format
) -> Path:
    """Solve both cases once more and write their figure.

    Raises:
        SolveError: a case that does not converge.
    """
    cases = (base.replace(**result.edits_before), base.replace(**result.edits))
    solutions = (solve(cases[0]), solve(cases[1]))
    with style.settings():
        return style.save_figure(placement_figure(cases, solutions), path, fmt)


def write_optimum(base: Case, result: PlacementResult, path: Path, source: str = "") -> Path:
    """Write the optimum as a case file that runs from where it lies.

    source: text of the case's own file, whose comments then stay.
    """
    title = f"{base.title}, best places" if base.title else "Best places"
    text = file_text(base.replace(**result.edits, title=title), path.parent, source)
    return write_text(path, text)
