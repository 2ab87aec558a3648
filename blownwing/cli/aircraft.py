"""Command aircraft."""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple

import typer

from blownwing.cli.base import (
    CaseFile,
    FigureFormat,
    Format,
    app,
    check_format,
    inputs_of,
    listed,
    new_console,
    result_name,
    sentences,
    steps,
)
from blownwing.errors import InputError

if TYPE_CHECKING:
    from rich.console import Console

    from blownwing.aircraft.redesign import Keep
    from blownwing.case.model import Case
    from blownwing.solution.groups import Words
    from blownwing.solution.records import Group


class Kept(StrEnum):
    """What a trade over the number of propellers keeps."""

    coverage = "coverage"
    disc_loading = "disc_loading"
    thrust = "thrust"


@app.command(short_help="Take-off to range, failed motor, trade.")
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
        check_format(fmt, figures)
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
        console = new_console()
        with steps(console) as tell:
            if sensitivities:
                found = _sensitivities(case, tell)
            elif trade is not None:
                found = _trade(case, trade, (keep or Kept.coverage).value, tell)
            else:
                found = _performance(case, tell)
        from rich.text import Text

        from blownwing.report.group_page import write_group_figures
        from blownwing.solution.groups import save_groups

        written = [save_groups(found.groups, case.title, case.to_toml(), target, found.words)]
        if figures:
            written += write_group_figures(target, folder, (fmt or FigureFormat.png).value)
        console.print(Text(f"Written: {listed(written)}"), soft_wrap=True)
        console.print()
        found.show(console)


class _Found(NamedTuple):
    """Results of one way to evaluate an aircraft: for the file, in words, and how it is printed."""

    groups: dict[str, Group]
    words: Words
    show: Callable[[Console], None]


def _performance(case: Case, tell: Callable[[str], None]) -> _Found:
    from blownwing.study.sweep.executor import beside, usable_cores

    with beside(usable_cores() - 1) as later:
        from blownwing.aircraft.performance import evaluated

        performance = evaluated(case, tell, later)
    from blownwing.aircraft.records import records
    from blownwing.report.aircraft_summary import aircraft_words
    from blownwing.report.words import print_words

    words = aircraft_words(performance)
    return _Found(
        records(performance), words, partial(print_words, case.title or "Aircraft", words)
    )


def _sensitivities(case: Case, tell: Callable[[str], None]) -> _Found:
    from blownwing.aircraft.sensitivity import sensitivities, sensitivity_record
    from blownwing.report.sensitivity_report import sensitivity_words
    from blownwing.report.words import print_words

    swings = sensitivities(case, tell)
    words = sensitivity_words(swings, case)
    return _Found(sensitivity_record(swings), words, partial(print_words, "Sensitivities", words))


def _trade(case: Case, asked: str, keep: Keep, tell: Callable[[str], None]) -> _Found:
    from blownwing.aircraft.trade import counts_from, trade_record, traded
    from blownwing.report.aircraft_trade import print_trade, trade_words
    from blownwing.study.sweep.executor import beside, usable_cores

    counts, cores = counts_from(asked), usable_cores()
    with beside(min(cores, len(counts)) if cores > 1 else 0) as later:
        trade = traded(case, counts, keep, tell, later)
    words = trade_words(trade, case)
    return _Found({"trade": trade_record(trade)}, words, partial(print_trade, trade, words))
