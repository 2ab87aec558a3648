"""Figures of uncertain inputs: how often values come, and what makes them vary."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from blownwing.report import style
from blownwing.report.study_labels import label_of, parameter_of
from blownwing.study.table import StudyTable


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
    """Draw the main effects of uncertain inputs as shares of variance, a group per quantity."""
    shown = [name for name in names if name in table.summary]
    keys = list(table.parameters)
    figure = style.new_figure(9.0, 1.2 + 0.28 * len(shown) * (len(keys) + 1))
    axes = figure.subplots()
    high = 0.8 / len(keys)
    for index, key in enumerate(keys):
        share = [table.summary[name].get(f"effect {key}", 0.0) for name in shown]
        place = np.arange(len(shown)) + (index - 0.5 * (len(keys) - 1)) * high
        bars = axes.barh(
            place, share, 0.9 * high, color=style.SERIES[index % len(style.SERIES)],
            hatch=("", "///", "...", "xx")[index % 4], edgecolor="white", label=parameter_of(key),
        )  # fmt: skip
        axes.bar_label(bars, fmt="%.2f", fontsize=8, padding=2)
    axes.set_yticks(range(len(shown)), shown)
    axes.invert_yaxis()
    axes.set_xlim(0.0, 1.12)
    axes.set_xlabel("share of the variance")
    style.head(axes, "Main effects of the uncertain inputs; the rest is interaction")
    figure.legend(loc="outside lower center", ncols=min(len(keys), 3))
    return figure
