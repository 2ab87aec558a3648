"""Figures of an aircraft, drawn from its stored quantities: a run and its file look the same."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from blownwing.report import style
from blownwing.report.aircraft_drawing import Groups, framed, knots, mark, number, plain, series
from blownwing.report.balance_figure import balance_figure
from blownwing.report.mission_figures import masses_figure, mission_figure, noise_figure

CAPTIONS = {
    "take_off": "Forces on the wheels over airspeed, and the ground roll, with the named speeds.",
    "speeds": "Stall and minimum control speeds below, the speeds flown above them.",
    "fields": "What each part of take-off and landing takes, against the runway.",
    "climb": "Gradient and rate of climb; crosses: with a motor failed.",
    "cruise": "Power and range in level flight, from the stall at the cruise altitude on.",
    "balance": "The control that pitches over speed, and what a failed motor asks of each control.",
    "mission": "Power, C-rate, energy, height and speed over the mission, by phase.",
    "noise": "Tones of take-off by direction: phases drifting, and the band of the blades' phases.",
    "masses": "What the aircraft weighs.",
}


def aircraft_figures(groups: Groups, title: str) -> dict[str, Figure]:
    """All figures by name; within `style.settings`.

    Args:
        groups: as `records` makes or `read_records` reads them. title: of the case.
    """
    drawn = {
        "take_off": _take_off,
        "speeds": _speeds,
        "fields": _fields,
        "climb": _climb,
        "cruise": _cruise,
        "balance": balance_figure,
        "mission": mission_figure,
        "noise": noise_figure,
        "masses": masses_figure,
    }
    if "noise/fly_over" not in groups:  # ideal discs have no tones
        drawn.pop("noise")
    if "balance/pitch" not in groups:  # a tail that is not drawn has no control
        drawn.pop("balance")
    return {name: draw(groups, title) for name, draw in drawn.items()}


def _take_off(groups: Groups, title: str) -> Figure:
    figure = framed(title, "take-off")
    left, right = figure.subplots(1, 2)
    speed, along, lift = series(groups, "take_off/on_wheels", "speed", "net_force", "lift")
    weight = number(groups, "mass/weight") or 1.0
    left.plot(speed, along / weight, "o-", label="thrust less drag", **plain(0))
    left.plot(speed, lift / weight, "s--", label="lift on the wheels", **plain(1))
    style.head(left, "Forces on the wheels")
    left.set_xlabel("airspeed, m/s")
    left.set_ylabel("of the weight")
    left.set_ylim(0.0, 1.15 * float(max(np.max(along), np.max(lift)) / weight))
    mark(left, number(groups, "speeds/VR/speed"), "VR, lift-off")
    left.legend(loc="best")
    airspeed, distance = series(groups, "take_off/track", "airspeed", "distance")
    right.plot(distance, airspeed, **plain(2), label="all motors at work")
    for name, dash, aside in (("V1", ":", 0.03), ("VMC", "--", 0.36), ("V2", "-.", 0.69)):
        at = number(groups, f"speeds/{name}/speed")
        if at is not None:
            right.axhline(at, color=style.BLACK, lw=0.8, ls=dash)
            # side by side, as speeds may lie as close as their names are high
            right.annotate(
                f"{name} {at:.1f} m/s", (aside, at), xycoords=("axes fraction", "data"),
                fontsize=8.5, va="top" if name == "V1" else "bottom",
            )  # fmt: skip
    style.head(right, "Ground roll")
    right.set_xlabel("distance, m")
    right.set_ylabel("airspeed, m/s")
    right.legend(loc="lower right")
    knots(left)
    return figure


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
        (words, number(groups, f"stall/{key}/speed"), None, "o", style.VERMILION)
        for key, words in _STALLS.items()
    ]
    for name in _NAMED:
        sign, colour = ("D", style.PURPLE) if name.startswith("VMC") else ("s", style.BLUE)
        wanted = number(groups, f"speeds/{name}/wanted")
        rows.append((name, number(groups, f"speeds/{name}/speed"), wanted, sign, colour))
    shown = [row for row in rows if row[1] is not None]
    for place, (_, found, wanted, sign, colour) in enumerate(shown):
        speed = found or 0.0
        axes.plot([speed], [place], sign, color=colour, ms=7)
        axes.annotate(f"  {speed:.1f}", (speed, place), va="center", fontsize=8.5)
        if wanted is not None:
            axes.plot([wanted], [place], "|", color=style.BLACK, ms=16, mew=2.0)
    for sign, colour, words in (
        ("o", style.VERMILION, "stall speed"),
        ("D", style.PURPLE, "minimum control speed"),
        ("s", style.BLUE, "speed flown"),
    ):
        axes.plot([], [], sign, color=colour, label=words)
    axes.plot([], [], "|", color=style.BLACK, ms=12, mew=2.0, ls="", label="classical rule's least")
    axes.set_yticks(range(len(shown)), [row[0] for row in shown])
    axes.margins(x=0.1)
    axes.set_xlabel("airspeed, m/s")
    knots(axes)
    axes.legend(loc="center left", bbox_to_anchor=(1.0, 0.5))
    return figure


def _fields(groups: Groups, title: str) -> Figure:
    figure = framed(title, "field lengths", 9.0, 3.8)
    axes = figure.subplots()
    bars: list[tuple[str, list[tuple[str, float]]]] = [
        (
            "take-off, all motors",
            [
                ("ground roll", number(groups, "take_off/roll/distance") or 0.0),
                ("rotation", number(groups, "take_off/rotation") or 0.0),
                ("to the screen", number(groups, "take_off/airborne/distance") or 0.0),
            ],
        )
    ]
    for name, words in (("stopping", "motor fails: stop"), ("going", "motor fails: go on")):
        value = number(groups, f"failed_take_off/{name}")
        if value is not None:
            bars.append((words, [(words, value)]))
        elif name == "going":
            bars.append(("motor fails: go on: not possible", []))
    raised = number(groups, "take_off_controlled/stopping")
    if raised is not None:
        bars.append(("stop, lift-off raised to 1.05 VMC", [("raised", raised)]))
    bars.append(
        (
            "landing",
            [
                (name, number(groups, f"landing/{key}") or 0.0)
                for key, name in (("approach", "approach"), ("flare", "flare"),
                                  ("free", "free roll"), ("braked", "brakes"))
            ],
        )
    )  # fmt: skip
    bars.append(("landing field, factored", [("field", number(groups, "landing/field") or 0.0)]))
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
    runway = number(groups, "mass/runway")
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
        speed, gradient, rate = series(groups, f"climb/{key}", "speed", "gradient", "rate")
        left.plot(speed, 100.0 * gradient, label=name, **style.line_style(index))
        right.plot(speed, rate, label=name, **style.line_style(index))
    for key, sign, words in (
        ("one", "x", "take-off flaps, motor failed"),
        ("both_sides", "+", "and its opposite off"),
    ):
        at = number(groups, f"failure_climb/{key}/speed")
        gradient_there = number(groups, f"failure_climb/{key}/gradient")
        if at is not None and gradient_there is not None:
            left.plot([at], [100.0 * gradient_there], sign, color=style.BLACK, ms=8, label=words)
    balked = number(groups, "go_around/gradient")
    if balked is not None:
        left.plot([number(groups, "go_around/speed")], [100.0 * balked], "^", color=style.GREEN,
                  label="balked landing")  # fmt: skip
    left.set_ylabel("gradient, %")
    right.set_ylabel("rate of climb, m/s")
    style.head(left, "Gradient, full power")
    style.head(right, "Rate of climb, full power")
    for axes in (left, right):
        axes.axhline(0.0, color=style.GREY, lw=0.8)
        axes.set_xlabel("airspeed, m/s")
        axes.legend()
        knots(axes)
    return figure


def _cruise(groups: Groups, title: str) -> Figure:
    figure = framed(title, "cruise")
    left, right = figure.subplots(1, 2)
    speed, shaft, battery, reach = series(
        groups, "cruise/over_speed", "speed", "shaft_power", "battery_power", "range"
    )
    left.plot(speed, shaft / 1e3, label="shafts", **plain(0))
    left.plot(speed, battery / 1e3, "--", label="battery", **plain(1))
    left.set_ylabel("power, kW")
    left.set_ylim(bottom=0.0)
    left.legend(loc="lower right")
    right.plot(speed, reach / 1e3, label="level flight, no reserve", **plain(2))
    best = int(np.argmax(reach))
    right.plot(speed[best], reach[best] / 1e3, "o", color=style.BLACK, label="best range")
    right.set_ylabel("range on all usable energy, km")
    right.legend(loc="lower left")
    style.head(left, "Power for level flight")
    style.head(right, "Range")
    for axes in (left, right):
        mark(axes, number(groups, "stall/cruise_unblown/speed"), "stall", ":")
        mark(axes, number(groups, "cruise/given/speed"), "cruise of the case", "--")
        axes.set_xlabel("airspeed, m/s")
        knots(axes)
    return figure
