"""Command propeller-map."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from blownwing.cli.base import (
    CaseFile,
    FigureFormat,
    Format,
    app,
    inputs_of,
    listed,
    new_console,
    sentences,
)


@app.command(short_help="Curves and maps of CT, CP, efficiency.")
def propeller_map(
    case_file: CaseFile,
    name: Annotated[
        list[str] | None,
        typer.Option("--name", help="Of a propeller; may be repeated. Default: all."),
    ] = None,
    rpm: Annotated[
        float | None,
        typer.Option("--rpm", help="Default: as driven in the case; a table's own speeds."),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="FOLDER", help="Default: <case>_propellers here."),
    ] = None,
    fmt: Format = None,
) -> None:
    """Curves and maps of CT, CP and efficiency, of blades and of measured tables."""
    with sentences():
        from blownwing.case.reader import read_case
        from blownwing.solution.files import check_outputs

        case = read_case(case_file)
        folder = output if output is not None else Path(f"{case_file.stem}_propellers")
        names = tuple(name or ())
        form: Literal["png", "svg", "pdf"] = (fmt or FigureFormat.png).value
        from blownwing.report.propeller_curves import (
            characteristic_places,
            characteristics,
            print_characteristics,
            write_characteristics,
        )

        places = characteristic_places(case, names, folder, form)
        check_outputs(places if folder.is_dir() else [], inputs_of(case, case_file), folder)
        found = characteristics(case, names, rpm)
        print_characteristics(case, found, new_console())
        written = write_characteristics(found, folder, case.title, form)
        typer.echo(f"Written: {listed(written)}")
