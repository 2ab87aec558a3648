"""Command new: a case to start from."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from blownwing.cli.base import app, listed, quantity, sentences
from blownwing.errors import InputError


# Longer than other functions by its options, which are the table of what can be asked.
@app.command(short_help="Write a commented case to start from.")
def new(
    case_file: Annotated[Path, typer.Argument(metavar="CASE.toml", help="The case to write.")],
    span: Annotated[str | None, typer.Option("--span", help='In m, or as "33 ft".')] = None,
    chord: Annotated[str | None, typer.Option("--chord", help="At the root, m.")] = None,
    tip_chord: Annotated[
        str | None, typer.Option("--tip-chord", help="Default: as at the root.")
    ] = None,
    wing: Annotated[
        Path | None,
        typer.Option(
            "--wing", metavar="STATIONS.csv", help="Table of y, x, z, chord, twist, airfoil."
        ),
    ] = None,
    airspeed: Annotated[
        str | None, typer.Option("--airspeed", help='In m/s, or as "60 kt".')
    ] = None,
    alpha: Annotated[float | None, typer.Option("--alpha", help="Incidence, deg.")] = None,
    propellers: Annotated[
        int | None, typer.Option("--propellers", help="Of the whole aircraft, even; 0: none.")
    ] = None,
    diameter: Annotated[
        str | None, typer.Option("--diameter", help="In m; default: one that suits the wing.")
    ] = None,
    thrust: Annotated[
        str | None, typer.Option("--thrust", help="Of each, N; default: a blown approach.")
    ] = None,
    spin: Annotated[
        str | None, typer.Option("--spin", help="inboard_up, outboard_up or alternating.")
    ] = None,
    ideal: Annotated[
        bool, typer.Option("--ideal", help="Ideal discs instead of propellers with blades.")
    ] = False,
    title: Annotated[str | None, typer.Option("--title", help="Of the case.")] = None,
) -> None:
    """Write a commented case to start from, by options or, on a terminal, by a few questions."""
    with sentences():
        from blownwing.case.reader import parse_case
        from blownwing.case.starter import Start, started
        from blownwing.case.stations import read_stations
        from blownwing.case.units import force, length, speed
        from blownwing.solution.files import check_outputs, write_text

        if case_file.suffix.lower() != ".toml":
            raise InputError(f"{case_file}: a case's name ends in .toml")
        blade_file = case_file.with_name(f"{case_file.stem}_blade.csv")
        for place in (case_file, blade_file):
            if place.exists():
                raise InputError(f"{place}: exists already; give another name")
        check_outputs([case_file, blade_file], [] if wing is None else [wing])
        stations = () if wing is None else tuple(read_stations(wing))
        if wing is not None and (span, chord, tip_chord) != (None, None, None):
            raise InputError("--wing: has span and chords; leave the other options out")
        asked = (span, chord, airspeed, propellers, wing)
        if sys.stdin.isatty() and all(value is None for value in asked):
            span = typer.prompt("Span, m", "10")
            chord = typer.prompt("Chord at the root, m", "1.2")
            airspeed = typer.prompt("Airspeed, m/s", "30")
            propellers = typer.prompt("Propellers, an even number", 4, type=int)
            spin = typer.prompt("Spin: inboard_up, outboard_up or alternating", "inboard_up")
        quantities = {
            "span": (span, length),
            "chord": (chord, length),
            "tip_chord": (tip_chord, length),
            "airspeed": (airspeed, speed),
            "diameter": (diameter, length),
            "thrust": (thrust, force),
        }
        given: dict[str, Any] = {
            name: quantity(f"--{name.replace('_', '-')}", text, unit)
            for name, (text, unit) in quantities.items()
            if text is not None
        }
        given |= {"title": title or f"New case {case_file.stem}", "stations": stations}
        others = {"alpha": alpha, "propellers": propellers, "spin": spin or None, "ideal": ideal}
        given |= {name: value for name, value in others.items() if value is not None}
        made = started(Start(**given), blade_file.name)
        parse_case(made.case, case_file.parent, "the new case")
        written = []
        if made.blade is not None:
            written.append(write_text(blade_file, made.blade))
        written.insert(0, write_text(case_file, made.case))
        typer.echo(f"Written: {listed(written)}")
        typer.echo(f"Next: blownwing check {case_file}, blownwing solve {case_file} --figures")
