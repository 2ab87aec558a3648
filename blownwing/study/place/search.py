"""Places, sizes, settings and thrust split of propellers that give the best of one quantity.

Any numeric key of the case may vary in a range. Settings that leave slipstream edges where they are
run on a kept lattice, a few milliseconds a case and smooth, so central differences serve as
gradients of sequential quadratic programming. What moves an edge along the span, and every case
with `model.jet_edge`, runs by the full coupling, whose strips end at the edges; there results
ripple a little as strips come and go, and quadratics fitted over boxes a strip wide find the
optimum (`study.surface`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blownwing.case.edits import edited
from blownwing.case.model import Case
from blownwing.errors import InputError, SolveError
from blownwing.study.lift.trim import (
    ALPHA_RANGE,
    MET,
    THRUST_RANGE,
    Held,
    Trim,
    held_edits,
    held_names,
    missed,
)
from blownwing.study.model import PlacementSearch
from blownwing.study.place.surface import surface_minimum
from blownwing.study.runner import coupled_run, keeps_lattice
from blownwing.study.scalars import Run
from blownwing.study.sweep.plan import check_quantity

Array = NDArray[np.float64]
Progress = Callable[[int], None]

MOVING = (".position", ".position.y", ".position.z", ".diameter", ".toe")  # edges along the span
_STEP = 1e-4  # of a variable's range, for differences
_AT_BOUND = 1e-6
_LEAST_BOX = 0.05  # half size of the last box, of a variable's range
_WIDEST = 0.25


@dataclass(frozen=True)
class PlacementResult:
    """What a search found.

    Attributes:
        edits: dotted key -> value at the optimum, held variables included.
        edits_before: what meets the held quantities in the case as it was.
        before, after: scalars of the case with the held quantities met, and of the optimum.
        active: keys that end on a bound.
        spread: relative spread of the objective between the starts that ended well.
        places: spread of the parameters between them, the largest, over its range.
        ends: number of starts that ended well.
        failed: sentences of the starts that did not.
        runs: solved cases.
        following: whether the lattice followed the slipstreams.
        patterns: spin patterns and the objective with each at the optimum (least is best), best
            first; none where spins were given.
    """

    edits: dict[str, Any]
    edits_before: dict[str, Any]
    before: dict[str, float]
    after: dict[str, float]
    active: tuple[str, ...]
    spread: float
    places: float
    ends: int
    failed: tuple[str, ...]
    runs: int
    following: bool
    patterns: tuple[tuple[str, float], ...] = ()


def best_placement(
    base: Case, problem: PlacementSearch, progress: Progress | None = None
) -> PlacementResult:
    """Search the ranges of a problem's parameters.

    Args:
        base: the case.
        problem: objective, parameters and what is held.
        progress: called with the number of cases solved.

    Raises:
        InputError: a case or problem that this search does not take.
        SolveError: no start ended well.
    """
    check_quantity(base, problem.objective, "placement.objective")
    held_names(base, asked(problem))
    tables = base.model_dump()
    for item in problem.parameters:
        try:
            edited(tables, {item.key: item.low})
        except InputError as error:
            raise InputError(f"placement.parameters: {error}") from None
    moving = any(f".{item.key}".endswith(MOVING) for item in problem.parameters)
    following = moving or not keeps_lattice(base)
    run = _counted(coupled_run(base, still=not following, along=following), progress)
    return _Search(base, problem, run, following).result()


def asked(problem: PlacementSearch) -> Held:
    """What a search holds."""
    return Held(problem.lift, problem.drag_trim)


def signed(problem: PlacementSearch, found: dict[str, float]) -> float:
    """The objective of a case's scalars, least is best, in the unit it has there.

    Raises:
        InputError: scalars that do not hold it.
    """
    name = problem.objective
    if name not in found:
        raise InputError(f'placement.objective: this case has no "{name}"')
    return -found[name] if problem.best == "largest" else found[name]


def _counted(run: Run, progress: Progress | None) -> Run:
    count = 0

    def counted(edits: dict[str, Any]) -> dict[str, float]:
        nonlocal count
        count += 1
        if progress is not None:
            progress(count)
        return run(edits)

    return counted


class _Search:
    """Variables in units of their ranges: parameters, then incidence and thrust where held."""

    def __init__(self, base: Case, problem: PlacementSearch, run: Run, following: bool) -> None:
        self._base, self._problem, self._run = base, problem, run
        self._following = following
        self._keys = [item.key for item in problem.parameters]
        self._asked = asked(problem)
        self._held = held_names(base, self._asked)
        ranges = [(item.low or 0.0, item.high or 0.0) for item in problem.parameters]
        limits = {"flow.alpha": ALPHA_RANGE, "thrust": THRUST_RANGE}
        ranges += [limits[name] for name in self._held]
        self._low, self._high = np.array(ranges).T
        self._kept: dict[bytes, dict[str, float]] = {}
        self._trim = Trim(base, self._asked, run)
        self._runs = 0

    def result(self) -> PlacementResult:
        """Search from every start; the best end counts."""
        size = len(self._keys)
        edits_before, before = self._trim.met({})
        self._objective(before)
        rng = np.random.default_rng(self._problem.seed)
        middle = np.full(size, 0.5)
        ends: list[tuple[float, Array]] = []
        failed: list[str] = []
        for number in range(self._problem.starts):
            start = middle if number == 0 else rng.uniform(0.1, 0.9, size)
            try:
                ends.append(self._on_surface(start) if self._following else self._sloped(start))
            except (InputError, SolveError) as error:
                failed.append(str(error))
        if not ends:
            raise SolveError(f"no placement search ended well; the first says: {failed[0]}")
        values = np.array([value for value, _ in ends])
        places = np.array([x[:size] for _, x in ends])
        x = places[int(np.argmin(values))]
        edits, found = self._trim.met(self._edits(x))
        if self._following:  # tubes lie where this case has them, not where the base case tells
            found = coupled_run(self._base.replace(**edits))({})
        at = [k for k in range(size) if min(x[k], 1.0 - x[k]) < _AT_BOUND]
        return PlacementResult(
            edits=edits,
            edits_before=edits_before,
            before=before,
            after=found,
            active=tuple(self._keys[k] for k in at),
            spread=float(np.ptp(values) / max(abs(values.min()), 1e-300)),
            places=float(np.ptp(places, axis=0).max()),
            ends=len(ends),
            failed=tuple(failed),
            runs=self._runs + self._trim.runs,
            following=self._following,
        )

    def _edits(self, x: Array) -> dict[str, float]:
        """Values of the parameters (size,), without what is held."""
        size = len(self._keys)
        low, high = self._low[:size], self._high[:size]
        return dict(zip(self._keys, (low + (high - low) * x[:size]).tolist(), strict=True))

    def _objective(self, found: dict[str, float]) -> float:
        return signed(self._problem, found)

    def _on_surface(self, start: Array) -> tuple[float, Array]:
        """Optimum by fitted quadratics, held quantities met in every case."""

        def value(x: Array) -> float | None:
            try:
                return self._objective(self._trim.met(self._edits(x))[1])
            except (InputError, SolveError):
                return None  # slipstreams that overlap, thrust that is not reached: no place to be

        if value(start) is None:
            self._trim.met(self._edits(start))  # says why
        rng = np.random.default_rng(self._problem.seed)
        end = surface_minimum(value, start, self._boxes(), rng)
        return end.value, end.x

    def _boxes(self) -> Array:
        """Least half sizes (parameters,): a strip for what moves an edge, and a part of the range.

        A strip's width is what the lattice has to round when strips come and go.
        """
        strip = 0.5 * self._base.wing.span / self._base.model.spanwise
        size = len(self._keys)
        ranges = self._high[:size] - self._low[:size]
        along = [f".{key}".endswith((".position.y", ".diameter")) for key in self._keys]
        boxes = np.where(along, np.maximum(strip / ranges, _LEAST_BOX), _LEAST_BOX)
        return np.asarray(np.minimum(boxes, _WIDEST))

    def _values(self, x: Array) -> dict[str, float]:
        key = x.tobytes()
        if key not in self._kept:
            held = self._low[len(self._keys) :], self._high[len(self._keys) :]
            values = held[0] + (held[1] - held[0]) * x[len(self._keys) :]
            edits = held_edits(self._base, self._edits(x), self._held, values)
            self._kept[key] = self._run(edits)
            self._runs += 1
        return self._kept[key]

    def _vector(self, x: Array) -> Array:
        """Objective (least is best), then what is held, 0 where met."""
        found = self._values(x)
        return np.concatenate(([self._objective(found)], missed(self._asked, found)))

    def _slopes(self, x: Array) -> Array:
        """(values, variables) by central differences, one-sided at a bound."""
        columns = []
        for k in range(x.size):
            ahead, behind = x.copy(), x.copy()
            ahead[k], behind[k] = min(x[k] + _STEP, 1.0), max(x[k] - _STEP, 0.0)
            rise = self._vector(ahead) - self._vector(behind)
            columns.append(rise / (ahead[k] - behind[k]))
        return np.stack(columns, axis=1)

    def _own(self) -> Array:
        """The held variables as the case has them."""
        own = {"flow.alpha": self._base.alphas[0], "thrust": 1.0}
        values = np.array([own[name] for name in self._held])
        low, high = self._low[len(self._keys) :], self._high[len(self._keys) :]
        return np.asarray((values - low) / (high - low))

    def _sloped(self, start: Array) -> tuple[float, Array]:
        """Optimum by sequential quadratic programming, what is held among its constraints."""
        from scipy.optimize import minimize

        start = np.concatenate((start, self._own()))
        scale = max(abs(float(self._vector(start)[0])), 1e-12)
        held: list[dict[str, Any]] = []
        if self._held:
            held = [
                {
                    "type": "eq",
                    "fun": lambda x: self._vector(x)[1:],
                    "jac": lambda x: self._slopes(x)[1:],
                }
            ]
        found = minimize(
            lambda x: self._vector(x)[0] / scale,
            start,
            jac=lambda x: self._slopes(x)[0] / scale,
            method="SLSQP",
            bounds=[(0.0, 1.0)] * start.size,
            constraints=held,
            options={"maxiter": 100, "ftol": 1e-9},
        )
        x = np.clip(found.x, 0.0, 1.0)
        value, *rest = self._vector(x).tolist()
        if any(abs(m) > MET for m in rest):
            raise SolveError("lift or drag trim cannot be met within the ranges")
        return value, x
