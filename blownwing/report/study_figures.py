"""Figures of a study: lines, maps, spin patterns, parameters side by side, uncertain inputs."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from blownwing.report import style
from blownwing.report.figures import made_folder
from blownwing.report.study_labels import label_of, main_quantities, parameter_of
from blownwing.report.uncertain_figures import effects, spread, tornado
from blownwing.study.model import AIRCRAFT_RANKING
from blownwing.study.sweep.ranking import ranked
from blownwing.study.sweep.table import StudyTable

Array = NDArray[np.float64]

_SHOWN = ("CL", "CD_induced", "net_axial_force", "power")
_STATIC = ("lift", "net_axial_force", "thrust", "power")
_BEST = 8  # cases drawn strongly in the parallel view
_FAINT = 400  # others that are drawn behind them
_MOST_BARS = 24
_LEGIBLE = 6  # lines that a legend can tell apart
_MOST_PANELS = 24


CAPTIONS = {
    "lines": "Quantities over the parameter.",
    "settings": "Every setting in a panel of its own, all others in grey behind it.",
    "map": "The ranked quantity over two parameters; of several cases at a place the best.",
    "spins": "The best value that every spin pattern reaches.",
    "parallel": "Every case as a line through its parameters and results.",
    "spread": "How often each value comes; lines at the mean and one standard deviation beside it.",
    "effects": "Main effects: share of the variance that each input makes by itself; strokes at "
    "total effects.",
    "tornado": "Swings: what each input from 5 to 95 % of its distribution does by itself.",
}


def write_study_figures(
    table: StudyTable,
    folder: str | Path,
    rank_by: str = "CL",
    best: str = "largest",
    fmt: style.Format = "png",
) -> list[Path]:
    """Write the figures that the study's parameters allow and return the files.

    Raises:
        InputError: the folder cannot be written, or `rank_by` is no result of the study.
        SolveError: the system refused while writing.
    """
    ranked(table, rank_by, best)
    folder = made_folder(folder)
    with style.settings():
        return style.save_figures(study_figures(table, rank_by, best), folder, fmt)


def study_figures(table: StudyTable, rank_by: str, best: str) -> dict[str, Figure]:
    """Draw what the study's parameters allow, by the names of `CAPTIONS`.

    ``lines`` for one numeric parameter, and ``settings`` where it has many lines; ``map`` for two,
    ``spins`` for spin patterns, ``parallel`` for any study of more than one case. Uncertain inputs
    have no best case: ``spread`` and ``effects``, of an expansion ``tornado``.

    Raises:
        InputError: `rank_by` is no result of the study.
    """
    order = ranked(table, rank_by, best)
    numeric = [k for k, v in table.parameters.items() if isinstance(v, np.ndarray) and np.ptp(v)]
    names = _quantities(table, rank_by)
    made: dict[str, Figure] = {}
    if table.summary:
        made["spread"] = spread(table, names)
        made["effects"] = effects(table, names)
        if any("middle" in table.summary.get(name, {}) for name in names):
            made["tornado"] = tornado(table, names)
        return _named(made, table.title)
    if len(numeric) == 1:
        made["lines"] = lines(table, numeric[0], names)
        if len(_groups(table, numeric[0])) > _LEGIBLE:
            made["settings"] = settings_apart(table, numeric[0], rank_by)
    if len(numeric) == 2:
        made["map"] = two_parameter_map(table, numeric[0], numeric[1], rank_by, best)
    if "spins" in table.parameters:
        made["spins"] = spin_comparison(table, rank_by, best)
    if order.size > 1:
        made["parallel"] = parallel_view(table, order, names)
    return _named(made, table.title)


def _named(figures: dict[str, Figure], title: str) -> dict[str, Figure]:
    for figure in figures.values():
        style.name(figure, title)
    return figures


def _groups(table: StudyTable, key: str) -> dict[tuple[Any, ...], NDArray[np.bool_]]:
    """Solved cases by the setting of all parameters but one."""
    others = [k for k in table.parameters if k != key and len(set(table.parameters[k])) > 1]
    settings = list(zip(*(table.parameters[k] for k in others), strict=True))
    if not others:
        return {(): table.solved}
    return {
        setting: table.solved & np.array([s == setting for s in settings])
        for setting in dict.fromkeys(settings)
    }


def lines(table: StudyTable, key: str, names: list[str]) -> Figure:
    """Draw quantities over one numeric parameter, a line for each setting of the others.

    More lines than a reader can tell apart are grey, but for the first and the last by each
    quantity's mean, which carry their names.
    """
    figure = style.new_figure(9.6, 3.0 * ((len(names) + 1) // 2) + 0.8)
    axes = figure.subplots((len(names) + 1) // 2, 2, sharex=True, squeeze=False).ravel()
    groups = _groups(table, key)
    many = len(groups) > _LEGIBLE
    for panel, name in zip(axes, names, strict=False):
        means = {s: float(np.mean(table.results[name][m])) for s, m in groups.items() if m.any()}
        ends = (max(means, key=means.__getitem__), min(means, key=means.__getitem__))
        for index, (setting, mine) in enumerate(groups.items()):
            x, y = table.parameters[key][mine], table.results[name][mine]
            order = np.argsort(x)
            label = ", ".join(map(_short, setting)) or None
            look = style.line_style(index % 28)
            if many:
                look = {"color": style.GREY, "linestyle": "-", "linewidth": 0.7, "alpha": 0.6}
                label = None
            if many and setting in ends:
                place = ends.index(setting)
                look = style.line_style(place)
                label = f"{('highest', 'lowest')[place]}: {', '.join(map(_short, setting))}"
            panel.plot(x[order], y[order], marker=".", label=label, **look)
        panel.set_ylabel(label_of(name))
        if many:
            panel.legend(
                fontsize=8, loc="lower left", bbox_to_anchor=(-0.02, 0.98), ncols=2,
                borderaxespad=0.2, columnspacing=1.0, handlelength=2.2,
            )  # fmt: skip
    for panel in axes[len(names) :]:
        panel.remove()
    for panel in axes[: len(names)][-2:]:
        panel.set_xlabel(parameter_of(table, key))
        panel.tick_params(labelbottom=True)
        panel.xaxis.set_major_locator(MaxNLocator(6))
    note = f"{len(groups)} settings of {_others(table, key)}" if len(groups) > 1 else "Sweep"
    if many:
        figure.supxlabel(f"{note}, the outer two by mean in colour", fontsize=9)
    else:
        style.head(axes[0], note)
    if 1 < len(groups) <= _LEGIBLE:
        handles, labels = axes[0].get_legend_handles_labels()
        figure.legend(handles, labels, loc="outside lower center", ncols=2)
    return figure


def settings_apart(table: StudyTable, key: str, name: str) -> Figure:
    """Draw one quantity over one parameter, a panel for each setting, the others grey behind."""
    groups = dict(list(_groups(table, key).items())[:_MOST_PANELS])
    rows = -(-len(groups) // 4)
    figure = style.new_figure(10.0, 1.7 * rows + 1.0)
    panels = figure.subplots(rows, 4, sharex=True, sharey=True, squeeze=False).ravel()
    curves = {}
    for setting, mine in groups.items():
        order = np.argsort(table.parameters[key][mine])
        curves[setting] = (table.parameters[key][mine][order], table.results[name][mine][order])
    for panel, setting in zip(panels, groups, strict=False):
        for other in curves.values():
            panel.plot(*other, color="#bbbbbb", linewidth=0.6)
        panel.plot(*curves[setting], ".-", color=style.BLUE)
        panel.set_title("\n".join(map(_short, setting)), fontsize=7, parse_math=False)
        panel.tick_params(labelsize=7)
    for panel in panels[len(groups) :]:
        panel.remove()
    figure.supxlabel(parameter_of(table, key), fontsize=9)
    figure.supylabel(label_of(name), fontsize=9)
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
    figure.colorbar(drawn, ax=axes, label=label_of(name))
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
    axes.set_xlabel(parameter_of(table, first))
    axes.set_ylabel(parameter_of(table, second))
    style.head(axes, f"{best.capitalize()} {name} at every place")
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
    axes.set_xlabel(label_of(name))
    note = "" if len(shown) == len(ordered) else f" (best and last {half} of {len(ordered)})"
    style.head(axes, f"Spin patterns, blade up on the side named{note}")
    return figure


def parallel_view(table: StudyTable, order: NDArray[np.int64], names: list[str]) -> Figure:
    """Draw every case as a line through its parameters and results, the best ones strongly.

    order: (cases with a result,) their numbers, best first.
    """
    columns = [(parameter_of(table, key), values) for key, values in table.parameters.items()]
    columns += [(label_of(name), table.results[name]) for name in names]
    columns = [(label, v) for label, v in columns if np.ptp(_numbers(v)[order]) > 0.0]
    figure = style.new_figure(max(7.0, 1.7 * len(columns) + 1.5), 5.2)
    axes = figure.subplots()
    numbers = [_numbers(v) for _, v in columns]
    low = np.array([v[order].min() for v in numbers])
    high = np.array([v[order].max() for v in numbers])
    scaled = np.stack(numbers, axis=1)
    scaled = (scaled - low) / (high - low)
    place = np.arange(len(columns))
    step = max(order.size // _FAINT, 1)
    for case in order[::step]:
        axes.plot(place, scaled[case], color=style.GREY, alpha=0.25, linewidth=0.7)
    for rank, case in enumerate(order[:_BEST][::-1]):
        top = rank == min(_BEST, order.size) - 1
        axes.plot(
            place, scaled[case], "-" if top else "--",
            color=style.VERMILION if top else style.BLUE,
            linewidth=2.4 if top else 1.2, label=f"best, case {case}" if top else None,
        )  # fmt: skip
    for at, ((_, values), bottom, top_value) in enumerate(
        zip(columns, low.tolist(), high.tolist(), strict=True)
    ):
        ends = _ends(values, bottom, top_value)
        axes.text(at, -0.03, ends[0], ha="center", va="top", fontsize=8)
        axes.text(at, 1.03, ends[1], ha="center", va="bottom", fontsize=8)
    names_shown = [label.replace(" [", "\n[").replace("propellers.", "") for label, _ in columns]
    axes.set_xticks(place, names_shown, fontsize=8)
    axes.tick_params(axis="x", pad=14)
    axes.set_yticks([])
    axes.set_ylim(-0.12, 1.14)
    axes.spines["left"].set_visible(False)
    style.head(axes, f"All cases, the best {min(_BEST, order.size)} in colour")
    figure.legend(loc="outside lower center")
    return figure


def _ends(values: Any, low: float, high: float) -> tuple[str, str]:
    """What stands at the foot and the head of a parallel axis: numbers, or words in their order."""
    if isinstance(values, np.ndarray):
        return _plain(low), _plain(high)
    words = list(dict.fromkeys(values))
    first, last = (_short(words[int(k)]) for k in (low, high))
    return first, last


def _plain(value: float) -> str:
    """Four digits without an exponent where that is legible."""
    if value == 0.0 or 1e-3 <= abs(value) < 1e7:
        digits = 0 if value == 0.0 else max(3 - int(np.floor(np.log10(abs(value)))), 0)
        return f"{value:.{digits}f}"
    return f"{value:.3g}"


def _quantities(table: StudyTable, rank_by: str) -> list[str]:
    wanted: tuple[str, ...] = _SHOWN if "CL" in table.results else _STATIC
    if AIRCRAFT_RANKING[0] in table.results:
        wanted = main_quantities(table)
    names = dict.fromkeys((rank_by, *wanted))
    return [n for n in names if n in table.results and np.ptp(table.results[n][table.solved])][:6]


def _others(table: StudyTable, key: str) -> str:
    return ", ".join(k for k in table.parameters if k != key and len(set(table.parameters[k])) > 1)


def _short(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value).replace("board_up", "")


def _numbers(values: Any) -> Array:
    """Numbers as they are; text by its order of appearance."""
    if isinstance(values, np.ndarray):
        return values
    places = {text: float(i) for i, text in enumerate(dict.fromkeys(values))}
    return np.array([places[text] for text in values])
