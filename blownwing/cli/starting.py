"""The commands that a new user starts from: a case, and what a file may say."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from blownwing.cli.base import app, listed, new_console, sentences
from blownwing.errors import InputError


@app.command()
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
        plain = Start()

        def read(option: str, text: str | None, unit: object, otherwise: float) -> float:
            return otherwise if text is None else _quantity(option, text, unit)

        start = Start(
            title=title or f"New case {case_file.stem}",
            span=read("--span", span, length, plain.span),
            chord=read("--chord", chord, length, plain.chord),
            tip_chord=None if tip_chord is None else _quantity("--tip-chord", tip_chord, length),
            stations=stations,
            airspeed=read("--airspeed", airspeed, speed, plain.airspeed),
            alpha=plain.alpha if alpha is None else alpha,
            propellers=plain.propellers if propellers is None else propellers,
            diameter=None if diameter is None else _quantity("--diameter", diameter, length),
            thrust=None if thrust is None else _quantity("--thrust", thrust, force),
            spin=spin or plain.spin,
            ideal=ideal,
        )
        made = started(start, blade_file.name)
        parse_case(made.case, case_file.parent, "the new case")
        written = []
        if made.blade is not None:
            text = made.blade
            written.append(write_text(blade_file, text))
        written.insert(0, write_text(case_file, made.case))
        typer.echo(f"Written: {listed(written)}")
        typer.echo(f"Next: blownwing check {case_file}, blownwing solve {case_file} --figures")


@app.command()
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


def _quantity(option: str, text: str, unit: object) -> float:
    """A number in base units, or a string with a unit."""
    if not callable(unit):
        raise TypeError("a reader of a quantity is needed")
    try:
        return float(unit(float(text)))
    except ValueError:
        pass
    except InputError as error:
        raise InputError(f"{option}: {error}") from None
    try:
        return float(unit(text))
    except InputError as error:
        raise InputError(f"{option}: {error}") from None
