"""Figures of the wing: plan view, span loading, slipstream velocities along the span."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from blownwing.case.model import Case
from blownwing.report import style
from blownwing.report.layout import Disc, blown_bands, discs_of, joined_spans, outline_of, title_of
from blownwing.report.trim_figures import draw_surfaces
from blownwing.solution import Solution

_TILTED = np.radians(20.0)  # of a disc's axis, from which it shows as an ellipse from above


def plan_view(solution: Solution, case: Case) -> Figure:
    """Draw the wing from above, flying up the page, with discs, spins and slipstream bands."""
    y, lead, trail = outline_of(case)
    discs = discs_of(case)
    ends = [s.x + s.chord for surface in case.surfaces for s in surface.stations]
    aft = max([float(trail.max()), *ends]) + 0.35 * float((trail - lead).max())
    side = 1.1 * max([float(np.abs(y).max()), *(abs(d.y) + 0.5 * d.diameter for d in discs)])
    scale = 9.0 / (2.0 * side)  # inches per metre of the page
    reach = [d.x - d.diameter * max(0.4, 0.5 * abs(np.sin(d.incidence))) for d in discs]
    front = min([float(lead.min()), *reach])
    top = front - _names_height(discs) / scale
    # Scales are equal, so the height follows from the proportions, with room for axis and legend.
    figure = style.new_figure(10.0, float(np.clip((aft - top) * scale + 1.5, 3.0, 12.0)))
    axes = figure.subplots()
    axes.grid(visible=False)
    axes.fill(np.r_[y, y[::-1]], np.r_[lead, trail[::-1]], facecolor="#eeeeee", edgecolor="none")
    axes.plot(np.r_[y, y[::-1], y[0]], np.r_[lead, trail[::-1], lead[0]], color=style.BLACK)
    for place, front_edge, rear_edge in zip(y, lead, trail, strict=True):
        axes.plot([place, place], [front_edge, rear_edge], color=style.GREY, linewidth=0.7)
    _draw_flaps(axes, case)
    draw_surfaces(axes, case)
    handles: list[Any] = [Patch(facecolor="#eeeeee", edgecolor=style.BLACK, label="wing, stations")]
    if case.wing.flaps:
        handles.append(Patch(facecolor="none", edgecolor=style.GREY, hatch="////", label="flap"))
    for disc in discs:
        _draw_slipstream(axes, solution, disc, aft)
        _draw_disc(axes, disc)
    if discs:
        _name_discs(axes, discs, front)
        handles += [
            Line2D([], [], color=style.VERMILION, linewidth=3.0, label=_seen(discs)),
            Patch(**style.BAND, label="slipstream"),
        ]
    if any(disc.rotation for disc in discs):
        arrow = Line2D([], [], color=style.BLUE, marker=">", label="way the upper blades move")
        handles.insert(-1, arrow)
    axes.set_aspect("equal")
    axes.set_xlim(-side, side)
    axes.set_ylim(aft, top)
    axes.set_xlabel("y, m (starboard to the right)")
    axes.set_ylabel("x, m (aft is down)")
    style.head(axes, f"Plan view: {solution.title}")
    figure.legend(handles=handles, loc="outside lower center", ncols=len(handles))
    return figure


def _seen(discs: tuple[Disc, ...]) -> str:
    return "disc" if any(abs(d.incidence) > _TILTED for d in discs) else "disc, edge-on"


def _draw_flaps(axes: Axes, case: Case) -> None:
    y, lead, trail = outline_of(case)
    for flap in case.wing.flaps:
        span = np.linspace(*case.wing.flap_extent(flap), 9)
        for part in (span, -span) if case.wing.symmetric else (span,):
            rear = np.interp(part, y, trail)
            hinge = rear - flap.chord_fraction * (rear - np.interp(part, y, lead))
            axes.fill(
                np.r_[part, part[::-1]], np.r_[hinge, rear[::-1]], facecolor="none",
                edgecolor=style.GREY, hatch="////", linewidth=0.7,
            )  # fmt: skip


def _draw_slipstream(axes: Axes, solution: Solution, disc: Disc, aft: float) -> None:
    if disc.name not in solution.slipstreams:
        return
    values = solution.slipstreams[disc.name]
    x = np.linspace(0.0, max(aft - disc.x, disc.diameter), 60)
    radius = np.interp(x, values["x"], values["radius"])
    behind = x
    if {"y", "z"} <= set(values):
        centre, height = (np.interp(x, values["x"], values[name]) for name in ("y", "z"))
        # a stream that leaves downwards, as in hover, hardly moves aft
        behind = np.sqrt(np.maximum(x**2 - (centre - disc.y) ** 2 - (height - disc.z) ** 2, 0.0))
    else:
        centre = disc.y - x * np.tan(disc.toe)  # toe turns the nose to starboard
    axes.fill_betweenx(disc.x + behind, centre - radius, centre + radius, **style.BAND)


def _draw_disc(axes: Axes, disc: Disc) -> None:
    radius = 0.5 * disc.diameter
    if abs(disc.incidence) > _TILTED:
        turn = np.linspace(0.0, 2.0 * np.pi, 73)
        axes.plot(
            disc.y + radius * np.cos(turn),
            disc.x + radius * np.sin(disc.incidence) * np.sin(turn),
            color=style.VERMILION, linewidth=2.0,
        )  # fmt: skip
        return
    along, across = radius * np.cos(disc.toe), radius * np.sin(disc.toe)
    axes.plot(
        [disc.y - along, disc.y + along], [disc.x - across, disc.x + across],
        color=style.VERMILION, linewidth=3.0, solid_capstyle="butt",
    )  # fmt: skip
    if disc.rotation == 0:
        return
    ahead = disc.x - 0.22 * disc.diameter
    tail, tip = disc.y - 0.6 * radius * disc.rotation, disc.y + 0.6 * radius * disc.rotation
    axes.annotate(
        "", xy=(tip, ahead), xytext=(tail, ahead),
        arrowprops={"arrowstyle": "-|>", "color": style.BLUE, "shrinkA": 0, "shrinkB": 0},
    )  # fmt: skip


def _crowded(discs: tuple[Disc, ...]) -> bool:
    return len(discs) > 4


def _names_height(discs: tuple[Disc, ...]) -> float:
    """Return the room that names and spins take ahead of the discs, inches."""
    if not discs:
        return 0.1
    letters = max(max(len(d.name), len(d.spin)) for d in discs)
    return 0.15 + 0.075 * letters if _crowded(discs) else 0.45


def _name_discs(axes: Axes, discs: tuple[Disc, ...], front: float) -> None:
    """Write names and spins ahead of the discs, upright where many stand side by side."""
    for disc in discs:
        axes.annotate(
            f"{disc.name}\n{disc.spin}" if disc.rotation else disc.name,
            xy=(disc.y, front), xytext=(0, 3), textcoords="offset points",
            ha="center", va="bottom", fontsize=8, linespacing=1.15,
            rotation=90 if _crowded(discs) else 0, parse_math=False,
        )  # fmt: skip


def span_loading(solution: Solution) -> Figure:
    """Draw the lift per span, as section cl times chord, blown against unblown, and its limit."""
    strips = solution.strips
    static = "cl" not in strips
    figure = style.new_figure(9.0, 4.8)
    axes = figure.subplots()
    shade_blown(axes, solution)
    y = strips["y"]
    name = "circulation" if static else "cl"
    for suffix, label, colour, dash in (
        ("", "blown", style.BLUE, "-"),
        ("_unblown", "unblown", style.BLACK, "--"),
        ("_superposed", "slipstreams merely added, without edges", style.ORANGE, ":"),
        ("_limit", "largest of the section in its own stream", style.VERMILION, "-."),
    ):
        values = strips.get(name + suffix)
        if values is not None:
            values = values if static else values * strips["chord"]
            width = 2.2 if dash == ":" else 1.1 if dash == "-." else 1.6
            axes.plot(y, values, dash, color=colour, label=label, linewidth=width)
    axes.axhline(0.0, color=style.GREY, linewidth=0.8)
    _mark_stalled(axes, solution)
    axes.set_xlabel("y, m")
    axes.set_ylabel("circulation, m²/s" if static else "section cl × chord, m")
    basis = "" if static else ", cl over free-stream dynamic pressure"
    style.head(axes, f"Span loading at α {solution.totals['alpha']:.4g}°{basis}")
    style.name(figure, title_of(solution))
    figure.legend(loc="outside lower center", ncols=3)
    return figure


def _mark_stalled(axes: Axes, solution: Solution) -> None:
    """Mark strips past their section's peak along the foot of the axes."""
    strips = solution.strips
    stalled = strips.get("stall_margin", np.zeros(1)) < 0.0
    if not np.any(stalled):
        return
    share = float(np.sum(strips["width"][stalled]) / np.sum(strips["width"]))
    place = axes.get_xaxis_transform()
    half = 0.5 * strips["width"]
    for index, (low, high) in enumerate(joined_spans(strips["y"], half, stalled)):
        axes.fill_between(
            [low, high], 0.0, 0.03, transform=place, facecolor="none", hatch="xxxxx",
            edgecolor=style.VERMILION, linewidth=0.0,
            label="" if index else f"past its section's peak ({share:.0%} of the span)",
        )  # fmt: skip


