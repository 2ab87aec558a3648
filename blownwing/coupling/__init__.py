"""Where wing, propellers and slipstreams meet: solve(case) -> Solution."""

from __future__ import annotations

from blownwing.case.model import Case
from blownwing.coupling.assembly import assembled
from blownwing.coupling.balance import solved_point
from blownwing.coupling.parts import Point, undisturbed
from blownwing.coupling.setup import placed_discs
from blownwing.errors import InputError
from blownwing.solution.model import Solution, stacked

__all__ = ["solve", "solved_points"]


def solve(case: Case) -> Solution:
    """Solve a case: wing, propellers and slipstreams in mutual balance.

    A list of incidences gives a polar. Raises InputError when a file of the case cannot be used
    and SolveError when the calculation does not converge or an operating point cannot be reached.
    """
    solutions = [assembled(case, point) for point in solved_points(case)]
    return stacked(solutions) if isinstance(case.flow.alpha, tuple) else solutions[0]


def solved_points(case: Case) -> list[Point]:
    """Converged states of all incidences of the case, in order, each started from the last."""
    if case.model.jet_edge:
        raise InputError("model.jet_edge: found true; accepted is false in this version")
    if case.model.sections != "linear":
        raise InputError(
            f'model.sections: found "{case.model.sections}"; accepted is "linear" in this version'
        )
    discs = placed_discs(case)
    points: list[Point] = []
    for alpha in case.alphas:
        before = points[-1] if points else None
        points.append(solved_point(case, undisturbed(case, alpha), discs, before))
    return points
