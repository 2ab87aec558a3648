"""Command solve."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from blownwing.cli.base import (
    FigureFormat,
    Format,
    Units,
    app,
    check_format,
    counted,
    inputs_of,
    listed,
    new_console,
    result_name,
    sentences,
    solve_progress,
)
from blownwing.cli.solve_trim import (
    Trimming,
    balanced,
    check_trimming,
    failures,
    speeds_figures,
    speeds_place,
)
from blownwing.errors import InputError

if TYPE_CHECKING:
    from rich.console import Console

    from blownwing.case.model import Case
    from blownwing.solution.model import Solution
    from blownwing.study.convergence import Convergence
    from blownwing.trim.balance import Trimmed


LARGEST_WEIGHT = 1e8  # N, above any aircraft's; a search beyond it takes a minute and finds nothing


# Longer than other functions by its options, which are the table of what can be asked.
@app.command(short_help="Solve cases: results, summaries, figures.")
def solve(
    case_files: Annotated[
        list[Path], typer.Argument(metavar="CASE.toml...", help="The case, or several.")
    ],
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="OUT.h5", help="Result; default: <case>.h5 here."),
    ] = None,
    figures: Annotated[
        bool, typer.Option("--figures", help="Write figures to <case>_figures beside the result.")
    ] = False,
    csv: Annotated[
        bool, typer.Option("--csv", help="Write strips and blade loads as CSV beside the result.")
    ] = False,
    target_lift: Annotated[
        str | None,
        typer.Option(
            "--target",
            metavar="NAME=VALUE",
            help="Incidence for CL=1.2, lift=8000 (wing, N) or weight=9000 (with propellers, N).",
        ),
    ] = None,
    peak: Annotated[
        bool, typer.Option("--peak", help="Largest lift blown and unblown; needs section tables.")
    ] = False,
    weight: Annotated[
        float | None, typer.Option("--weight", help="With --peak: stall speeds at this weight, N.")
    ] = None,
    convergence: Annotated[
        bool,
        typer.Option("--convergence", help="Solve on half and twice the panels too: error bands."),
    ] = False,
    trim: Annotated[
        bool, typer.Option("--trim", help="In balance as [trim] says, with derivatives.")
    ] = False,
    failed: Annotated[
        list[str] | None,
        typer.Option(
            "--failed",
            metavar="NAME[=STATE]",
            help="With --trim: it has failed: windmilling, stopped, feathered or kept_off.",
        ),
    ] = None,
    smallest: Annotated[
        bool, typer.Option("--control-speed", help="With --failed: the smallest control speed.")
    ] = False,
    lateral: Annotated[
        bool, typer.Option("--lateral", help="With --trim: derivatives by sideslip, roll, yaw too.")
    ] = False,
    vtk: Annotated[
        bool,
        typer.Option("--vtk", help="Write wing, tubes, discs and a survey plane as .vtm and .vtu."),
    ] = False,
    units: Annotated[
        Units | None, typer.Option("--units", help="Of the summary; files stay in SI. Default si.")
    ] = None,
    fmt: Format = None,
) -> None:
    """Solve cases: result file, summary and, if asked, figures and tables of each."""
    with sentences():
        if output is not None and len(case_files) > 1:
            raise InputError("-o: names one result; leave it out with several cases")
        stems = [path.stem for path in case_files]
        if len(set(stems)) < len(stems):
            raise InputError("CASE.toml: found two cases of one name, whose results would meet")
        trimming = Trimming(trim, failures(failed or []), smallest, lateral)
        asked = Asked(
            output, figures, csv, target_lift, peak, weight, convergence, vtk,
            units, fmt, trimming,
        )  # fmt: skip
    for case_file in case_files:
        if len(case_files) > 1:
            typer.echo(f"{'' if case_file is case_files[0] else chr(10)}== {case_file}")
        _solve_one(case_file, asked)


@dataclass(frozen=True)
class Asked:
    """The options of `solve`."""

    output: Path | None
    figures: bool
    csv: bool
    target: str | None
    peak: bool
    weight: float | None
    convergence: bool
    vtk: bool
    units: Units | None
    fmt: FigureFormat | None
    trimming: Trimming

    def check(self) -> None:
        """Refuse options that do not go together."""
        check_format(self.fmt, self.figures)
        if self.weight is not None and not self.peak:
            raise InputError("--weight: applies with --peak; add it or leave this out")
        if self.peak and self.target is not None:
            raise InputError("--target: does not apply with --peak; leave one out")
        other = self.peak or self.target is not None
        if self.convergence and other:
            raise InputError("--convergence: does not apply with --peak or --target; leave one out")
        check_trimming(self.trimming, other or self.convergence)


@dataclass(frozen=True)
class Places:
    """Where the outputs of one case go; empty where they are not asked for."""

    result: Path
    figures: Path
    tables: list[Path]
    speeds: list[Path]
    grid: list[Path]
    bands: list[Path]


def _places(case: Case, case_file: Path, asked: Asked) -> Places:
    from blownwing.solution.tables import csv_places

    result = result_name(asked.output or Path(f"{case_file.stem}.h5"))
    trim = asked.trimming
    bands = result.with_name(f"{result.stem}_convergence.csv")
    return Places(
        result,
        result.with_name(f"{case_file.stem}_figures"),
        csv_places(case, result.with_suffix("")) if asked.csv else [],
        speeds_place(case, result) if trim.wanted and not trim.failed else [],
        _grid_files(result.with_suffix(".vtm")) if asked.vtk else [],
        [bands] if asked.convergence else [],
    )


def _grid_files(path: Path) -> list[Path]:
    from blownwing.report.grid_export import grid_places

    return grid_places(path)


def _solve_one(case_file: Path, asked: Asked) -> None:
    with sentences():
        from blownwing.case.reader import read_case
        from blownwing.solution.files import check_outputs

        asked.check()
        wanted = None if asked.target is None else _target(asked.target)
        case = read_case(case_file)
        places = _places(case, case_file, asked)
        outputs = [places.result, *places.tables, *places.speeds, *places.grid, *places.bands]
        folder = places.figures if asked.figures else None
        check_outputs(outputs, inputs_of(case, case_file), folder)

        from rich.text import Text

        from blownwing.report.summary import print_summary

        console = new_console()
        solution, trims = _solved(case, asked, wanted, console)
        # before anything is written, since a lattice of another fineness may not be possible
        found = _convergence(case) if asked.convergence else None
        if found is not None:
            from blownwing.study.kept import with_bands

            solution = with_bands(solution, found)
        written = _written(case, solution, trims, places, asked)
        print_summary(solution, console, (asked.units or Units.si).value)
        if found is not None:
            from blownwing.report.convergence_summary import print_convergence
            from blownwing.study.convergence import export_convergence

            console.print()
            print_convergence(found, console)
            written.append(export_convergence(found, places.bands[0]))
        console.print()
        console.print(Text(f"Written: {listed(written)}"), soft_wrap=True)


def _solved(
    case: Case, asked: Asked, wanted: tuple[str, float] | None, console: Console
) -> tuple[Solution, list[Trimmed]]:
    """The solution that is asked for, and the trims where there are any."""
    if asked.trimming.wanted:
        return balanced(case, asked.trimming, console)
    if asked.peak:
        return _peaks(case, asked.weight, console), []
    if wanted is not None:
        from blownwing.study.lift.peak import trimmed

        return trimmed(case, *wanted), []
    from blownwing.coupling import solve as solve_case

    with solve_progress(case, console):
        return solve_case(case), []


def _written(
    case: Case, solution: Solution, trims: list[Trimmed], places: Places, asked: Asked
) -> list[Path]:
    """Write result, tables, grids and figures."""
    written = [solution.save(places.result)]
    if places.speeds:
        from blownwing.report.trim_summary import write_speeds

        written.append(write_speeds(trims, places.speeds[0]))
    if asked.csv:
        from blownwing.solution.tables import export_csv

        written += export_csv(solution, places.result.with_suffix(""))
    if asked.vtk:
        from blownwing.report.grid_export import write_grid
        from blownwing.report.layout import case_of

        shown = case_of(solution).with_source(case.folder) if trims else case
        alphas = solution.alphas or (float(solution.totals["alpha"]),)
        written += write_grid(shown, alphas[len(alphas) // 2], places.result.with_suffix(".vtm"))
    if asked.figures:
        from blownwing.report.figures import write_figures

        form = asked.fmt or FigureFormat.png
        written += write_figures(solution, places.figures, form.value)
        if trims:
            written += speeds_figures(trims, places.figures, form.value)
    return written


def _target(text: str) -> tuple[str, float]:
    """Return the quantity and the value of a target such as CL=1.2."""
    name, _, value = text.partition("=")
    try:
        return name.strip(), float(value)
    except ValueError:
        raise InputError(
            f'--target: found "{text}"; accepted is CL=, lift= or weight= and a number'
        ) from None


_EACH, _SPEED = 18, 9  # solves of one search for a peak, for one stall speed, about


def _peaks(case: Case, weight: float | None, console: Console) -> Solution:
    """Print the largest lift blown and unblown and return the solution at the first."""
    from blownwing.report.lift_summary import print_peaks
    from blownwing.study.kept import with_peaks
    from blownwing.study.lift.peak import peak_lift, stall_speed, unblown

    if weight is not None and not 0.0 < weight <= LARGEST_WEIGHT:
        raise InputError(
            f"--weight: found {weight:g} N; accepted is above 0 and up to {LARGEST_WEIGHT:g}"
        )
    bare_case = unblown(case)
    solves = (2 if case.propellers else 1) * (_EACH if weight is None else _EACH + _SPEED)
    with counted(console, "Searching the largest lift", solves) as tick:

        def progress(alpha: float, lift: float) -> None:
            tick(f"CL {lift:.3f} at {alpha:.1f} deg")

        bare = peak_lift(bare_case, progress=progress)
        blown = peak_lift(case, progress=progress) if case.propellers else None
        speeds = None
        if weight is not None:
            slow = None if blown is None else stall_speed(case, weight, progress, blown)
            speeds = (slow, stall_speed(bare_case, weight, progress, bare))
    solution = with_peaks(blown, bare, weight, speeds)
    unsettled = {"blown": blown.unsettled if blown else (), "unblown": bare.unsettled}
    print_peaks(solution.peaks, unsettled, console)
    console.print()
    return solution


def _convergence(case: Case) -> Convergence:
    from blownwing.study.convergence import grid_convergence

    return grid_convergence(case)[0]
