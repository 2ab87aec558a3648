"""The command line: parses, calls, prints. Heavy modules load inside the commands that need them.

Exit codes: 0 good, 1 the calculation failed, 2 the input is wrong, 130 interrupted.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, NoReturn

import typer

from blownwing import __version__
from blownwing.errors import InputError, SolveError

if TYPE_CHECKING:
    from rich.console import Console

    from blownwing.case.model import Case
    from blownwing.solution.model import Solution
    from blownwing.study.model import Study

RESULT_SUFFIXES = (".h5", ".hdf5")
PAGE_SUFFIXES = (".html", ".htm")
LONG_POLAR = 4  # angles from which a terminal shows that work goes on

app = typer.Typer(
    help="Wings behind rows of propellers: lift, drag, thrust and power of blown wings.",
    epilog="Concept-level estimates, not for flight clearance.",
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # plain help loads in half the time
)


class FigureFormat(StrEnum):
    """Accepted formats of figures."""

    png = "png"
    svg = "svg"


class Kept(StrEnum):
    """What a trade over the number of propellers keeps."""

    coverage = "coverage"
    disc_loading = "disc_loading"
    thrust = "thrust"


CaseFile = Annotated[Path, typer.Argument(metavar="CASE.toml", help="The case to read.")]
Format = Annotated[
    FigureFormat | None, typer.Option("--format", help="Format of the figures; default png.")
]


def main() -> None:
    """Run the command line; the entry point of the ``blownwing`` command."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a terminal without Greek letters still gets a summary
            stream.reconfigure(errors="replace")
    app()


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"blownwing {__version__}")
        raise typer.Exit


@app.callback()
def options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    """Options that stand before a command; ``--version`` acts while it is parsed."""


@app.command()
def solve(
    case_file: CaseFile,
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
    vtk: Annotated[
        bool,
        typer.Option("--vtk", help="Write lattice, tubes and discs as .vtu beside the result."),
    ] = False,
    fmt: Format = None,
) -> None:
    """Solve a case: result file, summary and, if asked, figures and tables."""
    with _sentences():
        if fmt is not None and not figures:
            raise InputError("--format: applies to figures; add --figures or leave it out")
        from blownwing.case.reader import read_case

        if weight is not None and not peak:
            raise InputError("--weight: applies with --peak; add it or leave this out")
        if peak and target_lift is not None:
            raise InputError("--target: does not apply with --peak; leave one out")
        if convergence and (peak or target_lift is not None):
            raise InputError("--convergence: does not apply with --peak or --target; leave one out")
        wanted = None if target_lift is None else _target(target_lift)
        case = read_case(case_file)
        target = _result_place(case, case_file, output)
        folder = target.with_name(f"{case_file.stem}_figures")
        if figures:
            _check_figure_folder(folder)

        from rich.text import Text

        from blownwing.report.summary import print_summary

        console = _console()
        if peak:
            solution = _peaks(case, weight, console)
        elif wanted is not None:
            from blownwing.study.lift import trimmed

            solution = trimmed(case, *wanted)
        else:
            from blownwing.coupling import solve as solve_case

            with _progress(case, console):
                solution = solve_case(case)
        written = [solution.save(target)]
        if csv:
            from blownwing.solution.tables import export_csv

            written += export_csv(solution, target.with_suffix(""))
        if vtk:
            from blownwing.report.grid_export import write_grid

            alphas = solution.alphas or (float(solution.totals["alpha"]),)
            middle = alphas[len(alphas) // 2]
            written.append(write_grid(case, middle, target.with_suffix(".vtu")))
        if figures:
            from blownwing.report.figures import write_figures

            written += write_figures(solution, folder, (fmt or FigureFormat.png).value)
        print_summary(solution, console)
        if convergence:
            written.append(_convergence(case, target, console))
        console.print()
        console.print(Text(f"Written: {_listed(written)}"), soft_wrap=True)


@app.command()
def plot(
    result_file: Annotated[Path, typer.Argument(metavar="OUT.h5", help="The result to read.")],
    output: Annotated[
        Path | None,
        typer.Option(
            "-o", "--output", metavar="FOLDER", help="Default: <result>_figures beside the result."
        ),
    ] = None,
    fmt: Format = None,
) -> None:
    """Write the figures of a result."""
    with _sentences():
        from blownwing.solution.storage import load

        solution = load(result_file)
        folder = output or result_file.with_name(f"{result_file.stem}_figures")
        _check_figure_folder(folder)
        from blownwing.report.figures import write_figures

        written = write_figures(solution, folder, (fmt or FigureFormat.png).value)
        typer.echo(f"Written: {_listed(written)}")


@app.command()
def report(
    result_file: Annotated[Path, typer.Argument(metavar="OUT.h5", help="The result to read.")],
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="OUT.html", help="Default: <result>.html beside."),
    ] = None,
) -> None:
    """Write the report of a result: one HTML file with figures, tables, inputs and cautions."""
    with _sentences():
        from blownwing.solution.storage import load

        target = _page_place(output or result_file.with_suffix(".html"))
        solution = load(result_file)
        from blownwing.report.html_report import write_report

        typer.echo(f"Written: {write_report(solution, target)}")


