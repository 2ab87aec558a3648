"""Command design-propeller."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from blownwing.cli.base import FigureFormat, Format, app, listed, new_console, sentences, ticking


@app.command(short_help="Design blades for a task.")
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
    with sentences():
        from blownwing.propeller.specification import (
            design_task,
            read_specification,
            specified_files,
        )
        from blownwing.report.propeller_comparison import blade_places, designed, found_files
        from blownwing.solution.files import check_outputs

        spec = read_specification(spec_file)
        folder = output if output is not None else Path(f"{spec_file.stem}_propeller")
        check_outputs(
            blade_places(folder) if folder.is_dir() else [],
            specified_files(spec, spec_file),
            folder,
        )
        task = design_task(spec, spec_file.parent, folder)

        from rich.text import Text

        from blownwing.report.propeller_figures import write_propeller_figures
        from blownwing.report.propeller_summary import print_products

        spec = found_files(spec, spec_file.parent)
        console = new_console()
        with ticking(console, "Searching the blade that lifts most") as tell:
            products, failure = designed(spec, task, folder, tell)
        figures = write_propeller_figures(
            products, spec.drive(), folder, (fmt or FigureFormat.png).value
        )
        print_products(spec, products, console)
        written = blade_places(folder, [product.design.kind for product in products])
        console.print()
        console.print(Text(f"Written: {listed(written + figures)}"), soft_wrap=True)
        if failure is not None:
            raise failure
