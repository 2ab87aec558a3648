"""Figures of an aircraft's mission, noise and masses."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.figure import Figure

from blownwing.report import style
from blownwing.report.aircraft_drawing import Groups, framed, number, plain, series


def mission_figure(groups: Groups, title: str) -> Figure:
    """Power, energy, height and speed over the mission, by phase."""
    figure = framed(title, "mission", 9.5, 8.0)
    power_axes, energy_axes, flight = figure.subplots(3, 1, sharex=True)
    time, power, rate, energy, height, speed = series(
        groups, "mission/history", "time", "battery_power", "c_rate", "energy", "altitude",
        "airspeed",
    )  # fmt: skip
    minutes = time / 60.0
    power_axes.plot(minutes, power / 1e3, **plain(0), label="battery")
    capacity = float(np.max(power)) / float(np.max(rate))  # Wh

    def to_rate(value: Any) -> Any:
        return value * 1e3 / capacity

    def to_power(value: Any) -> Any:
        return value * capacity / 1e3

    side = power_axes.secondary_yaxis("right", functions=(to_rate, to_power))
    side.set_ylabel("C-rate, 1/h")
    limit = number(groups, "mission/power_limit")
    if limit is not None:
        power_axes.axhline(limit / 1e3, color=style.BLACK, ls="--", lw=0.9, label="battery's limit")
    power_axes.set_ylabel("power, kW")
    power_axes.set_ylim(0.0, 1.12 * max(float(np.max(power)), limit or 0.0) / 1e3)
    energy_axes.plot(minutes, energy / 3.6e6, **plain(1), label="used")
    usable = number(groups, "mission/usable")
    if usable is not None:
        energy_axes.axhline(usable / 3.6e6, color=style.BLACK, ls="--", lw=0.9, label="usable")
    energy_axes.set_ylabel("energy, kWh")
    # the reserve is flown at cruise altitude, wherever that is: no line leads there
    jumps = np.flatnonzero(np.abs(np.diff(height)) > 100.0 * (1.0 + np.diff(time))) + 1
    flight.plot(
        np.insert(minutes, jumps, np.nan), np.insert(height, jumps, np.nan), label="altitude",
        **plain(2),
    )  # fmt: skip
    flight.set_ylabel("altitude, m")
    pace = flight.twinx()
    pace.plot(
        np.insert(minutes, jumps, np.nan), np.insert(speed, jumps, np.nan), "--", label="airspeed",
        **plain(3),
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


def noise_figure(groups: Groups, title: str) -> Figure:
    """Levels over the direction, below the path and beside the field."""
    figure = framed(title, "noise of take-off, tones only")
    both = figure.subplots(1, 2, sharey=True)
    for axes, (key, words) in zip(
        both, (("fly_over", "Below the path"), ("edge", "Beside the field")), strict=True
    ):
        angle, mean, worst, best = series(
            groups, f"noise/{key}", "angle", "incoherent", "worst", "best"
        )
        axes.fill_between(angle, best, worst, label="band of the blades' phases", **style.BAND)
        axes.plot(angle, mean, "o-", label="phases drifting", **plain(0))
        axes.set_xlabel("direction from straight ahead, deg")
        axes.set_ylim(float(np.max(mean)) - 45.0, float(np.max(worst)) + 4.0)
        style.head(axes, words)
    both[0].set_ylabel("level, dB re 20 µPa")
    both[0].legend(loc="lower center")
    return figure


def masses_figure(groups: Groups, title: str) -> Figure:
    """What the aircraft weighs."""
    figure = framed(title, "masses", 9.0, 2.6)
    axes = figure.subplots()
    start = 0.0
    for i, (key, words) in enumerate(
        (("battery", "battery"), ("motors", "motors, controllers"), ("rest", "structure, systems, "
         "load"))
    ):  # fmt: skip
        mass = number(groups, f"mass/{key}") or 0.0
        axes.barh(0, mass, left=start, color=style.SERIES[i], alpha=0.75,
                  label=f"{words}: {mass:.0f} kg")  # fmt: skip
        start += mass
    axes.set_yticks([])
    axes.set_xlabel("mass, kg")
    axes.legend(ncols=3, loc="lower center", bbox_to_anchor=(0.5, 1.0))
    return figure