@app.command()
def validate(
    entries: Annotated[
        list[str] | None, typer.Argument(metavar="[ENTRY]...", help="Which; default: all.")
    ] = None,
    page: Annotated[
        Path | None,
        typer.Option("--report", metavar="OUT.html", help="Write the table as a page too."),
    ] = None,
    folder: Annotated[
        Path | None, typer.Option("--folder", help="Of the entries; default: validation/.")
    ] = None,
) -> None:
    """Compare with published values: computed, published, error, band, source, tag."""
    with _sentences():
        target = None if page is None else _page_place(page)
        from blownwing.report.validation_table import accepted, print_outcome, print_verdict
        from blownwing.validation.entries import default_folder, entry_folders, run_entries

        chosen = entry_folders(folder or default_folder(), tuple(entries or ()))
        console = _console()
        outcomes = []
        with _steps(console) as tell:
            for outcome in run_entries(chosen, tell):
                outcomes.append(outcome)
                print_outcome(outcome, console)
        print_verdict(outcomes, console)
        if target is not None:
            from blownwing.report.html_validation import write_validation

            typer.echo(f"Written: {write_validation(outcomes, target)}")
        if not accepted(outcomes):
            raise SolveError(
                "validation: fewer than 90 % of the values are inside their bands, or one outside "
                "is not explained"
            )


def _page_place(path: Path) -> Path:
    """Return where a page goes, checked before any work is done."""
    from blownwing.solution.files import check_writable

    if path.suffix.lower() not in PAGE_SUFFIXES and not path.is_dir():
        raise InputError(
            f"{path}: a page's name ends in {' or '.join(PAGE_SUFFIXES)}, so that it cannot "
            "replace another kind of file"
        )
    return check_writable(path)


@app.command()
def explore(
    case_file: CaseFile,
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="Of the local page; default: any free one.")
    ] = 0,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the page in the browser.")
    ] = True,
) -> None:
    """Try a case on a local page: move propellers and see what follows; ends with Ctrl+C."""
    with _sentences():
        from blownwing.explore.server import Session, address, server_for

        session = Session(case_file)
        server = server_for(session, port)
        place = address(session, server)
        typer.echo(f"Open {place} on this machine; Ctrl+C ends it.")
        if browser:
            import webbrowser

            webbrowser.open(place)
        try:
            server.serve_forever()
        except KeyboardInterrupt:
            typer.echo("Ended.")
        finally:
            server.server_close()


@app.command()
def check(case_file: CaseFile) -> None:
    """Read a case and say in words what would be solved, without solving it."""
    with _sentences():
        from blownwing.case.reader import read_case

        case = read_case(case_file)
        from blownwing.report.explain import print_case

        print_case(case, _console())


