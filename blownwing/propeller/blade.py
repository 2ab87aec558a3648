"""Blade geometry: chord, twist and sections along the radius, from a plain text file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from blownwing.airfoil.library import section_for
from blownwing.airfoil.section import SectionTable
from blownwing.case.textfiles import TextRow, noted_source, rows_below
from blownwing.case.units import found
from blownwing.errors import InputError

Array = NDArray[np.float64]

COLUMNS = ("r/R", "c/R", "twist_deg", "section")


@dataclass(frozen=True)
class Blade:
    """One blade in fractions of the tip radius.

    Attributes:
        name: short name.
        source: where the geometry comes from.
        radius: (n,) r/R, increasing to 1; the first is the end of the hub.
        chord: (n,) c/R.
        twist: (n,) angle of the chord line to the disc plane, rad.
        sections: (n,) key of each station's section.
        tables: section tables by key.
    """

    name: str
    source: str
    radius: Array
    chord: Array
    twist: Array
    sections: tuple[str, ...]
    tables: Mapping[str, SectionTable]

    def __post_init__(self) -> None:
        for values in (self.radius, self.chord, self.twist):
            values.flags.writeable = False


def read_blade(path: str | Path) -> Blade:
    """A blade from a CSV file.

    Lines starting with `#` are comments; one must be `# source: …`. Then a header
    `r/R,c/R,twist_deg,section` and stations in order of radius, the last at r/R = 1. `twist_deg` is
    the angle of the chord line to the disc plane; `section` is a built-in or NACA name or the
    path of a section file, relative to the blade file.

    Raises:
        InputError: naming file and line.
    """
    path = Path(path)
    notes, lines = rows_below(path, COLUMNS)
    rows: list[tuple[float, float, float]] = []
    tables: dict[str, SectionTable] = {}
    for row in lines:
        rows.append(_station(row, rows))
        name = row.words[3]
        if name not in tables:
            try:
                tables[name] = section_for(name, path.parent)
            except InputError as error:
                raise InputError(f"{row.where}: section: {error}") from None
    names = tuple(row.words[3] for row in lines)
    source = noted_source(path, notes, "blade")
    if len(rows) < 2:
        raise InputError(f"{path}: found {len(rows)} stations; accepted are 2 or more")
    if abs(rows[-1][0] - 1.0) > 1e-9:
        raise InputError(f"{path}: the last station is at r/R = {rows[-1][0]:g}; accepted is 1")
    radius, chord, twist = np.array(rows).T
    return Blade(path.stem, source, radius, chord, np.radians(twist), names, tables)


def blade_text(blade: Blade, comments: Sequence[str] = ()) -> str:
    """The blade file of a blade, as `read_blade` reads it; `comments` are extra lines of text."""
    lines = [f"# source: {blade.source}", *(f"# {line}" for line in comments), ",".join(COLUMNS)]
    rows = zip(blade.radius, blade.chord, np.degrees(blade.twist), blade.sections, strict=True)
    lines += [f"{x:.6f},{chord:.6f},{twist:.4f},{name}" for x, chord, twist, name in rows]
    return "\n".join(lines) + "\n"


def _station(row: TextRow, before: list[tuple[float, float, float]]) -> tuple[float, float, float]:
    """One checked station: r/R, c/R, twist in degrees."""
    where, line, words, _ = row
    try:
        radius, chord, twist = (float(word) for word in words[:3])
    except ValueError:
        radius = chord = twist = float("nan")
    if len(words) != len(COLUMNS) or not np.all(np.isfinite((radius, chord, twist))):
        raise InputError(
            f"{where}: found {found(line)}; accepted are three finite numbers and a section, "
            f'"{",".join(COLUMNS)}"'
        )
    if not 0.0 < radius <= 1.0 or (before and radius <= before[-1][0]):
        raise InputError(f"{where}: found r/R = {radius:g}; accepted are values that increase to 1")
    if not 0.0 < chord < 2.0:
        raise InputError(f"{where}: found c/R = {chord:g}; accepted is above 0 and below 2")
    if not -90.0 <= twist <= 90.0:
        raise InputError(f"{where}: found twist {twist:g} deg; accepted is -90 to 90")
    return radius, chord, twist
