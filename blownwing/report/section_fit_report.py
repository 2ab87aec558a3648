"""A fitted section: its files, its numbers on the terminal, its figure."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from blownwing.airfoil.section import write_section
from blownwing.propeller.blade import Blade, blade_text
from blownwing.propeller.section_fit import PARAMETERS, Fit, Measured, mean_error
from blownwing.report import style
from blownwing.solution.files import write_text, write_whole
from blownwing.solution.model import CAUTION

Array = NDArray[np.float64]

_INCIDENCES = np.arange(-14.0, 20.01, 0.5)


def fit_places(blade: Blade, folder: Path, fmt: str) -> list[Path]:
    """The files that `write_fit` and `write_fit_figure` write for a blade."""
    sections = [f"{blade.name}_{Path(key).stem}_fitted.csv" for key in blade.tables]
    return [folder / name for name in (*sections, f"{blade.name}_fitted.csv", f"fit.{fmt}")]


def write_fit(fit: Fit, folder: Path, provenance: str) -> list[Path]:
    """Write the section files and the blade file that uses them; return their paths.

    Args:
        fit: the fit. folder: exists. provenance: what was fitted to what, for the first lines.

    Raises:
        InputError: a place cannot be written. SolveError: the system refused while writing.
    """
    names: dict[str, str] = {}
    written = []
    for key, table in fit.blade.tables.items():
        name = f"{fit.blade.name}_{Path(key).stem}_fitted.csv"
        names[key] = name
        first = table.source.rsplit("starting from: ", 1)[-1]
        source = f"{provenance}; {_quality(fit)}; starting from: {first}"
        written.append(write_whole(folder / name, _section_writer(table, source)))
    blade = Blade(
        fit.blade.name,
        fit.blade.source,
        fit.blade.radius.copy(),
        fit.blade.chord.copy(),
        fit.blade.twist.copy(),
        tuple(names[key] for key in fit.blade.sections),
        {names[key]: table for key, table in fit.blade.tables.items()},
    )
    comments = (f"Sections: {provenance}.", *(f"Remark: {r}." for r in fit.remarks))
    text = blade_text(blade, comments)
    path = folder / f"{fit.blade.name}_fitted.csv"
    return [*written, write_text(path, text)]


def _section_writer(table: Any, source: str) -> Any:
    named = replace(table, source=" ".join(source.split()))
    return lambda partial: write_section(partial, named, _INCIDENCES)


def _quality(fit: Fit) -> str:
    left = fit.mean_error(fit.left_out, fit.used)
    values = ", ".join(f"{name} {value:.3g}" for name, value in fit.values.items())
    return (
        f"{len(fit.used)} points, mean error at points left out CT {left[0]:.1%}, CP {left[1]:.1%} "
        f"of the largest; {values}"
    )


def print_fit(fit: Fit, title: str, console: Console) -> None:
    """Print parameters, errors, residuals and remarks; fits 80 columns and needs no colour."""
    console.print(Text(title, style="bold"))
    console.print()
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for name in ("section", "value", "±", "prior", "unit"):
        table.add_column(name, justify="left" if name in ("section", "unit") else "right")
    for name, value in fit.values.items():
        p = PARAMETERS[name]
        table.add_row(
            Text(p.words), f"{value:.3f}", f"{fit.deviations[name]:.3f}",
            Text(f"{p.mean:g} ± {p.deviation:g}"), p.unit,
        )  # fmt: skip
    console.print(table)
    console.print()
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for name in ("mean error, of the largest value", "points", "CT", "CP"):
        table.add_column(name, justify="left" if name[0] == "m" else "right", no_wrap=True)
    rows = [
        ("before, at the points fitted", fit.before, fit.used),
        ("fitted, at the same", fit.computed, fit.used),
        ("at points left out of the fit", fit.left_out, fit.used),
    ]
    if len(fit.held):
        rows += [
            ("before, at other rotor speeds", fit.before_held, fit.held),
            ("fitted, at these", fit.computed_held, fit.held),
        ]
    for words, computed, points in rows:
        error = mean_error(computed, points, fit.scale)
        table.add_row(words, str(len(points)), f"{error[0]:.2%}", f"{error[1]:.2%}")
    console.print(table)
    console.print()
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for name in ("rpm", "J", "CT", "fitted", "left out", "CP", "fitted", "left out"):
        table.add_column(name, justify="right", no_wrap=True)
    for k in range(len(fit.used)):
        table.add_row(
            f"{fit.used.rpm[k]:.0f}", f"{fit.used.advance[k]:.3f}",
            f"{fit.used.thrust[k]:z.4f}", f"{fit.computed[k, 0] - fit.used.thrust[k]:+z.4f}",
            f"{fit.left_out[k, 0] - fit.used.thrust[k]:+z.4f}",
            f"{fit.used.power[k]:z.4f}", f"{fit.computed[k, 1] - fit.used.power[k]:+z.4f}",
            f"{fit.left_out[k, 1] - fit.used.power[k]:+z.4f}",
        )  # fmt: skip
    console.print(table)
    console.print()
    console.print(Text("How far to trust this", style="bold"))
    for remark in fit.remarks:
        console.print(Padding(Text(f"Contradiction: {remark}."), (0, 0, 0, 2)))
    for note in (
        "The section is what makes this geometry give these points, errors of chord and twist "
        "included; it is not a measured aerofoil. Between the Reynolds numbers of the points it "
        "interpolates, beyond it rests on the prior.",
        CAUTION,
    ):
        console.print(Padding(Text(note), (0, 0, 0, 2)))


def write_fit_figure(fit: Fit, path: Path, fmt: style.Format) -> Path:
    """Draw measured, fitted and left-out values over J and write the figure.

    Errors as for `style.save_figure`.
    """
    with style.settings():
        return style.save_figure(fit_figure(fit), path, fmt)


def fit_figure(fit: Fit) -> Figure:
    """CT and CP over J as measured and fitted, the residuals, and the section's lift and drag."""
    figure = style.new_figure(10.0, 9.6)
    grid = figure.subplots(3, 2)
    words = ("Thrust coefficient", "Power coefficient")
    for column, (name, title) in enumerate(zip(("CT", "CP"), words, strict=True)):
        axes = grid[0, column]
        _measured(axes, fit.used, fit.computed, fit.before, column)
        if len(fit.held):
            values = (fit.held.thrust, fit.held.power)[column]
            axes.plot(
                fit.held.advance, values, ".", ms=3.5, color=style.GREY, label="measured, not used",
                zorder=1,
            )  # fmt: skip
        axes.axhline(0.0, color=style.GREY, linewidth=0.8)
        axes.set_xlabel("advance ratio J = V/nD")
        axes.set_ylabel(name)
        style.head(axes, title)
        _residuals(grid[1, column], fit, column)
    _section(grid[2], fit)
    handles, labels = grid[0, 0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=4)
    return figure