@app.command()
def design_propeller(
    spec_file: Annotated[
        Path, typer.Argument(metavar="SPEC.toml", help="The propeller to design.")
    ],
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="FOLDER", help="Default: <spec>_propeller here."),
    ] = None,
    fmt: Format = None,
) -> None:
    """Design blades of minimum loss and for high lift: files, maps, figures, comparison."""
    with _sentences():
        from blownwing.propeller.specification import design_task, read_specification

        spec = read_specification(spec_file)
        folder = output if output is not None else Path(f"{spec_file.stem}_propeller")
        _check_figure_folder(folder)
        task = design_task(spec, spec_file.parent, folder)

        from rich.text import Text

        from blownwing.report.propeller_comparison import designed, wing_airfoil_path
        from blownwing.report.propeller_figures import write_propeller_figures
        from blownwing.report.propeller_summary import print_products

        spec = wing_airfoil_path(spec, spec_file.parent)
        products = designed(spec, task, folder)
        figures = write_propeller_figures(
            products, spec.drive(), folder, (fmt or FigureFormat.png).value
        )
        console = _console()
        print_products(spec, products, console)
        kinds = [product.design.kind for product in products]
        written = [folder / f"{kind}{end}" for kind in kinds for end in (".csv", "_map.h5")]
        console.print()
        console.print(Text(f"Written: {_listed(written + figures)}"), soft_wrap=True)


StudyFile = Annotated[Path, typer.Argument(metavar="STUDY.toml", help="The study to read.")]


@app.command()
def sweep(
    study_file: StudyFile,
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="OUT.h5", help="Table; default: <study>.h5 here."),
    ] = None,
    figures: Annotated[
        bool, typer.Option("--figures", help="Write figures to <study>_figures beside the table.")
    ] = False,
    workers: Annotated[
        int | None, typer.Option("--workers", min=1, help="Processes; default: one per core.")
    ] = None,
    scheduler: Annotated[
        str | None, typer.Option("--scheduler", help="Address of a Dask scheduler to run on.")
    ] = None,
    restart: Annotated[
        bool, typer.Option("--restart", help="Forget the cases that an earlier run finished.")
    ] = False,
    fmt: Format = None,
) -> None:
    """Run a study's cases; a run that broke off goes on where it stopped."""
    with _sentences():
        if fmt is not None and not figures:
            raise InputError("--format: applies to figures; add --figures or leave it out")
        if workers is not None and scheduler is not None:
            raise InputError("--workers: does not apply with --scheduler; leave one out")
        from blownwing.study.reader import read_study

        study = read_study(study_file)
        target = _result_place(study.base, study_file, output)
        folder = target.with_name(f"{study_file.stem}_figures")
        if figures:
            _check_figure_folder(folder)
        from blownwing.report.study_summary import print_study, study_progress
        from blownwing.study.sweep import Options, run_sweep

        console = _console()
        with study_progress(console) as progress:
            table = run_sweep(study, target, Options(workers, scheduler, restart), progress)
        rank_by, best = study.ranking
        print_study(table, console, rank_by, best)
        written = [target, target.with_suffix(".csv")]
        if figures:
            from blownwing.report.study_figures import write_study_figures

            written += write_study_figures(
                table, folder, rank_by, best, (fmt or FigureFormat.png).value
            )
        typer.echo(f"Written: {_listed(written)}")


def _target(text: str) -> tuple[str, float]:
    """Return the quantity and the value of a target such as CL=1.2."""
    name, _, value = text.partition("=")
    try:
        return name.strip(), float(value)
    except ValueError:
        raise InputError(
            f'--target: found "{text}"; accepted is CL=, lift= or weight= and a number'
        ) from None


def _peaks(case: Case, weight: float | None, console: Console) -> Solution:
    """Print the largest lift blown and unblown and return the solution at the first."""
    from blownwing.report.lift_summary import print_peaks
    from blownwing.study.lift import peak_lift, stall_speed, unblown

    bare_case = unblown(case)
    with console.status("Searching the largest lift") if console.is_terminal else nullcontext():
        bare = peak_lift(bare_case)
        blown = peak_lift(case) if case.propellers else None
        speeds = None
        if weight is not None:
            slow = stall_speed(case, weight) if case.propellers else None
            speeds = (slow, stall_speed(bare_case, weight))
    print_peaks(blown, bare, speeds, console)
    console.print()
    return (blown or bare).solution


