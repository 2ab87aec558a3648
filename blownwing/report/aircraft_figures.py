"""Figures of an aircraft, drawn from its stored quantities: a run and its file look the same."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from blownwing.aircraft.records import Group
from blownwing.case.units import KNOT
from blownwing.report import style
from blownwing.report.figures import made_folder
from blownwing.solution.model import CAUTION

Array = NDArray[np.float64]
Groups = Mapping[str, Group]

CAPTIONS = {
    "take_off": "Forces on the wheels over airspeed, and the ground roll, with the named speeds.",
    "speeds": "Stall and minimum control speeds below, the speeds flown above them.",
    "fields": "What each part of take-off and landing takes, against the runway.",
    "climb": "Gradient and rate of climb; crosses: with a motor failed.",
    "cruise": "Power and range in level flight, from the stall at the cruise altitude on.",
    "mission": "Power, C-rate, energy, height and speed over the mission, by phase.",
    "masses": "What the aircraft weighs.",
}


def aircraft_figures(groups: Groups, title: str) -> dict[str, Figure]:
    """All figures by name; within `style.settings`.

    Args:
        groups: as `records` makes or `load_groups` reads them. title: of the case.
    """
    drawn = {
        "take_off": _take_off,
        "speeds": _speeds,
        "fields": _fields,
        "climb": _climb,
        "cruise": _cruise,
        "mission": _mission,
        "masses": _masses,
    }
    return {name: draw(groups, title) for name, draw in drawn.items()}


def write_aircraft_figures(
    groups: Groups, title: str, folder: str | Path, fmt: style.Format = "png"
) -> list[Path]:
    """Write the figures of an aircraft to a folder and return the files.

    Raises:
        InputError: the folder cannot be made or written.
    """
    folder = made_folder(folder)
    with style.settings():
        return [
            style.save_figure(figure, folder / f"{name}.{fmt}", fmt)
            for name, figure in aircraft_figures(groups, title).items()
        ]


def framed(title: str, what: str, width: float = 9.0, height: float = 4.8) -> Figure:
    """A figure that carries its case's name above and the caution below its axes."""
    figure = style.new_figure(width, height)
    name = f"{title}: {what}" if title else what
    figure.suptitle(name, x=0.01, ha="left", fontsize=12, parse_math=False)
    figure.supxlabel(CAUTION, fontsize=6.5, color=style.GREY)
    return figure


def _number(groups: Groups, path: str) -> float | None:
    group, _, name = path.rpartition("/")
    quantity = groups.get(group, {}).get(name)
    return None if quantity is None else float(quantity.value)


def _series(groups: Groups, group: str, *names: str) -> list[Array]:
    return [np.asarray(groups[group][name].value, dtype=float) for name in names]


def _knots(axes: Axes) -> None:
    """A second axis in knots above an axis of speeds in m/s."""

    def knots(speed: Any) -> Any:
        return speed / KNOT

    def metres(speed: Any) -> Any:
        return speed * KNOT

    top = axes.secondary_xaxis("top", functions=(knots, metres))
    top.set_xlabel("kt")


def _mark(axes: Axes, speed: float | None, name: str, dash: str = "-") -> None:
    """A named vertical line at a speed."""
    if speed is None:
        return
    axes.axvline(speed, color=style.BLACK, lw=0.8, ls=dash)
    axes.annotate(
        name, (speed, 0.98), xycoords=("data", "axes fraction"), rotation=90, ha="right", va="top",
        fontsize=8.5,
    )  # fmt: skip


