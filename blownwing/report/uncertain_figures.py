"""Figures of uncertain inputs: how often values come, what makes them vary, and how far."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from blownwing.report import style
from blownwing.report.study_labels import label_of, parameter_of
from blownwing.study.sweep.table import StudyTable

_HATCHES = ("", "///", "...", "xx")


def spread(table: StudyTable, names: list[str]) -> Figure:
    """Draw how often each value comes, with mean and standard deviation of the study."""
    figure = style.new_figure(9.6, 2.8 * ((len(names) + 1) // 2) + 0.8)
    panels = figure.subplots((len(names) + 1) // 2, 2, squeeze=False).ravel()
    for panel, name in zip(panels, names, strict=False):
        values = table.results[name][table.solved]
        panel.hist(values[~np.isnan(values)], bins="fd", color="#9fbfdd", edgecolor="white")
        found = table.summary.get(name, {})
        if {"mean", "standard_deviation"} <= set(found):
            mean, width = found["mean"], found["standard_deviation"]
            panel.axvline(mean, color=style.BLUE, label=f"mean {mean:.4g}")
            for place in (mean - width, mean + width):
                panel.axvline(
                    place, color=style.VERMILION, linestyle="--",
                    label=f"± {width:.3g}" if place > mean else None,
                )  # fmt: skip
            panel.legend(fontsize=8)
        panel.set_xlabel(label_of(name))
        panel.set_ylabel("cases")
    for panel in panels[len(names) :]:
        panel.remove()
    style.head(panels[0], f"{int(table.solved.sum())} cases")
    return figure


def effects(table: StudyTable, names: list[str]) -> Figure:
    """Draw the main effects of uncertain inputs as shares of variance, a group per quantity.

    Of an expansion also the standard error of each, and a stroke at the total effect.
    """
    shown = [name for name in names if name in table.summary]
    keys = list(table.parameters)
    figure = style.new_figure(9.0, 1.4 + 0.28 * len(shown) * (len(keys) + 1))
    axes = figure.subplots()
    high = 0.8 / len(keys)
    for index, key in enumerate(keys):
        found = [table.summary[name] for name in shown]
        share = [values.get(f"effect {key}", 0.0) for values in found]
        place = np.arange(len(shown)) + (index - 0.5 * (len(keys) - 1)) * high
        bars = axes.barh(
            place, share, 0.9 * high, color=style.SERIES[index % len(style.SERIES)],
            hatch=_HATCHES[index % 4], edgecolor="white", label=parameter_of(table, key),
        )  # fmt: skip
        if all(f"total {key}" in values for values in found):
            band = [values[f"band {key}"] for values in found]
            axes.errorbar(share, place, xerr=band, fmt="none", ecolor=style.BLACK, capsize=2.5,
                          label="standard error" if not index else None)  # fmt: skip
            axes.plot([values[f"total {key}"] for values in found], place, "|", ms=11, mew=2.0,
                      color=style.BLACK,
                      label="total, with interactions" if not index else None)  # fmt: skip
            reach = [max(s + b, v[f"total {key}"]) for s, b, v in zip(share, band, found,
                                                                      strict=True)]  # fmt: skip
            for at, end, value in zip(place, reach, share, strict=True):
                axes.text(end + 0.015, at, f"{value:.2f}", va="center", fontsize=8)
        else:
            axes.bar_label(bars, fmt="%.2f", fontsize=8, padding=2)
    axes.set_yticks(range(len(shown)), shown)
    axes.invert_yaxis()
    axes.set_xlim(0.0, 1.12)
    axes.set_xlabel("share of the variance")
    style.head(axes, "Main effects of the uncertain inputs; the rest is interaction")
    figure.legend(loc="outside lower center", ncols=min(len(keys), 3))
    return figure


def tornado(table: StudyTable, names: list[str]) -> Figure:
    """Draw how far each input moves each quantity, from its 5 to its 95 %, the widest on top."""
    shown = [name for name in names if "middle" in table.summary.get(name, {})]
    keys = list(table.parameters)
    rows = (len(shown) + 1) // 2
    figure = style.new_figure(10.0, rows * (0.34 * len(keys) + 1.1) + 0.7)
    panels = figure.subplots(rows, 2, squeeze=False).ravel()
    for panel, name in zip(panels, shown, strict=False):
        found = table.summary[name]
        order = sorted(keys, key=lambda key: abs(found[f"high {key}"] - found[f"low {key}"]))
        place = np.arange(len(order))
        for end, colour, hatch in (("low", style.BLUE, ""), ("high", style.ORANGE, "///")):
            width = np.array([found[f"{end} {key}"] - found["middle"] for key in order])
            panel.barh(place, width, 0.7, left=found["middle"], color=colour, hatch=hatch,
                       edgecolor="white", label=f"input at its {end} end")  # fmt: skip
        panel.axvline(found["middle"], color=style.BLACK, lw=0.8)
        panel.set_yticks(place, [parameter_of(table, key) for key in order], fontsize=8)
        panel.set_xlabel(label_of(name))
    for panel in panels[len(shown) :]:
        panel.remove()
    style.head(panels[0], "Swings from 5 to 95 % of each input, the others in the middle")
    handles, labels = panels[0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=2)
    return figure
