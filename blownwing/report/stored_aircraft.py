"""A stored aircraft or trade in the shape that its figures are drawn from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from blownwing.aircraft.records import Group
from blownwing.aircraft.trade import Choice
from blownwing.case.reader import parse_case
from blownwing.errors import InputError


def drawn_aircraft(groups: Mapping[str, Group], case_toml: str, path: Path) -> Any:
    """What the figures read of an aircraft's performance, from its file.

    Raises:
        InputError: the file lacks a group, or its case is not one that this version reads.
    """
    try:
        on_wheels, track = groups["take_off/on_wheels"], groups["take_off/track"]
        take_off = _point(groups["take_off"])
        take_off.history = _columns(on_wheels, "speed", "net_force", "lift", "power")
        take_off.track = _columns(track, "time", "airspeed", "distance")
        cruise = _curve(groups["cruise/over_speed"])
        history = groups["mission/history"]
        mission = _point(groups["mission"])
        mission.time, mission.power, mission.charge = _columns(
            history, "time", "battery_power", "energy"
        )
        failures = []
        for count, name in ((1, "one"), (2, "both_sides")):
            if f"failure_climb/{name}" in groups:
                failure = _point(groups[f"failure_climb/{name}"])
                failure.failed = ("",) * count
                failures.append(failure)
        return SimpleNamespace(
            case=parse_case(case_toml, Path(), "case stored in the result"),
            take_off=take_off,
            climb_take_off=_curve(groups["climb/take_off"]),
            climb_clean=_curve(groups["climb/clean"]),
            failures=tuple(failures),
            cruise=cruise,
            cruise_at=_point(groups["cruise/given"]),
            best_range=max(cruise, key=lambda state: state.range),
            mission=mission,
        )
    except (KeyError, ValueError, AttributeError) as error:
        raise InputError(f"{path}: incomplete, without {error}") from error


def drawn_trade(groups: Mapping[str, Group], path: Path) -> Any:
    """What the figure reads of a trade over the number of propellers, from its file.

    Raises:
        InputError: the file lacks a quantity.
    """
    try:
        rows = _curve(groups["trade"], "count")
    except (KeyError, ValueError) as error:
        raise InputError(f"{path}: incomplete, without {error}") from error
    known = {item.name for item in fields(Choice)}
    for row in rows:
        row.count = round(row.count)
        if not known >= set(vars(row)):
            raise InputError(f"{path}: holds quantities of a trade that this version does not know")
    return SimpleNamespace(choices=tuple(rows))


def _point(group: Group) -> SimpleNamespace:
    return SimpleNamespace(**{name: quantity.value for name, quantity in group.items()})


def _columns(group: Group, *names: str) -> list[Any]:
    return [group[name].value for name in names]


def _curve(group: Group, over: str = "speed") -> list[SimpleNamespace]:
    """One state for each value of the coordinate."""
    values: dict[str, Any] = {name: quantity.value for name, quantity in group.items()}
    return [
        SimpleNamespace(**{name: float(value[k]) for name, value in values.items()})
        for k in range(len(values[over]))
    ]
