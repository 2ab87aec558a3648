"""Results side by side: terminal table, overlaid figures, page."""

from __future__ import annotations

from html import escape
from pathlib import Path

from matplotlib.figure import Figure
from rich.console import Console
from rich.text import Text

from blownwing import __version__
from blownwing.report import html, style
from blownwing.report.columns import digits, print_columns
from blownwing.report.figures import made_folder
from blownwing.report.wing_figures import shade_blown
from blownwing.solution.comparison import Compared, Comparison, loading, loading_at
from blownwing.solution.files import write_text
from blownwing.solution.model import CAUTION

_MARK = " ≈"  # of a difference within its band
_BANDS = (
    "± is the numerical band of the wing lattice; differences have the sum of both, and ≈ where "
    "they are within it. It says nothing of the model's own errors."
)
_WITHOUT = "No numerical bands: solve with --convergence to have them beside the differences."
_LOADING = "Lift along the span, and below it each one's difference from the first."
_STREAM = "Axial speed and swirl that the slipstreams bring to the quarter chord."
_POLAR = "Lift over incidence, and drag polars."


def print_comparison(found: Comparison, console: Console) -> None:
    """Print inputs that differ, values and differences; nothing is cut at any width."""
    for index, (name, one) in enumerate(zip(found.names, found.solutions, strict=True)):
        what = "held against" if index else "first"
        console.print(Text(f"{name}: {one.title} ({what})"), soft_wrap=True)
    console.print()
    if found.changes:
        rows = [[change.key, *change.values] for change in found.changes]
        left = range(len(found.names) + 1)
        print_columns(console, ["input", *found.names], rows, "Inputs that differ", left=left)
    else:
        console.print(Text("All inputs are the same."))
    console.print()
    heads, rows = _cells(found)
    print_columns(console, heads, rows, "Values")
    console.print()
    console.print(Text(_BANDS if _has_bands(found) else _WITHOUT))
    console.print(Text(CAUTION, style="italic"))


def _has_bands(found: Comparison) -> bool:
    return any(band is not None for row in found.rows for band in row.bands)


def _cells(found: Comparison) -> tuple[list[str], list[list[str]]]:
    heads = ["quantity"]
    for index, name in enumerate(found.names):
        heads += [name] if index == 0 else [name, "difference", "in %"]
    return heads, [_row(row) for row in found.rows]


def _row(row: Compared) -> list[str]:
    unit = "" if row.units == "1" else f", {row.units}"
    cells = [row.name.replace("_", " ") + unit]
    for index, value in enumerate(row.values):
        cells.append("–" if value is None else digits(value) + _band(row.bands[index]))
        if index == 0:
            continue
        difference = row.differences[index]
        if difference is None:
            cells += ["–", "–"]
            continue
        mark = _MARK if row.certain(index) is False and difference else ""
        cells.append(f"{'+' if difference > 0.0 else ''}{digits(difference, 4)}"
                     f"{_band(row.difference_bands[index])}{mark}")  # fmt: skip
        first = row.values[0]
        cells.append(f"{100.0 * difference / abs(first):+.2f}" if first else "–")
    return cells


def _band(value: float | None) -> str:
    return "" if value is None else f" ± {digits(value, 2)}"


def comparison_figures(found: Comparison) -> dict[str, Figure]:
    """Draw loadings, slipstreams and, of polars, lift and drag, all results in one frame."""
    made = {"loading": _loading(found)}
    if any(one.profile for one in found.solutions):
        made["slipstreams"] = _slipstreams(found)
    if sum(result.polar and "CL" in result.totals for result in found.polars) > 1:
        made["polars"] = _polars(found)
    for figure in made.values():
        style.name(figure, " against ".join((found.names[0], ", ".join(found.names[1:]))))
    return made


def write_comparison_figures(
    found: Comparison, folder: Path, fmt: style.Format = "png"
) -> list[Path]:
    """Write the figures to a folder, made if its parent exists, and return the files.

    Raises:
        InputError: the folder cannot be made or written.
        SolveError: the system refused while writing.
    """
    folder = made_folder(folder)
    with style.settings():
        figures = {f"compared_{name}": one for name, one in comparison_figures(found).items()}
        return style.save_figures(figures, folder, fmt)


