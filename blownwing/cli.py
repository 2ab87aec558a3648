"""The command line: parses, calls, prints. Heavy modules load inside the commands that need them.

Exit codes: 0 good, 1 the calculation failed, 2 the input is wrong, 130 interrupted.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

from blownwing import __version__
from blownwing.errors import InputError, SolveError

if TYPE_CHECKING:
    from rich.console import Console

    from blownwing.case.model import Case

RESULT_SUFFIXES = (".h5", ".hdf5")
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
    fmt: Format = None,
) -> None:
    """Solve a case: result file, summary and, if asked, figures and tables."""
    with _sentences():
        if fmt is not None and not figures:
            raise InputError("--format: applies to figures; add --figures or leave it out")
        from blownwing.case.reader import read_case

        case = read_case(case_file)
        target = _result_place(case, case_file, output)
        folder = target.with_name(f"{case_file.stem}_figures")
        if figures:
            _check_figure_folder(folder)

        from rich.text import Text

        from blownwing.coupling import solve as solve_case
        from blownwing.report.summary import print_summary

        console = _console()
        with _progress(case, console):
            solution = solve_case(case)
        written = [solution.save(target)]
        if csv:
            from blownwing.solution.tables import export_csv

            written += export_csv(solution, target.with_suffix(""))
        if figures:
            from blownwing.report.figures import write_figures

            written += write_figures(solution, folder, (fmt or FigureFormat.png).value)
        print_summary(solution, console)
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
def check(case_file: CaseFile) -> None:
    """Read a case and say in words what would be solved, without solving it."""
    with _sentences():
        from blownwing.case.reader import read_case

        case = read_case(case_file)
        from blownwing.report.explain import print_case

        print_case(case, _console())


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
