"""The page of a study: best cases or effects, figures, inputs."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from blownwing.report import html, style
from blownwing.report.assumed import study_notes
from blownwing.report.compromises import HEADING, study_compromises
from blownwing.report.html_report import plain_number
from blownwing.report.study_figures import CAPTIONS, study_figures
from blownwing.report.study_labels import (
    best_quantities,
    effect_cells,
    effect_words,
    main_quantities,
    parameter_of,
)
from blownwing.study.sweep.ranking import ranked
from blownwing.study.sweep.table import StudyTable, described

_ROWS = 25


def study_body(table: StudyTable, rank_by: str, best: str) -> list[str]:
    """Markup of a study's page below its heading.

    Raises:
        InputError: `rank_by` is no result of the study.
    """
    solved = int(table.solved.sum())
    parts = [html.paragraph(f"{solved} of {table.solved.size} cases solved, {table.method}.")]
    parts += [html.paragraph(note) for note in study_notes(table)]
    if table.summary:
        parts += _effects(table, "Uncertain inputs", main_quantities(table))
    else:
        parts += _best(table, rank_by, best)
    lines = study_compromises(table)
    parts += [html.heading(HEADING), html.bullets(lines)] if lines else []
    failed = [(str(k), text) for k, text in enumerate(table.messages) if text]
    with style.settings():
        figures = study_figures(table, rank_by, best)
        pictures = [
            html.vector_figure(figure, CAPTIONS.get(name, name), name)
            for name, figure in figures.items()
        ]
    parts += [html.heading("Figures"), *pictures]
    if table.summary:
        rest = [name for name in table.summary if name not in main_quantities(table)]
        parts += _effects(table, "All other quantities", rest)
    if failed:
        parts += [html.heading("Cases without a result"), html.table(("case", "why"), failed)]
    return [
        *parts,
        html.heading("The study"),
        html.text_block(table.study_toml),
        html.heading("Its case"),
        html.text_block(table.case_toml),
    ]


def _best(table: StudyTable, rank_by: str, best: str) -> list[str]:
    order = ranked(table, rank_by, best)
    names = [
        n for n in dict.fromkeys((rank_by, *best_quantities(table)))
        if n in table.results
    ]  # fmt: skip
    rows = [
        [
            str(case),
            *(_cell(values[case]) for values in table.parameters.values()),
            *(_cell(table.results[n][case]) for n in names),
        ]
        for case in order[:_ROWS].tolist()
    ]
    head = [
        "case",
        *(parameter_of(table, key) for key in table.parameters),
        *(_labelled(n) for n in names),
    ]
    caption = f"in order of {best} {rank_by}"
    if order.size > _ROWS:
        caption += f", the first {_ROWS} of {order.size}"
    return [html.heading("Best cases"), html.table(head, rows, caption=caption)]


def _effects(table: StudyTable, heading: str, names: Sequence[str]) -> list[str]:
    more, caption = effect_words(table)
    head = ["quantity", "mean", "standard deviation", *table.parameters, *more]
    rows = []
    for name in names:
        values = table.summary.get(name, {})
        if "mean" not in values:
            continue
        moments = (plain_number(values[key]) for key in ("mean", "standard_deviation"))
        rows.append([_labelled(name), *moments, *effect_cells(table, values)])
    if not rows:
        return []
    numbers = range(1, len(head))
    return [html.heading(heading), html.table(head, rows, numbers, caption=caption)]


def _labelled(name: str) -> str:
    units = described(name).units
    return name.replace("_", " ") + ("" if units == "1" else f", {units}")


def _cell(value: object) -> str:
    if isinstance(value, str):
        return value.replace("board_up", "")
    number = float(np.asarray(value))
    return "–" if np.isnan(number) else plain_number(number)
