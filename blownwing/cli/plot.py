"""Command plot."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from blownwing.cli.base import FigureFormat, Format, app, listed, sentences


@app.command(short_help="Draw the figures of any result.")
def plot(
    result_file: Annotated[Path, typer.Argument(metavar="OUT.h5", help="Any file of results.")],
    output: Annotated[
        Path | None,
        typer.Option(
            "-o", "--output", metavar="FOLDER", help="Default: <result>_figures beside the result."
        ),
    ] = None,
    alpha: Annotated[
        float | None,
        typer.Option("--alpha", help="Of a polar: the angle drawn, deg. Default: the middle one."),
    ] = None,
    fmt: Format = None,
) -> None:
    """Draw the figures of a stored result, study, aircraft, trade or map."""
    with sentences():
        from blownwing.report.stored import draw_file
        from blownwing.solution.files import check_outputs

        folder = output or result_file.parent / f"{result_file.stem}_figures"
        check_outputs([], [result_file], folder)
        written = draw_file(result_file, folder, (fmt or FigureFormat.png).value, alpha)
        typer.echo(f"Written: {listed(written)}")
