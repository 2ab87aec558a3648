"""Figures of an aircraft with its tail: side view, and what balances it over airspeed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from blownwing.case.model import Case
from blownwing.case.parts import Station
from blownwing.report import style
from blownwing.report.layout import discs_of
from blownwing.solution import Solution
from blownwing.trim.balance import Trimmed
from blownwing.trim.derivatives import Derivatives, coefficients
from blownwing.trim.settings import is_throttle, unit_of

_COLOURS = (style.BLACK, style.GREEN, style.PURPLE, style.ORANGE, style.BLUE)  # not the discs'


def side_view(solution: Solution, case: Case) -> Figure:
    """Draw surfaces, discs and slipstreams seen from port, nose to the left, and the balance."""
    figure = style.new_figure(10.0, 4.2)
    axes = figure.subplots()
    axes.grid(visible=False)
    handles: list[Line2D | Patch] = []
    if case.fuselage is not None:
        places = case.fuselage.stations
        half = [0.5 * (s.width if s.height is None else s.height) for s in places]
        top = [s.z + h for s, h in zip(places, half, strict=True)]
        low = [s.z - h for s, h in zip(places, half, strict=True)]
        axes.fill_between([s.x for s in places], low, top, facecolor="#f4f4f4", edgecolor="#bbbbbb")
        handles.append(Patch(facecolor="#f4f4f4", edgecolor="#bbbbbb", label="fuselage"))
    for name, values in solution.slipstreams.items():
        disc = next((d for d in discs_of(case) if d.name == name), None)
        if disc is None or disc.y < 0.0:
            continue
        x = np.linspace(0.0, _reach(case) - disc.x, 60)
        slope = (values["z"][-1] - values["z"][0]) / (values["x"][-1] - values["x"][0])
        middle, half_width = disc.z + slope * x, np.interp(x, values["x"], values["radius"])
        axes.fill_between(disc.x + x, middle - half_width, middle + half_width, **style.BAND)
    for index, (name, stations) in enumerate(_named(case)):
        _surface(axes, stations, _COLOURS[index % len(_COLOURS)])
        handles.append(Line2D([], [], color=_COLOURS[index % len(_COLOURS)], label=name))
    for disc in discs_of(case):
        if disc.y >= 0.0:
            radius = 0.5 * disc.diameter
            axes.plot(
                [disc.x, disc.x],
                [disc.z - radius, disc.z + radius],
                color=style.VERMILION,
                linewidth=3.0,
                solid_capstyle="butt",
            )
    if case.propellers:
        handles.append(Line2D([], [], color=style.VERMILION, linewidth=3.0, label="disc, edge-on"))
        handles.append(Patch(**style.BAND, label="slipstream"))
    if case.trim is not None:
        centre = case.trim.centre_of_gravity
        marks = {"centre of gravity": (centre[0], "P", 9.0, style.BLACK)}
        if "neutral_point" in solution.totals:
            marks["neutral point"] = (solution.totals["neutral_point"], "D", 7.0, style.PURPLE)
        for label, (aft, marker, size, colour) in marks.items():
            mark: dict[str, Any] = {"marker": marker, "markersize": size, "color": colour}
            handles += axes.plot([aft], [centre[2]], linestyle="none", label=label, **mark)
    axes.set_aspect("equal")
    axes.set_xlabel("x, m (aft is to the right)")
    axes.set_ylabel("z, m")
    style.head(axes, f"Side view: {solution.title}")
    figure.legend(handles=handles, loc="outside lower center", ncols=min(len(handles), 5))
    return figure


def _named(case: Case) -> list[tuple[str, Sequence[Station]]]:
    return [("wing", case.wing.stations), *((s.name, s.stations) for s in case.surfaces)]


def _reach(case: Case) -> float:
    """x to which slipstreams are drawn, m."""
    ends = [s.x + s.chord for _, stations in _named(case) for s in stations]
    return max(ends) + 0.15 * (max(ends) - min(s.x for s in case.wing.stations))


def _surface(axes: Axes, stations: Sequence[Station], colour: str) -> None:
    lead = [(s.x, s.z) for s in stations]
    trail = [(s.x + s.chord, s.z) for s in reversed(stations)]
    outline = np.array([*lead, *trail, lead[0]])
    axes.fill(outline[:, 0], outline[:, 1], facecolor=colour, alpha=0.12)
    axes.plot(outline[:, 0], outline[:, 1], color=colour)


def draw_surfaces(axes: Axes, case: Case) -> float:
    """Draw the surfaces beside the wing from above; the aftmost x, m, −inf without any."""
    aft = -np.inf
    for index, surface in enumerate(case.surfaces, start=1):
        stations = surface.stations
        y = np.array([s.y for s in stations])
        lead = np.array([s.x for s in stations])
        trail = lead + np.array([s.chord for s in stations])
        aft = max(aft, float(trail.max()))
        colour = _COLOURS[index % len(_COLOURS)]
        for side in (1.0, -1.0) if surface.symmetric else (1.0,):
            axes.fill(np.r_[side * y, side * y[::-1]], np.r_[lead, trail[::-1]],
                      facecolor=colour, alpha=0.12)  # fmt: skip
            axes.plot(np.r_[side * y, side * y[::-1], side * y[0]],
                      np.r_[lead, trail[::-1], lead[0]], color=colour)  # fmt: skip
    return aft


def over_airspeed(found: Sequence[Trimmed]) -> Figure:
    """Draw the values that balance the aircraft over airspeed, and the trimmed polar."""
    figure = style.new_figure(11.0, 4.4)
    left, middle, right = figure.subplots(1, 3)
    speeds = [one.case.flow.airspeed for one in found]
    for index, item in enumerate(found[0].trim.unknowns):
        axes = middle if is_throttle(item) or unit_of(item) == "m/s2" else left
        axes.plot(speeds, [one.values[index] for one in found], marker="o", markersize=4.0,
                  label=item.name, **style.line_style(index))  # fmt: skip
    left.set_ylabel("deg")
    middle.set_ylabel("factor on the case's drive; m/s² of an acceleration")
    for axes in (left, middle):
        axes.set_xlabel("airspeed, m/s")
        if axes.lines:
            axes.legend()
    style.head(left, "Angles in balance")
    style.head(middle, "Drives in balance")
    lift, drag = zip(
        *(coefficients(one.case, one.point.flow, *one.net.surfaces)[:2] for one in found),
        strict=True,
    )
    right.plot(drag, lift, marker="o", markersize=4.0, color=style.BLUE)
    for one, x, y in zip(found, drag, lift, strict=True):
        right.annotate(f"{one.case.flow.airspeed:g} m/s", (x, y), xytext=(4, -9),
                       textcoords="offset points", fontsize=8.0)  # fmt: skip
    right.set_xlabel("CD of the surfaces")
    right.set_ylabel("CL of the surfaces")
    style.head(right, "Trimmed polar")
    return figure


def neutral_points(found: Sequence[Trimmed], beside: Sequence[Derivatives]) -> Figure:
    """Draw the neutral point over the thrust of the trimmed states, and without propellers."""
    figure = style.new_figure(6.5, 4.2)
    axes = figure.subplots()
    thrust = [-coefficients(one.case, one.point.flow, *one.net.propellers)[1] for one in found]
    order = np.argsort(thrust)
    axes.plot(np.array(thrust)[order], [beside[i].neutral_point for i in order], marker="o",
              color=style.BLUE, label="with power, drives held")  # fmt: skip
    bare = [beside[i].neutral_point_unpowered for i in order]
    if all(value is not None for value in bare):
        axes.plot(np.array(thrust)[order], bare, marker="s", linestyle="--",
                  color=style.VERMILION, label="without propellers")  # fmt: skip
    axes.axhline(found[0].trim.centre_of_gravity[0], color=style.BLACK, linestyle=":",
                 label="centre of gravity")  # fmt: skip
    for i in order:
        axes.annotate(f"{found[i].case.flow.airspeed:g} m/s", (thrust[i], beside[i].neutral_point),
                      xytext=(4, 5), textcoords="offset points", fontsize=8.0)  # fmt: skip
    axes.set_xlabel("thrust along the path over q S")
    axes.set_ylabel("x of the neutral point, m")
    axes.legend()
    style.head(axes, "Neutral point, controls held")
    return figure


def write_trim_figures(
    found: Sequence[Trimmed], beside: Sequence[Derivatives], folder: Path, fmt: style.Format
) -> list[Path]:
    """Write the figures over airspeed to an existing folder and return them.

    Raises InputError when a place cannot be written, SolveError when the system refuses while
    writing.
    """
    with style.settings():
        figures = {"trim": over_airspeed(found), "neutral_point": neutral_points(found, beside)}
        return style.save_figures(figures, folder, fmt)
