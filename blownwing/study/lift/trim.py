"""Lift held by incidence and drag trim by all thrusts together, for any way to solve a case."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.errors import InputError, SolveError
from blownwing.study.scalars import Run

Array = NDArray[np.float64]

ALPHA_RANGE = (-10.0, 15.0)  # deg, when incidence holds the lift
THRUST_RANGE = (0.02, 5.0)  # factor on all thrusts, when they hold the drag trim
MET = 1e-5  # relative, of what is held
_AIM = 1e-7  # what the iteration goes for
_PASSES = 15
_NUDGES = {"flow.alpha": 0.2, "thrust": 0.02}
_STRIDES = {"flow.alpha": 4.0, "thrust": 0.5}


class Held(NamedTuple):
    """What stays as it is asked for while something else varies."""

    lift: float | None  # N, by incidence; None: incidence stays
    drag_trim: bool  # net axial force 0, by all thrusts together


def held_names(base: Case, held: Held) -> list[str]:
    """What meets the held quantities: "flow.alpha", "thrust" (a factor on all thrusts).

    Raises:
        InputError: drag trim of propellers that are not given by their thrust.
    """
    names = [] if held.lift is None else ["flow.alpha"]
    if held.drag_trim:
        if any(item.thrust is None for item in base.propellers) or not base.propellers:
            raise InputError(
                "placement.drag_trim: accepted where every propeller is given by its thrust"
            )
        names.append("thrust")
    return names


def held_edits(
    base: Case, edits: dict[str, float], names: list[str], values: Array
) -> dict[str, float]:
    """Edits with those that the held variables' values (names,) stand for.

    edits: dotted keys and values. values: "flow.alpha" in deg, "thrust" a factor. Raises InputError
    for edits that break a rule.
    """
    result = dict(edits)
    for name, value in zip(names, values.tolist(), strict=True):
        if name == "flow.alpha":
            result[name] = value
            continue
        thrusts = any(key.endswith(".thrust") for key in edits)
        for item in (base.replace(**edits) if thrusts else base).propellers:
            result[f"propellers.{item.name}.thrust"] = value * (item.thrust or 0.0)
    return result


def missed(held: Held, found: dict[str, float]) -> Array:
    """How far held quantities are from what is asked: lift over it, net force over drag.

    found: a case's scalars, SI. (names,) in the order of `held_names`.
    """
    values = []
    if held.lift is not None:
        values.append(found["lift"] / held.lift - 1.0)
    if held.drag_trim:
        values.append(found["net_axial_force"] / max(found["drag"], 1e-9))
    return np.array(values)


class Trim:
    """Meets what is held case after case, each from the last one's incidence, thrust and slopes.

    Broyden 1965, "A class of methods for solving nonlinear simultaneous equations", Mathematics of
    Computation 19, 577-593.
    """

    def __init__(self, base: Case, held: Held, run: Run) -> None:
        self._base, self._held, self._run = base, held, run
        self._names = held_names(base, held)
        own = {"flow.alpha": base.alphas[0], "thrust": 1.0}
        ranges = {"flow.alpha": ALPHA_RANGE, "thrust": THRUST_RANGE}
        self._at = np.array([own[name] for name in self._names])
        self._low = np.array([ranges[name][0] for name in self._names])
        self._high = np.array([ranges[name][1] for name in self._names])
        self._stride = np.array([_STRIDES[name] for name in self._names])
        self._slopes: Array | None = None
        self.runs = 0

    def met(self, edits: dict[str, float]) -> tuple[dict[str, float], dict[str, float]]:
        """All edits of the case that meets what is held, and its scalars.

        Raises:
            InputError: edits that the case does not take.
            SolveError: what is held cannot be met.
        """
        x = self._at
        found, left = self._tried(edits, x)
        fresh = self._slopes is None
        for _ in range(_PASSES):
            if np.max(np.abs(left), initial=0.0) <= _AIM:
                break
            if self._slopes is None:
                self._slopes, fresh = self._differences(edits, x, left), True
            move = -np.linalg.lstsq(self._slopes, left, rcond=None)[0]
            move *= min(1.0, float(np.min(self._stride / np.maximum(np.abs(move), 1e-300))))
            following = np.clip(x + move, self._low, self._high)
            step = following - x
            if not np.any(step):
                break
            found, after = self._tried(edits, following)
            worse = np.max(np.abs(after)) > 0.5 * np.max(np.abs(left))
            wrong = after - left - self._slopes @ step
            self._slopes = self._slopes + np.outer(wrong, step) / (step @ step)
            if worse and not fresh:
                self._slopes = None
            x, left, fresh = following, after, False
        if np.max(np.abs(left), initial=0.0) > MET:
            self._slopes = None
            raise SolveError("lift or drag trim cannot be met within the ranges")
        self._at = x
        return held_edits(self._base, edits, self._names, x), found

    def _tried(self, edits: dict[str, float], x: Array) -> tuple[dict[str, float], Array]:
        found = self._run(held_edits(self._base, edits, self._names, x))
        self.runs += 1
        return found, missed(self._held, found)

    def _differences(self, edits: dict[str, float], x: Array, left: Array) -> Array:
        columns = []
        for k, name in enumerate(self._names):
            nudged = x.copy()
            nudged[k] += _NUDGES[name] if x[k] + _NUDGES[name] <= self._high[k] else -_NUDGES[name]
            columns.append((self._tried(edits, nudged)[1] - left) / (nudged[k] - x[k]))
        return np.stack(columns, axis=1)
