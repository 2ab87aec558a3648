"""Figures and pages of every file that the program writes, from the file alone."""

from __future__ import annotations

import tomllib
from html import escape
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from blownwing import __version__
from blownwing.case.units import RPM
from blownwing.errors import InputError
from blownwing.report import html, style
from blownwing.report.figures import made_folder, write_figures
from blownwing.report.group_page import write_group_figures, write_group_report
from blownwing.report.html_report import plain_number, when, write_report
from blownwing.report.study_figures import write_study_figures
from blownwing.report.study_page import study_body
from blownwing.solution.files import write_text
from blownwing.solution.map_files import load_map
from blownwing.solution.model import CAUTION
from blownwing.solution.records import kind_of, read_records
from blownwing.solution.storage import load
from blownwing.study.model import AIRCRAFT, AIRCRAFT_RANKING
from blownwing.study.sweep.table import StudyTable, load_table


def draw_file(
    path: Path, folder: Path, fmt: style.Format, alpha: float | None = None
) -> list[Path]:
    """Write the figures of a file of any kind and return them.

    alpha: deg, which angle of a polar is drawn along span and radius; default: the middle one.

    Raises:
        InputError: the file cannot be read, has no such angle, or the folder cannot be written.
        SolveError: the system refused while writing.
    """
    kind = kind_of(path)
    if kind == "result":
        return write_figures(load(path), folder, fmt, alpha)
    if alpha is not None:
        raise InputError(f"--alpha: {path} holds no polar; leave it out")
    if kind == "study":
        table = load_table(path)
        return write_study_figures(table, folder, *stored_ranking(table), fmt)
    if kind == "map":
        with style.settings():
            place = made_folder(folder) / f"map.{fmt}"
            return [style.save_figure(_map_figure(path), place, fmt)]
    return write_group_figures(path, folder, fmt)


def report_file(path: Path, target: Path) -> Path:
    """Write the page of a file of any kind.

    Raises:
        InputError: the file cannot be read, or the place cannot be written.
        SolveError: the system refused while writing.
    """
    kind = kind_of(path)
    if kind == "result":
        return write_report(load(path), target)
    texts = {name: str(value) for name, value in read_records(path).attributes.items()}
    if kind == "study":
        table = load_table(path)
        body = study_body(table, *stored_ranking(table))
        what = "Study"
    elif kind == "map":
        body = _map_body(path)
        what = "Performance map of a propeller"
    else:
        return write_group_report(path, target)
    title = texts.get("title") or what
    made = f"computed {when(texts['created'])} " if "created" in texts else ""
    head = [
        f"<h1>{escape(title)}</h1>",
        html.paragraph(
            f"{what}, {made}by blownwing {texts.get('blownwing_version', 'unknown')}; report by "
            f"version {__version__}.",
            "lead",
        ),
        html.paragraph(CAUTION, "caution"),
    ]
    text = html.page(title, [*head, *body])
    return write_text(target, text)


def stored_ranking(table: StudyTable) -> tuple[str, str]:
    """The quantity that orders a stored study, and whether its largest or least value is best."""
    try:
        asked: dict[str, Any] = tomllib.loads(table.study_toml).get("sweep", {})
    except tomllib.TOMLDecodeError:
        asked = {}
    usual = AIRCRAFT_RANKING if asked.get("results") == AIRCRAFT else ("CL", "largest")
    name, best = str(asked.get("rank_by", usual[0])), str(asked.get("best", usual[1]))
    return (name if name in table.results else next(iter(table.results))), best


def _map_body(path: Path) -> list[str]:
    table = load_map(path)
    with style.settings():
        figure = html.vector_figure(_map_figure(path), "Efficiency, CT and CP.", "map")
    rows = [
        ("diameter", plain_number(table.diameter), "m"),
        ("blades", str(table.blades), ""),
        ("rotor speed", plain_number(table.omega / RPM), "1/min"),
        ("air density", plain_number(table.density), "kg/m3"),
        ("largest interpolation error of CT", plain_number(table.thrust_error[0]), ""),
        ("largest interpolation error of CP", plain_number(table.power_error[0]), ""),
    ]
    return [figure, html.table(("quantity", "value", "unit"), rows, numbers=(1,))]


def _map_figure(path: Path) -> Figure:
    """Efficiency with lines of CT, and CP, over advance ratio and pitch."""
    table = load_map(path)
    j, pitch = table.advance_ratio, np.degrees(table.pitch)
    figure = style.new_figure(10.0, 4.8)
    left, right = figure.subplots(1, 2, sharey=True)
    if min(table.thrust.shape) < 2:
        left.plot(j, table.thrust[0], color=style.BLUE)
        right.plot(j, table.power[0], "--", color=style.VERMILION)
        left.set_ylabel("CT")
    else:
        driving = table.thrust > 0.0
        efficiency = np.ma.masked_where(~driving, table.efficiency)
        levels = np.linspace(0.0, 1.0, 21)
        shown = left.contourf(j, pitch, efficiency, levels=levels, cmap="viridis")
        figure.colorbar(shown, ax=left, label="efficiency; white: no thrust")
        lines = left.contour(j, pitch, table.thrust, levels=10, colors="k", linewidths=0.8)
        left.clabel(lines, fmt="%.2g", fontsize=8)
        shown = right.contourf(j, pitch, table.power, levels=24, cmap="cividis")
        figure.colorbar(shown, ax=right, label="power coefficient CP")
        left.set_ylabel("pitch added to the twist, °")
    for axes in (left, right):
        axes.set_xlabel("advance ratio J = V/nD")
    style.head(left, "Efficiency, lines of CT")
    style.head(right, "Power coefficient")
    return figure
