"""From the unknowns of a trim to a case with their values, and to how it flies."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.case.parts import Propeller
from blownwing.case.placed import PlacedPropeller
from blownwing.case.trim import FLIGHT, USUAL, Equation, Trim, Unknown
from blownwing.coupling.parts import Discs
from blownwing.errors import InputError
from blownwing.trim.forces import Path, turn_bank, turning_rates

Array = NDArray[np.float64]

# Limits where the case gives none: deg, m/s², parts of the case's drive. Common practice, no
# source.
_LIMITS = {
    "alpha": (-20.0, 25.0),
    "beta": (-30.0, 30.0),
    "bank": (-60.0, 60.0),
    "path_angle": (-45.0, 45.0),
    "acceleration": (-20.0, 20.0),
}
_CONTROL, _INCIDENCE, _THROTTLE = (-30.0, 30.0), (-20.0, 20.0), (0.01, 5.0)
_DRIVES = ("thrust", "power", "rpm")


def required(case: Case) -> Trim:
    """The case's trim.

    Raises InputError when it has none, or what a trim cannot do.
    """
    if case.trim is None:
        raise InputError(
            "trim: this table is missing; a trim needs mass, centre_of_gravity and unknowns"
        )
    if isinstance(case.flow.alpha, tuple):
        raise InputError(
            f"flow.alpha: found {len(case.flow.alpha)} angles; accepted in a trim is one, where it "
            "starts"
        )
    return case.trim


def equations_of(case: Case, trim: Trim) -> tuple[Equation, ...]:
    """What is balanced, as many equations as there are unknowns.

    Raises InputError for too few or too many unknowns.
    """
    count = len(trim.unknowns)
    names = ", ".join(item.name for item in trim.unknowns)
    if trim.equations:
        if len(set(trim.equations)) != count:
            raise InputError(
                f"trim.unknowns: found {count} ({names}) for {len(set(trim.equations))} equations "
                f"({', '.join(trim.equations)}); accepted is one unknown for each equation"
            )
        return trim.equations
    if count not in USUAL:
        raise InputError(
            f"trim.unknowns: found {count} ({names}); accepted without trim.equations are "
            f"{', '.join(map(str, USUAL))}: for normal force, pitch, axial force, and side force, "
            "roll and yaw"
        )
    if not case.is_symmetric and count < 5:
        raise InputError(
            f"trim.unknowns: found {count} ({names}) in a case that is not symmetric; accepted are "
            "5 or 6, for side force, roll and yaw too, or trim.equations that leave these out"
        )
    return USUAL[count]


def limits_of(item: Unknown) -> tuple[float, float]:
    """Least and largest value of an unknown, in the unit of `unit_of`."""
    if item.name in _LIMITS:
        usual = _LIMITS[item.name]
    elif is_throttle(item):
        usual = _THROTTLE
    else:
        usual = _INCIDENCE if item.name.endswith(".incidence") else _CONTROL
    least = usual[0] if item.least is None else item.least
    most = usual[1] if item.most is None else item.most
    return least, most


def is_throttle(item: Unknown) -> bool:
    """Whether an unknown scales the drive of propellers."""
    return item.name == "throttle" or bool(item.propellers)


def unit_of(item: Unknown) -> str:
    """Unit of an unknown's value."""
    if is_throttle(item):
        return ""
    return "m/s2" if item.name == "acceleration" else "deg"


def first_values(case: Case, trim: Trim) -> Array:
    """Where the unknowns start, (unknowns,) within their limits, each in the unit of `unit_of`."""
    found = []
    for item in trim.unknowns:
        value = item.start
        if value is None:
            if item.name in ("path_angle", "bank", "acceleration"):
                value = float(getattr(trim, item.name))
            elif item.name in ("alpha", "beta"):
                value = float(getattr(case.flow, item.name))
            elif is_throttle(item):
                value = 1.0
            elif item.name.endswith(".incidence"):
                value = _surface(case, item.name)[1]
            else:
                value = case.controls.get(item.name, 0.0)
        found.append(min(max(value, limits_of(item)[0]), limits_of(item)[1]))
    return np.array(found)


def _surface(case: Case, name: str) -> tuple[int, float]:
    wanted = name.removesuffix(".incidence")
    index = next(k for k, s in enumerate(case.surfaces) if s.name == wanted)
    return index, case.surfaces[index].incidence


