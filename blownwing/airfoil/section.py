"""Section tables: cl, cd and cm over incidence and Reynolds number, round the whole circle.

A table comes from a file of measured or constructed values, or from a few parameters; past the
range of the data it continues as a stalled plate, so that a blade at any incidence has loads.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blownwing.airfoil.camber import naca_digits, thin_airfoil
from blownwing.errors import InputError

Array = NDArray[np.float64]

# Uniform over the circle: half a degree follows a soft stall and keeps a table in cache.
ALPHA_GRID: Array = np.radians(np.linspace(-180.0, 180.0, 721))
ALPHA_GRID.flags.writeable = False
COLUMNS = ("reynolds", "alpha_deg", "cl", "cd", "cm")
# Drag coefficient of the stalled section broadside on, for blades of aspect ratio about 10:
# 1.11 + 0.018 AR (Viterna & Corrigan 1982).
BROADSIDE_DRAG = 1.11 + 0.018 * 10.0
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
    """

    name: str
    source: str
    reynolds: Array
    alpha: Array
    cl: Array
    cd: Array
    cm: Array

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
        for values in (self.reynolds, self.alpha, self.cl, self.cd, self.cm):
            values.flags.writeable = False


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
    return SectionTable(
        name, source, levels, ALPHA_GRID, *_extended(alpha, [np.array(row) for row in rows])
    )


def law_coefficients(law: SectionLaw, alpha: Array, reynolds: float) -> tuple[Array, Array, Array]:
    """cl, cd and cm of a constructed section at `alpha` (rad) before the deep stall."""
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


def naca_section(name: str, reynolds: ArrayLike = (1e5, 3e5, 1e6, 3e6, 1e7)) -> SectionTable:
    """A NACA 4- or 5-digit section of handbook level, for early design when no polar exists.

    Zero-lift angle and moment are thin-airfoil theory's; slope 0.105 per degree, peak lift 1.6 at
    Re 6 million falling by 0.2 per decade, least drag 0.0060 there growing as Re^−0.2: levels of
    Abbott & von Doenhoff (1959), "Theory of Wing Sections", appendix IV, common practice for the
    trends. No thickness effect is included.

    Raises:
        InputError: not a NACA 4- or 5-digit name.
    """
    digits = naca_digits(name)
    if digits is None:
        raise InputError(f'section: found "{name}"; accepted is a NACA name such as "naca4412"')
    line = thin_airfoil(name)
    at_zero = -math.degrees(line.zero_lift_angle) * 0.105
    law = SectionLaw(
        zero_lift_angle=line.zero_lift_angle,
        lift_slope=math.degrees(0.105),
        clmax=1.6 + 0.15 * at_zero,
        clmin=-(1.6 - 0.85 * at_zero),
        cd_min=0.0060,
        cd_rise=0.0045,
        cl_best=0.5 * at_zero,
        cm=line.quarter_chord_moment,
        reynolds_reference=6e6,
        drag_exponent=0.2,
        peak_growth=0.2,
    )
    source = "constructed: thin-airfoil zero-lift angle, handbook levels of slope, peak and drag"
    return section_table(f"naca{digits}", law, reynolds, source)


def read_section(path: str | Path) -> SectionTable:
    """A section table from a CSV file.

    Lines starting with `#` are comments; one must be `# source: …`. Then a header
    `reynolds,alpha_deg,cl,cd,cm` and rows grouped by Reynolds number, incidence increasing. Data
    that stop short of ±180° are continued as a stalled plate, and must span −5° to 8° at least.

    Raises:
        InputError: naming file and line.
    """
    path = Path(path)
    source, rows = _read_rows(path)
    levels: list[float] = []
    tables: list[Array] = []
    grids: list[Array] = []
    for reynolds, group in groupby(rows, key=lambda row: row[1][0]):
        block = list(group)
        number = block[0][0]
        if reynolds <= 0.0 or (levels and reynolds <= levels[-1]):
            raise InputError(
                f"{path}, line {number}: found Reynolds number {reynolds:g}; accepted are values "
                "above 0 in increasing groups"
            )
        values = np.array([row[1] for row in block]).T
        alpha = np.radians(values[1])
        if np.any(np.diff(alpha) <= 0.0):
            at = block[int(np.argmax(np.diff(alpha) <= 0.0)) + 1][0]
            raise InputError(f"{path}, line {at}: incidence must increase within a Reynolds number")
        if values[1, 0] > -5.0 or values[1, -1] < 8.0:
            raise InputError(
                f"{path}, line {number}: found incidence from {values[1, 0]:g} to "
                f"{values[1, -1]:g} deg; accepted are tables spanning -5 to 8 deg at least"
            )
        if np.any(values[3] <= 0.0):
            at = block[int(np.argmax(values[3] <= 0.0))][0]
            raise InputError(f"{path}, line {at}: found cd not above 0; accepted is cd > 0")
        levels.append(reynolds)
        tables.append(values[2:])
        grids.append(alpha)
    columns = [_extended(a, [t]) for a, t in zip(grids, tables, strict=True)]
    cl, cd, cm = (np.concatenate([column[k] for column in columns]) for k in range(3))
    return SectionTable(path.stem, source, np.array(levels), ALPHA_GRID, cl, cd, cm)


