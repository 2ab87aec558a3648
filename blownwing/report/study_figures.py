"""Figures of a sweep: maps over one or two parameters, spin patterns, parameters side by side."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from blownwing.report import style
from blownwing.report.figures import made_folder
from blownwing.study.ranking import ranked
from blownwing.study.table import StudyTable, described

Array = NDArray[np.float64]

_SHOWN = ("CL", "CD_induced", "net_axial_force", "power")
_STATIC = ("lift", "net_axial_force", "thrust", "power")
_BEST = 8  # cases drawn strongly in the parallel view
_FAINT = 400  # others that are drawn behind them
_MOST_BARS = 24


def write_study_figures(
    table: StudyTable,
    folder: str | Path,
    rank_by: str = "CL",
    best: str = "largest",
    fmt: style.Format = "png",
) -> list[Path]:
    """Write the figures that the study's parameters allow and return the files.

    ``lines`` for one numeric parameter, ``map`` for two, ``spins`` for spin patterns, ``parallel``
    for any study of more than one case.

    Raises:
        InputError: the folder cannot be written, or `rank_by` is no result of the study.
    """
    order = ranked(table, rank_by, best)
    folder = made_folder(folder)
    numeric = [k for k, v in table.parameters.items() if isinstance(v, np.ndarray) and np.ptp(v)]
    names = _quantities(table, rank_by)
    made: dict[str, Figure] = {}
    with style.settings():
        if len(numeric) == 1:
            made["lines"] = lines(table, numeric[0], names)
        if len(numeric) == 2:
            made["map"] = two_parameter_map(table, numeric[0], numeric[1], rank_by, best)
        if "spins" in table.parameters:
            made["spins"] = spin_comparison(table, rank_by, best)
        if order.size > 1:
            made["parallel"] = parallel_view(table, order, names)
        return [
            style.save_figure(figure, folder / f"{name}.{fmt}", fmt)
            for name, figure in made.items()
        ]


def lines(table: StudyTable, key: str, names: list[str]) -> Figure:
    """Draw quantities over one numeric parameter, a line for each setting of the others."""
    figure = style.new_figure(9.0, 2.6 * ((len(names) + 1) // 2) + 0.8)
    axes = figure.subplots((len(names) + 1) // 2, 2, sharex=True, squeeze=False).ravel()
    others = [k for k in table.parameters if k != key and len(set(table.parameters[k])) > 1]
    settings = list(zip(*(table.parameters[k] for k in others), strict=True))
    groups = dict.fromkeys(settings) if others else {(): None}
    for panel, name in zip(axes, names, strict=False):
        for index, setting in enumerate(groups):
            mine = table.solved.copy()
            if others:
                mine &= np.array([s == setting for s in settings])
            x, y = table.parameters[key][mine], table.results[name][mine]
            order = np.argsort(x)
            label = ", ".join(map(_short, setting)) if panel is axes[0] and others else None
            panel.plot(x[order], y[order], marker=".", label=label, **style.line_style(index % 28))
        panel.set_ylabel(_label(name))
    for panel in axes[len(names) :]:
        panel.remove()
    for panel in axes[-2:]:
        panel.set_xlabel(key)
    style.head(axes[0], table.title or "Sweep")
    if 1 < len(groups) <= 12:
        figure.legend(loc="outside lower center", ncols=2)
    return figure


def two_parameter_map(table: StudyTable, first: str, second: str, name: str, best: str) -> Figure:
    """Draw a quantity over two parameters; of several cases at one place the best is shown."""
    solved = table.solved & ~np.isnan(table.results[name])
    x, y = table.parameters[first][solved], table.parameters[second][solved]
    value = table.results[name][solved]
    sign = -1.0 if best == "largest" else 1.0
    order = np.argsort(sign * value, kind="stable")
    places = np.stack((x, y), axis=1)[order]
    _, keep = np.unique(places, axis=0, return_index=True)
    x, y, value = places[keep, 0], places[keep, 1], value[order][keep]
    figure = style.new_figure(7.5, 5.6)
    axes = figure.subplots()
    if x.size >= 4 and np.linalg.matrix_rank(np.stack((x - x[0], y - y[0])), tol=1e-12) == 2:
        drawn: Any = axes.tricontourf(x, y, value, levels=16, cmap="viridis")
        axes.plot(x, y, ".", color=style.BLACK, markersize=2.5)
    else:
        drawn = axes.scatter(x, y, c=value, cmap="viridis")
    figure.colorbar(drawn, ax=axes, label=_label(name))
    top = int(np.argmin(sign * value))
    axes.plot(
        x[top], y[top], marker="*", markersize=15, color=style.VERMILION,
        markeredgecolor="white", linestyle="none", label=f"{best}: {value[top]:.5g}",
    )  # fmt: skip
    failed = ~table.solved
    if failed.any():
        axes.plot(
            table.parameters[first][failed], table.parameters[second][failed], "x",
            color=style.GREY, label="no result",
        )  # fmt: skip
    axes.set_xlabel(first)
    axes.set_ylabel(second)
    style.head(axes, table.title or "Sweep")
    figure.legend(loc="outside lower center", ncols=2)
    return figure


def spin_comparison(table: StudyTable, name: str, best: str) -> Figure:
    """Draw the best value that every spin pattern reaches, in order."""
    spins = np.array(table.parameters["spins"])
    value, solved = table.results[name], table.solved & ~np.isnan(table.results[name])
    pick = np.max if best == "largest" else np.min
    reached = {
        text: float(pick(value[solved & (spins == text)]))
        for text in dict.fromkeys(table.parameters["spins"])
        if np.any(solved & (spins == text))
    }
    ordered = sorted(reached.items(), key=lambda item: item[1], reverse=best == "largest")
    half = _MOST_BARS // 2
    shown = ordered if len(ordered) <= _MOST_BARS else ordered[:half] + ordered[-half:]
    figure = style.new_figure(9.0, 1.4 + 0.3 * len(shown))
    axes = figure.subplots()
    axes.plot([v for _, v in shown], range(len(shown)), "o", color=style.BLUE)
    axes.set_yticks(range(len(shown)), [_short(text) for text, _ in shown], fontsize=8)
    axes.invert_yaxis()
    axes.set_xlabel(_label(name))
    note = "" if len(shown) == len(ordered) else f" (best and last {half} of {len(ordered)})"
    style.head(axes, f"Spin patterns, blade up on the side named{note}")
    return figure


def parallel_view(table: StudyTable, order: NDArray[np.int64], names: list[str]) -> Figure:
    """Draw every case as a line through its parameters and results, the best ones strongly."""
    columns = [(key, _numbers(values)) for key, values in table.parameters.items()]
    columns += [(_label(name), table.results[name]) for name in names]
    columns = [(label, v) for label, v in columns if np.ptp(v[order]) > 0.0]
    figure = style.new_figure(max(7.0, 1.6 * len(columns) + 1.5), 5.2)
    axes = figure.subplots()
    low = np.array([v[order].min() for _, v in columns])
    high = np.array([v[order].max() for _, v in columns])
    scaled = np.stack([v for _, v in columns], axis=1)
    scaled = (scaled - low) / (high - low)
    place = np.arange(len(columns))
    step = max(order.size // _FAINT, 1)
    for case in order[::step]:
        axes.plot(place, scaled[case], color=style.GREY, alpha=0.25, linewidth=0.7)
    for rank, case in enumerate(order[:_BEST][::-1]):
        top = rank == min(_BEST, order.size) - 1
        axes.plot(
            place, scaled[case], color=style.VERMILION if top else style.BLUE,
            linewidth=2.4 if top else 1.2, label=f"best, case {case}" if top else None,
        )  # fmt: skip
    for at, (bottom, top_value) in enumerate(zip(low.tolist(), high.tolist(), strict=True)):
        axes.text(at, -0.03, f"{bottom:.4g}", ha="center", va="top", fontsize=8)
        axes.text(at, 1.03, f"{top_value:.4g}", ha="center", va="bottom", fontsize=8)
    names_shown = [label.replace(" [", "\n[").replace("propellers.", "") for label, _ in columns]
    axes.set_xticks(place, names_shown, fontsize=8)
    axes.tick_params(axis="x", pad=14)
    axes.set_yticks([])
    axes.set_ylim(-0.1, 1.12)
    axes.spines["left"].set_visible(False)
    style.head(axes, f"All cases, the best {min(_BEST, order.size)} in colour")
    figure.legend(loc="outside lower center")
    return figure


def _quantities(table: StudyTable, rank_by: str) -> list[str]:
    wanted = _SHOWN if "CL" in table.results else _STATIC
    names = dict.fromkeys((rank_by, *wanted))
    return [n for n in names if n in table.results and np.ptp(table.results[n][table.solved])][:6]


def _label(name: str) -> str:
    return f"{name} [{described(name).units}]"


def _short(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value).replace("board_up", "")


def _numbers(values: Any) -> Array:
    """Numbers as they are; text by its order of appearance."""
    if isinstance(values, np.ndarray):
        return values
    places = {text: float(i) for i, text in enumerate(dict.fromkeys(values))}
    return np.array([places[text] for text in values])