def with_values(case: Case, trim: Trim, values: Array) -> tuple[Case, Path]:
    """The case with the unknowns' values, drives of propellers left as they are, and its path.

    values: (unknowns,) in order, each in the unit of `unit_of`. Raises InputError for
    values that no case can have.
    """
    edits: dict[str, object] = {}
    settings = dict(case.controls)
    path = Path(trim.path_angle, trim.bank, trim.acceleration)
    names = {"path_angle": "climb", "bank": "bank", "acceleration": "acceleration"}
    for item, value in zip(trim.unknowns, values.tolist(), strict=True):
        if item.name in names:
            path = path._replace(**{names[item.name]: value})
        elif item.name in FLIGHT:
            edits[f"flow.{item.name}"] = value
        elif is_throttle(item):
            continue
        elif item.name.endswith(".incidence"):
            edits[f"surfaces.{_surface(case, item.name)[0]}.incidence"] = value
        else:
            settings[item.name] = value
    if settings != dict(case.controls):
        edits["controls"] = settings
    alpha = float(edits.get("flow.alpha", case.flow.alpha))  # type: ignore[arg-type]
    if trim.load_factor != 1.0:
        path = path._replace(bank=turn_bank(trim))
        rates = turning_rates(trim, case.flow.airspeed, path, alpha)
        edits |= dict(zip(("flow.roll_rate", "flow.pitch_rate", "flow.yaw_rate"), rates,
                          strict=True))  # fmt: skip
    return case.replace(**edits), path


def drive_factors(case: Case, trim: Trim, values: Array) -> dict[str, float]:
    """Factor on the drive of each placed propeller that a throttle moves.

    values: (unknowns,) in order; those of throttles are factors.
    """
    factors: dict[str, float] = {}
    every = [item.name for item in case.propeller_list()]
    for item, value in zip(trim.unknowns, values.tolist(), strict=True):
        if is_throttle(item):
            for name in item.propellers or every:
                factors[name] = factors.get(name, 1.0) * value
    return factors


def driven(discs: Discs, factors: Mapping[str, float]) -> Discs:
    """Discs whose drives are scaled; those that stand for both sides by the starboard one's.

    factors: on thrust, power or rpm, by name of the placed propeller; 1 where there is none.
    """
    if not factors:
        return discs
    names = {discs.source[i]: p.name for i, p in enumerate(discs.placed) if not discs.mirrored[i]}
    units = tuple(
        replace(unit, placed=_scaled(unit.placed, factors.get(names[k], 1.0)))
        for k, unit in enumerate(discs.units)
    )
    placed = tuple(_scaled(item, factors.get(item.name, 1.0)) for item in discs.placed)
    return replace(discs, units=units, placed=placed)


def _scaled(item: PlacedPropeller, factor: float) -> PlacedPropeller:
    return replace(item, definition=scaled_drive(item.definition, factor))


def scaled_drive(item: Propeller, factor: float) -> Propeller:
    """A propeller with its thrust, power or rpm times a factor; of a jet its increment of speed."""
    if item.speed_ratio is not None:
        ratio = 1.0 + (item.speed_ratio - 1.0) * factor
        return item.model_copy(update={"speed_ratio": ratio})
    key = next(key for key in _DRIVES if getattr(item, key) is not None)
    if item.trim == "pitch":
        key = "thrust" if item.thrust is not None else "power"
    return item.model_copy(update={key: getattr(item, key) * factor})


def with_drives(case: Case, factors: Mapping[str, float]) -> Case:
    """The case with the drives of placed propellers scaled, twins written out where they differ.

    factors: as for `driven`.
    """
    if not factors:
        return case
    twins: dict[int, list[PlacedPropeller]] = {}
    for placed in case.propeller_list():
        twins.setdefault(placed.index, []).append(placed)
    result: list[Propeller] = []
    for index, item in enumerate(case.propellers):
        scales = [factors.get(placed.name, 1.0) for placed in twins[index]]
        if len(set(scales)) == 1:
            result.append(scaled_drive(item, scales[0]))
            continue
        result += [
            scaled_drive(written_out(placed), scale)
            for placed, scale in zip(twins[index], scales, strict=True)
        ]
    return with_propellers(case, result)


def with_trim(case: Case, trim: Trim) -> Case:
    """The case with another trim, validated.

    Raises InputError for one that does not fit the case.
    """
    return case.replace(trim=trim.model_dump(by_alias=True, exclude_none=True))


def with_propellers(case: Case, propellers: Sequence[Propeller]) -> Case:
    """The case with other propellers, validated; motors and phases of the old ones are left out.

    Raises InputError for propellers that break a rule.
    """
    tables = [item.model_dump(by_alias=True, exclude_none=True) for item in propellers]
    return case.replace(propellers=tables, aircraft=None)


def written_out(placed: PlacedPropeller) -> Propeller:
    """A placed propeller as a definition of its own, without a twin."""
    spin = {1: "clockwise", -1: "counterclockwise", 0: None}[placed.rotation]
    return placed.definition.model_copy(
        update={
            "name": placed.name,
            "position": placed.position,
            "toe": placed.toe,
            "spin": spin,
            "mirror": False,
            "twin_spin": None,
        }
    )