def _take_off(groups: Groups, title: str) -> Figure:
    figure = framed(title, "take-off")
    left, right = figure.subplots(1, 2)
    speed, along, lift = _series(groups, "take_off/on_wheels", "speed", "net_force", "lift")
    weight = _number(groups, "mass/weight") or 1.0
    left.plot(speed, along / weight, "o-", label="thrust less drag", **_plain(0))
    left.plot(speed, lift / weight, "s--", label="lift on the wheels", **_plain(1))
    style.head(left, "Forces on the wheels")
    left.set_xlabel("airspeed, m/s")
    left.set_ylabel("of the weight")
    left.set_ylim(0.0, 1.15 * float(max(np.max(along), np.max(lift)) / weight))
    _mark(left, _number(groups, "speeds/VR/speed"), "VR, lift-off")
    left.legend(loc="best")
    airspeed, distance = _series(groups, "take_off/track", "airspeed", "distance")
    right.plot(distance, airspeed, **_plain(2), label="all motors at work")
    for name, dash in (("V1", ":"), ("VMC", "--"), ("V2", "-.")):
        at = _number(groups, f"speeds/{name}/speed")
        if at is not None:
            right.axhline(at, color=style.BLACK, lw=0.8, ls=dash)
            right.annotate(f"{name} {at:.1f} m/s", (0.0, at), fontsize=8.5, va="bottom")
    style.head(right, "Ground roll")
    right.set_xlabel("distance, m")
    right.set_ylabel("airspeed, m/s")
    right.legend(loc="lower right")
    _knots(left)
    return figure


def _plain(index: int) -> dict[str, Any]:
    return {"color": style.SERIES[index]}


_STALLS = {
    "take_off_blown": "stall, take-off, blown",
    "take_off_failed": "stall, take-off, motor failed",
    "take_off_unblown": "stall, take-off, zero thrust",
    "approach_blown": "stall, approach, blown",
    "approach_unblown": "stall, approach, zero thrust",
    "clean_unblown": "stall, clean, zero thrust",
    "cruise_unblown": "stall, at cruise altitude",
}
_NAMED = ("VMCG", "VMC", "V1", "VR", "V2", "VREF")


def _speeds(groups: Groups, title: str) -> Figure:
    figure = framed(title, "speeds and margins", 9.0, 5.2)
    axes = figure.subplots()
    rows: list[tuple[str, float | None, float | None, str, str]] = [
        (words, _number(groups, f"stall/{key}/speed"), None, "o", style.VERMILION)
        for key, words in _STALLS.items()
    ]
    for name in _NAMED:
        mark, colour = ("D", style.PURPLE) if name.startswith("VMC") else ("s", style.BLUE)
        wanted = _number(groups, f"speeds/{name}/wanted")
        rows.append((name, _number(groups, f"speeds/{name}/speed"), wanted, mark, colour))
    shown = [row for row in rows if row[1] is not None]
    for place, (_, found, wanted, mark, colour) in enumerate(shown):
        speed = found or 0.0
        axes.plot([speed], [place], mark, color=colour, ms=7)
        axes.annotate(f"  {speed:.1f}", (speed, place), va="center", fontsize=8.5)
        if wanted is not None:
            axes.plot([wanted], [place], "|", color=style.BLACK, ms=16, mew=2.0)
    for mark, colour, words in (
        ("o", style.VERMILION, "stall speed"),
        ("D", style.PURPLE, "minimum control speed"),
        ("s", style.BLUE, "speed flown"),
    ):
        axes.plot([], [], mark, color=colour, label=words)
    axes.plot([], [], "|", color=style.BLACK, ms=12, mew=2.0, ls="", label="classical rule's least")
    axes.set_yticks(range(len(shown)), [row[0] for row in shown])
    axes.margins(x=0.1)
    axes.set_xlabel("airspeed, m/s")
    _knots(axes)
    axes.legend(loc="center left", bbox_to_anchor=(1.0, 0.5))
    return figure


