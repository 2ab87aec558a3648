"""Command report."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from blownwing.cli.base import app, page_place, sentences


@app.command(short_help="Write a page on any result.")
def report(
    result_file: Annotated[Path, typer.Argument(metavar="OUT.h5", help="Any file of results.")],
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="OUT.html", help="Default: <result>.html beside."),
    ] = None,
) -> None:
    """Write one self-contained page: inputs, numbers, figures, limits."""
    with sentences():
        from blownwing.report.stored import report_file

        target = page_place(output or result_file.with_suffix(".html"), [result_file])
        typer.echo(f"Written: {report_file(result_file, target)}")
