"""Where wing, propellers and slipstreams meet: solve(case) -> Solution."""

from __future__ import annotations

from blownwing.case.model import Case
from blownwing.coupling.assembly import assembled
from blownwing.coupling.balance import solved_point
from blownwing.coupling.model import Point
from blownwing.coupling.parts import undisturbed
from blownwing.coupling.setup import placed_discs
from blownwing.coupling.size import fitting_size
from blownwing.solution.model import Solution, stacked
from blownwing.wing.threads import algebra_threads

__all__ = ["solve", "solved_points"]


def solve(case: Case) -> Solution:
    """Solve a case: wing, propellers and slipstreams in mutual balance.

    A list of incidences gives a polar. Raises InputError when a file of the case cannot be used or
    the case does not fit in memory, and SolveError when the calculation does not converge or an
    operating point cannot be reached.
    """
    solutions = [assembled(case, point) for point in solved_points(case)]
    return stacked(solutions) if isinstance(case.flow.alpha, tuple) else solutions[0]


def solved_points(case: Case) -> list[Point]:
    """Converged states of all incidences of the case, in order, each started from the last."""
    size = fitting_size(case)
    points: list[Point] = []
    # A compressed matrix is all kernels and small factors.
    with algebra_threads(0 if size.compressed else size.panels):
        discs = placed_discs(case)
        for alpha in case.alphas:
            before = points[-1] if points else None
            points.append(solved_point(case, undisturbed(case, alpha), discs, before))
    return points
