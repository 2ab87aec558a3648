"""What a search found as named quantities, from which its file, page and figures are made."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from blownwing.case.edits import values_at
from blownwing.case.model import Case
from blownwing.coupling import solve
from blownwing.solution.records import Group, Quantity, finite, valued
from blownwing.study.model import PlacementSearch
from blownwing.study.place.confirmation import Confirmation, PlacementCheck
from blownwing.study.place.search import PlacementResult
from blownwing.study.shape.model import Shape
from blownwing.study.shape.search import ShapeResult
from blownwing.study.sweep.table import described

Array = NDArray[np.float64]
Groups = dict[str, Group]


def placement_record(
    base: Case, problem: PlacementSearch, result: PlacementResult, check: PlacementCheck
) -> Groups:
    """Quantities before and after a placement search, its variables, its worth, both loadings.

    Raises:
        InputError: a parameter whose path leads nowhere.
        SolveError: a case that does not converge, a value that is not finite.
    """
    name = problem.objective
    units = described(name).units
    groups: Groups = {
        "before": _scalars(result.before),
        "after": _scalars(result.after),
        "check": _shares(result.spread, check.gain, {"finer": check.finer}),
    }
    groups["check"] |= {
        f"finer_{side}": Quantity(finite(name, value), units, f"{name} {side} on the finer lattice")
        for side, value in (("before", check.before), ("after", check.after))
    }
    tables = base.model_dump()
    for item in problem.parameters:
        was = values_at(tables, item.key)
        group = {
            "from": Quantity(item.low or 0.0, "as in the case file", "lowest value searched"),
            "to": Quantity(item.high or 0.0, "as in the case file", "highest value searched"),
            "after": Quantity(result.edits[item.key], "as in the case file", "value found"),
        }
        if all(isinstance(v, float | int) and v == was[0] for v in was):
            group["before"] = Quantity(float(was[0]), "as in the case file", "value in the case")
        groups[f"variables/{item.key}"] = group
    if result.patterns:
        sign = -1.0 if problem.best == "largest" else 1.0
        values = np.array([sign * value for _, value in result.patterns])
        groups["spins"] = {
            "pattern": Quantity(np.arange(values.size, dtype=float), "1", "rank", ("pattern",)),
            name: Quantity(values, units, f"{name} with each spin pattern", ("pattern",)),
        }
    return groups | _drawn(base.replace(**result.edits_before), base.replace(**result.edits))


def shape_record(result: ShapeResult, check: Confirmation) -> Groups:
    """Quantities before and after a shape search, its worth, chord and twist, both loadings.

    Raises:
        InputError: a case that does not fit in memory.
        SolveError: a case that does not converge, a value that is not finite.
    """
    finer, coupled = check.gains
    groups: Groups = {
        "before": _shape_scalars(result.shape_before),
        "after": _shape_scalars(result.shape_after),
        "check": _shares(result.spread, result.gain, {"finer": finer, "coupled": coupled}),
    }
    for side, case in (("before", result.before), ("after", result.after)):
        y, chord, twist = distributions(case)
        groups[f"stations/{side}"] = {
            "y": Quantity(y, "m", "spanwise place", ("y",)),
            "chord": Quantity(chord, "m", f"chord, {side}", ("y",)),
            "twist": Quantity(twist, "deg", f"twist, nose up, {side}", ("y",)),
        }
    return groups | _drawn(result.before, result.after)


def distributions(case: Case) -> tuple[Array, Array, Array]:
    """y [m], chord [m] and twist [deg] of the stations."""
    table = np.array([(s.y, s.chord, s.twist) for s in case.wing.stations])
    return table[:, 0], table[:, 1], table[:, 2]


def shape_rows(shape: Shape) -> list[tuple[str, str, str, float]]:
    """Name, unit, meaning and value of a shape's quantities, of both halves."""
    rows = [
        ("lift", "N", "lift", shape.lift.value),
        ("induced_drag", "N", "induced drag", shape.induced.value),
        ("skin_friction", "N", "skin friction (estimate)", shape.profile.value),
        ("bending", "N m", "root bending moment", shape.bending.value),
        ("area", "m2", "area", shape.area.value),
    ]
    if shape.power is not None:
        rows.append(("power", "W", "shaft power", shape.power.value))
    return rows


def _shape_scalars(shape: Shape) -> Group:
    return {
        name: Quantity(finite(name, float(value)), units, meaning)
        for name, units, meaning, value in shape_rows(shape)
    }


def _scalars(values: Mapping[str, float]) -> Group:
    return {name: valued(described(name), finite(name, value)) for name, value in values.items()}


def _shares(spread: float, gain: float, again: Mapping[str, float]) -> Group:
    meanings = {"finer": "on the finer lattice", "coupled": "by the full coupling"}
    group = {
        "spread": Quantity(finite("spread", spread), "1", "relative spread between the starts"),
        "gain": Quantity(finite("gain", gain), "1", "share of the objective gained"),
    }
    for name, value in again.items():
        group[name] = Quantity(finite(name, value), "1", f"the same {meanings[name]}")
    return group


def _drawn(before: Case, after: Case) -> Groups:
    """Lift along the span and discs as seen from behind, of both cases."""
    groups: Groups = {}
    for side, case in (("before", before), ("after", after)):
        solution = solve(case)
        strips = (solution.at(0) if solution.polar else solution).strips
        pressure = 0.5 * case.air.density * case.flow.airspeed**2
        load = strips["cl_local_q"] * strips["chord"]
        if "cl" in strips:
            load = pressure * strips["cl"] * strips["chord"]
        units = "N/m" if "cl" in strips else "m"
        meaning = "lift per span" if "cl" in strips else "cl times chord"
        groups[f"loading/{side}"] = {
            "y": Quantity(strips["y"], "m", "spanwise place", ("y",)),
            "z": Quantity(strips["z"], "m", "height of the wing", ("y",)),
            "load": Quantity(finite("load", load), units, f"{meaning}, {side}", ("y",)),
        }
        discs = case.propeller_list()
        if discs:
            places = np.array([(*item.position, item.radius) for item in discs])
            number = np.arange(places.shape[0], dtype=float)
            groups[f"discs/{side}"] = {
                "disc": Quantity(number, "1", "number of the disc", ("disc",))
            } | {
                name: Quantity(places[:, k], "m", f"{meaning}, {side}", ("disc",))
                for k, (name, meaning) in enumerate(
                    (("x", "centre, aft"), ("y", "centre, to starboard"), ("z", "centre, up"),
                     ("radius", "radius"))
                )
            }  # fmt: skip
    return groups
