"""Figures over iterations and over the angle of attack: convergence, lift curve, drag polar."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from blownwing.case.model import Case
from blownwing.report import style
from blownwing.report.layout import title_of
from blownwing.solution import Solution


def convergence_history(solution: Solution, case: Case) -> Figure:
    """Draw the residual over the iterations on a logarithmic scale, with the tolerance."""
    figure = style.new_figure(9.0, 4.2)
    axes = figure.subplots()
    for index, history in enumerate(solution.histories):
        positive = history["residual"] > 0.0  # an exact zero has no place on a log scale
        label = f"α {solution.alphas[index]:g}°" if solution.polar else "residual"
        axes.plot(
            history["iteration"][positive], history["residual"][positive], marker="o",
            markersize=3.5, label=label, **style.line_style(index),
        )  # fmt: skip
    axes.axhline(case.model.tolerance, color=style.GREY, linestyle=":", label="tolerance")
    axes.set_yscale("log")
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    axes.set_xlabel("iteration")
    axes.set_ylabel("residual, relative")
    style.head(axes, "Convergence of wing, propellers and slipstreams")
    style.name(figure, title_of(solution))
    figure.legend(loc="outside lower center", ncols=min(len(axes.lines), 8))
    return figure


def lift_and_drag(solution: Solution) -> Figure:
    """Draw a polar: lift, drag, pitching moment, and what the propellers give, over incidence."""
    totals = solution.totals
    figure = style.new_figure(9.6, 7.4)
    (lift, drag), (moment, force) = figure.subplots(2, 2)
    for suffix, label, colour, line in (
        ("", "blown", style.BLUE, "o-"),
        ("_unblown", "unblown", style.BLACK, "s--"),
    ):
        look: dict[str, Any] = {"color": colour, "markersize": 4}
        if f"CL{suffix}" in totals:
            lift.plot(totals["alpha"], totals[f"CL{suffix}"], line, label=label, **look)
        if {f"CL{suffix}", f"CD_induced{suffix}"} <= set(totals):
            drag.plot(totals[f"CD_induced{suffix}"], totals[f"CL{suffix}"], line, **look)
        if f"C_pitch{suffix}" in totals:
            moment.plot(totals["alpha"], totals[f"C_pitch{suffix}"], line, **look)
    if {"CL", "CD"} <= set(totals):
        drag.plot(
            totals["CD"], totals["CL"], "^:", color=style.VERMILION, markersize=4,
            label="blown, profile drag included",
        )  # fmt: skip
    if "net_axial_force" in totals:
        force.plot(
            totals["alpha"], totals["net_axial_force"], "D-.", color=style.GREEN, markersize=4
        )
    lift.set_ylabel("lift coefficient CL")
    drag.set_xlabel("drag coefficient CD of the wing")
    drag.set_ylabel("lift coefficient CL")
    drag.xaxis.set_major_locator(MaxNLocator(5))
    moment.set_ylabel("pitching moment C_pitch")
    force.set_ylabel("net axial force, N")
    for axes in (lift, moment, force):
        axes.set_xlabel("angle of attack α, °")
    for axes, title in (
        (lift, "Lift curve of the wing"),
        (drag, "Drag polar: induced drag, and with profile drag"),
        (moment, "Pitching moment of the wing, nose up"),
        (force, "Thrust along the path less wing drag"),
    ):
        style.head(axes, title)
        axes.title.set_fontsize(10.0)
    style.name(figure, title_of(solution))
    figure.legend(loc="outside lower center", ncols=3)
    return figure


def lift_curve(solution: Solution) -> Figure:
    """Draw the solves of a search for the largest lift, blown and unblown, with what it found."""
    figure = style.new_figure(9.0, 4.8)
    axes = figure.subplots()
    looks = {"blown": (style.BLUE, "o-"), "unblown": (style.BLACK, "s--")}
    for name, peak in solution.peaks.items():
        colour, line = looks.get(name, (style.GREEN, "^-."))
        speed = f", stall speed {peak['stall_speed']:.1f} m/s" if "stall_speed" in peak else ""
        axes.plot(
            peak["scan_alpha"], peak["scan_CL"], line, color=colour, markersize=4,
            label=f"{name}: largest CL {peak['CL']:.3f} at {peak['alpha']:.1f}°{speed}",
        )  # fmt: skip
        axes.plot(peak["alpha"], peak["CL"], "*", color=colour, markersize=14)
        if "stall_alpha" in peak:
            at = float(np.interp(peak["stall_alpha"], peak["scan_alpha"], peak["scan_CL"]))
            axes.plot(
                peak["stall_alpha"], at, "v", color=style.VERMILION, markeredgecolor=colour,
                markersize=9, linestyle="none",
                label=f"{name}: first strip stalls at {peak['stall_alpha']:.1f}°, "
                f"{100 * peak['stall_fraction']:.0f} % of the semi-span",
            )  # fmt: skip
    axes.set_xlabel("angle of attack α, °")
    axes.set_ylabel("lift coefficient CL of the wing")
    style.head(axes, "Lift curve of the wing, star at the largest lift")
    style.name(figure, title_of(solution))
    figure.legend(loc="outside lower center", ncols=2)
    return figure
