"""Edits of a case by dotted path, on its nested dictionaries."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from blownwing.case.messages import did_you_mean
from blownwing.errors import InputError

_COORDINATES = {"x": 0, "y": 1, "z": 2}
_FILE_KEYS = {"from": "start", "to": "end"}  # as the file spells them
_DRIVES = ("rpm", "thrust", "power", "speed_ratio")


def _segments(path: str) -> list[str]:
    # The bracketed form is how messages name the same key.
    return re.sub(r"\[(\w+)\]", r".\1", path).split(".")


def _unknown(path: str, found: str, names: list[str], what: str) -> InputError:
    return InputError(
        f'{path}: "{found}" is not {what}{did_you_mean(found, names)}; '
        f"accepted are {', '.join(names)}"
    )


def _keys(node: Any, segment: str, path: str) -> list[Any]:
    """Keys or indices in a node that one segment of a path stands for."""
    if isinstance(node, dict):
        key = _FILE_KEYS.get(segment, segment) if "chord_fraction" in node else segment
        if key not in node:
            raise _unknown(path, segment, list(node), "a key here")
        return [key]
    if not isinstance(node, list):
        raise InputError(f'{path}: "{segment}" leads below a single value; accepted is a key')
    if segment == "all":
        return list(range(len(node)))
    names = [item["name"] for item in node if isinstance(item, dict) and "name" in item]
    if segment in names:
        return [names.index(segment)]
    if segment in _COORDINATES and not any(isinstance(item, dict) for item in node):
        segment = str(_COORDINATES[segment])
    if segment.isascii() and segment.isdigit():
        if int(segment) < len(node):
            return [int(segment)]
        raise InputError(
            f"{path}: found index {segment} in a list of {len(node)}; indices count from 0"
        )
    raise _unknown(path, segment, ["all", *names, "an index"], "an item here")


def _listed(value: Any) -> Any:
    """The same data with lists for tuples and copies of every container."""
    if value is None or isinstance(value, float | int | str):
        return value
    if isinstance(value, Mapping):
        return {key: _listed(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_listed(item) for item in value]
    return value


def _targets(tables: dict[str, Any], path: str) -> list[tuple[tuple[Any, ...], Any, Any]]:
    """All places a dotted path stands for, as (route, container, key)."""
    nodes: list[tuple[tuple[Any, ...], Any]] = [((), tables)]
    *parents, last = _segments(path)
    for segment in parents:
        nodes = [
            ((*route, key), node[key])
            for route, node in nodes
            for key in _keys(node, segment, path)
        ]
    return [(route, node, key) for route, node in nodes for key in _keys(node, last, path)]


def values_at(tables: Mapping[str, Any], path: str) -> list[Any]:
    """The values that stand at a dotted path now, several where it says ``all``.

    Args:
        tables: as for `edited`.

    Raises:
        InputError: for a path that leads nowhere.
    """
    plain: dict[str, Any] = _listed(tables)
    return [node[key] for _, node, key in _targets(plain, path)]


def places_of(tables: Mapping[str, Any], path: str) -> dict[str, Any]:
    """The dotted paths of the single values that a path stands for, with the values there now.

    Arguments and errors as for `values_at`, InputError for a path that leads nowhere.
    """
    found = _targets(_listed(tables), path)
    return {".".join(map(str, (*route, key))): node[key] for route, node, key in found}


def edited(tables: Mapping[str, Any], edits: Mapping[str, Any]) -> dict[str, Any]:
    """A copy of a case's tables with the values at dotted paths changed.

    Args:
        tables: the case as nested dictionaries with every key present, unset ones as None.
        edits: dotted path -> value; None takes the key away.

    Returns:
        New tables without the unset keys, still to be validated.

    Raises:
        InputError: for a path that leads nowhere.
    """
    result: dict[str, Any] = _listed(tables)
    driven: dict[int, set[str]] = {}
    for path, value in edits.items():
        for route, node, key in _targets(result, path):
            node[key] = _listed(value)
            if len(route) == 2 and route[0] == "propellers" and key in _DRIVES:
                driven.setdefault(route[1], set()).add(key)
    touched = {key.split(".")[-1] for key in edits}
    for index, keys in driven.items():
        _clear_other_drives(result["propellers"][index], keys, "trim" in touched)
    return {key: _without_unset(item) for key, item in result.items() if item is not None}


def _clear_other_drives(propeller: dict[str, Any], given: set[str], trim_given: bool) -> None:
    given = {key for key in given if propeller[key] is not None}
    if not given:
        return
    by_pitch = propeller["trim"] == "pitch"
    for key in _DRIVES:
        # Under trim by pitch the rpm is the fixed speed and stands beside thrust or power.
        stays = by_pitch and (key == "rpm" or given == {"rpm"})
        if key not in given and not stays:
            propeller[key] = None
    if "rpm" in given and propeller["trim"] == "rpm" and not trim_given:
        propeller["trim"] = None


def _without_unset(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _without_unset(item) for key, item in value.items() if item is not None}
    if isinstance(value, list):
        return [_without_unset(item) for item in value]
    return value