def slipstream_velocities(solution: Solution) -> Figure:
    """Draw the axial and the swirl velocity that the slipstreams bring to the quarter chord.

    Lines are on a grid of their own, points are the strips' means; results without that grid have
    lines through the strips.
    """
    strips, fine = solution.strips, solution.profile
    figure = style.new_figure(9.0, 5.8)
    upper, lower = figure.subplots(2, 1, sharex=True)
    for axes, name, colour, dash, label, title in (
        (upper, "axial", style.BLUE, "-", "added, m/s", "Axial slipstream velocity"),
        (lower, "swirl", style.VERMILION, "--", "upward, m/s", "Swirl, upward positive"),
    ):
        shade_blown(axes, solution)
        means = strips[f"slipstream_{name}"]
        if name in fine:
            axes.plot(fine["y"], fine[name], dash, color=colour, label=f"{name}, point by point")
            axes.plot(
                strips["y"],
                means,
                ".",
                color=style.BLACK,
                markersize=4,
                label="means of the strips",
            )
        else:
            axes.plot(strips["y"], means, dash, color=colour, label=f"{name}, means of the strips")
        axes.axhline(0.0, color=style.GREY, linewidth=0.8)
        axes.set_ylabel(label)
        style.head(axes, f"{title}, at the quarter chord")
    airspeed = float(solution.totals.get("airspeed", 0.0))
    if airspeed > 0.0:
        ratio = upper.secondary_yaxis(
            "right", functions=(lambda v: 1.0 + v / airspeed, lambda m: (m - 1.0) * airspeed)
        )
        ratio.set_ylabel("speed ratio μ")
        angle = lower.secondary_yaxis(
            "right",
            functions=(
                lambda v: np.degrees(np.arctan2(v, airspeed)),
                lambda a: airspeed * np.tan(np.radians(a)),
            ),
        )
        angle.set_ylabel("upwash angle at airspeed, °")
    lower.set_xlabel("y, m")
    style.name(figure, title_of(solution))
    found = [axes.get_legend_handles_labels() for axes in (upper, lower)]
    entries = {text: handle for items in found for handle, text in zip(*items, strict=True)}
    figure.legend(entries.values(), entries.keys(), loc="outside lower center", ncols=4)
    return figure


def shade_blown(axes: Axes, solution: Solution) -> None:
    """Shade the spans over which a slipstream blows, with one entry in the legend."""
    for index, (low, high) in enumerate(blown_bands(solution)):
        axes.axvspan(low, high, **style.BAND, label="" if index else "in a slipstream")