def _loading(found: Comparison) -> Figure:
    figure = style.new_figure(9.0, 6.4)
    upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=(3, 2))
    static = any("cl" not in one.strips for one in found.solutions)
    shade_blown(upper, found.solutions[0])
    for index, one in enumerate(found.solutions):
        y, look = one.strips["y"], style.line_style(index)
        upper.plot(y, loading(one), label=found.names[index], **look)
        if index:
            lower.plot(y, loading(one) - loading_at(found.solutions[0], y), **look)
    lower.axhline(0.0, color=style.GREY, linewidth=0.8)
    unit = "circulation, m²/s" if static else "cl × chord, m"
    upper.set_ylabel(unit)
    lower.set_ylabel(f"difference of {unit}")
    lower.set_xlabel("y, m")
    style.head(upper, "Span loading" + ("" if static else ", cl over free-stream dynamic pressure"))
    style.head(lower, f"Less that of {found.names[0]}")
    figure.legend(loc="outside lower center", ncols=3)
    return figure


def _slipstreams(found: Comparison) -> Figure:
    figure = style.new_figure(9.0, 5.8)
    upper, lower = figure.subplots(2, 1, sharex=True)
    for axes, name, label in ((upper, "axial", "added, m/s"), (lower, "swirl", "upward, m/s")):
        for index, one in enumerate(found.solutions):
            if name in one.profile:
                axes.plot(
                    one.profile["y"], one.profile[name],
                    label=found.names[index] if axes is upper else None, **style.line_style(index),
                )  # fmt: skip
        axes.axhline(0.0, color=style.GREY, linewidth=0.8)
        axes.set_ylabel(label)
    style.head(upper, "Axial slipstream velocity at the quarter chord")
    style.head(lower, "Swirl at the quarter chord, upward positive")
    lower.set_xlabel("y, m")
    figure.legend(loc="outside lower center", ncols=3)
    return figure


def _polars(found: Comparison) -> Figure:
    figure = style.new_figure(9.6, 4.8)
    lift, drag = figure.subplots(1, 2, sharey=True)
    for index, (name, result) in enumerate(zip(found.names, found.polars, strict=True)):
        if not result.polar or "CL" not in result.totals:
            continue
        look = {**style.line_style(index), "marker": "os^Dv"[index % 5], "markersize": 4}
        lift.plot(result.totals["alpha"], result.totals["CL"], label=name, **look)
        drag.plot(result.totals["CD"], result.totals["CL"], **look)
    lift.set_xlabel("angle of attack α, °")
    lift.set_ylabel("lift coefficient CL")
    drag.set_xlabel("drag coefficient CD of the wing")
    style.head(lift, "Lift curves")
    style.head(drag, "Drag polars, profile drag included")
    figure.legend(loc="outside lower center", ncols=3)
    return figure


def write_comparison(found: Comparison, path: Path) -> Path:
    """Write the page: inputs that differ, values, figures.

    Raises:
        InputError: the place cannot be written.
        SolveError: the system refused while writing.
    """
    names = " against ".join((found.names[0], ", ".join(found.names[1:])))
    captions = {"loading": _LOADING, "slipstreams": _STREAM, "polars": _POLAR}
    heads, rows = _cells(found)
    marked = [
        k for k, row in enumerate(found.rows)
        if any(row.certain(i) for i in range(1, len(found.names)))
    ]  # fmt: skip
    with style.settings():
        figures = [
            html.vector_figure(figure, captions[name], name)
            for name, figure in comparison_figures(found).items()
        ]
    changes = [[change.key, *change.values] for change in found.changes]
    note = _BANDS if _has_bands(found) else _WITHOUT
    if marked:
        note += " Rows whose difference is larger than its band stand out."
    body = [
        f"<h1>{escape(names)}</h1>",
        html.paragraph(f"Compared by blownwing {__version__}.", "lead"),
        html.paragraph(CAUTION, "caution"),
        html.bullets(f"{n}: {s.title}" for n, s in zip(found.names, found.solutions, strict=True)),
        html.heading("Values"),
        html.table(heads, rows, numbers=range(1, len(heads)), marked=marked),
        html.paragraph(note),
        html.heading("Inputs that differ"),
        html.table(["input", *found.names], changes)
        if changes
        else html.paragraph("All inputs are the same."),
        html.heading("Figures"),
        *figures,
    ]
    text = html.page(names, body)
    return write_text(path, text)
