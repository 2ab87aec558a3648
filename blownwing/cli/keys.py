"""Command keys: what input files may say."""

from __future__ import annotations

from typing import Annotated

import typer

from blownwing.cli.base import app, new_console, sentences


@app.command(short_help="Say what input files may hold.")
def keys(
    wanted: Annotated[
        str | None,
        typer.Argument(
            metavar="[TABLE]",
            help="case, study, propeller, result, a table such as wing.flaps, or a key.",
        ),
    ] = None,
) -> None:
    """Say every key of the input files: unit, default, what is accepted, meaning."""
    with sentences():
        from blownwing.report.keys import key_tables, print_keys

        print_keys(key_tables(wanted), new_console())
