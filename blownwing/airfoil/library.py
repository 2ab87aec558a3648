"""Sections by name: measured tables that come with the package, NACA names, files of a user."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import as_file, files
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blownwing.airfoil.camber import camber_slope, naca_digits, read_coordinates, thin_airfoil
from blownwing.airfoil.flaps import flapped
from blownwing.airfoil.handbook import (
    correlated_section,
    flat_section,
    handbook,
    handbook_section,
    named_section,
)
from blownwing.airfoil.reshape import over_reynolds, table_line
from blownwing.airfoil.section import SectionTable, read_section
from blownwing.airfoil.section_file import COLUMNS
from blownwing.case.textfiles import input_text, table_rows
from blownwing.case.units import found
from blownwing.errors import InputError

Array = NDArray[np.float64]
State = tuple[Path, int, int]  # of a file, from `_state`

# Where one Reynolds number was measured, tables are carried down to these.
LEVELS = (1e5, 2e5, 4e5, 1e6, 2e6, 4e6)
_THICKEST = 0.5  # of chord
_ALIASES = {"naca0012": "naca0012_tripped_80"}


@dataclass(frozen=True)
class BuiltIn:
    """A section that comes with the package: its name, what it is, where from, how sure."""

    name: str
    title: str
    source: str
    tag: str
    measured: bool


def built_in_sections() -> tuple[BuiltIn, ...]:
    """All sections that come with the package, measured tables first.

    Tags say how sure the figures are: VERIFIED-READ ones were read in an open copy of the source's
    data, MEMORY ones are recalled with a stated tolerance.
    """
    sections = []
    for path in _measured_files():
        notes, _ = table_rows(path)
        sections.append(BuiltIn(path.stem, notes["title"], notes["source"], notes["tag"], True))
    book, notes = handbook()
    for name in book:
        title = f"NACA {name[4:]}, smooth, constructed round handbook values, Re 9 million"
        sections.append(BuiltIn(name, title, notes["source"], notes["tag"], False))
    return tuple(sections)


def section_for(
    name: str, folder: str | Path = ".", flaps: tuple[tuple[str, float, float], ...] = ()
) -> SectionTable:
    """The table of a section, of a wing or a blade.

    Args:
        name: a built-in section's name; "flat"; a NACA 4- or 5-digit name ("naca0012" is the
            measured one, others without a table of their own are constructed); or a file of
            section data or of coordinates (two columns). A section from coordinates has its
            camber line's thin-airfoil zero lift and moment and handbook levels else.
        folder: files are relative to it.
        flaps: that are set on it, one after the other: kind, chord fraction and deflection in rad
            of each, as for `flaps.flapped`.

    Built-in and constructed sections are carried to lower Reynolds numbers by common trends
    (`reshape.over_reynolds`); a user's file of data stands as it is. A file that has not changed
    is not read again.

    Raises:
        InputError: unknown name, unreadable or malformed file, a flap that has no table.
    """
    key = _key(name)
    source = _state(_file(name, folder)) if key is None else _ALIASES.get(key, key)
    return _flapped(source, flaps) if flaps else _clean(source)


def section_thickness(name: str, folder: str | Path = ".") -> float | None:
    """Thickness over chord of a section; None of a file of data that does not tell it.

    Args:
        name, folder: as for `section_for`. A built-in section's last two digits tell it, a file of
            coordinates its largest thickness across the chord line, a file of data a line
            `# thickness: VALUE`.

    Raises:
        InputError: as `section_for`; a thickness that is none.
    """
    key = _key(name)
    if key is not None:
        return 0.0 if key == "flat" else 0.01 * int(key.split("_")[0][-2:])
    path = _file(name, folder)
    return _file_thickness(path, _state(path))


def mean_line_slope(name: str, x_c: ArrayLike, folder: str | Path = ".") -> Array:
    """Slope dz/dx of the line that stands for a section in a lattice.

    The camber line where its shape is known; else, for tables, the parabola that has the table's
    zero-lift angle, −2 h for a height h of chord (Glauert 1926, "The Elements of Aerofoil and
    Airscrew Theory", section 7.4).

    Args:
        name, folder: as for `section_for`.
        x_c: positions from the leading edge, chords, any shape, 0 to 1.

    Raises:
        InputError: as `section_for`.
    """
    if name.strip().lower() == "flat" or naca_digits(name) is not None:
        return camber_slope(name, x_c)
    if _key(name) is None and not _is_table(_file(name, folder)):
        return camber_slope(str(_file(name, folder)), x_c)
    table = section_for(name, folder)
    zero_lift = table_line(table, float(table.reynolds[-1])).zero_lift_angle
    return np.asarray(-2.0 * math.tan(zero_lift) * (1.0 - 2.0 * np.asarray(x_c, dtype=np.float64)))


def is_known(name: str) -> bool:
    """Whether a name is a section's of its own, not a file's: built-in or NACA."""
    return _key(name) is not None


def _key(name: str) -> str | None:
    """The name as the package knows it, or None for a file."""
    key = name.strip().lower().replace(" ", "")
    digits = naca_digits(name)
    key = f"naca{digits}" if digits else key
    return key if key in _names() or digits or key == "flat" else None


@lru_cache(maxsize=1)
def _names() -> frozenset[str]:
    """Names of the sections that come with the package."""
    return frozenset(path.stem for path in _measured_files()) | set(handbook()[0]) | set(_ALIASES)


def _file(name: str, folder: str | Path) -> Path:
    path = Path(folder) / name
    if path.is_file():
        return path
    built = ", ".join(section.name for section in built_in_sections())
    raise InputError(
        f'section: found "{name}"; accepted are "flat", a NACA 4- or 5-digit name, a file of '
        f"section data or coordinates (in {Path(folder)}), or a built-in section: {built}"
    )


def _clean(source: str | State) -> SectionTable:
    return _built(source) if isinstance(source, str) else _from_file(source[0], source)


@lru_cache(maxsize=16)
def _flapped(source: str | State, flaps: tuple[tuple[str, float, float], ...]) -> SectionTable:
    table = _clean(source)
    for kind, chord_fraction, deflection in flaps:
        table = flapped(table, kind, chord_fraction, deflection).table
    return table


@lru_cache(maxsize=64)
def _built(key: str) -> SectionTable:
    for path in _measured_files():
        if path.stem == key:
            return over_reynolds(read_section(path), LEVELS)
    if key in handbook()[0]:
        return over_reynolds(handbook_section(key), LEVELS)
    return over_reynolds(flat_section() if key == "flat" else named_section(key), LEVELS)


def _state(path: Path) -> State:
    """By which a file that has changed is told: its place, time and size."""
    state = path.stat()
    return path.resolve(), state.st_mtime_ns, state.st_size


@lru_cache(maxsize=64)
def _from_file(path: Path, state: State) -> SectionTable:
    """The table of a file in one state of it; read-only, so shared."""
    if _is_table(path):
        return read_section(path)
    thickness = _file_thickness(path, state) or 0.0
    table = correlated_section(path.stem, thin_airfoil(str(path)), thickness, five=False)
    return over_reynolds(table, LEVELS)


@lru_cache(maxsize=64)
def _file_thickness(path: Path, _state: State) -> float | None:
    if _is_table(path):
        told = table_rows(path)[0].get("thickness")
        if told is None:
            return None
        try:
            value = float(told)
        except ValueError:
            value = -1.0
        if not 0.0 <= value <= _THICKEST:
            raise InputError(
                f"{path}: thickness: found {found(told)}; accepted is 0 to {_THICKEST:g} of chord, "
                'as in "# thickness: 0.15"'
            )
        return value
    upper, lower = read_coordinates(path)
    x = np.linspace(0.0, 1.0, 201)
    return float(np.max(np.interp(x, *upper) - np.interp(x, *lower)))


def _measured_files() -> Iterator[Path]:
    with as_file(files("blownwing.airfoil") / "data") as folder:
        yield from sorted(path for path in folder.glob("*.csv") if path.stem != "handbook")


def _is_table(path: Path) -> bool:
    """A file of section data, as opposed to coordinates: its first row names a column."""
    for line in input_text(path).splitlines():
        if line.strip() and not line.startswith("#"):
            return any(word.strip() in COLUMNS for word in line.lower().split(","))
    return True  # an empty table, which is reported as such
