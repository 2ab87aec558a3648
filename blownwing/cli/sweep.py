"""Command sweep."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from blownwing.cli.base import (
    FigureFormat,
    Format,
    StudyFile,
    app,
    check_format,
    inputs_of,
    listed,
    new_console,
    result_name,
    sentences,
)
from blownwing.errors import InputError

if TYPE_CHECKING:
    from rich.console import Console

    from blownwing.study.model import Study
    from blownwing.study.sweep.table import StudyTable


# Longer than other functions by its options, which are the table of what can be asked.
@app.command(short_help="Run the cases of a study.")
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
    edges: Annotated[
        int | None,
        typer.Option(
            "--edges", min=1, max=100, help="Solve so many of the best again with slipstream edges."
        ),
    ] = None,
    fmt: Format = None,
) -> None:
    """Run a study's cases; a run that broke off goes on where it stopped."""
    with sentences():
        check_format(fmt, figures)
        if workers is not None and scheduler is not None:
            raise InputError("--workers: does not apply with --scheduler; leave one out")
        from blownwing.study.reader import read_study

        study = read_study(study_file)
        if edges is not None and study.how[0] == "aircraft":
            raise InputError("--edges: found a study of whole aircraft; leave it out")
        target = result_name(output or Path(f"{study_file.stem}.h5"))
        folder = target.with_name(f"{study_file.stem}_figures")
        from blownwing.report.general_section import print_general_section
        from blownwing.report.study_summary import print_study, study_progress
        from blownwing.solution.files import check_outputs
        from blownwing.study.sweep.run import Options, companions, run_sweep

        # which cases are solved again is known afterwards; files that are there already tell
        again_places = [] if edges is None else list(target.parent.glob(f"{target.stem}_case_*.h5"))
        check_outputs(
            [target, *companions(target), *again_places],
            inputs_of(study.base, study_file, study.case_file),
            folder if figures else None,
        )
        console = new_console()
        with study_progress(console) as progress:
            table = run_sweep(study, target, Options(workers, scheduler, restart), progress)
        rank_by, best = study.ranking
        print_study(table, console, rank_by, best)
        print_general_section(study.base, console)
        written = [target, target.with_suffix(".csv")]
        if edges is not None:
            written += _best_with_edges(study, table, edges, target, console)
        if figures:
            from blownwing.report.study_figures import write_study_figures

            written += write_study_figures(
                table, folder, rank_by, best, (fmt or FigureFormat.png).value
            )
        typer.echo(f"Written: {listed(written)}")


def _best_with_edges(
    study: Study, table: StudyTable, count: int, target: Path, console: Console
) -> list[Path]:
    """Solve the best of a table again with slipstream edges, and keep their results."""
    from blownwing.report.study_summary import print_confirmed, search_progress
    from blownwing.study.sweep.best_again import best_again

    with search_progress(console, "Solving the best with edges") as tick:
        again = best_again(study, table, count, tick)
    console.print()
    print_confirmed(again, *study.ranking, console)
    places = {item.case: target.with_name(f"{target.stem}_case_{item.case}.h5") for item in again}
    return [item.solution.save(places[item.case]) for item in again if item.solution is not None]
