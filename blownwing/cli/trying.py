"""Commands that build trust and feeling: validate, doctor, explore."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from blownwing.cli.base import CaseFile, app, new_console, page_place, sentences, steps
from blownwing.errors import SolveError


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


@app.command()
def doctor() -> None:
    """Say what this installation is made of and whether it computes right; for a bug report."""
    with sentences():
        from blownwing.validation.installation import installation
        from blownwing.validation.self_check import TOLERANCE, self_check

        for what, value in installation():
            typer.echo(f"{what:<20} {value}")
        found = self_check()
        first, second = found.seconds
        typer.echo(f"{'self-check':<20} solved in {first:.2f} s, again in {second:.2f} s")
        for name, computed, stored in found.rows:
            typer.echo(f"  {name:<18} {computed:.9g}, stored {stored:.9g}")
        verdict = "as stored" if found.agrees else "NOT as stored"
        typer.echo(f"{'result':<20} {verdict}, within {found.worst:.1e} (bar {TOLERANCE:g})")
        if not found.agrees:
            raise SolveError(
                f"self-check: a value is {found.worst:.1e} off the stored one, accepted is "
                f"{TOLERANCE:g}; install blownwing anew or report the lines above"
            )


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
    with sentences():
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
