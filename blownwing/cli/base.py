"""What all commands share: the application, its options, how they fail, where files go.

Exit codes: 0 good, 1 the calculation failed, 2 the input is wrong, 130 interrupted.
"""

from __future__ import annotations

import errno
import os
import sys
import time
from collections.abc import Callable, Iterator
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
PAGE_SUFFIXES = (".html", ".htm")
LONG_POLAR = 4  # angles from which a terminal shows that work goes on
EVERY = 20.0  # s between lines about work that goes on, where there is no terminal


app = typer.Typer(
    help="Wings behind rows of propellers: lift, drag, thrust and power of blown wings.",
    epilog="Concept-level estimates, not for flight clearance.",
    add_completion=True,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # plain help loads in half the time
)


class FigureFormat(StrEnum):
    """Accepted formats of figures."""

    png = "png"
    svg = "svg"
    pdf = "pdf"


class Units(StrEnum):
    """Accepted systems of units of a summary."""

    si = "si"
    us = "us"


CaseFile = Annotated[Path, typer.Argument(metavar="CASE.toml", help="The case to read.")]


StudyFile = Annotated[Path, typer.Argument(metavar="STUDY.toml", help="The study to read.")]


Format = Annotated[
    FigureFormat | None, typer.Option("--format", help="Format of the figures; default png.")
]


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


@contextmanager
def sentences() -> Iterator[None]:
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
    except OSError as error:
        if isinstance(error, BrokenPipeError) or os.environ.get("BLOWNWING_TRACEBACK"):
            raise
        _system_refused(error)
    except Exception as error:
        if isinstance(error, typer.Exit) or os.environ.get("BLOWNWING_TRACEBACK"):
            raise
        _stop(
            f"internal error, a defect of blownwing ({type(error).__name__}: {error}); "
            "set BLOWNWING_TRACEBACK=1 to see where",
            1,
        )


def _system_refused(error: OSError) -> NoReturn:
    """Say what the operating system would not do; a name it does not accept is a wrong input."""
    name = "" if error.filename is None else str(error.filename)
    name = name if len(name) <= 300 else f"{name[:40]}... of {len(name)} characters"
    reason = error.strerror or str(error)
    wrong = error.errno in (errno.ENAMETOOLONG, errno.ELOOP)
    _stop(f"{name or 'the system'}: {reason}", 2 if wrong else 1)


def _stop(sentence: str, code: int) -> NoReturn:
    typer.echo(f"blownwing: {' '.join(sentence.split())}", err=True)
    raise SystemExit(code)


def check_environment() -> None:
    """Refuse settings of the environment that would break libraries on import.

    Raises:
        InputError: naming the variable.
    """
    text = os.environ.get("NUMBA_NUM_THREADS")
    if text is not None and not (text.isascii() and text.isdigit() and 0 < int(text) < 10_000):
        raise InputError(
            f'the environment\'s NUMBA_NUM_THREADS: found "{text[:40]}"; accepted is a whole '
            "number of threads from 1"
        )


def check_format(fmt: FigureFormat | None, figures: bool) -> None:
    """Refuse `--format` where no figures are asked for.

    Raises:
        InputError: it is given without them.
    """
    if fmt is not None and not figures:
        raise InputError("--format: applies to figures; add --figures or leave it out")


def quantity(option: str, text: str, unit: Callable[[object], float]) -> float:
    """What an option holds, in the base unit: a bare number in that unit, or one with its own.

    unit: of `case.units`, such as `length`. Raises InputError with the option's name.
    """
    try:
        number: object = float(text)
    except ValueError:
        number = text
    try:
        return unit(number)
    except InputError as error:
        raise InputError(f"{option}: {error}") from None


