"""All figures of a solution, written to a folder."""

from __future__ import annotations

from pathlib import Path

from blownwing.errors import InputError
from blownwing.report import style
from blownwing.report.blade_figures import blade_loads
from blownwing.report.history_figures import convergence_history, lift_and_drag
from blownwing.report.layout import case_of
from blownwing.report.trim_figures import side_view
from blownwing.report.wing_figures import plan_view, slipstream_velocities, span_loading
from blownwing.solution import Solution
from blownwing.solution.files import check_folder

FORMATS = ("png", "svg")


def write_figures(solution: Solution, folder: str | Path, fmt: style.Format = "png") -> list[Path]:
    """Write every figure the solution has data for and return the files.

    ``plan_view``, with surfaces beside the wing ``side_view``, ``span_loading``, ``slipstream``,
    ``blade_loads``, ``convergence`` and for a
    polar ``polar``. Figures along the span and the radius show the middle angle of a polar. The
    folder is made if its parent exists.

    Raises:
        InputError: an unknown format, a folder that cannot be written, or a stored case that
            this version does not read.
    """
    if fmt not in FORMATS:
        raise InputError(f"figure format {fmt!r} is not known; accepted are {', '.join(FORMATS)}")
    case = case_of(solution)
    folder = made_folder(folder)
    one = solution.at(len(solution.alphas) // 2) if solution.polar else solution
    with style.settings():
        figures = {
            "plan_view": plan_view(one, case),
            "side_view": side_view(one, case) if case.surfaces else None,
            "span_loading": span_loading(one),
            "slipstream": slipstream_velocities(one) if _has_slipstream(one) else None,
            "blade_loads": blade_loads(one),
            "convergence": convergence_history(solution, case),
            "polar": lift_and_drag(solution) if _has_polar(solution) else None,
        }
        return [
            style.save_figure(figure, folder / f"{name}.{fmt}", fmt)
            for name, figure in figures.items()
            if figure is not None
        ]


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
