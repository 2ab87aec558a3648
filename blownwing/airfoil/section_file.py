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
from blownwing.case.textfiles import input_text, row_words
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
    notes, numbered = _read_rows(path, file_text(path))
    if "source" not in notes:
        raise InputError(f'{path}: found no line "# source: …"; every table must name its source')
    levels: list[float] = []
    rows: list[tuple[Array, Array]] = []
    for reynolds, group in groupby(numbered, key=lambda row: row[1][0]):
        block = list(group)
        number = block[0][0]
        if reynolds <= 0.0 or (levels and reynolds <= levels[-1]):
            raise InputError(
                f"{path}, line {number}: found Reynolds number {reynolds:g}; accepted are values "
                "above 0 in increasing groups"
            )
        values = np.array([row[1] for row in block]).T
        _check_block(path, [row[0] for row in block], values)
        levels.append(reynolds)
        rows.append(_filled(path, number, notes, values))
    return notes["source"], np.array(levels), rows


def file_text(path: Path) -> str:
    """The text of a file.

    Raises:
        InputError: it cannot be read as text.
    """
    return input_text(path)


def _check_block(path: Path, numbers: list[int], values: Array) -> None:
    """Order, range and positive drag of the rows (5, n) of one Reynolds number."""
    _, degrees, _, drag, _ = values
    falling = np.flatnonzero(np.diff(degrees) <= 0.0)
    if falling.size:
        at = numbers[int(falling[0]) + 1]
        raise InputError(f"{path}, line {at}: incidence must increase within a Reynolds number")
    span = f"found incidence from {degrees[0]:g} to {degrees[-1]:g} deg"
    if degrees[0] > -5.0 or degrees[-1] < 8.0:
        raise InputError(
            f"{path}, line {numbers[0]}: {span}; accepted are tables spanning -5 to 8 deg at least"
        )
    if any(80.0 < end and abs(end - 180.0) > 1e-9 for end in (-degrees[0], degrees[-1])):
        raise InputError(
            f"{path}, line {numbers[0]}: {span}; accepted are tables that end within 80 deg or "
            "reach 180 deg"
        )
    if np.any(drag <= 0.0):
        at = numbers[int(np.argmax(drag <= 0.0))]
        raise InputError(f"{path}, line {at}: found cd not above 0; accepted is cd > 0 or nothing")


def _filled(path: Path, number: int, notes: dict[str, str], values: Array) -> tuple[Array, Array]:
    """Incidence and (3, n) coefficients of one Reynolds number, the unmeasured ones estimated."""
    alpha, (cl, cd, cm) = np.radians(values[1]), values[2:]
    if np.sum(np.isfinite(cd)) < 2:
        raise InputError(f"{path}, line {number}: found no drag; accepted are two values or more")
    if np.any(np.isnan(cd)):
        cd = filled_drag(alpha, cl, cd)
    if np.any(np.isnan(cm)):
        try:
            attached = float(notes["moment"])
        except (KeyError, ValueError):
            raise InputError(
                f"{path}, line {number}: found rows without cm; accepted with a line "
                '"# moment: VALUE", the moment coefficient of attached flow'
            ) from None
        cm = filled_moment(alpha, cl, cm, attached)
    return alpha, np.array([cl, cd, cm])


def _read_rows(path: Path, text: str) -> tuple[dict[str, str], list[tuple[int, list[float]]]]:
    """Notes and numbered rows of a section file; NaN where cd or cm is empty."""
    notes: dict[str, str] = {}
    header, rows = False, []
    for number, line in enumerate(text.splitlines(), start=1):
        if line.startswith("#"):
            key, _, value = line[1:].partition(":")
            if value.strip():
                notes.setdefault(key.strip().lower(), value.strip())
            continue
        if not line.strip():
            continue
        words = row_words(line, f"{path}, line {number}")
        if not header:
            if tuple(words) != COLUMNS:
                raise InputError(
                    f"{path}, line {number}: found header {found(line)}; accepted is "
                    f'"{",".join(COLUMNS)}"'
                )
            header = True
            continue
        rows.append((number, _row(path, number, line, words)))
    if not rows:
        raise InputError(f'{path}: found no rows below the header "{",".join(COLUMNS)}"')
    return notes, rows


def _row(path: Path, number: int, line: str, words: list[str]) -> list[float]:
    try:
        if len(words) != len(COLUMNS):
            raise ValueError
        values = [float(word) if word or k < 3 else math.nan for k, word in enumerate(words)]
        if not all(math.isfinite(v) for v, word in zip(values, words, strict=True) if word):
            raise ValueError
    except ValueError:
        raise InputError(
            f"{path}, line {number}: found {found(line)}; accepted are five finite numbers "
            f"{','.join(COLUMNS)}, of which cd and cm may be left empty"
        ) from None
    return values
