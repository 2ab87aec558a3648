"""The command on the whole aircraft."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from blownwing.cli.base import (
    CaseFile,
    FigureFormat,
    Format,
    app,
    inputs_of,
    listed,
    new_console,
    result_name,
    sentences,
    steps,
)
from blownwing.errors import InputError

if TYPE_CHECKING:
    pass


class Kept(StrEnum):
    """What a trade over the number of propellers keeps."""

    coverage = "coverage"
    disc_loading = "disc_loading"
    thrust = "thrust"


@app.command()
def aircraft(
    case_file: CaseFile,
    output: Annotated[
        Path | None,
        typer.Option(
            "-o", "--output", metavar="OUT.h5", help="Result; default: <case>_aircraft.h5 here."
        ),
    ] = None,
    trade: Annotated[
        str | None,
        typer.Option(
            metavar="propellers=2..16", help="Evaluate it with each even number of propellers."
        ),
    ] = None,
    keep: Annotated[
        Kept | None,
        typer.Option(help="With --trade: what of the row stays; default coverage (of the span)."),
    ] = None,
    sensitivities: Annotated[
        bool,
        typer.Option("--sensitivities", help="What its headline numbers hang on, input by input."),
    ] = False,
    figures: Annotated[
        bool, typer.Option("--figures", help="Write figures to <result>_figures beside it.")
    ] = False,
    fmt: Format = None,
) -> None:
    """Take-off, stall, climb, cruise, range, gusts, a failed motor; or how many propellers."""
    with sentences():
        if fmt is not None and not figures:
            raise InputError("--format: applies to figures; add --figures or leave it out")
        if keep is not None and trade is None:
            raise InputError("--keep: applies to --trade; add --trade propellers=2..16")
        if sensitivities and trade is not None:
            raise InputError("--sensitivities: found --trade as well; accepted is one of them")
        from blownwing.case.reader import read_case
        from blownwing.solution.files import check_outputs

        case = read_case(case_file)
        ending = "sensitivities" if sensitivities else "aircraft" if trade is None else "trade"
        place = output if output is not None else Path(f"{case_file.stem}_{ending}.h5")
        target = result_name(place)
        folder = target.with_name(f"{target.stem}_figures")
        check_outputs([target], inputs_of(case, case_file), folder if figures else None)
        kind: Literal["png", "svg", "pdf"] = (fmt or FigureFormat.png).value

        from rich.text import Text

        from blownwing.aircraft.storage import save_groups
        from blownwing.report.general_section import print_general_section

        console = new_console()
        if sensitivities:
            from blownwing.aircraft.sensitivity import sensitivities as evaluate
            from blownwing.aircraft.sensitivity import sensitivity_record
            from blownwing.report.figures import made_folder
            from blownwing.report.sensitivity_report import (
                print_sensitivities,
                sensitivity_words,
                write_sensitivity_figure,
            )

            with steps(console) as tell:
                swings = evaluate(case, tell)
            groups = sensitivity_record(swings)
            words = sensitivity_words(swings)
            written = [save_groups(groups, case.title, case.to_toml(), target, words)]
            if figures:
                picture = made_folder(folder) / f"sensitivities.{kind}"
                written.append(write_sensitivity_figure(groups, case.title, picture, kind))
            console.print(Text(f"Written: {listed(written)}"), soft_wrap=True)
            console.print()
            print_sensitivities(swings, console)
        elif trade is None:
            from blownwing.aircraft.performance import evaluated
            from blownwing.aircraft.records import records
            from blownwing.report.aircraft_figures import write_aircraft_figures
            from blownwing.report.aircraft_summary import aircraft_words, print_aircraft

            with steps(console) as tell:
                performance = evaluated(case, tell)
            groups = records(performance)
            words = aircraft_words(performance)
            written = [save_groups(groups, case.title, case.to_toml(), target, words)]
            if figures:
                written += write_aircraft_figures(groups, case.title, folder, kind)
            console.print(Text(f"Written: {listed(written)}"), soft_wrap=True)
            console.print()
            print_aircraft(performance, console)
            print_general_section(case, console)
        else:
            from blownwing.aircraft.trade import counts_from, trade_record, traded
            from blownwing.report.aircraft_trade import print_trade, trade_words
            from blownwing.report.figures import made_folder
            from blownwing.report.trade_figure import write_trade_figure

            counts = counts_from(trade)
            with steps(console) as tell:
                found = traded(case, counts, (keep or Kept.coverage).value, tell)
            record = {"trade": trade_record(found)}
            words = trade_words(found)
            written = [save_groups(record, case.title, case.to_toml(), target, words)]
            if figures:
                picture = made_folder(folder) / f"trade.{kind}"
                written.append(write_trade_figure(record, case.title, picture, kind))
            console.print(Text(f"Written: {listed(written)}"), soft_wrap=True)
            console.print()
            print_trade(found, console)
            print_general_section(case, console)
