"""Figures over iterations and over the angle of attack: convergence, lift curve, drag polar."""

from __future__ import annotations

from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from blownwing.case.model import Case
from blownwing.report import style
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
    figure.legend(loc="outside lower center", ncols=min(len(axes.lines), 8))
    return figure


def lift_and_drag(solution: Solution) -> Figure:
    """Draw a polar: lift over the angle of attack, and lift over induced drag."""
    totals = solution.totals
    figure = style.new_figure(9.0, 4.8)
    lift, drag = figure.subplots(1, 2, sharey=True)
    for suffix, label, colour, line in (
        ("", "blown", style.BLUE, "o-"),
        ("_unblown", "unblown", style.BLACK, "s--"),
    ):
        cl, cd = totals.get(f"CL{suffix}"), totals.get(f"CD_induced{suffix}")
        if cl is None:
            continue
        lift.plot(totals["alpha"], cl, line, color=colour, markersize=4, label=label)
        if cd is not None:
            drag.plot(cd, cl, line, color=colour, markersize=4)
    lift.set_xlabel("angle of attack α, °")
    lift.set_ylabel("lift coefficient CL")
    drag.set_xlabel("induced drag coefficient (near field)")
    style.head(lift, "Lift curve of the wing")
    style.head(drag, "Induced drag polar of the wing")
    figure.legend(loc="outside lower center", ncols=2)
    return figure
