"""Section tables: cl, cd and cm over incidence and Reynolds number, round the whole circle.

A table comes from a file of measured or constructed values, or from a few parameters; past the
range of the data it continues as a stalled plate, so that a blade at any incidence has loads.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blownwing.airfoil.extension import extended
from blownwing.airfoil.section_file import COLUMNS, section_rows
from blownwing.errors import InputError

Array = NDArray[np.float64]

# Uniform over the circle: half a degree follows a soft stall and keeps a table in cache.
ALPHA_GRID: Array = np.radians(np.linspace(-180.0, 180.0, 721))
ALPHA_GRID.flags.writeable = False
# Wings are searched for the peak of their lift: an eighth of a degree keeps it to 0.1 %.
FINE_GRID: Array = np.radians(np.linspace(-180.0, 180.0, 2881))
FINE_GRID.flags.writeable = False
MACH_CAP = 0.8


@dataclass(frozen=True)
class SectionTable:
    """One airfoil section's coefficients.

    Attributes:
        name: short name.
        source: where the numbers come from.
        reynolds: (n_re,) increasing.
        alpha: (n_a,) rad, uniform from −π to π.
        cl, cd, cm: (n_re, n_a); cm about the quarter chord.
        measured: (n_re, 2) rad, incidences between which a row is data, stalled plate beyond; None
            where all of it is.
    """

    name: str
    source: str
    reynolds: Array
    alpha: Array
    cl: Array
    cd: Array
    cm: Array
    measured: Array | None = None

    def __post_init__(self) -> None:
        shape = (len(self.reynolds), len(self.alpha))
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
        for values in (self.reynolds, self.alpha, self.cl, self.cd, self.cm, self.measured):
            if values is not None:
                values.flags.writeable = False

    @property
    def data_range(self) -> Array:
        """(n_re, 2) rad, incidences between which a row is data."""
        if self.measured is not None:
            return self.measured
        return np.tile(self.alpha[[0, -1]], (len(self.reynolds), 1))


@dataclass(frozen=True)
class SectionLaw:
    """Parameters of a constructed section; angles in rad.

    Lift is linear until it bends softly into `clmax` or `clmin`; drag is
    `(cd_min + cd_rise (c − cl_best)²)(Re/reynolds_reference)^−drag_exponent` with c the lift of the
    unstalled line, plus the plate's 2 sin²α on the share of the lift that is lost. Both peaks grow
    by `peak_growth` per decade of Reynolds number.
    """

    zero_lift_angle: float
    lift_slope: float
    clmax: float
    clmin: float
    cd_min: float
    cd_rise: float
    cl_best: float
    cm: float
    reynolds_reference: float
    drag_exponent: float
    peak_growth: float = 0.0
    sharpness: float = 8.0


def section_table(name: str, law: SectionLaw, reynolds: ArrayLike, source: str) -> SectionTable:
    """A constructed section, evaluated from −14° to 20° and continued as a stalled plate.

    Args:
        name: short name.
        law: the parameters.
        reynolds: (n_re,) Reynolds numbers, increasing.
        source: what the parameters rest on.

    Raises:
        InputError: the parameters give drag that is not positive or Reynolds numbers out of order.
    """
    levels = np.atleast_1d(np.asarray(reynolds, dtype=np.float64))
    alpha = np.radians(np.arange(-14.0, 20.01, 0.5))
    rows = [law_coefficients(law, alpha, float(level)) for level in levels]
    return table_from_rows(name, source, levels, [(alpha, np.array(row)) for row in rows])


def table_from_rows(
    name: str,
    source: str,
    reynolds: Array,
    rows: Sequence[tuple[Array, Array]],
    grid: Array = ALPHA_GRID,
) -> SectionTable:
    """A table from rows of data, one a Reynolds number, continued round the circle.

    Args:
        name, source: of the table.
        reynolds: (n_re,) increasing.
        rows: n_re pairs of incidences (n,) in rad, increasing, and (3, n) cl, cd, cm.
        grid: (n_a,) rad, uniform from −π to π.

    Raises:
        InputError: coefficients that are not finite, drag not above zero, Reynolds numbers out of
            order.
    """
    cl, cd, cm = np.stack([extended(alpha, row, grid) for alpha, row in rows], axis=1)
    measured = np.array([[alpha[0], alpha[-1]] for alpha, _ in rows])
    return SectionTable(name, source, reynolds, grid, cl, cd, cm, measured)


def law_coefficients(law: SectionLaw, alpha: Array, reynolds: float) -> tuple[Array, Array, Array]:
    """cl, cd and cm of a constructed section at `alpha` (rad) before the deep stall.

    alpha: (n,) rad; reynolds: of the chord. Results (n,) each. The form is ours: a straight line
    cut off smoothly at the peaks, a parabola of drag, the plate's 2 sin²α for the lift lost.
    """
    line = law.lift_slope * (alpha - law.zero_lift_angle)
    growth = law.peak_growth * math.log10(reynolds / law.reynolds_reference)
    peak = np.where(line > 0.0, law.clmax + growth, -law.clmin + growth)
    share = (1.0 + (np.abs(line) / peak) ** law.sharpness) ** (-1.0 / law.sharpness)
    scale = (reynolds / law.reynolds_reference) ** -law.drag_exponent
    # beyond the peak the attached polar must not go on growing with the line
    held = np.clip(line, -1.3 * peak, 1.3 * peak)
    drag = (law.cd_min + law.cd_rise * (held - law.cl_best) ** 2) * scale
    drag += (1.0 - share) * 2.0 * np.sin(alpha) ** 2
    return line * share, drag, np.full_like(alpha, law.cm)


def read_section(path: str | Path, grid: Array = ALPHA_GRID) -> SectionTable:
    """A section table from a CSV file.

    Lines starting with `#` are comments; one must be `# source: …`. Then a header
    `reynolds,alpha_deg,cl,cd,cm` and rows grouped by Reynolds number, incidence increasing. An
    empty cd or cm was not measured and is estimated (`attached.filled_drag`, `filled_moment`); the
    moment then needs a line `# moment: VALUE`, that of attached flow. Data that stop short of ±180°
    are continued as a stalled plate, and must span −5° to 8° at least. grid: (n_a,) rad, uniform
    from −π to π.

    Raises:
        InputError: naming file and line.
    """
    source, levels, rows = section_rows(Path(path))
    return table_from_rows(Path(path).stem, source, levels, rows, grid)


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


def coefficients(
    table: SectionTable, alpha: ArrayLike, reynolds: float, mach: float = 0.0
) -> tuple[Array, Array, Array]:
    """cl, cd and cm by linear interpolation in incidence and in log Reynolds number.

    Args:
        table: the section.
        alpha: incidences, rad, any shape.
        reynolds: chord Reynolds number; held at the table's ends.
        mach: Mach number of the flow; Prandtl-Glauert's factor multiplies lift and moment, its
            growth ends at Mach 0.8, and lift stays within the table's peaks.

    Source: Glauert (1928), "The effect of compressibility on the lift of an aerofoil", Proceedings
    of the Royal Society A 118, 113-119, for the factor; the limits are common practice.
    """
    angles = (np.asarray(alpha, dtype=np.float64) + math.pi) % (2.0 * math.pi) - math.pi
    level = np.interp(
        math.log(reynolds), np.log(table.reynolds), np.arange(len(table.reynolds), dtype=float)
    )
    row = min(int(level), max(len(table.reynolds) - 2, 0))
    t = float(level) - row
    factor = 1.0 / math.sqrt(1.0 - min(mach, MACH_CAP) ** 2)

    def mixed(values: Array) -> Array:
        first: Array = values[row]
        return first if t == 0.0 else (1.0 - t) * first + t * values[row + 1]

    def peak(reduce: str) -> float:
        ends = [float(getattr(values, reduce)()) for values in table.cl[row : row + 2]]
        return ends[0] if t == 0.0 else (1.0 - t) * ends[0] + t * ends[1]

    cl, cd, cm = (np.interp(angles, table.alpha, mixed(v)) for v in (table.cl, table.cd, table.cm))
    return np.clip(factor * cl, peak("min"), peak("max")), cd, factor * cm
