"""Where wing, propellers and slipstreams meet: solve(case) -> Solution."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager

from blownwing.case.model import Case
from blownwing.coupling.assembly import assembled
from blownwing.coupling.balance import Start, solved_point, start_at
from blownwing.coupling.by_surface import follows_course, with_local_rises
from blownwing.coupling.model import Model, Point
from blownwing.coupling.parts import Discs, Flow, undisturbed
from blownwing.coupling.setup import placed_discs, task
from blownwing.coupling.size import Size, fitting_size
from blownwing.kernels.threads import threads_for
from blownwing.propeller.unit import UnitState
from blownwing.solution.model import Solution, stacked

__all__ = ["incidences", "neighbours", "solve", "solved_points"]

_COURSES = 3  # times that the streams' courses at surfaces behind the wing are found anew
_KEPT = 8  # inflows of the discs, from the nearest two of which the next solve starts


def solve(case: Case) -> Solution:
    """Solve a case: wing, propellers and slipstreams in mutual balance.

    A list of incidences gives a polar. Raises InputError when a file of the case cannot be used or
    the case does not fit in memory, and SolveError when the calculation does not converge or an
    operating point cannot be reached.
    """
    points = _points(case)
    solutions = [assembled(case, points(alpha)) for alpha in case.alphas]
    return stacked(solutions) if isinstance(case.flow.alpha, tuple) else solutions[0]


def incidences(case: Case) -> Callable[[float], Solution]:
    """A function from any incidence, deg, to the solution of the case there.

    Discs are built once, and each solve starts from the nearest of the last ones, which saves
    passes and changes no result beyond the coupling's tolerance. Raises as `solve`, here or there.
    """
    points = _points(case)

    def at(alpha: float) -> Solution:
        return assembled(case.replace(**{"flow.alpha": alpha}), points(alpha))

    return at


def neighbours(base: Case | None = None) -> Callable[[Case], Solution]:
    """A function from cases at one incidence to their solutions, for cases that are much alike.

    Each solve starts from the balance of `base` or, without one, from the last one's, where the
    discs are alike; that saves passes and changes no result beyond the coupling's tolerance. With a
    base a result does not depend on what was solved before. Raises as `solve`, here or there.
    """
    last: list[Point] = [] if base is None else [solved_points(base)[0]]

    def solved(case: Case) -> Solution:
        size = fitting_size(case)
        with _threads(size):
            discs = placed_discs(case)
            start = _start_from(last[0], discs) if last else None
            flow = undisturbed(case, case.alphas[0])
            point = _on_course(case, flow, discs, solved_point(case, flow, discs, start))
        if base is None:
            last[:] = [point]
        return assembled(case, point)

    return solved


def _on_course(case: Case, flow: Flow, discs: Discs, point: Point) -> Point:
    """The point with surfaces behind the wing where the streams' local course has them."""
    here = case
    for _ in range(_COURSES if follows_course(case) else 0):
        moved = with_local_rises(case, here, flow, point.model, point.wing)
        if moved is None:
            break
        here, start = moved, _as_start(flow.alpha, point, point.states)
        point = solved_point(here, flow, discs, start, point.model)
    return point


def _threads(size: Size) -> AbstractContextManager[None]:
    # A compressed matrix is all kernels and small factors.
    return threads_for(0 if size.compressed else size.panels, size.unknowns)


def _start_from(point: Point, discs: Discs) -> Start | None:
    """A first guess from a balance of other discs, None where they are not alike."""
    known = point.model.discs.units
    if [unit.samples.shape for unit in known] != [unit.samples.shape for unit in discs.units]:
        return None
    pairs = zip(known, discs.units, strict=True)
    same = all(task(one) == task(other) for one, other in pairs)
    return _as_start(0.0, point, point.states if same else None)


def _as_start(alpha: float, point: Point, states: tuple[UnitState, ...] | None) -> Start:
    places = point.model.system.lattice.quarter[1]
    return Start(alpha, point.induced, states, places, point.wing.correction)


def solved_points(case: Case) -> list[Point]:
    """Converged states of all incidences of the case, in order."""
    points = _points(case)
    return [points(alpha) for alpha in case.alphas]


def _points(case: Case) -> Callable[[float], Point]:
    size = fitting_size(case)
    with _threads(size):
        discs = placed_discs(case)
    known: list[Start] = []
    kept: list[Model] = []

    def at(alpha: float) -> Point:
        with _threads(size):
            start = start_at(alpha, known)
            model = kept[-1] if kept else None
            flow = undisturbed(case, alpha)
            point = solved_point(case, flow, discs, start, model)
            point = _on_course(case, flow, discs, point)
        known.append(_as_start(alpha, point, point.states))
        del known[:-_KEPT]
        if not size.compressed:  # two large ones may not fit side by side
            kept[:] = [point.model]
        return point

    return at