@app.command()
def aircraft(
    case_file: CaseFile,
    output: Annotated[
        Path | None,
        typer.Option(
            "-o", "--output", metavar="OUT.h5", help="Result; default: <case>_aircraft.h5 here."
        ),
    ] = None,
    trade: Annotated[
        str | None,
        typer.Option(
            metavar="propellers=2..16", help="Evaluate it with each even number of propellers."
        ),
    ] = None,
    keep: Annotated[
        Kept | None,
        typer.Option(help="With --trade: what of the row stays; default coverage (of the span)."),
    ] = None,
    figures: Annotated[
        bool, typer.Option("--figures", help="Write figures to <result>_figures beside it.")
    ] = False,
    fmt: Format = None,
) -> None:
    """Take-off, stall, climb, cruise, range, gusts, a failed motor; or how many propellers."""
    with _sentences():
        if fmt is not None and not figures:
            raise InputError("--format: applies to figures; add --figures or leave it out")
        if keep is not None and trade is None:
            raise InputError("--keep: applies to --trade; add --trade propellers=2..16")
        from blownwing.case.reader import read_case

        case = read_case(case_file)
        ending = "aircraft" if trade is None else "trade"
        place = output if output is not None else Path(f"{case_file.stem}_{ending}.h5")
        target = _result_place(case, case_file, place)
        folder = target.with_name(f"{target.stem}_figures")
        if figures:
            _check_figure_folder(folder)
        kind: Literal["png", "svg"] = (fmt or FigureFormat.png).value

        from rich.text import Text

        from blownwing.aircraft.storage import save_groups

        console = _console()
        if trade is None:
            from blownwing.aircraft.performance import evaluated
            from blownwing.aircraft.records import records
            from blownwing.report.aircraft_figures import write_aircraft_figures
            from blownwing.report.aircraft_summary import print_aircraft

            with _steps(console) as tell:
                performance = evaluated(case, tell)
            groups = records(performance)
            written = [save_groups(groups, case.title, case.to_toml(), target)]
            if figures:
                written += write_aircraft_figures(performance, folder, kind)
            console.print(Text(f"Written: {_listed(written)}"), soft_wrap=True)
            console.print()
            print_aircraft(performance, console)
        else:
            from blownwing.aircraft.trade import counts_from, trade_record, traded
            from blownwing.report.aircraft_figures import write_trade_figure
            from blownwing.report.aircraft_trade import print_trade
            from blownwing.report.figures import made_folder

            counts = counts_from(trade)
            with _steps(console) as tell:
                found = traded(case, counts, (keep or Kept.coverage).value, tell)
            record = {"trade": trade_record(found)}
            written = [save_groups(record, case.title, case.to_toml(), target)]
            if figures:
                picture = made_folder(folder) / f"trade.{kind}"
                written.append(write_trade_figure(found, picture, kind))
            console.print(Text(f"Written: {_listed(written)}"), soft_wrap=True)
            console.print()
            print_trade(found, console)


@contextmanager
def _steps(console: Console) -> Iterator[Callable[[str], None]]:
    """Show the step at work, on a terminal only."""
    if not console.is_terminal:
        yield lambda _step: None
        return
    with console.status("Starting") as status:
        yield lambda step: status.update(f"Solving: {step}")


@app.command()
def optimize(
    study_file: StudyFile,
    output: Annotated[
        Path | None,
        typer.Option(
            "-o", "--output", metavar="FOLDER", help="Where files go; default: this folder."
        ),
    ] = None,
    figures: Annotated[bool, typer.Option("--figures", help="Write the figure too.")] = False,
    fmt: Format = None,
) -> None:
    """Search the wing's best chord and twist, or the propellers' best places and settings."""
    with _sentences():
        if fmt is not None and not figures:
            raise InputError("--format: applies to figures; add --figures or leave it out")
        from blownwing.solution.files import check_folder
        from blownwing.study.reader import read_study

        study = read_study(study_file)
        problem = study.optimize
        if (problem is None) == (study.placement is None):
            raise InputError(
                f"{study_file}: accepted is a study with exactly one of [optimize] and [placement]"
            )
        folder = output or Path()
        check_folder(folder)
        if problem is None:
            if figures:
                raise InputError("--figures: a placement search has none; leave it out")
            _placement(study, folder / f"{study_file.stem}_optimum.toml")
            return
        from blownwing.report.shape_report import print_shape, write_shape
        from blownwing.study.confirmation import confirmed
        from blownwing.study.shape_search import searched

        console = _console()
        result = searched(study.base, problem)
        check = confirmed(result, problem.objective)
        print_shape(result, check, problem.objective, console)
        written = write_shape(
            result, folder / study_file.stem, (fmt or FigureFormat.png).value if figures else None
        )
        typer.echo(f"Written: {_listed(written)}")


