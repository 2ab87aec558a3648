"""Failed propellers held by rudder, ailerons, sideslip and bank; the smallest control speed.

A failed propeller stands (stopped or feathered) or turns freely (windmilling); its loads are those
of its blades in the flow of the trimmed aircraft. An ideal disc has no blades and is taken away; so
is a propeller known by its table, which knows no such state.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from blownwing.case.model import Case
from blownwing.case.parts import Propeller
from blownwing.case.placed import PlacedPropeller
from blownwing.case.surface_checks import parts_of
from blownwing.case.trim import Unknown
from blownwing.coupling.setup import placed_discs
from blownwing.errors import InputError, SolveError
from blownwing.propeller.operation import feathered, windmill
from blownwing.trim.balance import Trimmed, trimmed
from blownwing.trim.settings import is_throttle, limits_of, required, with_propellers, written_out

STATES = ("stopped", "windmilling", "feathered", "kept_off")
LARGEST_BANK = 5.0  # deg, towards the propellers that run; common practice, no source
_LOWEST = 0.3  # of the case's airspeed, below which no control speed is sought, nor above 1/it
_STEP = 1.12  # between speeds until the smallest is bracketed
_FINE = 0.002  # of the speed


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
    return case.replace(propellers=propellers, trim=tables)


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
        turning = still | {"rpm": free.omega * 30.0 / math.pi}
        return [definition.model_copy(update=turning)]
    edge_on = feathered(unit.rotor, case.air, speed)
    return [definition.model_copy(update=still | {"pitch": math.degrees(edge_on.pitch)})]


def lateral_settings(case: Case) -> tuple[str | None, str | None]:
    """Settings that roll and that yaw: of opposed parts, and of surfaces on the plane."""
    alone = {surface.name for surface in case.surfaces if surface.upright}
    roll = yaw = None
    for place, item in parts_of(case.wing, case.surfaces):
        for gear in item.moved_by:
            if gear.opposed and roll is None:
                roll = gear.setting
            if place in alone and yaw is None:
                yaw = gear.setting
    return roll, yaw


def held_by_controls(case: Case, rudder: float | None = None) -> Case:
    """The case with a trim of all six equations: its own unknowns and those that are missing.

    Without `rudder` no sideslip is held, and rudder and a bank within `LARGEST_BANK` are found;
    with it the rudder stays there, deg, and sideslip is found too. Raises InputError for an
    aircraft that nothing rolls, pitches or yaws.
    """
    trim = required(case)
    roll, yaw = lateral_settings(case)
    if roll is None or yaw is None:
        what = "rolls" if roll is None else "yaws"
        raise InputError(
            f"trim: nothing {what} the aircraft; accepted is a control "
            + ("whose gearing is opposed" if roll is None else "on an upright surface")
        )
    known = {item.name: item for item in trim.unknowns}
    along = [item for item in trim.unknowns if is_throttle(item)][:1]
    along = along or [known.get("path_angle", Unknown(name="path_angle"))]
    others = ("alpha", "beta", "bank", "path_angle", "acceleration", roll, yaw)
    pitch = [item for item in trim.unknowns if not is_throttle(item) and item.name not in others]
    if not pitch:
        raise InputError(
            "trim.unknowns: nothing pitches the aircraft; accepted is a setting such as that of an "
            "elevator beside alpha"
        )
    last = yaw if rudder is None else "beta"
    unknowns = (
        known.get("alpha", Unknown(name="alpha")),
        pitch[0],
        *along,
        known.get(roll, Unknown(name=roll)),
        known.get(last, Unknown(name=last)),
        Unknown(name="bank", least=-LARGEST_BANK, most=LARGEST_BANK),
    )
    update = {"unknowns": unknowns, "equations": ()}
    tables = trim.model_copy(update=update).model_dump(by_alias=True, exclude_none=True)
    settings = dict(case.controls) | ({} if rudder is None else {yaw: rudder})
    return case.replace(trim=tables, controls=settings)


def _full_rudder(case: Case, side: float) -> float:
    """The rudder's limit, deg, that turns the nose to starboard (side above 0) or to port."""
    trim = required(case)
    yaw = lateral_settings(case)[1]
    item = next((item for item in trim.unknowns if item.name == yaw), Unknown(name=yaw or ""))
    sense = 0.0
    for surface in case.surfaces:
        up = 1.0 if surface.stations[-1].z > surface.stations[0].z else -1.0
        aft = 1.0 if surface.volume_arm > trim.centre_of_gravity[0] else -1.0
        for control in surface.controls if surface.upright else ():
            sense += up * aft * sum(g.ratio for g in control.moved_by if g.setting == yaw)
    least, most = limits_of(item)
    return most if sense * side > 0.0 else least


@dataclass(frozen=True)
class ControlSpeed:
    """The smallest speed at which failed propellers are held, and what runs out below it."""

    speed: float  # m/s
    state: Trimmed  # at that speed
    runs_out: str  # the message of the trim just below


def control_speed(case: Case, failures: Mapping[str, str]) -> ControlSpeed:
    """Smallest airspeed at which the aircraft is in balance with propellers failed.

    The others keep the drive that the case has; the path climbs or sinks as that gives. Rudder and
    ailerons hold it without sideslip and with a bank of at most 5 degrees; where the rudder alone
    does not, all of it with the sideslip that helps. Raises SolveError
    when it is in balance at no speed within a third and three times the case's, or at all.
    """
    trim = required(case)
    drives = [item for item in trim.unknowns if not is_throttle(item)]
    plain = case.replace(
        trim=trim.model_copy(update={"unknowns": tuple(drives)}).model_dump(
            by_alias=True, exclude_none=True
        )
    )
    side = sum(
        item.position[1] * (-1.0 if item.name in failures else 0.0)
        for item in case.propeller_list()
    )
    full = _full_rudder(case, side)

    def at(speed: float, near: Trimmed | None) -> Trimmed:
        here = with_failures(plain.replace(**{"flow.airspeed": speed}), failures)
        try:
            return trimmed(held_by_controls(here, None), near)
        except SolveError:  # all of the rudder, and the sideslip that helps it
            return trimmed(held_by_controls(here, full), near)

    start = case.flow.airspeed
    low, high, words = 0.0, start, ""
    found: Trimmed | None = None
    # outwards by steps until one speed holds and a lower one does not, then halving
    while found is None or not words or high - low > _FINE * high:
        speed = 0.5 * (low + high)
        if found is None:
            speed = start if not words else low * _STEP
        elif not words:
            speed = high / _STEP
        if not _LOWEST * start <= speed <= start / _LOWEST:
            if found is None:
                raise SolveError(f"control speed: up to {low:.3g} m/s none is enough: {words}")
            raise SolveError(f"control speed: everything holds down to {high:.3g} m/s")
        try:
            found, high = at(speed, found), speed
        except SolveError as error:
            low, words = speed, str(error)
    return ControlSpeed(high, found, words)
