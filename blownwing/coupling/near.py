"""Many cases that are much alike: what they share is built once, and each starts from another."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, suppress
from dataclasses import replace
from functools import partial
from typing import NamedTuple, TypeVar

from blownwing.case.model import Case
from blownwing.coupling.balance import Start, solved_point, start_at
from blownwing.coupling.by_surface import follows_course, with_local_rises
from blownwing.coupling.discs import disc_bank, placed_discs
from blownwing.coupling.model import Model, Point, WingParts
from blownwing.coupling.parts import Discs, Flow, Key, undisturbed
from blownwing.coupling.setup import still_parts, wing_key
from blownwing.coupling.size import Size, fits, fitting_size
from blownwing.errors import SolveError
from blownwing.kernels.threads import threads_for, together
from blownwing.wing.loads import WingLoads

_COURSES = 3  # times that the streams' courses at surfaces behind the wing are found anew
_KEPT = 8  # inflows of the discs, from the nearest three of which the next solve starts
_WINGS, _FLOWS = 4, 64  # that are kept

Value = TypeVar("Value")


class _Known(NamedTuple):
    """A balance from which others start; its model, where it may be kept, whose parts may serve."""

    start: Start | None
    model: Model | None


_NOTHING = _Known(None, None)


class Left(NamedTuple):
    """What the states of a case leave for those of another; see `several_at`."""

    case: Case
    starts: list[Start]  # of the last incidences


def reached(outcome: Value | SolveError) -> Value:
    """What was made of a state, or why there is none, raised."""
    if isinstance(outcome, SolveError):
        raise outcome
    return outcome


def several_at(
    case: Case,
    made: Callable[[float, Point], Value],
    left: Left | None = None,
    beside: Left | None = None,
) -> Callable[[Sequence[float]], list[Value | SolveError]]:
    """A function from some incidences, deg, to what is made of the states there, or why not.

    They are solved side by side where there are cores for it. All start from what was found before
    they were asked for, so that no result depends on cores. left: takes what they leave; beside:
    what states of a case much alike have left, from which they start too. Raises InputError as
    `coupling.solve`, here or there.
    """
    size = fitting_size(case)
    starts = [] if left is None else left.starts
    before = starts or ([] if beside is None else beside.starts)
    with _threads(size):
        discs = placed_discs(case, before[-1].discs if before else None)
    kept: list[Model] = []

    def one(alpha: float, others: Sequence[Start]) -> tuple[Value, Start, Model] | SolveError:
        flow = undisturbed(case, alpha)
        ways = [_Known(start_at(alpha, starts, others), kept[-1] if kept else None)]
        if others:
            ways.append(_NOTHING)
        with _threads(size):
            try:
                point, start = _tried(ways, partial(_solved, case, flow, discs))
            except SolveError as error:
                return error
            return made(alpha, point), start.forgotten, point.model

    def at(alphas: Sequence[float]) -> list[Value | SolveError]:
        with _threads(size):
            others = [] if beside is None else _roughly(*beside)
            if others or len(starts) == 1:  # a curve through more foresees what they can
                _roughly(case, starts)
        calls = [partial(one, alpha, others) for alpha in alphas]
        roomy = not size.compressed and fits(replace(size, bytes=2 * size.bytes))
        outcomes = together(calls) if roomy else [call() for call in calls]
        for outcome in outcomes:
            if not isinstance(outcome, SolveError):
                starts.append(outcome[1])
                kept[:] = [] if size.compressed else [outcome[2]]
        del starts[:-_KEPT]
        return [each if isinstance(each, SolveError) else each[0] for each in outcomes]

    return at


def _roughly(case: Case, starts: list[Start]) -> list[Start]:
    """Starts of a case that now have what a wing of few panels does there."""
    starts[:] = [start.roughly(case, undisturbed(case, start.alpha)) for start in starts]
    return starts


def points_near(
    base: Case | None = None, still: bool = False, along: bool = False
) -> Callable[[Case], Point]:
    """A function from cases at one incidence to their converged states, for cases much alike.

    Each solve starts from the balance of `base` or, without one, from the last one's (or from
    nothing where that leads astray), where the discs are alike; that saves passes and changes no
    result beyond the coupling's tolerance. With a base a result does not depend on what was solved
    before; a base without a balance starts no other. still: one lattice for all cases that share a
    wing, without strip edges at the slipstreams, which have no edges then. along: a case that
    differs from the last one by its incidence alone starts from that one in any case. Raises as
    `coupling.solve`.
    """
    discs_of = disc_bank()
    wings: list[tuple[Key, WingParts]] = []
    loads: list[tuple[Key, WingLoads]] = []
    last: list[_Known] = []
    just: list[tuple[Case, _Known]] = []

    def solved(case: Case, known: _Known) -> tuple[Point, Start]:
        flow, discs = undisturbed(case, case.alphas[0]), discs_of(case)
        if not still:
            return _solved(case, flow, discs, known)
        wing = wing_key(case)
        parts = _found(wings, wing)
        if parts is None:
            parts = still_parts(case)
            _keep(wings, wing, parts, _WINGS)
        key = (wing, case.flow, case.controls)
        unblown = _found(loads, key)
        point, start = solved_point(case, flow, discs, *known, parts, unblown)
        if unblown is None:
            _keep(loads, key, point.loads_unblown, _FLOWS)
        return point, start

    def first(case: Case) -> _Known:
        try:
            point, start = solved(case, _NOTHING)
        except SolveError:
            return _NOTHING
        return known_from(case, point, start.measured(case, point.flow))

    def known_from(case: Case, point: Point, start: Start) -> _Known:
        start = start if still else start.roughly(case, point.flow)
        return _Known(start, None if fitting_size(case).compressed else point.model)

    def ways(case: Case) -> list[_Known]:
        if base is None:
            return [*last, _NOTHING]
        last[:] = last or [first(base)]
        return [near for other, near in just if differs_by_incidence(other, case)] + last

    def at(case: Case) -> Point:
        with _threads(fitting_size(case)):
            point, found = _tried(ways(case), partial(solved, case))
        if base is None:
            last[:] = [known_from(case, point, found.forgotten)]
        elif along:
            just[:] = [(case, known_from(case, point, found.forgotten))]
        return point

    return at


def _tried(
    ways: Sequence[_Known], solved: Callable[[_Known], tuple[Point, Start]]
) -> tuple[Point, Start]:
    """A state from the first of several starts that does not lead astray."""
    for known in ways[:-1]:
        with suppress(SolveError):
            return solved(known)
    return solved(ways[-1])


def differs_by_incidence(case: Case, other: Case) -> bool:
    """Whether two cases are the same but for their incidences, which may be the same too."""
    flow = case.flow.model_copy(update={"alpha": other.flow.alpha})
    return case.model_copy(update={"flow": flow}) == other


def _solved(case: Case, flow: Flow, discs: Discs, known: _Known) -> tuple[Point, Start]:
    """A converged state, with surfaces behind the wing where the streams' local course has them."""
    point, start = solved_point(case, flow, discs, *known)
    here = case
    for _ in range(_COURSES if follows_course(case) else 0):
        moved = with_local_rises(case, here, flow, point.model, point.wing)
        if moved is None:
            break
        here = moved
        point, start = solved_point(here, flow, discs, start, point.model)
    return point, start


def _found(memory: list[tuple[Key, Value]], key: Key) -> Value | None:
    # most edits leave the wing's table itself, which costs no comparison
    return next((value for known, value in memory if known == key), None)


def _keep(memory: list[tuple[Key, Value]], key: Key, value: Value, most: int) -> None:
    del memory[: max(len(memory) - most + 1, 0)]
    memory.append((key, value))


def _threads(size: Size) -> AbstractContextManager[None]:
    # A compressed matrix is all kernels and small factors.
    return threads_for(0 if size.compressed else size.panels, size.unknowns)
