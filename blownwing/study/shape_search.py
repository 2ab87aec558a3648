"""The chord and twist with least drag at given lift, behind given propellers.

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
from blownwing.case.parts import Wing
from blownwing.errors import InputError, SolveError
from blownwing.study.fixed import Balanced, balanced
from blownwing.study.kept_wing import kept_wing
from blownwing.study.model import ShapeSearch
from blownwing.study.rotors import DiscBank
from blownwing.study.shape import Quantity, Setting, Shape, evaluated, refined_stations, shaped
from blownwing.study.threads import few_threads

Array = NDArray[np.float64]

STATIONS = 33
_TWIST_UNIT = np.radians(5.0)  # scales the twist's coefficients to the chord's
_ROUNDS = 6
_SETTLED = 1e-5  # relative change of the objective between two rounds
_AT_BOUND = 1e-6


@dataclass(frozen=True)
class ShapeResult:
    """What a search found.

    Attributes:
        before, after: cases on the same stations, before at the wanted lift by a uniform twist.
        shape_before, shape_after: their quantities.
        objective: before and after, N.
        spread: relative spread of the objective between the starts that ended well.
        active: bounds and limits that hold the optimum, in words.
        evaluations: of the wing with gradients. rounds: of the propellers' balance.
    """

    before: Case
    after: Case
    shape_before: Shape
    shape_after: Shape
    objective: tuple[float, float]
    spread: float
    active: tuple[str, ...]
    evaluations: int
    rounds: int

    @property
    def gain(self) -> float:
        """Share of the objective that the optimum saves."""
        return 1.0 - self.objective[1] / self.objective[0]


def searched(case: Case, problem: ShapeSearch) -> ShapeResult:
    """Search the wing's chord and twist for the least drag.

    Args:
        case: with superposed slipstreams (`model.jet_edge` is not looked at) and linear sections.
        problem: what is wanted.

    Raises:
        InputError: a problem or case that this search does not take.
        SolveError: no start ended well, or propellers and wing found no balance.
    """
    _check(case)
    with few_threads(_panels(case)):
        return _searched(case, problem)


def _panels(case: Case) -> int:
    halves = 1 if case.is_symmetric else 2
    return halves * case.model.chordwise * case.model.spanwise


def _searched(case: Case, problem: ShapeSearch) -> ShapeResult:
    from scipy.interpolate import BSpline

    wing = refined_stations(case.wing, STATIONS)
    base = case.model_copy(update={"wing": wing})
    ys = np.array([s.y for s in wing.stations])
    place = (ys - ys[0]) / (ys[-1] - ys[0])
    knots = np.concatenate(([0.0] * 3, np.linspace(0.0, 1.0, problem.controls - 2), [1.0] * 3))
    spline = BSpline.design_matrix(place, knots, 3).toarray()
    mapping = _Mapping(wing, spline, problem)
    bank = DiscBank()
    state = _balance(base, bank, None)
    lift = problem.lift if problem.lift is not None else _evaluated(base, state, wing).lift.value
    evaluations = 0
    best: Array | None = None
    level, spread, rounds = np.inf, 0.0, 0
    settled = False
    for number in range(_ROUNDS):
        rounds = number + 1
        setting = Setting(base, state.flow, state.streams if state.discs.placed else None)
        search = _Search(setting, mapping, problem, lift)
        starts = mapping.starts(problem) if best is None else [best]
        ends = [search.run(start) for start in starts]
        good = [end for end in ends if end is not None]
        evaluations += search.evaluations
        if not good:
            raise SolveError(
                "the shape search ended nowhere within the bounds: lift, area or bending moment "
                "cannot be met; widen optimize.twist_range or optimize.chord_range"
            )
        values = np.array([search.objective(x) for x in good])
        best = good[int(np.argmin(values))]
        if number == 0:
            spread = float(np.ptp(values) / values.min())
        reached = float(values.min())
        settled = abs(reached / level - 1.0) < _SETTLED if np.isfinite(level) else False
        level = reached
        if settled or not state.discs.placed:
            break
        state = _balance(base.model_copy(update={"wing": mapping.wing(best)}), bank, state)
    if not settled and state.discs.placed:
        raise SolveError(
            f"wing and propellers did not settle in {_ROUNDS} rounds of the shape search"
        )
    if best is None:
        raise SolveError("the shape search found nothing")
    return _result(base, mapping, problem, best, lift, spread, evaluations, rounds, bank, state)


def _check(case: Case) -> None:
    if case.model.sections != "linear":
        raise InputError(
            f'model.sections: found "{case.model.sections}"; accepted in a shape search is "linear"'
        )
    if isinstance(case.flow.alpha, tuple) or case.flow.airspeed == 0.0:
        raise InputError("flow: accepted in a shape search are one angle and an airspeed above 0")


def _balance(case: Case, bank: DiscBank, start: Balanced | None) -> Balanced:
    return balanced(case, kept_wing(case), bank, start)


def _evaluated(case: Case, state: Balanced, wing: Wing) -> Shape:
    streams = state.streams if state.discs.placed else None
    return evaluated(Setting(case, state.flow, streams), wing, gradients=False)


class _Mapping:
    """From the search's variables to stations: uniform twist, twist's and chord's coefficients."""

    def __init__(self, wing: Wing, spline: Array, problem: ShapeSearch) -> None:
        self._wing, self._spline = wing, spline
        self._twist = np.radians([s.twist for s in wing.stations])
        self._chord = np.array([s.chord for s in wing.stations])
        count = spline.shape[1]
        self.twist_part = slice(0, count if problem.twist else 1)
        self._twist_basis = spline if problem.twist else np.ones((spline.shape[0], 1))
        self.chord_part = slice(self.twist_part.stop, self.twist_part.stop + count)
        self._has_chord = problem.chord
        self.size = self.chord_part.stop if problem.chord else self.twist_part.stop
        low, high = np.radians(problem.twist_range) / _TWIST_UNIT
        bounds = [(float(low), float(high))] * self.twist_part.stop
        if problem.chord:
            bounds += [problem.chord_range] * count
        self.bounds = bounds

    @property
    def origin(self) -> Array:
        """Variables of the wing as it is."""
        x = np.zeros(self.size)
        if self._has_chord:
            x[self.chord_part] = 1.0
        return x

    def starts(self, problem: ShapeSearch) -> list[Array]:
        """The wing as it is, and places around it."""
        rng = np.random.default_rng(problem.seed)
        low, high = np.array(self.bounds).T
        others = [
            np.clip(
                self.origin + 0.25 * (high - low) * rng.uniform(-1.0, 1.0, self.size), low, high
            )
            for _ in range(problem.starts - 1)
        ]
        return [self.origin, *others]

    def wing(self, x: Array) -> Wing:
        """The wing at some variables."""
        twist = self._twist + _TWIST_UNIT * (self._twist_basis @ x[self.twist_part])
        chord = self._chord
        if self._has_chord:
            chord = chord * (self._spline @ x[self.chord_part])
        return shaped(self._wing, twist, chord)

    def gradient(self, quantity: Quantity) -> Array:
        """Gradient by the variables."""
        parts = [_TWIST_UNIT * (self._twist_basis.T @ quantity.by_twist)]
        if self._has_chord:
            parts.append(self._spline.T @ (self._chord * quantity.by_chord))
        return np.concatenate(parts)


