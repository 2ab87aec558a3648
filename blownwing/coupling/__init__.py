"""Where wing, propellers and slipstreams meet: solve(case) -> Solution."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

from blownwing.case.model import Case
from blownwing.coupling.assembly import assembled
from blownwing.coupling.model import Point
from blownwing.coupling.near import Left, points_near, reached, several_at
from blownwing.errors import SolveError
from blownwing.solution.model import Solution, stacked

__all__ = [
    "incidences",
    "neighbours",
    "points_near",
    "several_incidences",
    "solve",
    "solved_points",
]

Value = TypeVar("Value")


def solve(case: Case) -> Solution:
    """Solve a case: wing, propellers and slipstreams in mutual balance.

    A list of incidences gives a polar. Raises InputError when a file of the case cannot be used or
    the case does not fit in memory, and SolveError when the calculation does not converge or an
    operating point cannot be reached.
    """
    solutions = _of_all(case, lambda _, point: assembled(case, point))
    return stacked(solutions) if isinstance(case.flow.alpha, tuple) else solutions[0]


def incidences(case: Case) -> Callable[[float], Solution]:
    """A function from any incidence, deg, to the solution of the case there.

    As `several_incidences`, one by one; raises what that gives.
    """
    several = several_incidences(case)
    return lambda alpha: reached(several((alpha,))[0])


def several_incidences(
    case: Case, left: Left | None = None, beside: Left | None = None
) -> Callable[[Sequence[float]], list[Solution | SolveError]]:
    """A function from some incidences, deg, to the solutions there, or why there is none.

    Discs are built once, and each solve starts from the nearest of those before, which saves
    passes and changes no result beyond the coupling's tolerance. left: takes what they leave;
    beside: what solves of a case much alike have left, from which they start too. Raises
    InputError as `solve`, here or there.
    """

    def made(alpha: float, point: Point) -> Solution:
        return assembled(case.replace(**{"flow.alpha": alpha}), point)

    return several_at(case, made, left, beside)


def neighbours(base: Case | None = None) -> Callable[[Case], Solution]:
    """A function from cases at one incidence to their solutions, for cases that are much alike.

    Each solve starts from the balance of `base` or, without one, from the last one's, as
    `points_near` does. Raises as `solve`, here or there.
    """
    points = points_near(base)
    return lambda case: assembled(case, points(case))


def solved_points(case: Case) -> list[Point]:
    """Converged states of all incidences of the case, in order. Raises as `solve`."""
    return _of_all(case, lambda _, point: point)


def _of_all(case: Case, made: Callable[[float, Point], Value]) -> list[Value]:
    """What is made of the states of all incidences, in order; two of them at a time."""
    several, alphas = several_at(case, made), case.alphas
    half = -(-len(alphas) // 2)
    found: dict[float, Value] = {}
    for k in range(half):
        pair = alphas[k::half]  # far apart, so that each has one of the last ones near by
        for alpha, value in zip(pair, several(pair), strict=True):
            found[alpha] = reached(value)
    return [found[alpha] for alpha in alphas]
