"""Command compare."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from blownwing.cli.base import FigureFormat, Format, app, listed, new_console, page_place, sentences
from blownwing.errors import InputError


@app.command(short_help="Put results side by side.")
def compare(
    result_files: Annotated[
        list[Path], typer.Argument(metavar="A.h5 B.h5...", help="Results of solve, two or more.")
    ],
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="OUT.html", help="Write a page too."),
    ] = None,
    alpha: Annotated[
        float | None, typer.Option("--alpha", help="Of polars: the angle of the numbers, deg.")
    ] = None,
    figures: Annotated[
        Path | None,
        typer.Option("--figures", metavar="FOLDER", help="Write figures to this folder too."),
    ] = None,
    fmt: Format = None,
) -> None:
    """Put results side by side: inputs, values, differences, bands; the first is the baseline."""
    with sentences():
        if fmt is not None and figures is None:
            raise InputError("--format: applies to figures; add --figures FOLDER or leave it out")
        from blownwing.solution.comparison import compared
        from blownwing.solution.files import check_outputs
        from blownwing.solution.storage import load

        if output is not None:
            page_place(output, result_files)
        check_outputs([], result_files, figures)
        found = compared(short_names(result_files), [load(path) for path in result_files], alpha)
        from blownwing.report.comparison import (
            print_comparison,
            write_comparison,
            write_comparison_figures,
        )

        print_comparison(found, new_console())
        written = [] if output is None else [write_comparison(found, output)]
        if figures is not None:
            written += write_comparison_figures(found, figures, (fmt or FigureFormat.png).value)
        if written:
            typer.echo(f"\nWritten: {listed(written)}")


def short_names(paths: list[Path]) -> list[str]:
    """Names without folders and endings where they tell the files apart, else whole paths."""
    stems = [path.stem for path in paths]
    return stems if len(set(stems)) == len(stems) else [str(path) for path in paths]
