"""Text files of section data: notes, then rows of cl, cd and cm over Reynolds number and incidence.

The columns are `reynolds,alpha_deg,cl,cd,cm`; lines that start with `#` carry notes `key: value`.
"""

from __future__ import annotations

import math
from itertools import groupby
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from blownwing.airfoil.attached import filled_drag, filled_moment
from blownwing.case.textfiles import TextRow, noted_source, rows_below
from blownwing.case.units import found
from blownwing.errors import InputError

Array = NDArray[np.float64]

COLUMNS = ("reynolds", "alpha_deg", "cl", "cd", "cm")


def section_rows(path: Path) -> tuple[str, Array, list[tuple[Array, Array]]]:
    """What `section.read_section` reads, before it is continued round the circle.

    Returns:
        The source, the Reynolds numbers (n_re,), and for each of these the incidences (n,) in rad
        with cl, cd and cm (3, n), the unmeasured ones estimated.

    Raises:
        InputError: naming file and line.
    """
    notes, lines = rows_below(path, COLUMNS)
    if not lines:
        raise InputError(f'{path}: found no rows below the header "{",".join(COLUMNS)}"')
    source, numbered = noted_source(path, notes, "table"), [(row.where, _row(row)) for row in lines]
    levels: list[float] = []
    rows: list[tuple[Array, Array]] = []
    for reynolds, group in groupby(numbered, key=lambda row: row[1][0]):
        block = list(group)
        where = block[0][0]
        if reynolds <= 0.0 or (levels and reynolds <= levels[-1]):
            raise InputError(
                f"{where}: found Reynolds number {reynolds:g}; accepted are values "
                "above 0 in increasing groups"
            )
        values = np.array([row[1] for row in block]).T
        _check_block([row[0] for row in block], values)
        levels.append(reynolds)
        rows.append(_filled(where, notes, values))
    return source, np.array(levels), rows


def _check_block(places: list[str], values: Array) -> None:
    """Order, range and positive drag of the rows (5, n) of one Reynolds number."""
    _, degrees, _, drag, _ = values
    falling = np.flatnonzero(np.diff(degrees) <= 0.0)
    if falling.size:
        at = places[int(falling[0]) + 1]
        raise InputError(f"{at}: incidence must increase within a Reynolds number")
    span = f"found incidence from {degrees[0]:g} to {degrees[-1]:g} deg"
    if degrees[0] > -5.0 or degrees[-1] < 8.0:
        raise InputError(f"{places[0]}: {span}; accepted are tables spanning -5 to 8 deg at least")
    if any(80.0 < end and abs(end - 180.0) > 1e-9 for end in (-degrees[0], degrees[-1])):
        raise InputError(
            f"{places[0]}: {span}; accepted are tables that end within 80 deg or reach 180 deg"
        )
    if np.any(drag <= 0.0):
        at = places[int(np.argmax(drag <= 0.0))]
        raise InputError(f"{at}: found cd not above 0; accepted is cd > 0 or nothing")


def _filled(where: str, notes: dict[str, str], values: Array) -> tuple[Array, Array]:
    """Incidence and (3, n) coefficients of one Reynolds number, the unmeasured ones estimated."""
    alpha, (cl, cd, cm) = np.radians(values[1]), values[2:]
    if np.sum(np.isfinite(cd)) < 2:
        raise InputError(f"{where}: found no drag; accepted are two values or more")
    if np.any(np.isnan(cd)):
        cd = filled_drag(alpha, cl, cd)
    if np.any(np.isnan(cm)):
        try:
            attached = float(notes["moment"])
        except (KeyError, ValueError):
            raise InputError(
                f"{where}: found rows without cm; accepted with a line "
                '"# moment: VALUE", the moment coefficient of attached flow'
            ) from None
        cm = filled_moment(alpha, cl, cm, attached)
    return alpha, np.array([cl, cd, cm])


def _row(row: TextRow) -> list[float]:
    """Five numbers, NaN where cd or cm is empty."""
    try:
        if len(row.words) != len(COLUMNS):
            raise ValueError
        values = [float(word) if word or k < 3 else math.nan for k, word in enumerate(row.words)]
        if not all(math.isfinite(v) for v, word in zip(values, row.words, strict=True) if word):
            raise ValueError
    except ValueError:
        raise InputError(
            f"{row.where}: found {found(row.line)}; accepted are five finite numbers "
            f"{','.join(COLUMNS)}, of which cd and cm may be left empty"
        ) from None
    return values
