"""Command fit-propeller."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from blownwing.cli.base import FigureFormat, Format, app, listed, new_console, quantity, sentences
from blownwing.errors import InputError


@app.command(short_help="Find a blade's section from measurements.")
def fit_propeller(
    blade_file: Annotated[
        Path, typer.Argument(metavar="BLADE.csv", help="Chord, twist and sections to start from.")
    ],
    table_file: Annotated[
        Path, typer.Argument(metavar="TABLE.csv", help="Measured J, CT, CP and rpm.")
    ],
    diameter: Annotated[str, typer.Option("--diameter", help='In m, or as "10 in".')],
    blades: Annotated[int, typer.Option("--blades", min=1, max=24, help="Number of blades.")],
    rpm: Annotated[
        float | None,
        typer.Option("--rpm", help="Fit the run nearest to it, keep the others for judgement."),
    ] = None,
    altitude: Annotated[
        str, typer.Option("--altitude", help='Of the measurement, in m or as "800 ft".')
    ] = "0 m",
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="FOLDER", help="Default: <blade>_fit here."),
    ] = None,
    fmt: Format = None,
) -> None:
    """Find a blade's section from measured thrust and power: files, residuals, figure."""
    with sentences():
        from blownwing.case.air import air_at
        from blownwing.case.units import length
        from blownwing.propeller.blade import read_blade
        from blownwing.propeller.performance import read_performance
        from blownwing.propeller.section_fit import fitted_section, measured_points
        from blownwing.propeller.sources import blade_sections
        from blownwing.report.section_fit_report import fit_places
        from blownwing.solution.files import check_outputs

        folder = output if output is not None else Path(f"{blade_file.stem}_fit")
        size = quantity("--diameter", diameter, length)
        height = quantity("--altitude", altitude, length)
        if not size > 0.0:
            raise InputError(f"--diameter: found {diameter}; accepted is above 0")
        if rpm is not None and not rpm > 0.0:
            raise InputError(f"--rpm: found {rpm:g}; accepted is above 0")
        blade, table = read_blade(blade_file), read_performance(table_file)
        places = fit_places(blade, folder, (fmt or FigureFormat.png).value)
        inputs = [blade_file, table_file, *blade_sections(blade_file)]
        check_outputs(places if folder.is_dir() else [], inputs, folder)
        points = measured_points(table, blade)
        fit = fitted_section(blade, size, blades, air_at(height), points, rpm)

        from blownwing.report.figures import made_folder
        from blownwing.report.section_fit_report import print_fit, write_fit, write_fit_figure

        console = new_console()
        which = "all speeds" if rpm is None else f"{fit.used.rpm[0]:.0f} rpm"
        title = f"Section of {blade.name}, fitted to {table.name} at {which}"
        print_fit(fit, title, console)
        made_folder(folder)
        provenance = f"fitted to {table.name} at {which} ({table.source})"
        written = write_fit(fit, folder, provenance)
        place = folder / f"fit.{(fmt or FigureFormat.png).value}"
        written.append(write_fit_figure(fit, place, (fmt or FigureFormat.png).value))
        typer.echo(f"Written: {listed(written)}")