def _fields(groups: Groups, title: str) -> Figure:
    figure = framed(title, "field lengths", 9.0, 3.8)
    axes = figure.subplots()
    bars: list[tuple[str, list[tuple[str, float]]]] = [
        (
            "take-off, all motors",
            [
                ("ground roll", _number(groups, "take_off/roll/distance") or 0.0),
                ("rotation", _number(groups, "take_off/rotation") or 0.0),
                ("to the screen", _number(groups, "take_off/airborne/distance") or 0.0),
            ],
        )
    ]
    for name, words in (("stopping", "motor fails: stop"), ("going", "motor fails: go on")):
        value = _number(groups, f"failed_take_off/{name}")
        if value is not None:
            bars.append((words, [(words, value)]))
        elif name == "going":
            bars.append(("motor fails: go on: not possible", []))
    raised = _number(groups, "take_off_controlled/stopping")
    if raised is not None:
        bars.append(("stop, lift-off raised to 1.05 VMC", [("raised", raised)]))
    bars.append(
        (
            "landing",
            [
                (name, _number(groups, f"landing/{key}") or 0.0)
                for key, name in (("approach", "approach"), ("flare", "flare"),
                                  ("free", "free roll"), ("braked", "brakes"))
            ],
        )
    )  # fmt: skip
    bars.append(("landing field, factored", [("field", _number(groups, "landing/field") or 0.0)]))
    longest = max(sum(length for _, length in parts) for _, parts in bars)
    for place, (_, parts) in enumerate(bars):
        start = 0.0
        for i, (word, length) in enumerate(parts):
            axes.barh(place, length, left=start, color=style.SERIES[i], alpha=0.75)
            if len(parts) > 1 and length > 0.11 * longest:
                axes.annotate(word, (start + 0.5 * length, place), ha="center", va="center",
                              fontsize=7.5)  # fmt: skip
            start += length
        axes.annotate(f" {start:.0f} m" if parts else "", (start, place), va="center", fontsize=9)
    runway = _number(groups, "mass/runway")
    if runway is not None:
        axes.axvline(runway, color=style.BLACK, lw=1.0, ls="--")
        axes.annotate("runway", (runway, -0.45), rotation=90, ha="right", va="top", fontsize=8.5)
    axes.set_yticks(range(len(bars)), [name for name, _ in bars])
    axes.invert_yaxis()
    axes.margins(x=0.12)
    axes.set_xlabel("distance, m")
    return figure


def _climb(groups: Groups, title: str) -> Figure:
    figure = framed(title, "climb")
    left, right = figure.subplots(1, 2)
    for index, (name, key) in enumerate((("take-off flaps", "take_off"), ("clean", "clean"))):
        speed, gradient, rate = _series(groups, f"climb/{key}", "speed", "gradient", "rate")
        left.plot(speed, 100.0 * gradient, label=name, **style.line_style(index))
        right.plot(speed, rate, label=name, **style.line_style(index))
    for key, mark, words in (
        ("one", "x", "take-off flaps, motor failed"),
        ("both_sides", "+", "and its opposite off"),
    ):
        at = _number(groups, f"failure_climb/{key}/speed")
        gradient_there = _number(groups, f"failure_climb/{key}/gradient")
        if at is not None and gradient_there is not None:
            left.plot([at], [100.0 * gradient_there], mark, color=style.BLACK, ms=8, label=words)
    balked = _number(groups, "go_around/gradient")
    if balked is not None:
        left.plot([_number(groups, "go_around/speed")], [100.0 * balked], "^", color=style.GREEN,
                  label="balked landing")  # fmt: skip
    left.set_ylabel("gradient, %")
    right.set_ylabel("rate of climb, m/s")
    style.head(left, "Gradient, full power")
    style.head(right, "Rate of climb, full power")
    for axes in (left, right):
        axes.axhline(0.0, color=style.GREY, lw=0.8)
        axes.set_xlabel("airspeed, m/s")
        axes.legend()
        _knots(axes)
    return figure


def _cruise(groups: Groups, title: str) -> Figure:
    figure = framed(title, "cruise")
    left, right = figure.subplots(1, 2)
    speed, shaft, battery, reach = _series(
        groups, "cruise/over_speed", "speed", "shaft_power", "battery_power", "range"
    )
    left.plot(speed, shaft / 1e3, label="shafts", **_plain(0))
    left.plot(speed, battery / 1e3, "--", label="battery", **_plain(1))
    left.set_ylabel("power, kW")
    left.set_ylim(bottom=0.0)
    left.legend(loc="lower right")
    right.plot(speed, reach / 1e3, label="level flight, no reserve", **_plain(2))
    best = int(np.argmax(reach))
    right.plot(speed[best], reach[best] / 1e3, "o", color=style.BLACK, label="best range")
    right.set_ylabel("range on all usable energy, km")
    right.legend(loc="lower left")
    style.head(left, "Power for level flight")
    style.head(right, "Range")
    for axes in (left, right):
        _mark(axes, _number(groups, "stall/cruise_unblown/speed"), "stall", ":")
        _mark(axes, _number(groups, "cruise/given/speed"), "cruise of the case", "--")
        axes.set_xlabel("airspeed, m/s")
        _knots(axes)
    return figure


