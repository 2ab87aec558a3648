"""Failed propellers, and the trim in which rudder, ailerons and bank hold them.

A failed propeller stands (stopped or feathered) or turns freely (windmilling); its loads are those
of its blades in the flow of the trimmed aircraft. An ideal disc has no blades and is taken away; so
is a propeller known by its table, which knows no such state.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from blownwing.case.drawn import lateral_settings, pitch_unknown
from blownwing.case.model import Case
from blownwing.case.parts import Propeller
from blownwing.case.placed import PlacedPropeller
from blownwing.case.trim import Unknown
from blownwing.case.units import RPM
from blownwing.coupling.discs import placed_discs
from blownwing.errors import InputError
from blownwing.propeller.operation import feathered, windmill
from blownwing.trim.settings import is_throttle, required, with_propellers, with_trim, written_out

STATES = ("stopped", "windmilling", "feathered", "kept_off")
LARGEST_BANK = 5.0  # deg, towards the propellers that run; common practice, no source


def with_failures(case: Case, failures: Mapping[str, str]) -> Case:
    """The case with placed propellers failed, by name and one of `STATES`.

    Twins of failed ones are written out. Raises InputError for an unknown name or state, SolveError
    for blades that do not windmill or feather.
    """
    items = case.propeller_list()
    names = [item.name for item in items]
    for name, state in failures.items():
        if name not in names:
            raise InputError(f'failed: found "{name}"; accepted are {", ".join(names)}')
        if state not in STATES:
            raise InputError(f'failed: found "{state}" of {name}; accepted are {", ".join(STATES)}')
    if set(failures) == set(names):
        raise InputError("failed: found all propellers; accepted is to leave one that runs")
    touched = {item.index for item in items if item.name in failures}
    result: list[Propeller] = []
    for item in items:
        if item.index not in touched:
            if not item.is_twin:
                result.append(item.definition)
        elif item.name not in failures:
            result.append(written_out(item))
        else:
            result += _failed(case, item, failures[item.name])
    alive = tuple(name for name in names if name not in failures)
    if case.trim is None:
        return with_propellers(case, result)
    unknowns = tuple(_of_the_living(item, alive) for item in case.trim.unknowns)
    trim = case.trim.model_copy(update={"unknowns": unknowns})
    tables = trim.model_dump(by_alias=True, exclude_none=True)
    propellers = [item.model_dump(by_alias=True, exclude_none=True) for item in result]
    return case.replace(propellers=propellers, trim=tables, aircraft=None)


def _of_the_living(item: Unknown, alive: Sequence[str]) -> Unknown:
    if not is_throttle(item):
        return item
    group = tuple(name for name in (item.propellers or alive) if name in alive)
    return item.model_copy(update={"propellers": group})


def _failed(case: Case, item: PlacedPropeller, state: str) -> list[Propeller]:
    """The failed propeller as a definition, or none where nothing of it can be known."""
    definition = written_out(item)
    if definition.kind != "blade" or state == "kept_off":
        return []
    still = {"thrust": None, "power": None, "trim": None, "rpm": 0.0}
    if state == "stopped":
        return [definition.model_copy(update=still)]
    unit = next(
        unit for unit in placed_discs(case).units if unit.placed.index == item.index
    )  # twins have equal blades
    if unit.rotor is None:
        return []
    speed, pitch = case.flow.airspeed, math.radians(definition.pitch)
    if state == "windmilling":
        free = windmill(unit.rotor, case.air, speed, pitch)
        turning = still | {"rpm": free.omega / RPM}
        return [definition.model_copy(update=turning)]
    edge_on = feathered(unit.rotor, case.air, speed)
    return [definition.model_copy(update=still | {"pitch": math.degrees(edge_on.pitch)})]


def held_by_controls(case: Case) -> Case:
    """The case with a trim of all six equations: its own unknowns and those that are missing.

    Sideslip stays as the case has it; rudder, ailerons and a bank within `LARGEST_BANK` hold it.
    Raises InputError for an aircraft that nothing rolls, pitches or yaws.
    """
    trim = required(case)
    roll, yaw = lateral_settings(case.wing, case.surfaces)
    if roll is None or yaw is None:
        what = "rolls" if roll is None else "yaws"
        raise InputError(
            f"trim: nothing {what} the aircraft; accepted is a control "
            + ("whose gearing is opposed" if roll is None else "on an upright surface or V-tail")
        )
    pitch = pitch_unknown(trim, case.wing, case.surfaces)
    if pitch is None:
        raise InputError(
            "trim.unknowns: nothing pitches the aircraft; accepted is a setting such as that of an "
            "elevator beside alpha"
        )
    known = {item.name: item for item in trim.unknowns}
    along = [item for item in trim.unknowns if is_throttle(item)][:1]
    along = along or [known.get("path_angle", Unknown(name="path_angle"))]
    unknowns = (
        known.get("alpha", Unknown(name="alpha")),
        pitch,
        *along,
        known.get(roll, Unknown(name=roll)),
        known.get(yaw, Unknown(name=yaw)),
        Unknown(name="bank", least=-LARGEST_BANK, most=LARGEST_BANK),
    )
    return with_trim(case, trim.model_copy(update={"unknowns": unknowns, "equations": ()}))