def _measured(axes: Any, points: Measured, fitted: Array, before: Array, column: int) -> None:
    order = np.argsort(points.advance)
    j, values = points.advance[order], (points.thrust, points.power)[column][order]
    axes.plot(j, before[order, column], "--", color=style.ORANGE, label="section as it was")
    axes.plot(j, fitted[order, column], "-", color=style.VERMILION, label="fitted section")
    axes.plot(j, values, "o", ms=4.5, mfc="none", color=style.BLUE, label="measured, fitted")


def _residuals(axes: Any, fit: Fit, column: int) -> None:
    parts: list[tuple[str, Measured, Array, str, str]] = [
        ("fitted", fit.used, fit.computed, style.VERMILION, "o"),
        ("left out of the fit", fit.used, fit.left_out, style.BLUE, "x"),
    ]
    if len(fit.held):
        parts.append(("other speeds", fit.held, fit.computed_held, style.GREY, "."))
    for label, points, computed, color, marker in parts:
        values = (points.thrust, points.power)[column]
        error = 100.0 * (computed[:, column] - values) / fit.scale[column]
        axes.plot(points.advance, error, marker, ms=4.0, color=color, label=label)
    axes.axhline(0.0, color=style.GREY, linewidth=0.8)
    axes.set_xlabel("advance ratio J = V/nD")
    axes.set_ylabel(f"computed − measured,\n% of the largest {('CT', 'CP')[column]}")
    axes.legend(loc="best")
    style.head(axes, f"Residuals of {('CT', 'CP')[column]}")


def _section(row: Any, fit: Fit) -> None:
    table = next(iter(fit.blade.tables.values()))
    levels = [int(np.argmin(np.abs(np.log(table.reynolds / value)))) for value in (3e4, 6e4, 1.5e5)]
    inside = np.abs(np.degrees(table.alpha) - 3.0) <= 15.0
    for index, k in enumerate(dict.fromkeys(levels)):
        label = f"Re {table.reynolds[k]:.0f}"
        alpha = np.degrees(table.alpha[inside])
        row[0].plot(alpha, table.cl[k][inside], **style.line_style(index), label=label)
        row[1].plot(
            table.cd[k][inside], table.cl[k][inside], **style.line_style(index), label=label
        )
    row[0].set_xlabel("angle of attack, °")
    row[1].set_xlabel("cd")
    for axes, title in zip(row, ("Lift of the fitted section", "Its polar"), strict=True):
        axes.set_ylabel("cl")
        axes.legend(loc="best")
        style.head(axes, title)
    row[1].set_xlim(0.0, 0.15)
