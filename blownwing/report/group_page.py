"""The report of an aircraft, a trade, sensitivities or an optimum: a page to hand over."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from blownwing import __version__
from blownwing.aircraft.scalars import VARIABLES
from blownwing.report import html, style
from blownwing.report.aircraft_figures import CAPTIONS, aircraft_figures
from blownwing.report.figures import made_folder
from blownwing.report.html_report import when
from blownwing.report.optimum_figures import CAPTIONS as OPTIMUM_CAPTIONS
from blownwing.report.optimum_figures import optimum_figures
from blownwing.report.sensitivity_report import sensitivity_figure
from blownwing.report.trade_figure import trade_figure
from blownwing.report.words import lists_markup, sections_markup
from blownwing.solution.files import write_text
from blownwing.solution.groups import words_of
from blownwing.solution.model import CAUTION
from blownwing.solution.records import Group, read_records

_KINDS = {
    "aircraft": "Whole aircraft",
    "trade": "Number of propellers",
    "sensitivities": "Sensitivities of an aircraft",
    "optimum": "Optimum",
}
_CAPTIONS = {
    **CAPTIONS,
    **OPTIMUM_CAPTIONS,
    "sensitivities": "Changes with each input less and more, the strongest on top.",
    "trade": "What each number of propellers gives; a dotted line marks a count that failed.",
}


def write_group_report(result: str | Path, path: str | Path) -> Path:
    """Write the report of a file: one page, nothing loaded from elsewhere.

    Raises:
        InputError: the result cannot be read or the place cannot be written.
        SolveError: the system refused while writing.
    """
    text = group_page(result)
    return write_text(path, text)


def write_group_figures(
    result: str | Path, folder: str | Path, fmt: style.Format = "png"
) -> list[Path]:
    """Write the figures of such a file to a folder.

    Raises:
        InputError: the result cannot be read or the folder cannot be written.
        SolveError: the system refused while writing.
    """
    found = read_records(result, "aircraft", "optimum")
    place = made_folder(folder)
    with style.settings():
        figures = _drawn(_kind(found.groups), found.groups, str(found.attributes["title"]))
        return style.save_figures(figures, place, fmt)


def group_page(result: str | Path) -> str:
    """The report as the text of an HTML page.

    Raises:
        InputError: the result cannot be read.
    """
    found = read_records(result, "aircraft", "optimum")
    texts = {name: str(value) for name, value in found.attributes.items()}
    groups, words, title = found.groups, words_of(found, result), texts["title"]
    kind = _kind(groups)
    body = [
        f"<h1>{escape(title or 'Untitled case')}</h1>",
        html.paragraph(
            f"{_KINDS[kind]}, computed {when(texts['created'])} by blownwing; report by version "
            f"{__version__}.",
            "lead",
        ),
        html.paragraph(CAUTION, "caution"),
        html.paragraph(words.lead),
        *sections_markup(words),
    ]
    if kind == "trade":
        body += [html.heading("Counts"), _counts(groups["trade"])]
    if "mass" in groups:
        body += [html.heading("Masses"), _quantities(groups["mass"])]
    body += [*lists_markup(words), html.heading("Figures")]
    with style.settings():
        drawn = _drawn(kind, groups, title)
        body += [
            html.vector_figure(figure, _CAPTIONS[name], name) for name, figure in drawn.items()
        ]
    body += [html.heading("The whole input"), html.text_block(texts["case_toml"])]
    for name, head in (("study_toml", "The study"), ("optimum_toml", "The optimum as a case")):
        if name in texts:
            body += [html.heading(head), html.text_block(texts[name])]
    return html.page(title or _KINDS[kind], [*body, html.paragraph(CAUTION, "caution")])


def _kind(groups: Mapping[str, Group]) -> str:
    """Which of `_KINDS` a file's groups are."""
    marks = {"trade": "trade", "sensitivities": "sensitivities", "check": "optimum"}
    return next((kind for name, kind in marks.items() if name in groups), "aircraft")


def _drawn(kind: str, groups: Mapping[str, Group], title: str) -> dict[str, Figure]:
    """Figures of a kind of file by name; within `style.settings`."""
    if kind == "trade":
        return {kind: trade_figure(groups, title)}
    if kind == "sensitivities":
        return {kind: sensitivity_figure(groups, title)}
    draw = optimum_figures if kind == "optimum" else aircraft_figures
    return draw(groups, title)


def _quantities(group: Group) -> str:
    rows = [
        (quantity.long_name, f"{_number(quantity.value)} {quantity.units}")
        for quantity in group.values()
    ]
    return html.table(("quantity", "value"), rows, numbers=(1,))


def _counts(group: Group) -> str:
    """Quantities below each other, a column for each count: the most that fits a sheet."""
    rows, order = [], list(VARIABLES)
    for name in sorted(group, key=lambda name: order.index(name) if name in order else -1):
        quantity = group[name]
        if quantity.over == ("count",) and name != "count":
            units = "" if quantity.units == "1" else f", {quantity.units}"
            values = np.atleast_1d(quantity.value).tolist()
            rows.append((f"{quantity.long_name}{units}", *map(_number, values)))
    counts = [f"{count:.0f}" for count in np.atleast_1d(group["count"].value).tolist()]
    return html.table(("number of propellers", *counts), rows, numbers=range(1, len(counts) + 1))


def _number(value: Any) -> str:
    return f"{float(value):.4g}" if abs(float(value)) < 1e4 else f"{float(value):.0f}"
