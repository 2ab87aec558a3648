"""A wing's stations from a table: y, x, z, chord, twist, airfoil, a row each."""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from typing import Any

from blownwing.case.messages import did_you_mean
from blownwing.case.textfiles import table_rows
from blownwing.case.units import angle, length
from blownwing.errors import InputError

COLUMNS = ("y", "x", "z", "chord", "twist", "airfoil")
_NEEDED = ("y", "chord")
_HEAD = re.compile(r"\s*([A-Za-z]+)\s*(?:[\[(]\s*([^\])]*?)\s*[\])])?\s*")


def read_stations(path: str | os.PathLike[str]) -> list[dict[str, Any]]:
    """Stations of a wing as tables of a case, from a comma-separated file.

    The first row names the columns, any of `COLUMNS` in any order, with the unit in brackets where
    it is not m or deg: ``y [ft], chord [in], twist``. Lines that start with # are comments.

    Args:
        path: the file.

    Raises:
        InputError: a file that cannot be read, an unknown column or unit, a cell that is no number,
            or fewer than two rows, with the line.
    """
    _, lines = table_rows(path, "a table of stations")
    if not lines:
        raise InputError(f"{path}: found 0 stations; accepted are 2 or more")
    heads = [_head(word, lines[0].where) for word in lines[0].words]
    names = [name for name, _ in heads]
    missing = [name for name in _NEEDED if name not in names]
    if missing or len(set(names)) < len(names):
        raise InputError(
            f"{lines[0].where}: found the columns {', '.join(names)}; accepted are y and chord, "
            "and x, z, twist, airfoil where there are any, once each"
        )
    stations: list[dict[str, Any]] = []
    for where, _, words, _ in lines[1:]:
        if len(words) != len(heads):
            raise InputError(
                f"{where}: found {len(words)} cells; accepted are {len(heads)}, as many as columns"
            )
        cells = zip(heads, words, strict=True)
        stations.append({name: _cell(name, unit, word, where) for (name, unit), word in cells})
    if len(stations) < 2:
        raise InputError(f"{path}: found {len(stations)} stations; accepted are 2 or more")
    return sorted(stations, key=lambda station: float(station["y"]))


def _head(word: str, where: str) -> tuple[str, str]:
    match = _HEAD.fullmatch(word)
    name = "" if match is None else match[1].lower()
    if match is None or name not in COLUMNS:
        raise InputError(
            f'{where}: found the column "{word[:40]}"{did_you_mean(name, COLUMNS)}; accepted are '
            f"{', '.join(COLUMNS)}, with a unit in brackets where it is not m or deg"
        )
    return name, match[2] or ""


def _cell(name: str, unit: str, word: str, where: str) -> float | str:
    if name == "airfoil":
        return word
    read: Callable[[Any], float] = angle if name == "twist" else length
    try:
        return read(f"{word} {unit}" if unit else float(word))
    except (InputError, ValueError) as error:
        reason = str(error) if isinstance(error, InputError) else "accepted is a number"
        raise InputError(f'{where}: {name}: found "{word[:40]}"; {reason}') from None
