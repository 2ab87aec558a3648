"""The balance of an aircraft whose tail is drawn: controls over speed, and with a motor failed."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from blownwing.report import style
from blownwing.report.aircraft_drawing import Groups, framed, knots, mark, number, series
from blownwing.trim.control import Limit

_FLOWN = (
    ("climb/take_off", "take-off, full power"),
    ("climb/clean", "climb, clean, full power"),
    ("cruise/over_speed", "level flight"),
)


def balance_figure(groups: Groups, title: str) -> Figure:
    """Angle of the pitch control over speed beside its limits; shares of limits in a failure."""
    figure = framed(title, "balance")
    left, right = figure.subplots(1, 2)
    _over_speed(groups, left)
    _shares(groups, right)
    knots(left)
    return figure


def _over_speed(groups: Groups, axes: Axes) -> None:
    for index, (key, name) in enumerate(_FLOWN):
        speed, control = series(groups, key, "speed", "control")
        axes.plot(speed, control, label=name, **style.line_style(index))
    at, angle = number(groups, "approach/speed"), number(groups, "approach/control")
    if at is not None and angle is not None:
        axes.plot([at], [angle], "^", color=style.BLACK, label="approach")
    name = groups["balance/pitch"]["least"].long_name.removeprefix("limit of ")
    for end in ("least", "most"):
        limit = number(groups, f"balance/pitch/{end}")
        if limit is not None:
            axes.axhline(limit, color=style.GREY, lw=1.0, ls="--")
            axes.annotate("limit", (1.0, limit), xycoords=("axes fraction", "data"), ha="right",
                          va="bottom", fontsize=8.5)  # fmt: skip
    axes.margins(y=0.15)
    mark(axes, number(groups, "speeds/V2/speed"), "V2", ":")
    style.head(axes, f"{name.capitalize()} in balance")
    axes.set_xlabel("airspeed, m/s")
    sense = "nose up" if name.endswith(".incidence") else "trailing edge down"
    axes.set_ylabel(f"{name}, deg, {sense} positive")
    axes.legend(loc="best", frameon=True, framealpha=0.95, edgecolor="none")


def _broken(name: str) -> str:
    return name.replace("_", " ").replace(" of the ", "\nof the ")


def _shares(groups: Groups, axes: Axes) -> None:
    """What the climb with a motor failed asks of each control, over its limit."""
    names = [key.split("/")[-1] for key in groups if key.startswith("balance/one/")]
    ends = ("value", "least", "most")
    shares = [
        Limit(name, *(number(groups, f"balance/one/{name}/{end}") or 0.0 for end in ends)).share
        for name in names
    ]
    places = np.arange(len(names))
    colours = [style.VERMILION if share > 1.0 else style.BLUE for share in shares]
    axes.barh(places, shares, color=colours, alpha=0.8)
    for place, share in zip(places.tolist(), shares, strict=True):
        axes.annotate(f" {share:.2f}", (share, place), va="center", fontsize=8.5)
    axes.axvline(1.0, color=style.BLACK, lw=1.0, ls="--", label="limit")
    axes.set_yticks(places, [_broken(name) for name in names])
    axes.invert_yaxis()
    axes.set_xlim(0.0, 1.2 * max([1.0, *shares]))
    speed = number(groups, "failure_climb/one/speed")
    words = "" if speed is None else f" at {speed:.1f} m/s"
    style.head(axes, f"Climb with a motor failed{words}")
    axes.set_xlabel("share of its limit")
    axes.legend(loc="lower right")