class _Search:
    """One search in given slipstreams."""

    def __init__(
        self, setting: Setting, mapping: _Mapping, problem: ShapeSearch, lift: float
    ) -> None:
        self._setting, self._mapping = setting, mapping
        self._problem, self._lift = problem, lift
        self._friction = problem.objective == "drag"
        self._kept: tuple[bytes, Shape] | None = None
        self.evaluations = 0
        origin = self._at(mapping.origin)
        self._area = origin.area.value
        self._scale = abs(self._drag(origin)[0]) or 1.0

    def objective(self, x: Array) -> float:
        """Drag, N."""
        return self._drag(self._at(x))[0]

    def run(self, start: Array) -> Array | None:
        """Where a search from `start` ends, None where it does not end well."""
        from scipy.optimize import minimize

        found = minimize(
            lambda x: self._drag(self._at(x))[0] / self._scale,
            start,
            jac=lambda x: self._drag(self._at(x))[1] / self._scale,
            method="SLSQP",
            bounds=self._mapping.bounds,
            constraints=self._constraints(),
            options={"maxiter": 150, "ftol": 1e-10},
        )
        low, high = np.array(self._mapping.bounds).T
        x = np.clip(found.x, low, high)
        missed = max(
            abs(c["fun"](x)) if c["type"] == "eq" else max(-c["fun"](x), 0.0)
            for c in self._constraints()
        )
        return x if missed < 1e-6 and np.all(np.isfinite(x)) else None

    def _at(self, x: Array) -> Shape:
        key = x.tobytes()
        if self._kept is None or self._kept[0] != key:
            self._kept = (key, evaluated(self._setting, self._mapping.wing(x)))
            self.evaluations += 1
        return self._kept[1]

    def _drag(self, shape: Shape) -> tuple[float, Array]:
        value, slope = shape.induced.value, self._mapping.gradient(shape.induced)
        if self._friction:
            value += shape.profile.value
            slope = slope + self._mapping.gradient(shape.profile)
        return value, slope

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
            "jac": lambda x: sign * self._mapping.gradient(pick(self._at(x))) / level,
        }


