"""All figures of a solution, written to a folder."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from blownwing.errors import InputError
from blownwing.report import style
from blownwing.report.blade_figures import blade_loads
from blownwing.report.history_figures import convergence_history, lift_and_drag, lift_curve
from blownwing.report.layout import case_of
from blownwing.report.trim_figures import side_view
from blownwing.report.wing_figures import plan_view, slipstream_velocities, span_loading
from blownwing.solution import Solution
from blownwing.solution.files import check_folder

FORMATS = ("png", "svg", "pdf")


def write_figures(
    solution: Solution,
    folder: str | Path,
    fmt: style.Format = "png",
    alpha: float | None = None,
) -> list[Path]:
    """Write every figure the solution has data for and return the files.

    ``plan_view``, with surfaces beside the wing ``side_view``, ``span_loading``, ``slipstream``,
    ``blade_loads``, ``convergence``, for a polar ``polar`` and after a search for the largest lift
    ``lift_curve``. Figures along the span and the radius show one angle of a polar. The folder is
    made if its parent exists.

    Args:
        alpha: deg, the angle of a polar that is shown; default: the middle one.

    Raises:
        InputError: an unknown format, a folder that cannot be written, no such angle, or a stored
            case that this version does not read.
        SolveError: the system refused while writing.
    """
    if fmt not in FORMATS:
        raise InputError(f"figure format {fmt!r} is not known; accepted are {', '.join(FORMATS)}")
    case = case_of(solution)
    one = at_angle(solution, alpha)
    folder = made_folder(folder)
    with style.settings():
        figures = {
            "plan_view": plan_view(one, case),
            "side_view": side_view(one, case) if case.surfaces else None,
            "span_loading": span_loading(one),
            "slipstream": slipstream_velocities(one) if _has_slipstream(one) else None,
            "blade_loads": blade_loads(one),
            "convergence": convergence_history(solution, case),
            "polar": lift_and_drag(solution) if _has_polar(solution) else None,
            "lift_curve": lift_curve(solution) if solution.peaks else None,
        }
        drawn = {name: figure for name, figure in figures.items() if figure is not None}
        return style.save_figures(drawn, folder, fmt)


def at_angle(solution: Solution, alpha: float | None = None) -> Solution:
    """Return one angle of a polar, the middle one where none is named; others as they are.

    alpha: deg.

    Raises:
        InputError: the result has no such angle.
    """
    angles = solution.alphas or (float(solution.totals["alpha"]),)
    if alpha is None:
        return solution.at(len(angles) // 2) if solution.polar else solution
    index = int(np.argmin(np.abs(np.array(angles) - alpha)))
    if abs(angles[index] - alpha) > 1e-6:
        known = ", ".join(f"{a:g}" for a in angles)
        raise InputError(f"--alpha: found {alpha:g}; accepted are the result's angles, {known}")
    return solution.at(index) if solution.polar else solution


def made_folder(folder: str | Path) -> Path:
    """Return ``folder``, made if it is missing and checked to be writable.

    Raises:
        InputError: it cannot be made or written.
    """
    folder = Path(folder)
    if not folder.exists():
        check_folder(folder.parent)
        folder.mkdir()
    check_folder(folder)
    return folder


def _has_slipstream(solution: Solution) -> bool:
    return {"slipstream_axial", "slipstream_swirl"} <= set(solution.strips)


def _has_polar(solution: Solution) -> bool:
    return solution.polar and "CL" in solution.totals