def _placement(study: Study, target: Path) -> None:
    from blownwing.report.placement_report import print_placement, write_optimum
    from blownwing.study.placement import best_placement

    if study.placement is None:
        raise ValueError("a placement search needs its table")
    result = best_placement(study.base, study.placement)
    print_placement(result, study.placement, _console())
    typer.echo(f"Written: {write_optimum(study.base, result, target)}")


def _convergence(case: Case, target: Path, console: Console) -> Path:
    from blownwing.report.convergence_summary import print_convergence
    from blownwing.study.convergence import export_convergence, grid_convergence

    found, _ = grid_convergence(case)
    console.print()
    print_convergence(found, console)
    return export_convergence(found, target.with_name(f"{target.stem}_convergence.csv"))


def _result_place(case: Case, case_file: Path, output: Path | None) -> Path:
    """Return where the result goes, checked before any work is done."""
    from blownwing.solution.files import check_writable

    target = output if output is not None else Path(f"{case_file.stem}.h5")
    if target.suffix.lower() not in RESULT_SUFFIXES and not target.is_dir():
        raise InputError(
            f"{target}: a result's name ends in {' or '.join(RESULT_SUFFIXES)}, so that it cannot "
            "replace another kind of file"
        )
    check_writable(target)
    inputs = [case_file, *(path for _, path in case.files())]
    if any(path.resolve() == target.resolve() for path in inputs):
        raise InputError(f"{target}: is an input of this case; give another name for the result")
    return target


def _check_figure_folder(folder: Path) -> None:
    from blownwing.solution.files import check_folder

    check_folder(folder if folder.exists() else folder.parent)


def _console() -> Console:
    from rich.console import Console

    return Console(highlight=False, markup=False, emoji=False)


def _progress(case: Case, console: Console) -> Any:
    """Show that work goes on, on a terminal and for a long polar only."""
    count = len(case.alphas)
    if count < LONG_POLAR or not console.is_terminal:
        return nullcontext()
    return console.status(f"Solving {count} angles of attack")


def _listed(paths: list[Path]) -> str:
    """Return files as text, those of one folder together."""
    folders: dict[Path, list[str]] = {}
    for path in paths:
        folders.setdefault(path.parent, []).append(path.name)
    parts = [
        str(folder / names[0]) if len(names) == 1 else f"{folder}{os.sep} ({', '.join(names)})"
        for folder, names in folders.items()
    ]
    return ", ".join(parts)


@contextmanager
def _sentences() -> Iterator[None]:
    """Turn every way to fail into one sentence on stderr and its exit code."""
    try:
        yield
    except InputError as error:
        _stop(str(error), 2)
    except SolveError as error:
        _stop(str(error), 1)
    except MemoryError:
        _stop("there is not enough memory for this case; use fewer panels", 1)
    except KeyboardInterrupt:
        _stop("interrupted; nothing half-written is left", 130)
    except Exception as error:
        if isinstance(error, typer.Exit | BrokenPipeError) or os.environ.get("BLOWNWING_TRACEBACK"):
            raise
        _stop(
            f"internal error, a defect of blownwing ({type(error).__name__}: {error}); "
            "set BLOWNWING_TRACEBACK=1 to see where",
            1,
        )


def _stop(sentence: str, code: int) -> NoReturn:
    typer.echo(f"blownwing: {' '.join(sentence.split())}", err=True)
    raise typer.Exit(code)


if __name__ == "__main__":
    main()
