"""Command validate."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from blownwing.cli.base import app, new_console, page_place, sentences, steps
from blownwing.errors import SolveError


@app.command(short_help="Compare with what others found.")
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
    """Compare with measured, printed and computed values: error, band, source, tag."""
    with sentences():
        from blownwing.report.validation_table import accepted, print_outcome, print_verdict
        from blownwing.validation.entries import default_folder, entry_folders, run_entries

        chosen = entry_folders(folder or default_folder(), tuple(entries or ()))
        used = [path for entry in chosen for path in entry.rglob("*") if path.is_file()]
        target = None if page is None else page_place(page, used)
        console = new_console()
        outcomes = []
        with steps(console) as tell:
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