def load_section(name: str, folder: str | Path = ".") -> SectionTable:
    """A section by NACA name, or from a file relative to `folder`.

    Raises:
        InputError: neither a NACA name nor a readable section file.
    """
    if naca_digits(name) is not None:
        return naca_section(name)
    return read_section(Path(folder) / name)


def write_section(path: str | Path, table: SectionTable, alpha_deg: ArrayLike) -> None:
    """Write a table at the given incidences (deg) in the form `read_section` reads."""
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


def _read_rows(path: Path) -> tuple[str, list[tuple[int, list[float]]]]:
    """The source line and the numbered rows of a section file."""
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: cannot be read as text ({error})") from None
    source, header, rows = "", False, []
    for number, line in enumerate(lines, start=1):
        if line.startswith("#"):
            if line[1:].strip().lower().startswith("source:"):
                source = line.split(":", 1)[1].strip()
            continue
        if not line.strip():
            continue
        words = [word.strip() for word in next(csv.reader([line]))]
        if not header:
            if tuple(words) != COLUMNS:
                raise InputError(
                    f'{path}, line {number}: found header "{line}"; accepted is '
                    f'"{",".join(COLUMNS)}"'
                )
            header = True
            continue
        try:
            values = [float(word) for word in words]
        except ValueError:
            values = []
        if len(values) != len(COLUMNS) or not np.all(np.isfinite(values)):
            raise InputError(
                f'{path}, line {number}: found "{line}"; accepted are five finite numbers '
                f"{','.join(COLUMNS)}"
            )
        rows.append((number, values))
    if not source:
        raise InputError(f'{path}: found no line "# source: …"; every table must name its source')
    if not rows:
        raise InputError(f'{path}: found no rows below the header "{",".join(COLUMNS)}"')
    return source, rows


def _extended(alpha: Array, rows: list[Array]) -> tuple[Array, Array, Array]:
    """Rows (3, n) of cl, cd, cm at `alpha` on the uniform grid, each (len(rows), n_a)."""
    result = np.empty((3, len(rows), len(ALPHA_GRID)))
    for k, row in enumerate(rows):
        inside = (ALPHA_GRID >= alpha[0]) & (ALPHA_GRID <= alpha[-1])
        for i in range(3):
            result[i, k] = np.interp(ALPHA_GRID, alpha, row[i])
        high, low = ALPHA_GRID > alpha[-1], ALPHA_GRID < alpha[0]
        if not np.all(inside):
            rear = float(np.interp(0.0, alpha, row[1])) * 2.0
            result[:, k, high] = _stalled(ALPHA_GRID[high], alpha[-1], row[:, -1], rear)
            mirror = np.array([-1.0, 1.0, -1.0])
            stalled = _stalled(-ALPHA_GRID[low], -alpha[0], mirror * row[:, 0], rear)
            result[:, k, low] = mirror[:, None] * stalled
    return result[0], result[1], result[2]


def _stalled(alpha: Array, start: float, at_start: Array, rear: float) -> Array:
    """cl, cd, cm (3, n) from the incidence `start` (rad, 0 to π/2) to π, continuous at `start`.

    Viterna & Corrigan (1982), "Fixed pitch rotor performance of large horizontal axis wind
    turbines", NASA CP-2230, up to 90°; the same mirrored with 0.7 of the lift for the reversed
    section, falling to no lift and the drag `rear` at 180° (common practice, no source). The
    moment moves towards a centre of pressure at half chord.
    """
    s, c = math.sin(start), math.cos(start)
    lift_rest = (at_start[0] - BROADSIDE_DRAG * s * c) * s / c**2
    drag_rest = (at_start[1] - BROADSIDE_DRAG * s * s) / c
    folded = np.where(alpha > 0.5 * math.pi, math.pi - alpha, alpha)
    reached = np.maximum(folded, start)
    sine, cosine = np.sin(reached), np.cos(reached)
    cl = 0.5 * BROADSIDE_DRAG * np.sin(2.0 * reached) + lift_rest * cosine**2 / sine
    cd = BROADSIDE_DRAG * sine**2 + drag_rest * cosine
    share = folded / start
    back = alpha > 0.5 * math.pi
    near_rear = back & (folded < start)
    cl = np.where(back, -0.7 * cl, cl)
    cl = np.where(near_rear, cl * share, cl)
    cd = np.where(near_rear, rear + (cd - rear) * share, cd)
    turn = np.clip((alpha - start) / (0.5 * math.pi - start), 0.0, 1.0)
    cm = at_start[2] + (-0.25 * BROADSIDE_DRAG - at_start[2]) * turn
    cm = np.where(back, -0.25 * BROADSIDE_DRAG * (math.pi - alpha) / (0.5 * math.pi), cm)
    return np.array([cl, np.maximum(cd, 1e-4), cm])
