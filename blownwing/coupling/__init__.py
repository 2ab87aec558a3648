"""Where wing, propellers and slipstreams meet: solve(case) -> Solution."""

from __future__ import annotations

from collections.abc import Callable

from blownwing.case.model import Case
from blownwing.coupling.assembly import assembled
from blownwing.coupling.model import Point
from blownwing.coupling.near import points_at, points_near
from blownwing.solution.model import Solution, stacked

__all__ = ["incidences", "neighbours", "points_near", "solve", "solved_points"]


def solve(case: Case) -> Solution:
    """Solve a case: wing, propellers and slipstreams in mutual balance.

    A list of incidences gives a polar. Raises InputError when a file of the case cannot be used or
    the case does not fit in memory, and SolveError when the calculation does not converge or an
    operating point cannot be reached.
    """
    points = points_at(case)
    solutions = [assembled(case, points(alpha)) for alpha in case.alphas]
    return stacked(solutions) if isinstance(case.flow.alpha, tuple) else solutions[0]


def incidences(case: Case) -> Callable[[float], Solution]:
    """A function from any incidence, deg, to the solution of the case there.

    Discs are built once, and each solve starts from the nearest of the last ones, which saves
    passes and changes no result beyond the coupling's tolerance. Raises as `solve`, here or there.
    """
    points = points_at(case)

    def at(alpha: float) -> Solution:
        return assembled(case.replace(**{"flow.alpha": alpha}), points(alpha))

    return at


def neighbours(base: Case | None = None) -> Callable[[Case], Solution]:
    """A function from cases at one incidence to their solutions, for cases that are much alike.

    Each solve starts from the balance of `base` or, without one, from the last one's, as
    `points_near` does. Raises as `solve`, here or there.
    """
    points = points_near(base)
    return lambda case: assembled(case, points(case))


def solved_points(case: Case) -> list[Point]:
    """Converged states of all incidences of the case, in order. Raises as `solve`."""
    points = points_at(case)
    return [points(alpha) for alpha in case.alphas]
