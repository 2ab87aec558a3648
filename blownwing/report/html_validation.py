"""The comparisons with measured, printed and computed values as one page."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from matplotlib.figure import Figure

from blownwing import __version__
from blownwing.report import html, style
from blownwing.report.validation_table import band_text, error_text, number, other_side, verdict
from blownwing.solution import CAUTION
from blownwing.solution.files import write_text
from blownwing.solution.model import now
from blownwing.validation import Outcome
from blownwing.validation.rows import TAGS

_EDGE = 1.6  # of the band, beyond which a point is drawn at the figure's edge


def write_validation(outcomes: Sequence[Outcome], path: str | Path) -> Path:
    """Write the page of all comparisons: one file, nothing loaded from elsewhere.

    Raises:
        InputError: the place cannot be written.
        SolveError: the system refused while writing.
    """
    text = validation_page(outcomes)
    return write_text(path, text)


def validation_page(outcomes: Sequence[Outcome]) -> str:
    """Return the page of all comparisons."""
    title = "blownwing against measured, printed and computed values"
    with style.settings():
        picture = html.vector_figure(
            error_figure(outcomes),
            "Every compared value: its error over its band. Between the dashed lines a value is "
            "inside; points at the border lie outside the picture.",
            "errors",
        )
    body = [
        f"<h1>{title}</h1>",
        html.paragraph(f"Version {__version__}, run {now()}. {verdict(outcomes)}", "lead"),
        html.paragraph(CAUTION, "caution"),
        html.heading("What the tags say"),
        html.table(("tag", "the other value is"), TAGS.items()),
        html.heading("All errors at a glance"),
        picture,
    ]
    for outcome in outcomes:
        body += [html.heading(outcome.title), *_prose(outcome.text), _table(outcome)]
    return html.page(title, body)


def _prose(text: str) -> list[str]:
    """Paragraphs of a README; code, headings and pictures stay in the README itself."""
    parts = [part.strip() for part in text.split("\n\n")]
    return [
        html.paragraph(" ".join(part.split()).replace("`", "").replace("**", ""))
        for part in parts
        if part and part[0] not in "#!`|"
    ]


def _table(outcome: Outcome) -> str:
    """The rows, their sources numbered and given in full below."""
    sources = list(dict.fromkeys(row.source for row in outcome.rows))
    rows = [
        [
            row.quantity, number(row.computed), number(row.published), error_text(row),
            band_text(row), row.tag, str(sources.index(row.source) + 1), row.note,
        ]
        for row in outcome.rows
    ]  # fmt: skip
    head = ["quantity", "computed", other_side(outcome.rows), "error", "band"]
    head += ["tag", "source", "note"]
    columns = [k for k in range(len(head)) if k < len(head) - 1 or any(row[k] for row in rows)]
    outside = [k for k, row in enumerate(outcome.rows) if not row.inside]
    table = html.table(
        [head[k] for k in columns],
        [[row[k] for k in columns] for row in rows],
        numbers=(1, 2, 3, 4),
        marked=outside,
    )
    given = (f"Source {k}: {source}" for k, source in enumerate(sources, start=1))
    return table + html.bullets(given)


def error_figure(outcomes: Sequence[Outcome]) -> Figure:
    """Draw every row's error over its band, one line of points per entry.

    Rows that only must not exceed a value have no band and are left out.
    """
    figure = style.new_figure(9.0, 1.2 + 0.24 * len(outcomes))
    axes = figure.subplots()
    names = [outcome.name.replace("_", " ") for outcome in outcomes]
    for place, outcome in enumerate(outcomes):
        rows = [row for row in outcome.rows if row.kind != "below" and row.band > 0.0]
        for row in rows:
            at = min(max(row.error / row.band, -_EDGE), _EDGE)
            colour, mark = (style.BLUE, "o") if row.inside else (style.VERMILION, "D")
            axes.plot(at, place, mark, color=colour, markersize=4.5, alpha=0.75)
    for at in (-1.0, 1.0):
        axes.axvline(at, color=style.GREY, linestyle="--", linewidth=1.0)
    axes.axvline(0.0, color=style.GREY, linewidth=0.8)
    axes.set_xlim(-1.05 * _EDGE, 1.05 * _EDGE)
    axes.set_yticks(range(len(names)), names)
    axes.set_ylim(len(names) - 0.4, -0.6)
    axes.set_xlabel("error over band")
    style.head(axes, "Errors of all compared values")
    return figure
