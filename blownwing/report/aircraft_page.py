"""The report of an aircraft or of a trade: one page that a designer hands over."""

from __future__ import annotations

from html import escape
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from blownwing import __version__
from blownwing.aircraft.records import Group
from blownwing.aircraft.storage import load_groups, load_words
from blownwing.report import html, style
from blownwing.report.aircraft_figures import CAPTIONS, aircraft_figures, write_aircraft_figures
from blownwing.report.figures import made_folder
from blownwing.report.sensitivity_report import sensitivity_figure, write_sensitivity_figure
from blownwing.report.trade_figure import trade_figure, write_trade_figure
from blownwing.solution.files import write_text
from blownwing.solution.kinds import texts_of
from blownwing.solution.model import CAUTION

_SWING_CAPTION = "Changes with each input less and more, the strongest on top."
_TRADE_CAPTION = "What each number of propellers gives; a dotted line marks a count that failed."


def write_aircraft_report(result: str | Path, path: str | Path) -> Path:
    """Write the report of an aircraft file: one page, nothing loaded from elsewhere.

    Raises:
        InputError: the result cannot be read or the place cannot be written.
    """
    text = aircraft_page(result)
    return write_text(path, text)


def write_result_figures(
    result: str | Path, folder: str | Path, fmt: style.Format = "png"
) -> list[Path]:
    """Write the figures of an aircraft or trade file to a folder.

    Raises:
        InputError: the result cannot be read or the folder cannot be written.
    """
    groups = load_groups(result)
    title = texts_of(result).get("title", "")
    if "trade" in groups:
        place = made_folder(folder) / f"trade.{fmt}"
        return [write_trade_figure(groups, title, place, fmt)]
    if "sensitivities" in groups:
        place = made_folder(folder) / f"sensitivities.{fmt}"
        return [write_sensitivity_figure(groups, title, place, fmt)]
    return write_aircraft_figures(groups, title, folder, fmt)


def aircraft_page(result: str | Path) -> str:
    """The report as the text of an HTML page.

    Raises:
        InputError: the result cannot be read.
    """
    groups = load_groups(result)
    title, created, case_toml, words = load_words(result)
    kind = "Whole aircraft"
    if "trade" in groups:
        kind = "Number of propellers"
    elif "sensitivities" in groups:
        kind = "Sensitivities of an aircraft"
    body = [
        f"<h1>{escape(title or 'Untitled case')}</h1>",
        html.paragraph(
            f"{kind}, computed {created} by blownwing; report by version {__version__}.", "lead"
        ),
        html.paragraph(CAUTION, "caution"),
        html.paragraph(words.lead),
    ]
    for name, lines in words.lists:
        if name == "Warnings":
            body += [html.heading(name), html.bullets(lines)]
    for name, rows in words.sections:
        body += [html.heading(name), html.table(("", "value", "how it comes about"), rows)]
    if "trade" in groups:
        body += [html.heading("Counts"), _counts(groups["trade"])]
    if "mass" in groups:
        body += [html.heading("Masses"), _quantities(groups["mass"])]
    for name, lines in words.lists:
        if name != "Warnings":
            body += [html.heading(name), html.bullets(lines)]
    body.append(html.heading("Figures"))
    with style.settings():
        drawn: dict[str, Figure] = {}
        if "trade" in groups:
            drawn["trade"] = trade_figure(groups, title)
        elif "sensitivities" in groups:
            drawn["sensitivities"] = sensitivity_figure(groups, title)
        else:
            drawn = aircraft_figures(groups, title)
        captions = CAPTIONS | {"trade": _TRADE_CAPTION, "sensitivities": _SWING_CAPTION}
        body += [html.vector_figure(figure, captions[name], name) for name, figure in drawn.items()]
    body += [
        html.heading("The whole input, with what was assumed"),
        html.text_block(case_toml),
        html.paragraph(CAUTION, "caution"),
    ]
    return html.page(title or "Aircraft", body)


def _quantities(group: Group) -> str:
    rows = [
        (quantity.long_name, f"{_number(quantity.value)} {quantity.units}")
        for quantity in group.values()
    ]
    return html.table(("quantity", "value"), rows, numbers=(1,))


def _counts(group: Group) -> str:
    names = [name for name, quantity in group.items() if quantity.over == ("count",)]
    names.sort(key=lambda name: name != "count")
    heads = [f"{group[n].long_name}, {group[n].units}" for n in names]
    columns = [np.atleast_1d(group[n].value).tolist() for n in names]
    rows = [tuple(_number(value) for value in row) for row in zip(*columns, strict=True)]
    return html.table(heads, rows, numbers=range(len(names)))


def _number(value: Any) -> str:
    return f"{float(value):.4g}" if abs(float(value)) < 1e4 else f"{float(value):.0f}"
