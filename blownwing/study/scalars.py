"""The scalars of a result that a study keeps, under flat names."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from blownwing.case.model import Case
from blownwing.case.units import RPM
from blownwing.coupling.assembly import totals
from blownwing.coupling.model import Point
from blownwing.errors import SolveError
from blownwing.propeller.unit import propulsive_efficiency
from blownwing.solution.model import Solution

Run = Callable[[dict[str, Any]], dict[str, float]]
"""From dotted edits of a case to its scalars."""

OF_PROPELLERS = (
    "thrust", "power", "efficiency", "rpm", "pitch", "normal_force", "side_force",
)  # fmt: skip


def of_solution(solution: Solution) -> dict[str, float]:
    """Totals under their names and propellers' scalars as ``<name>.<quantity>``.

    Tables have the same columns for every case: an efficiency that does not exist is 0 in them.
    Units as `sweep.table.described` has them.
    """
    result = {"efficiency": 0.0} | {name: float(v) for name, v in solution.totals.items()}
    for name, values in solution.propellers.items():
        result[f"{name}.efficiency"] = 0.0
        result |= {f"{name}.{k}": float(values[k]) for k in OF_PROPELLERS if k in values}
    return result


def of_point(case: Case, point: Point) -> dict[str, float]:
    """The same of a converged point, of which nothing else is made; rpm in 1/min, pitch in deg.

    Raises SolveError for a value that is not finite.
    """
    flow, discs = point.flow, point.model.discs
    result = {"efficiency": 0.0}
    result |= {name: float(v) for name, v in totals(case, point).items()}
    for placed, source, mirrored in zip(discs.placed, discs.source, discs.mirrored, strict=True):
        flip, state = -1.0 if mirrored else 1.0, point.states[source]
        along = -float(flow.direction @ (state.force * np.array([1.0, flip, 1.0])))
        efficiency = propulsive_efficiency(along, flow.airspeed, state.power) or 0.0
        values = {"thrust": state.thrust, "power": state.power, "efficiency": efficiency}
        if state.shaft is not None:
            values |= {
                "rpm": state.shaft.omega / RPM,
                "pitch": math.degrees(state.shaft.pitch),
                "normal_force": state.shaft.force_up,
                "side_force": flip * state.shaft.force_right,
            }
        result |= {f"{placed.name}.{key}": value for key, value in values.items()}
    for name, value in result.items():
        if not math.isfinite(value):
            raise SolveError(f"{name} is not finite, so there is no result")
    return result
