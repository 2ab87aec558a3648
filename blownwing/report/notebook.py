"""Results in notebooks: figures that are returned, a summary as markup."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from typing import TypeVar

from matplotlib.figure import Figure

from blownwing.errors import InputError
from blownwing.report import html, style
from blownwing.report.blade_figures import blade_loads
from blownwing.report.columns import digits
from blownwing.report.figures import at_angle
from blownwing.report.history_figures import convergence_history, lift_and_drag, lift_curve
from blownwing.report.layout import case_of
from blownwing.report.wing_figures import plan_view, slipstream_velocities, span_loading
from blownwing.solution import CAUTION, VARIABLES, Solution

Drawn = TypeVar("Drawn")

_SHOWN = ("lift", "CL", "CL_unblown", "drag", "CD", "CD_induced", "C_pitch", "thrust", "power",
          "net_axial_force", "efficiency", "half_lift", "half_drag")  # fmt: skip


def plan(solution: Solution, alpha: float | None = None) -> Figure:
    """Draw the wing from above with its discs and slipstreams.

    alpha: deg, of a polar. Errors as for `at_angle` and `case_of`.
    """
    one = at_angle(solution, alpha)
    return _looked(lambda: plan_view(one, case_of(one)))


def loading(solution: Solution, alpha: float | None = None) -> Figure:
    """Draw the lift along the span, blown against unblown.

    alpha: deg, of a polar. Errors as for `at_angle`.
    """
    one = at_angle(solution, alpha)
    return _looked(lambda: span_loading(one))


def slipstream(solution: Solution, alpha: float | None = None) -> Figure:
    """Draw axial speed and swirl along the span; alpha: deg, of a polar.

    Raises:
        InputError: the result has no slipstreams, or no such angle.
    """
    one = at_angle(solution, alpha)
    if not one.propellers or "slipstream_axial" not in one.strips:
        raise InputError("plot_slipstream: this result has no slipstreams")
    return _looked(lambda: slipstream_velocities(one))


def blades(solution: Solution, alpha: float | None = None) -> Figure:
    """Draw the blades' loads along the radius; alpha: deg, of a polar.

    Raises:
        InputError: the result has no blades, or no such angle.
    """
    one = at_angle(solution, alpha)
    figure = _looked(lambda: blade_loads(one))
    if figure is None:
        raise InputError("plot_blades: this result has no propeller with blades")
    return figure


def polar(solution: Solution) -> Figure:
    """Draw lift, drag and moment over incidence, or the solves of a search for the largest lift.

    Raises:
        InputError: the result has one angle and no peak.
    """
    if solution.polar and "CL" in solution.totals:
        return _looked(lambda: lift_and_drag(solution))
    if solution.peaks:
        return _looked(lambda: lift_curve(solution))
    raise InputError("plot_polar: accepted is a result with several angles, or of a peak search")


def convergence(solution: Solution) -> Figure:
    """Draw the residual over the iterations. Errors as for `case_of`."""
    return _looked(lambda: convergence_history(solution, case_of(solution)))


def _looked(draw: Callable[[], Drawn]) -> Drawn:
    with style.settings():
        return draw()


def markup(solution: Solution) -> str:
    """Return headline numbers, the loading figure and the caution for a notebook."""
    one = at_angle(solution)
    rows = []
    for name in _SHOWN:
        if name not in one.totals or (name in ("thrust", "power") and not one.propellers):
            continue
        known = VARIABLES["totals"][name]
        unit = "" if known.units == "1" else known.units
        rows.append((known.long_name, digits(float(one.totals[name])), unit))
    angles = f", one of {len(solution.alphas)} angles" if solution.polar else ""
    head = f"{solution.title or 'Untitled case'}, α {one.totals['alpha']:g}°{angles}"
    with style.settings():
        # a name of its own, since a notebook shows many
        figure = html.vector_figure(span_loading(one), "Lift along the span.", f"s{id(one):x}")
    return (
        f"<div><p><strong>{escape(head)}</strong></p>"
        f"{html.table(('quantity', 'value', 'unit'), rows, numbers=(1,))}"
        f'<div style="max-width: 60em">{figure}</div><p><em>{escape(CAUTION)}</em></p></div>'
    )
