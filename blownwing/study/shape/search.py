"""The chord and twist with least drag or shaft power at given lift, behind given propellers.

Chord and twist follow cubic splines along the span, so that they stay smooth. Sequential quadratic
programming (Kraft 1988, "A software package for sequential quadratic programming", DFVLR-FB 88-28)
moves their coefficients with exact gradients; propellers and slipstreams are balanced anew with
the wing that it finds, until both agree.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.coupling.size import expected_size
from blownwing.errors import InputError, SolveError
from blownwing.kernels.threads import threads_for
from blownwing.study.model import ShapeSearch
from blownwing.study.shape.balance import Balancer
from blownwing.study.shape.evaluation import Evaluation, evaluated
from blownwing.study.shape.model import Quantity, Setting, Shape, objective_of
from blownwing.study.shape.stations import refined_stations, shaped
from blownwing.study.shape.variables import ShapeVariables

Array = NDArray[np.float64]
Progress = Callable[[int], None]

STATIONS = 33
_ROUNDS = 12
_SETTLED = 1e-5  # relative change of the objective between two rounds
_AT_BOUND = 1e-6
_TURNS = 20
_MEMORY = 2**31  # bytes


@dataclass(frozen=True)
class ShapeResult:
    """What a search found.

    Attributes:
        before, after: cases on the same stations, before at the wanted lift by a uniform twist;
            for least power with thrusts that carry the drag.
        shape_before, shape_after: their quantities.
        objective: before and after, N or W.
        spread: relative spread of the objective between the starts that ended well.
        ends: number of starts that ended well.
        active: bounds and limits that hold the optimum, in words.
        evaluations: of the wing with gradients. rounds: of the propellers' balance.
        strips: of the lattice's half span.
    """

    before: Case
    after: Case
    shape_before: Shape
    shape_after: Shape
    objective: tuple[float, float]
    spread: float
    ends: int
    active: tuple[str, ...]
    evaluations: int
    rounds: int
    strips: int

    @property
    def gain(self) -> float:
        """Share of the objective that the optimum saves."""
        return 1.0 - self.objective[1] / self.objective[0]


def searched(case: Case, problem: ShapeSearch, progress: Progress | None = None) -> ShapeResult:
    """Search the wing's chord and twist for the least drag or shaft power.

    Args:
        case: with linear sections; slipstreams have edges where `model.jet_edge` says so.
        problem: what is wanted.
        progress: called with the number of evaluations with gradients.

    Raises:
        InputError: a problem or case that this search does not take.
        SolveError: no start ended well, or propellers and wing found no balance.
    """
    _check(case)
    _check_size(case)
    with threads_for(_panels(case)):
        return _searched(case, problem, progress or (lambda _: None))


def _panels(case: Case) -> int:
    halves = 1 if case.is_symmetric else 2
    return halves * case.model.chordwise * case.model.spanwise


def _searched(case: Case, problem: ShapeSearch, progress: Progress) -> ShapeResult:
    from scipy.interpolate import BSpline

    wing = refined_stations(case.wing, STATIONS)
    base = case.model_copy(update={"wing": wing})
    ys = np.array([s.y for s in wing.stations])
    place = (ys - ys[0]) / (ys[-1] - ys[0])
    knots = np.concatenate(([0.0] * 3, np.linspace(0.0, 1.0, problem.controls - 2), [1.0] * 3))
    spline = BSpline.design_matrix(place, knots, 3).toarray()
    mapping = ShapeVariables(wing, spline, problem)
    balance = Balancer(problem.objective == "power")
    setting = balance(base)
    lift = problem.lift
    if lift is None:
        lift = evaluated(setting, wing, ()).lift.value
    evaluations = 0
    best: Array | None = None
    level, spread, count, rounds = np.inf, 0.0, 0, 0
    settled = False
    for number in range(_ROUNDS):
        rounds = number + 1
        search = _Search(setting, mapping, problem, lift, evaluations, progress)
        starts = mapping.starts(problem) if best is None else [best]
        ends = [search.run(start) for start in starts]
        good = [end for end in ends if end is not None]
        evaluations = search.evaluations
        if not good:
            raise SolveError(
                "the shape search ended nowhere within the bounds: lift, area or bending moment "
                "cannot be met; widen optimize.twist_range or optimize.chord_range"
            )
        values = np.array([search.objective(x) for x in good])
        best = good[int(np.argmin(values))]
        if number == 0:
            spread, count = float(np.ptp(values) / values.min()), len(good)
        reached = float(values.min())
        settled = abs(reached / level - 1.0) < _SETTLED if np.isfinite(level) else False
        level = reached
        if settled or setting.streams is None:
            break
        setting = balance(base.model_copy(update={"wing": mapping.wing(best)}))
    if not settled and setting.streams is not None:
        raise SolveError(
            f"wing and propellers did not settle in {_ROUNDS} rounds of the shape search"
        )
    if best is None:
        raise SolveError("the shape search found nothing")
    many = (spread, count, evaluations, rounds)
    return _result(base, mapping, problem, best, lift, many, setting)


def _check(case: Case) -> None:
    if case.has_surfaces:
        raise InputError(
            "surfaces: found surfaces or controls beside the wing; accepted in a shape search is a "
            "wing alone"
        )
    if case.model.sections != "linear":
        raise InputError(
            f'model.sections: found "{case.model.sections}"; accepted in a shape search is "linear"'
        )
    if isinstance(case.flow.alpha, tuple) or case.flow.airspeed == 0.0:
        raise InputError("flow: accepted in a shape search are one angle and an airspeed above 0")


def _check_size(case: Case) -> None:
    """A shape search stores all influences in full, whatever `model.matrix` says."""
    model = case.model.model_copy(update={"matrix": "full"})
    size = expected_size(case.model_copy(update={"model": model}))
    if size.bytes > _MEMORY:
        raise InputError(
            f"model.{'spanwise' if size.panels > size.tubes else 'jet_around'}: found influences "
            f"of {size.unknowns} unknowns; accepted in a shape search and on its finer lattice are "
            f"those that take up to {_MEMORY / 2**30:.3g} GiB in full"
        )


class _Search:
    """One search in given slipstreams."""

    def __init__(
        self,
        setting: Setting,
        mapping: ShapeVariables,
        problem: ShapeSearch,
        lift: float,
        evaluations: int,
        progress: Progress,
    ) -> None:
        self._setting, self._mapping = setting, mapping
        self._problem, self._lift = problem, lift
        self._wanted = ["lift", "power" if problem.objective == "power" else "induced"]
        if problem.bending_limit is not None:
            self._wanted.append("bending")
        self._key = b""
        self._evaluation: Evaluation | None = None
        self._value: Shape | None = None
        self._slopes: Shape | None = None
        self.evaluations, self._progress = evaluations, progress
        origin = self._at(mapping.origin)
        self._area = origin.area.value
        self._scale = abs(objective_of(origin, problem.objective)) or 1.0

    def objective(self, x: Array) -> float:
        """Drag, N, or power, W."""
        return objective_of(self._at(x), self._problem.objective)

    def run(self, start: Array) -> Array | None:
        """Where a search from `start` ends, None where it does not end well."""
        from scipy.optimize import minimize

        found = minimize(
            lambda x: self.objective(x) / self._scale,
            start,
            jac=lambda x: self._gradient(self._sloped(x)) / self._scale,
            method="SLSQP",
            bounds=self._mapping.bounds,
            constraints=self._constraints(),
            options={"maxiter": 150, "ftol": 1e-9},
        )
        low, high = np.array(self._mapping.bounds).T
        x = np.clip(found.x, low, high)
        missed = max(
            abs(c["fun"](x)) if c["type"] == "eq" else max(-c["fun"](x), 0.0)
            for c in self._constraints()
        )
        return x if missed < 1e-6 and np.all(np.isfinite(x)) else None

    def _here(self, x: Array) -> Evaluation:
        key = x.tobytes()
        if self._evaluation is None or self._key != key:
            self._key, self._value, self._slopes = key, None, None
            self._evaluation = Evaluation(self._setting, self._mapping.wing(x))
        return self._evaluation

    def _at(self, x: Array) -> Shape:
        """Quantities at some variables."""
        here = self._here(x)
        if self._value is None:
            self._value = here.shape(())
        return self._value

    def _sloped(self, x: Array) -> Shape:
        """Quantities with the gradients that this search needs."""
        here = self._here(x)
        if self._slopes is None:
            self._slopes = here.shape(self._wanted)
            self.evaluations += 1
            self._progress(self.evaluations)
        return self._slopes

    def _gradient(self, shape: Shape) -> Array:
        name = self._problem.objective
        if name == "power" and shape.power is not None:
            return self._mapping.gradient(shape.power)
        slope = self._mapping.gradient(shape.induced)
        return slope + self._mapping.gradient(shape.profile) if name == "drag" else slope

    def _constraints(self) -> list[dict[str, Any]]:
        found = [self._constraint("eq", lambda s: s.lift, self._lift, 1.0)]
        if self._problem.chord and self._problem.fixed_area:
            found.append(self._constraint("eq", lambda s: s.area, self._area, 1.0))
        limit = self._problem.bending_limit
        if limit is not None:
            found.append(self._constraint("ineq", lambda s: s.bending, limit, -1.0))
        return found

    def _constraint(
        self, kind: str, pick: Callable[[Shape], Quantity], level: float, sign: float
    ) -> dict[str, Any]:
        return {
            "type": kind,
            "fun": lambda x: sign * (pick(self._at(x)).value / level - 1.0),
            "jac": lambda x: sign * self._mapping.gradient(pick(self._sloped(x))) / level,
        }


def _result(
    base: Case,
    mapping: ShapeVariables,
    problem: ShapeSearch,
    best: Array,
    lift: float,
    many: tuple[float, int, int, int],
    setting: Setting,
) -> ShapeResult:
    spread, count, evaluations, rounds = many
    after = _validated(setting.case.model_copy(update={"wing": mapping.wing(best)}))
    before, shape_before = at_lift(base, lift, problem.objective)
    shape_after = evaluated(setting, after.wing, ())
    values = [objective_of(shape, problem.objective) for shape in (shape_before, shape_after)]
    return ShapeResult(
        before=_validated(before),
        after=after,
        shape_before=shape_before,
        shape_after=shape_after,
        objective=(values[0], values[1]),
        spread=spread,
        ends=count,
        active=_active(mapping, problem, best, shape_after),
        evaluations=evaluations,
        rounds=rounds,
        strips=setting.strips,
    )


def _validated(case: Case) -> Case:
    """The case checked as a whole, and without the text of the case that it was made from."""
    return Case.from_tables(case.model_dump(by_alias=True, exclude_none=True), case.folder)


def at_lift(case: Case, lift: float, objective: str) -> tuple[Case, Shape]:
    """The case with the uniform change of twist that gives a lift [N], balanced, and its shape.

    objective: of the search; for "power" the thrusts carry the drag.

    Raises:
        InputError: a case that this search does not take.
        SolveError: the lift is not reached.
    """
    _check_size(case)
    twist = np.radians([s.twist for s in case.wing.stations])
    chord = np.array([s.chord for s in case.wing.stations])
    with threads_for(_panels(case)):
        shift, balance = 0.0, Balancer(objective == "power")
        for step in range(_TURNS):
            here = case.model_copy(update={"wing": shaped(case.wing, twist + shift, chord)})
            setting = balance(here)
            shape = evaluated(setting, here.wing, ("lift",))
            missing = lift - shape.lift.value
            # edges that are laid anew make small steps
            close = 1e-8 if step < _TURNS // 2 else 1e-6
            if abs(missing) <= close * abs(lift):
                return setting.case, shape
            shift += missing / float(shape.lift.by_twist.sum())
    raise SolveError(f"a lift of {lift:.6g} N was not reached by turning the whole wing")


def _active(
    mapping: ShapeVariables, problem: ShapeSearch, x: Array, shape: Shape
) -> tuple[str, ...]:
    """Bounds that the optimum lies on."""
    found = []
    for name, part, used in (
        ("twist", mapping.twist_part, True),
        ("chord", mapping.chord_part, problem.chord),
    ):
        if not used:
            continue
        for k, (value, (low, high)) in enumerate(zip(x[part], mapping.bounds[part], strict=True)):
            if value - low < _AT_BOUND:
                found.append(f"{name} {k + 1} of {part.stop - part.start} at its lowest")
            elif high - value < _AT_BOUND:
                found.append(f"{name} {k + 1} of {part.stop - part.start} at its highest")
    limit = problem.bending_limit
    if limit is not None and shape.bending.value > limit * (1.0 - 1e-4):
        found.append("root bending moment at its limit")
    return tuple(found)
