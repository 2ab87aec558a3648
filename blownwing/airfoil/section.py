"""Section tables: cl, cd and cm over incidence and Reynolds number, round the whole circle.

A table comes from a file of measured or constructed values, or from a few parameters; past the
range of the data it continues as a stalled plate, so that a blade at any incidence has loads.
Wings and blades take the same tables; `packed` evaluates them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blownwing.airfoil.extension import extended, monotone_slopes
from blownwing.airfoil.section_file import COLUMNS, section_rows
from blownwing.errors import InputError

Array = NDArray[np.float64]

# Uniform over the circle: an eighth of a degree keeps the peak of the lift to 0.1 %.
ALPHA_GRID: Array = np.radians(np.linspace(-180.0, 180.0, 2881))
ALPHA_GRID.flags.writeable = False


@dataclass(frozen=True)
class SectionTable:
    """One airfoil section's coefficients.

    Attributes:
        name: short name.
        source: where the numbers come from.
        reynolds: (n_re,) increasing.
        cl, cd, cm: (n_re, n_a) over `ALPHA_GRID`; cm about the quarter chord.
        measured: (n_re, 2) rad, incidences between which a row is data, stalled plate beyond; None
            where all of it is.
    """

    name: str
    source: str
    reynolds: Array
    cl: Array
    cd: Array
    cm: Array
    measured: Array | None = None

    def __post_init__(self) -> None:
        shape = (len(self.reynolds), len(ALPHA_GRID))
        for field in ("cl", "cd", "cm"):
            values = getattr(self, field)
            if values.shape != shape or not np.all(np.isfinite(values)):
                raise InputError(f"section {self.name}: {field} must be finite, of shape {shape}")
        if np.any(self.cd <= 0.0):
            raise InputError(f"section {self.name}: found a drag coefficient not above zero")
        if np.any(self.reynolds <= 0.0) or np.any(np.diff(self.reynolds) <= 0.0):
            raise InputError(f"section {self.name}: Reynolds numbers must be above 0 and increase")
        if self.measured is not None and self.measured.shape != (shape[0], 2):
            raise InputError(f"section {self.name}: measured must have the shape ({shape[0]}, 2)")
        for values in (self.reynolds, self.cl, self.cd, self.cm, self.measured):
            if values is not None:
                values.flags.writeable = False

    @property
    def alpha(self) -> Array:
        """(n_a,) rad, uniform from −π to π."""
        return ALPHA_GRID

    @cached_property
    def values(self) -> Array:
        """(n_re, n_a, 4) cl, cd, cm and dcl/dα, as the look-up takes them."""
        slopes = monotone_slopes(ALPHA_GRID, self.cl)
        return np.stack([self.cl, self.cd, self.cm, slopes], axis=-1)

    @cached_property
    def peaks(self) -> Array:
        """(n_re, 2) largest and least cl."""
        return np.stack([self.cl.max(axis=1), self.cl.min(axis=1)], axis=-1)

    @property
    def data_range(self) -> Array:
        """(n_re, 2) rad, incidences between which a row is data."""
        if self.measured is not None:
            return self.measured
        return np.tile(self.alpha[[0, -1]], (len(self.reynolds), 1))


def table_from_rows(
    name: str, source: str, reynolds: Array, rows: Sequence[tuple[Array, Array]]
) -> SectionTable:
    """A table from rows of data, one a Reynolds number, continued round the circle.

    Args:
        name, source: of the table.
        reynolds: (n_re,) increasing.
        rows: n_re pairs of incidences (n,) in rad, increasing, and (3, n) cl, cd, cm.

    Raises:
        InputError: coefficients that are not finite, drag not above zero, Reynolds numbers out of
            order.
    """
    cl, cd, cm = np.stack([extended(alpha, row, ALPHA_GRID) for alpha, row in rows], axis=1)
    measured = np.array([[alpha[0], alpha[-1]] for alpha, _ in rows])
    return SectionTable(name, source, reynolds, cl, cd, cm, measured)


def read_section(path: str | Path) -> SectionTable:
    """A section table from a CSV file.

    Lines starting with `#` are comments; one must be `# source: …`. Then a header
    `reynolds,alpha_deg,cl,cd,cm` and rows grouped by Reynolds number, incidence increasing. An
    empty cd or cm was not measured and is estimated (`attached.filled_drag`, `filled_moment`); the
    moment then needs a line `# moment: VALUE`, that of attached flow. Data that stop short of ±180°
    are continued as a stalled plate, and must span −5° to 8° at least.

    Raises:
        InputError: naming file and line.
    """
    source, levels, rows = section_rows(Path(path))
    return table_from_rows(Path(path).stem, source, levels, rows)


def write_section(path: str | Path, table: SectionTable, alpha_deg: ArrayLike) -> None:
    """Write a table in the form `read_section` reads, at incidences alpha_deg (n,), deg."""
    angles = np.asarray(alpha_deg, dtype=np.float64)
    lines = [f"# source: {table.source}", ",".join(COLUMNS)]
    for k, reynolds in enumerate(table.reynolds):
        columns = [
            np.interp(np.radians(angles), table.alpha, values[k])
            for values in (table.cl, table.cd, table.cm)
        ]
        lines += [
            f"{reynolds:g},{a:g},{lift:.5f},{drag:.5f},{moment:.5f}"
            for a, lift, drag, moment in zip(angles, *columns, strict=True)
        ]
    Path(path).write_text("\n".join(lines) + "\n", encoding="utf-8")
