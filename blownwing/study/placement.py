"""Places, sizes, settings and thrust split of propellers that give the best of one quantity.

Any numeric key of the case may vary in a range. Cases run on a kept lattice, a few milliseconds
each, so central differences serve as gradients of the sequential quadratic programming. Along the
span a result ripples as slipstream edges cross the strips of that lattice: use many strips, and
several starts.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.errors import InputError, SolveError
from blownwing.study.fixed import fixed_lattice
from blownwing.study.model import PlacementSearch
from blownwing.study.plan import check_quantity
from blownwing.study.threads import few_threads

Array = NDArray[np.float64]
Run = Callable[[Array], dict[str, float]]

ALPHA_RANGE = (-10.0, 15.0)  # deg, when incidence holds the lift
THRUST_RANGE = (0.1, 4.0)  # factor on all thrusts, when they hold the drag trim
_STEP = 1e-4  # of a variable's range, for differences
_MET = 1e-5  # relative, of what is held
_AT_BOUND = 1e-6


@dataclass(frozen=True)
class PlacementResult:
    """What a search found.

    Attributes:
        edits: dotted key -> value at the optimum, held variables included.
        before, after: scalars of the case with the held quantities met, and of the optimum.
        active: keys that end on a bound.
        spread: relative spread of the objective between the starts that ended well.
        failed: sentences of the starts that did not.
        runs: solved cases.
    """

    edits: dict[str, float]
    before: dict[str, float]
    after: dict[str, float]
    active: tuple[str, ...]
    spread: float
    failed: tuple[str, ...]
    runs: int


def best_placement(base: Case, problem: PlacementSearch) -> PlacementResult:
    """Search the ranges of a problem's parameters.

    Args:
        base: with superposed slipstreams (`model.jet_edge = false`) and linear sections.
        problem: objective, parameters and what is held.

    Raises:
        InputError: a case or problem that this search does not take.
        SolveError: no start ended well.
    """
    check_quantity(base, problem.objective, "placement.objective")
    with few_threads(0):
        run = fixed_lattice(base)
        if run is None:
            raise InputError(
                "placement: accepted are cases with model.jet_edge = false, linear sections and "
                "up to 1500 panels; confirm the optimum with model.jet_edge = true"
            )
        return _Search(base, problem, run).result()


class _Search:
    """Variables in units of their ranges: parameters, then incidence and thrust where held."""

    def __init__(
        self, base: Case, problem: PlacementSearch, run: Callable[..., dict[str, float]]
    ) -> None:
        self._base, self._problem, self._run = base, problem, run
        self._keys = [item.key for item in problem.parameters]
        ranges = [(item.low or 0.0, item.high or 0.0) for item in problem.parameters]
        self._held: list[str] = []
        if problem.lift is not None:
            self._held.append("flow.alpha")
            ranges.append(ALPHA_RANGE)
        if problem.drag_trim:
            if any(item.thrust is None for item in base.propellers) or not base.propellers:
                raise InputError(
                    "placement.drag_trim: accepted where every propeller is given by its thrust"
                )
            self._held.append("thrust")
            ranges.append(THRUST_RANGE)
        self._low, self._high = np.array(ranges).T
        self._kept: dict[bytes, dict[str, float]] = {}
        self.runs = 0

    def result(self) -> PlacementResult:
        size, held = len(self._keys), len(self._held)
        rng = np.random.default_rng(self._problem.seed)
        middle = np.full(size, 0.5)
        ends: list[tuple[float, Array]] = []
        failed: list[str] = []
        for number in range(self._problem.starts):
            start = middle if number == 0 else rng.uniform(0.1, 0.9, size)
            try:
                ends.append(self._searched(np.concatenate((start, self._own(held)))))
            except (InputError, SolveError) as error:
                failed.append(str(error))
        if not ends:
            raise SolveError(f"no placement search ended well; the first says: {failed[0]}")
        values = np.array([value for value, _ in ends])
        x = ends[int(np.argmin(values))][1]
        found = self._values(x)
        at = [k for k in range(size) if min(x[k], 1.0 - x[k]) < _AT_BOUND]
        return PlacementResult(
            edits=self._edits(x),
            before=self._before(),
            after=found,
            active=tuple(self._keys[k] for k in at),
            spread=float(np.ptp(values) / max(abs(values.min()), 1e-300)),
            failed=tuple(failed),
            runs=self.runs,
        )

    def _own(self, held: int) -> Array:
        """The held variables as the case has them."""
        own = {"flow.alpha": self._base.alphas[0], "thrust": 1.0}
        values = np.array([own[name] for name in self._held])
        low, high = self._low[-held:] if held else [], self._high[-held:] if held else []
        return np.asarray((values - low) / (np.asarray(high) - low)) if held else np.zeros(0)

    def _edits(self, x: Array) -> dict[str, float]:
        values = (self._low + (self._high - self._low) * x).tolist()
        edits = dict(zip(self._keys, values, strict=False))
        for name, value in zip(self._held, values[len(self._keys) :], strict=True):
            if name == "flow.alpha":
                edits[name] = value
                continue
            for item in self._base.propellers:
                own = edits.get(f"propellers.{item.name}.thrust", item.thrust or 0.0)
                edits[f"propellers.{item.name}.thrust"] = value * own
        return edits

    def _values(self, x: Array) -> dict[str, float]:
        key = x.tobytes()
        if key not in self._kept:
            self._kept[key] = self._run(self._edits(x))
            self.runs += 1
        return self._kept[key]

    def _vector(self, x: Array) -> Array:
        """Objective (least is best), then what is held, each over its scale and 0 where met."""
        found = self._values(x)
        name = self._problem.objective
        if name not in found:
            raise InputError(f'placement.objective: this case has no "{name}"')
        sign = -1.0 if self._problem.best == "largest" else 1.0
        values = [sign * found[name]]
        if self._problem.lift is not None:
            values.append(found["lift"] / self._problem.lift - 1.0)
        if self._problem.drag_trim:
            values.append(found["net_axial_force"] / max(found["drag"], 1e-9))
        return np.array(values)

    def _slopes(self, x: Array) -> Array:
        """(values, variables) by central differences, one-sided at a bound."""
        columns = []
        for k in range(x.size):
            ahead, behind = x.copy(), x.copy()
            ahead[k], behind[k] = min(x[k] + _STEP, 1.0), max(x[k] - _STEP, 0.0)
            rise = self._vector(ahead) - self._vector(behind)
            columns.append(rise / (ahead[k] - behind[k]))
        return np.stack(columns, axis=1)

    def _searched(self, start: Array) -> tuple[float, Array]:
        from scipy.optimize import minimize

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
        value, *missed = self._vector(x).tolist()
        if any(abs(m) > _MET for m in missed):
            raise SolveError("lift or drag trim cannot be met within the ranges")
        return value, x

    def _before(self) -> dict[str, float]:
        """The case as it is, with what is held met by incidence and thrust alone."""
        from scipy.optimize import fsolve

        if not self._held:
            return self._run({})
        names, keys = self._held, self._keys
        self._keys = []
        low, high = self._low, self._high
        self._low, self._high = low[len(keys) :], high[len(keys) :]
        try:
            root, _, ended, _ = fsolve(
                lambda x: self._vector(x)[1:], self._own(len(names)), full_output=True, xtol=1e-9
            )
            if ended != 1 and np.max(np.abs(self._vector(root)[1:])) > _MET:
                raise SolveError("the case as it is does not reach the lift or drag trim asked for")
            return self._values(root)
        finally:
            self._keys, self._low, self._high = keys, low, high