def result_name(path: Path) -> Path:
    """Return where the result goes, its name checked.

    The command then gives all that it writes to `check_outputs`, before any work is done.

    Raises:
        InputError: a folder, or another ending than a result's.
    """
    if os.path.isdir(path):
        raise InputError(f"{path}: is a folder; give the name of a file to write")
    if path.suffix.lower() not in RESULT_SUFFIXES:
        raise InputError(
            f"{path}: a result's name ends in {' or '.join(RESULT_SUFFIXES)}, so that it cannot "
            "replace another kind of file"
        )
    return path


def inputs_of(case: Case, *files: Path) -> list[Path]:
    """Return the files that a command was given and those that its case depends on."""
    from blownwing.propeller.sources import input_files

    return [*files, *input_files(case)]


def page_place(path: Path, inputs: list[Path]) -> Path:
    """Return where a page goes, checked before any work is done.

    Raises:
        InputError: another ending than a page's, an input, or a place that cannot be written.
    """
    from blownwing.solution.files import check_outputs

    if path.suffix.lower() not in PAGE_SUFFIXES and not os.path.isdir(path):
        raise InputError(
            f"{path}: a page's name ends in {' or '.join(PAGE_SUFFIXES)}, so that it cannot "
            "replace another kind of file"
        )
    check_outputs([path], inputs)
    return path


def new_console() -> Console:
    """A console that is 80 columns wide where the environment gives no width that can be used."""
    from rich.console import Console

    given = os.environ.get("COLUMNS")
    usable = given is None or (given.isascii() and given.isdigit() and int(given[:6]) >= 20)
    width = None if usable else 80  # a terminal that says 0 would get no text at all
    return Console(highlight=False, markup=False, emoji=False, width=width)


def solve_progress(case: Case, console: Console) -> Any:
    """Show that work goes on, on a terminal and for a long polar or a large case only."""
    if not console.is_terminal:
        return nullcontext()
    from blownwing.coupling.size import expected_size

    count, size = len(case.alphas), expected_size(case)
    if size.compressed:
        each = f"for each of {count} angles of attack" if count > 1 else "compressed"
        return console.status(f"Solving {size.unknowns} unknowns {each}")
    if count < LONG_POLAR:
        return nullcontext()
    return console.status(f"Solving {count} angles of attack")


def listed(paths: list[Path]) -> str:
    """Return files as text, those of one folder together."""
    folders: dict[Path, list[str]] = {}
    for path in paths:
        folders.setdefault(path.parent, []).append(path.name)
    parts = []
    for folder, names in folders.items():
        if len(names) == 1 or folder == Path():
            parts += [str(folder / name) for name in names]
        else:
            parts.append(f"{folder}{os.sep} ({', '.join(names)})")
    return ", ".join(parts)


@contextmanager
def steps(console: Console) -> Iterator[Callable[[str], None]]:
    """Show the step at work: on a terminal at once, in a log now and then."""
    with ticking(console, "Solving") as tick:
        yield tick


@contextmanager
def counted(console: Console, words: str, about: int) -> Iterator[Callable[[str], None]]:
    """Show how many of about so many solves are through, what the last one gave, and the time."""
    started, count = time.monotonic(), 0
    with ticking(console, words) as tick:

        def one(note: str) -> None:
            nonlocal count
            count += 1
            elapsed = time.monotonic() - started
            left = elapsed / count * max(about - count, 0)
            tick(f"{note}; {count} of about {about} solved in {elapsed:.0f} s, {left:.0f} s to go")

        yield one


@contextmanager
def ticking(console: Console, words: str) -> Iterator[Callable[[str], None]]:
    """Show a changing line: on a terminal at once, elsewhere on stderr every EVERY seconds."""
    if console.is_terminal:
        with console.status(words) as status:
            yield lambda note: status.update(f"{words}: {note}")
        return
    last = time.monotonic()

    def line(note: str) -> None:
        nonlocal last
        now = time.monotonic()
        if now - last >= EVERY:
            last = now
            print(f"{words}: {note}", file=sys.stderr, flush=True)

    yield line
