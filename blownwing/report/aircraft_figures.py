"""Figures of an aircraft: take-off, climb, cruise, mission, and the number of propellers."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from blownwing.aircraft.configuration import aircraft_of
from blownwing.aircraft.performance import Performance
from blownwing.aircraft.trade import Trade
from blownwing.case.air import GRAVITY
from blownwing.case.units import KNOT
from blownwing.report import style
from blownwing.report.figures import made_folder
from blownwing.solution.model import CAUTION


def write_aircraft_figures(
    performance: Performance, folder: str | Path, fmt: style.Format = "png"
) -> list[Path]:
    """Write the figures of an aircraft to a folder and return the files.

    Raises:
        InputError: the folder cannot be made or written.
    """
    folder = made_folder(folder)
    with style.settings():
        figures = {
            "take_off": _take_off(performance),
            "climb": _climb(performance),
            "cruise": _cruise(performance),
            "mission": _mission(performance),
        }
        return [
            style.save_figure(figure, folder / f"{name}.{fmt}", fmt)
            for name, figure in figures.items()
        ]


def write_trade_figure(trade: Trade, path: Path, fmt: style.Format = "png") -> Path:
    """Write the figure of a trade over the number of propellers.

    Raises:
        InputError: the folder cannot be written.
    """
    with style.settings():
        return style.save_figure(_trade(trade), path, fmt)


def _framed(width: float = 9.0, height: float = 4.8) -> Figure:
    """A figure that carries the caution below its axes."""
    figure = style.new_figure(width, height)
    figure.supxlabel(CAUTION, fontsize=6.5, color=style.GREY)
    return figure


def _knots(axes: Axes) -> None:
    """A second axis in knots above an axis of speeds in m/s."""

    def knots(speed: Any) -> Any:
        return speed / KNOT

    def metres(speed: Any) -> Any:
        return speed * KNOT

    top = axes.secondary_xaxis("top", functions=(knots, metres))
    top.set_xlabel("kt")


def _take_off(p: Performance) -> Figure:
    figure = _framed()
    left, right = figure.subplots(1, 2)
    speed, along, lift, _ = p.take_off.history
    weight = aircraft_of(p.case).mass * GRAVITY
    left.plot(speed, along / weight, "o-", label="thrust less drag / weight", **_plain(0))
    left.plot(speed, lift / weight, "s--", label="lift on the wheels / weight", **_plain(1))
    left.axvline(p.take_off.lift_off, color=style.BLACK, lw=0.8)
    left.annotate("lift-off", (p.take_off.lift_off, 0.02), rotation=90, ha="right")
    left.set_xlabel("airspeed, m/s")
    left.set_ylabel("of the weight")
    left.legend()
    _knots(left)
    _, airspeed, distance = p.take_off.track
    right.plot(distance, airspeed, **_plain(2))
    right.set_xlabel("ground roll, m")
    right.set_ylabel("airspeed, m/s")
    return figure


def _plain(index: int) -> dict[str, Any]:
    return {"color": style.SERIES[index]}


def _climb(p: Performance) -> Figure:
    figure = _framed()
    left, right = figure.subplots(1, 2)
    for index, (name, curve) in enumerate(
        (("take-off flaps", p.climb_take_off), ("clean", p.climb_clean))
    ):
        speeds = [c.speed for c in curve]
        left.plot(speeds, [100 * c.gradient for c in curve], label=name, **style.line_style(index))
        right.plot(speeds, [c.rate for c in curve], label=name, **style.line_style(index))
    for item in p.failures:
        words = "motor failed" if len(item.failed) == 1 else "and its opposite off"
        marker = "x" if len(item.failed) == 1 else "+"
        left.plot([item.speed], [100 * item.gradient], marker, color=style.BLACK, label=words)
    left.set_ylabel("gradient, %")
    right.set_ylabel("rate of climb, m/s")
    for axes in (left, right):
        axes.set_xlabel("airspeed, m/s")
        axes.legend()
        _knots(axes)
    return figure


def _cruise(p: Performance) -> Figure:
    figure = _framed()
    left, right = figure.subplots(1, 2)
    speeds = [s.speed for s in p.cruise]
    left.plot(speeds, [s.shaft_power / 1e3 for s in p.cruise], label="shafts", **_plain(0))
    left.plot(speeds, [s.battery_power / 1e3 for s in p.cruise], "--", label="battery", **_plain(1))
    left.set_ylabel("power, kW")
    left.legend()
    right.plot(speeds, [s.range / 1e3 for s in p.cruise], **_plain(2))
    right.plot([p.best_range.speed], [p.best_range.range / 1e3], "o", color=style.BLACK)
    right.annotate("best range", (p.best_range.speed, p.best_range.range / 1e3))
    right.set_ylabel("range on all usable energy, km")
    for axes in (left, right):
        axes.axvline(p.cruise_at.speed, color=style.GREY, lw=0.8, ls=":")
        axes.set_xlabel("airspeed, m/s")
        _knots(axes)
    return figure


def _mission(p: Performance) -> Figure:
    figure = _framed()
    upper, lower = figure.subplots(2, 1, sharex=True)
    minutes = p.mission.time / 60.0
    upper.plot(minutes, p.mission.power / 1e3, **_plain(0))
    upper.set_ylabel("battery power, kW")
    lower.plot(minutes, p.mission.charge / 3.6e6, **_plain(1))
    lower.axhline(p.mission.usable / 3.6e6, color=style.BLACK, lw=0.8)
    lower.set_ylabel("energy used, kWh")
    lower.set_xlabel("time, min")
    return figure


_PANELS = (
    ("take_off_distance", 1.0, "take-off to the screen, m"),
    ("CLmax", 1.0, "CLmax, take-off"),
    ("cruise_power", 1e-3, "cruise power, kW"),
    ("range", 1e-3, "range, km"),
    ("gradient_failed", 100.0, "climb, motor failed, %"),
    ("noise", 1.0, "rotational noise at 100 m, dB"),
)


def _trade(trade: Trade) -> Figure:
    figure = _framed(10.0, 6.4)
    counts = trade.asked
    for axes, (name, scale, label) in zip(np.ravel(figure.subplots(2, 3)), _PANELS, strict=True):
        axes.plot(counts, _values(trade, name, scale), "o-", label="evaluated", **_plain(0))
        if name == "CLmax":
            bare = _values(trade, "CLmax_unblown", 1.0)
            axes.plot(counts, bare, "s--", label="zero thrust", **_plain(1))
        for i, count in enumerate(trade.refused):
            axes.axvline(
                count, color=style.GREY, ls=":", lw=1.0, label="" if i else "failed: no value"
            )
        if name == "CLmax" or (trade.refused and name == "take_off_distance"):
            axes.legend()
        axes.set_xlabel("number of propellers")
        axes.set_xticks(counts)
        style.head(axes, label)
    return figure


def _values(trade: Trade, name: str, scale: float) -> list[float]:
    """Values over the counts asked for; a gap where a count failed."""
    found = {choice.count: scale * getattr(choice, name) for choice in trade.choices}
    return [found.get(count, math.nan) for count in trade.asked]
