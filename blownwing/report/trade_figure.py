"""The figure of a trade over the number of propellers; failed counts leave gaps."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from matplotlib.figure import Figure

from blownwing.report import style
from blownwing.report.aircraft_drawing import framed
from blownwing.solution.records import Group

_PANELS = (
    ("take_off_distance", 1.0, "Take-off to the screen, m"),
    ("CLmax", 1.0, "CLmax, take-off flaps"),
    ("cruise_power", 1e-3, "Cruise power at the shafts, kW"),
    ("range", 1e-3, "Range in cruise, km"),
    ("gradient_failed", 100.0, "Climb, motor failed, %"),
    ("noise", 1.0, "Tones below the path at take-off, dB"),
)


def trade_figure(groups: Mapping[str, Group], title: str) -> Figure:
    """The figure; within `style.settings`.

    Args:
        groups: with the group `trade`, as `trade_record` makes it. title: of the case.
    """
    figure = framed(title, "number of propellers", 10.5, 6.6)
    failed = failed_counts(groups)
    asked = sorted({*_counts(groups), *failed})
    for axes, (name, scale, label) in zip(np.ravel(figure.subplots(2, 3)), _PANELS, strict=True):
        axes.plot(asked, values_over(groups, name, scale), "o-", label="full thrust",
                  color=style.SERIES[0])  # fmt: skip
        if name == "CLmax":
            bare = values_over(groups, "CLmax_unblown", 1.0)
            axes.plot(asked, bare, "s--", label="zero thrust", color=style.SERIES[1])
        for i, count in enumerate(failed):
            axes.axvline(
                count, color=style.GREY, ls=":", lw=1.0, label="" if i else "failed: no value"
            )
        if name == "CLmax":
            axes.legend()
        axes.set_xlabel("number of propellers")
        axes.set_xticks(asked)
        style.head(axes, label)
    return figure


def failed_counts(groups: Mapping[str, Group]) -> list[int]:
    """Counts that were tried and could not be evaluated."""
    quantity = groups["trade"].get("failed")
    return [] if quantity is None else [round(n) for n in np.atleast_1d(quantity.value)]


def _counts(groups: Mapping[str, Group]) -> list[int]:
    return [round(n) for n in np.atleast_1d(groups["trade"]["count"].value)]


def values_over(groups: Mapping[str, Group], name: str, scale: float) -> list[float]:
    """Values over the counts asked for; a gap (NaN) where a count failed.

    scale: from the stored unit to the drawn one.
    """
    values = np.atleast_1d(groups["trade"][name].value) * scale
    found = dict(zip(_counts(groups), values.tolist(), strict=True))
    return [found.get(n, math.nan) for n in sorted({*found, *failed_counts(groups)})]
