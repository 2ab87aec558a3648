"""The scalars of a result that a study keeps, under flat names."""

from __future__ import annotations

import math

from blownwing.propeller.unit import UnitState
from blownwing.solution.model import Solution

OF_PROPELLERS = (
    "thrust", "power", "efficiency", "rpm", "pitch", "normal_force", "side_force",
)  # fmt: skip


def of_solution(solution: Solution) -> dict[str, float]:
    """Totals under their names and propellers' scalars as ``<name>.<quantity>``."""
    result = {name: float(value) for name, value in solution.totals.items()}
    for name, values in solution.propellers.items():
        result |= {f"{name}.{k}": float(values[k]) for k in OF_PROPELLERS if k in values}
    return result


def of_unit(name: str, state: UnitState, flip: float, airspeed: float) -> dict[str, float]:
    """The same scalars of one propeller from its unit; flip is −1 for the unit's mirror image."""
    loads = state.loads
    efficiency = state.thrust * airspeed / state.power if state.power > 0.0 else 0.0
    values = {"thrust": state.thrust, "power": state.power, "efficiency": efficiency}
    if loads is not None:
        values |= {
            "rpm": loads.omega * 30.0 / math.pi,
            "pitch": math.degrees(loads.pitch),
            "normal_force": loads.force_up,
            "side_force": flip * loads.force_right,
        }
    return {f"{name}.{key}": value for key, value in values.items()}
