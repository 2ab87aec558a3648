"""Command propeller-states."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from blownwing.cli.base import CaseFile, app, inputs_of, listed, new_console, sentences
from blownwing.errors import InputError


@app.command(short_help="Drag and torque off design, derivatives.")
def propeller_states(
    case_file: CaseFile,
    name: Annotated[
        list[str] | None,
        typer.Option("--name", help="Of a propeller; may be repeated. Default: all."),
    ] = None,
    airspeed: Annotated[
        float | None, typer.Option("--airspeed", help="In m/s; default: the case's.")
    ] = None,
    friction: Annotated[
        float, typer.Option("--friction", help="Torque a windmilling one drives, N m.")
    ] = 0.0,
    output: Annotated[
        Path | None, typer.Option("-o", "--output", metavar="OUT.csv", help="Write a table too.")
    ] = None,
) -> None:
    """Drag and torque of propellers driven, windmilling, stopped, feathered; derivatives."""
    with sentences():
        from blownwing.case.reader import read_case
        from blownwing.solution.files import check_outputs

        case = read_case(case_file)
        if output is not None:
            if output.suffix.lower() != ".csv":
                raise InputError(f"{output}: a table's name ends in .csv")
            check_outputs([output], inputs_of(case, case_file))
        from blownwing.report.propeller_states import (
            off_design,
            print_off_design,
            write_off_design,
        )

        speed = case.flow.airspeed if airspeed is None else airspeed
        found = off_design(case, tuple(name or ()), speed, friction)
        print_off_design(case, found, new_console())
        if output is not None:
            typer.echo(f"Written: {listed(write_off_design(found, output))}")