def _result(
    base: Case,
    mapping: _Mapping,
    problem: ShapeSearch,
    best: Array,
    lift: float,
    spread: float,
    evaluations: int,
    rounds: int,
    bank: DiscBank,
    state: Balanced,
) -> ShapeResult:
    after = _validated(base.model_copy(update={"wing": mapping.wing(best)}))
    before, shape_before = at_lift(base, lift, bank)
    shape_after = _evaluated(base, state, after.wing)
    values = []
    for shape in (shape_before, shape_after):
        friction = shape.profile.value if problem.objective == "drag" else 0.0
        values.append(shape.induced.value + friction)
    return ShapeResult(
        before=_validated(before),
        after=after,
        shape_before=shape_before,
        shape_after=shape_after,
        objective=(values[0], values[1]),
        spread=spread,
        active=_active(mapping, problem, best, shape_after),
        evaluations=evaluations,
        rounds=rounds,
    )


def _validated(case: Case) -> Case:
    """The case checked as a whole, and without the text of the case that it was made from."""
    return Case.from_tables(case.model_dump(by_alias=True, exclude_none=True), case.folder)


def at_lift(case: Case, lift: float, bank: DiscBank | None = None) -> tuple[Case, Shape]:
    """The case with the uniform change of twist that gives a lift [N], balanced, and its shape.

    Raises:
        SolveError: the lift is not reached.
    """
    bank = DiscBank() if bank is None else bank
    twist = np.radians([s.twist for s in case.wing.stations])
    chord = np.array([s.chord for s in case.wing.stations])
    with few_threads(_panels(case)):
        return _turned_to(case, lift, bank, twist, chord)


def _turned_to(
    case: Case, lift: float, bank: DiscBank, twist: Array, chord: Array
) -> tuple[Case, Shape]:
    shift, state = 0.0, None
    for _ in range(20):
        here = case.model_copy(update={"wing": shaped(case.wing, twist + shift, chord)})
        state = _balance(here, bank, state)
        streams = state.streams if state.discs.placed else None
        shape = evaluated(Setting(here, state.flow, streams), here.wing)
        missing = lift - shape.lift.value
        if abs(missing) <= 1e-8 * abs(lift):
            return here, shape
        shift += missing / float(shape.lift.by_twist.sum())
    raise SolveError(f"a lift of {lift:.6g} N was not reached by turning the whole wing")


def _active(mapping: _Mapping, problem: ShapeSearch, x: Array, shape: Shape) -> tuple[str, ...]:
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