def _mission(groups: Groups, title: str) -> Figure:
    figure = framed(title, "mission", 9.5, 8.0)
    power_axes, energy_axes, flight = figure.subplots(3, 1, sharex=True)
    time, power, rate, energy, height, speed = _series(
        groups, "mission/history", "time", "battery_power", "c_rate", "energy", "altitude",
        "airspeed",
    )  # fmt: skip
    minutes = time / 60.0
    power_axes.plot(minutes, power / 1e3, **_plain(0), label="battery")
    capacity = float(np.max(power)) / float(np.max(rate))  # Wh

    def to_rate(value: Any) -> Any:
        return value * 1e3 / capacity

    def to_power(value: Any) -> Any:
        return value * capacity / 1e3

    side = power_axes.secondary_yaxis("right", functions=(to_rate, to_power))
    side.set_ylabel("C-rate, 1/h")
    limit = _number(groups, "mission/power_limit")
    if limit is not None:
        power_axes.axhline(limit / 1e3, color=style.BLACK, ls="--", lw=0.9, label="battery's limit")
    power_axes.set_ylabel("power, kW")
    power_axes.set_ylim(0.0, 1.12 * max(float(np.max(power)), limit or 0.0) / 1e3)
    energy_axes.plot(minutes, energy / 3.6e6, **_plain(1), label="used")
    usable = _number(groups, "mission/usable")
    if usable is not None:
        energy_axes.axhline(usable / 3.6e6, color=style.BLACK, ls="--", lw=0.9, label="usable")
    energy_axes.set_ylabel("energy, kWh")
    # the reserve is flown at cruise altitude, wherever that is: no line leads there
    jumps = np.flatnonzero(np.abs(np.diff(height)) > 100.0 * (1.0 + np.diff(time))) + 1
    flight.plot(
        np.insert(minutes, jumps, np.nan), np.insert(height, jumps, np.nan), label="altitude",
        **_plain(2),
    )  # fmt: skip
    flight.set_ylabel("altitude, m")
    pace = flight.twinx()
    pace.plot(
        np.insert(minutes, jumps, np.nan), np.insert(speed, jumps, np.nan), "--", label="airspeed",
        **_plain(3),
    )  # fmt: skip
    pace.set_ylabel("airspeed, m/s")
    pace.set_ylim(bottom=0.0)
    pace.grid(visible=False)
    pace.spines["right"].set_visible(True)
    pace.legend(loc="lower right", fontsize=8.5)
    flight.set_xlabel("time, min")
    ends = _segments(groups)
    for axes in (power_axes, energy_axes, flight):
        for _, start, end in ends[1::2]:
            axes.axvspan(start / 60.0, end / 60.0, color=style.GREY, alpha=0.10, lw=0)
        axes.legend(loc="center right", fontsize=8.5)
    for name, start, end in ends:
        if end - start > 0.03 * float(time[-1]):
            power_axes.annotate(
                name, (0.5 * (start + end) / 60.0, 1.01), xycoords=("data", "axes fraction"),
                ha="center", va="bottom", fontsize=8.5,
            )  # fmt: skip
    return figure


def _segments(groups: Groups) -> list[tuple[str, float, float]]:
    """Name, start and end (s) of the mission's segments, in order."""
    found, start = [], 0.0
    names = [path for path in groups if path.startswith("mission/") and path[8].isdigit()]
    for path in sorted(names, key=lambda p: int(p[8:].split("_")[0])):
        end = start + float(groups[path]["time"].value)
        found.append((path.split("_", 1)[1].replace("_", "-"), start, end))
        start = end
    return found


def _masses(groups: Groups, title: str) -> Figure:
    figure = framed(title, "masses", 9.0, 2.6)
    axes = figure.subplots()
    start = 0.0
    for i, (key, words) in enumerate(
        (("battery", "battery"), ("motors", "motors, controllers"), ("rest", "structure, systems, "
         "load"))
    ):  # fmt: skip
        mass = _number(groups, f"mass/{key}") or 0.0
        axes.barh(0, mass, left=start, color=style.SERIES[i], alpha=0.75,
                  label=f"{words}: {mass:.0f} kg")  # fmt: skip
        start += mass
    axes.set_yticks([])
    axes.set_xlabel("mass, kg")
    axes.legend(ncols=3, loc="lower center", bbox_to_anchor=(0.5, 1.0))
    return figure
