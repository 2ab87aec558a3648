"""A propeller's measured performance: CT and CP over advance ratio, from a text file.

The table is the propeller; nothing is fitted to it. Between its rows runs a cubic that never
overshoots (Fritsch & Carlson 1980, "Monotone piecewise cubic interpolation", SIAM Journal on
Numerical Analysis 17, 238-246), between rotor speeds a straight line over their logarithm, between
blade angles a straight line. It ends where its rows end.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from blownwing.case.textfiles import TextRow, noted_source, table_rows
from blownwing.case.units import RPM
from blownwing.errors import InputError, SolveError

if TYPE_CHECKING:
    from scipy.interpolate import PchipInterpolator

Array = NDArray[np.float64]

# Column -> unit -> factor to the unit it is kept in; the first unit is that one.
COLUMNS: dict[str, dict[str, float]] = {
    "J": {"1": 1.0, "-": 1.0},
    "CT": {"1": 1.0, "-": 1.0},
    "CP": {"1": 1.0, "-": 1.0},
    "CQ": {"1": 1.0, "-": 1.0},
    "rpm": {"1/min": 1.0, "rpm": 1.0, "1/s": 60.0, "Hz": 60.0, "rad/s": 1.0 / RPM},
    "reynolds": {"1": 1.0, "-": 1.0},
    "pitch": {"deg": 1.0, "rad": 180.0 / math.pi},
}
_HEAD = re.compile(r"\s*([A-Za-z]+)\s*(?:[\[(]\s*([^\])]*?)\s*[\])])?\s*")
ONE_SPEED = 0.015  # relative spread of rotor speeds within one run of a wind tunnel
LEAST_ROWS = 4
_ROUNDING = 0.02  # by which measured power may fall short of the ideal disc's


@dataclass(frozen=True)
class Curve:
    """CT and CP over J at one rotor speed (or Reynolds number) and blade angle."""

    level: float  # 1/min, or the Reynolds number; 0 where the table has neither
    advance: Array  # (n,) increasing
    values: Array  # (n, 2) CT and CP
    fit: PchipInterpolator


@dataclass(frozen=True)
class PerformanceTable:
    """A measured propeller.

    Attributes:
        name, source: of the file.
        by: what tells the curves of one blade angle apart: "rpm", "reynolds" or "".
        chord: c/R at r/R = 0.75, which a Reynolds number needs; None where not given.
        pitches: (n_p,) blade angles, deg, increasing; empty where the table has none.
        families: for each blade angle its curves, of increasing level.
        zero_thrust: (n_p or 1,) J at which CT vanishes; extrapolated where the table ends before.
    """

    name: str
    source: str
    by: str
    chord: float | None
    pitches: tuple[float, ...]
    families: tuple[tuple[Curve, ...], ...]
    zero_thrust: tuple[float, ...]

    @property
    def advance_range(self) -> tuple[float, float]:
        """Least and largest J of any row."""
        curves = [curve for family in self.families for curve in family]
        return min(c.advance[0] for c in curves), max(c.advance[-1] for c in curves)

    def blend(self, level: float, pitch: float) -> list[tuple[Curve, float]]:
        """Curves and weights that make up a rotor speed (or Reynolds number) and blade angle.

        Args:
            level: 1/min or Reynolds number; beyond the table's it is held at the nearest one.
            pitch: deg.

        Raises:
            InputError: a blade angle that the table does not reach.
        """
        result = []
        for index, share in self._angles(pitch):
            family = self.families[index]
            logs = [math.log(curve.level) for curve in family] if self.by else [0.0]
            flat = math.log1p(ONE_SPEED)
            for k, part in _between(logs, math.log(level) if self.by else 0.0, flat):
                result.append((family[k], share * part))
        return [(curve, weight) for curve, weight in result if weight > 0.0]

    def _angles(self, pitch: float) -> list[tuple[int, float]]:
        if not self.pitches:
            if pitch != 0.0:
                raise InputError(
                    f"{self.name}: found a pitch of {pitch:g} deg for a table without blade "
                    "angles; accepted is none"
                )
            return [(0, 1.0)]
        low, high = self.pitches[0], self.pitches[-1]
        if not low - 1e-9 <= pitch <= high + 1e-9:
            raise InputError(
                f"{self.name}: found a pitch of {pitch:g} deg; the table's blade angles go from "
                f"{low:g} to {high:g} deg, and the case's pitch is one of these"
            )
        return _between(self.pitches, pitch)

    def zero_thrust_at(self, pitch: float) -> float:
        """J at which CT vanishes, about, for a blade angle in deg."""
        return sum(share * self.zero_thrust[k] for k, share in self._angles(pitch))

    def coefficients(self, advance: float, level: float, pitch: float = 0.0) -> tuple[float, float]:
        """CT and CP.

        Args:
            advance: J. level: 1/min or Reynolds number, whichever the table has. pitch: deg.

        Raises:
            InputError: a blade angle that the table does not reach.
            SolveError: an advance ratio that the table does not reach there.
        """
        parts = self.blend(level, pitch)
        low, high = reach(parts)
        if not low - 1e-12 <= advance <= high + 1e-12:
            at = {"rpm": f" at {level:.0f} rpm", "reynolds": f" at Re {level:.3g}"}.get(self.by, "")
            raise SolveError(
                f"J = {advance:.4g} lies beyond the table {self.name}, which goes from J = "
                f"{low:.4g} to {high:.4g}{at}; it is not extrapolated"
            )
        ct, cp = blended(parts, advance)
        return ct, cp


def reach(parts: Sequence[tuple[Curve, float]]) -> tuple[float, float]:
    """Advance ratios that all of these curves have, the first and the last.

    parts: curves and their weights, which count as 1 together.
    """
    return max(c.advance[0] for c, _ in parts), min(c.advance[-1] for c, _ in parts)


def blended(parts: Sequence[tuple[Curve, float]], advance: float) -> tuple[float, float]:
    """CT and CP of a blend within its `reach`.

    parts: curves and their weights. advance: J; outside a curve its end is taken.
    """
    ct = cp = 0.0
    for curve, weight in parts:
        values = curve.fit(min(max(advance, curve.advance[0]), curve.advance[-1]))
        ct, cp = ct + weight * float(values[0]), cp + weight * float(values[1])
    return ct, cp


def _between(grid: Sequence[float], value: float, flat: float = 0.0) -> list[tuple[int, float]]:
    """The one or two places of an increasing grid about a value, with their shares.

    Within `flat` of a place only that one counts: a run's rotor speed was not quite constant.
    """
    if value <= grid[0]:
        return [(0, 1.0)]
    if value >= grid[-1]:
        return [(len(grid) - 1, 1.0)]
    k = int(np.searchsorted(grid, value)) - 1
    if grid[k + 1] - grid[k] <= 2.0 * flat:
        flat = 0.0
    share = (value - grid[k] - flat) / (grid[k + 1] - grid[k] - 2.0 * flat)
    share = min(max(share, 0.0), 1.0)
    return [(k, 1.0 - share), (k + 1, share)]


def ideal_power(advance: float, thrust: float) -> float:
    """Least CP that momentum theory allows with CT at J: CT (J/2 + √(J²/4 + 2 CT/π)), or J CT.

    advance: J, 0 or more. thrust: CT; braking below 0.

    Source: Glauert (1935), in Durand, "Aerodynamic Theory" IV, division L, chapter II; a braking
    propeller cannot give the shaft more than the air loses by its drag.
    """
    if thrust <= 0.0:
        return advance * thrust
    return thrust * (0.5 * advance + math.sqrt(0.25 * advance**2 + 2.0 * thrust / math.pi))


def read_performance(path: str | Path) -> PerformanceTable:
    """A measured propeller from a CSV file.

    Lines starting with `#` are comments; one must be `# source: …`. Then a header that names the
    columns, with units in brackets where they are not the usual ones: `J`, `CT` and `CP` (or `CQ`),
    and if known `rpm` (`[1/min]`, `[1/s]`, `[rad/s]`) or `reynolds` (of the chord at r/R = 0.75,
    with a line `# chord: c/R` there), and `pitch` (`[deg]`, `[rad]`), the blade angle. Rows of one
    blade angle and rotor speed stand together in order of J; speeds within 1.5 % are one. Rows at
    J = 0, at whatever rotor speeds, serve every curve of their blade angle.

    Raises:
        InputError: naming file and line: unknown columns or units, rows that repeat, are out of
            order or cannot be (more thrust power than shaft power), too few rows.
    """
    path = Path(path)
    try:
        state = path.stat()
    except OSError as error:
        raise InputError(f"{path}: cannot be read as text ({error})") from None
    return _remembered(str(path), state.st_mtime_ns, state.st_size)


@lru_cache(maxsize=32)
def _remembered(name: str, _changed: int, _size: int) -> PerformanceTable:
    path = Path(name)
    notes, names, rows = _read(path)
    source = noted_source(path, notes, "table")
    by = next((key for key in ("rpm", "reynolds") if key in names), "")
    chord = _chord(path, notes, by)
    for row in rows:
        _check_row(path, row)
    angles = sorted({row.pitch for row in rows})
    families = []
    for angle in angles:
        own = [row for row in rows if row.pitch == angle]
        families.append(_family(path, own, by, angle if "pitch" in names else None))
    return PerformanceTable(
        name=path.name,
        source=source,
        by=by,
        chord=chord,
        pitches=tuple(angles) if "pitch" in names else (),
        families=tuple(families),
        zero_thrust=tuple(_zero_thrust(family) for family in families),
    )


@dataclass(frozen=True)
class _Row:
    line: int
    advance: float
    thrust: float
    power: float
    level: float
    pitch: float


def _read(path: Path) -> tuple[dict[str, str], list[str], list[_Row]]:
    notes, lines = table_rows(path)
    if len(lines) < 2:
        raise InputError(f'{path}: found no rows; accepted is a header such as "J,CT,CP" and rows')
    head = _header(lines[0].where, lines[0].words)
    return notes, [name for name, _ in head], [_row(head, row) for row in lines[1:]]


def _header(where: str, words: list[str]) -> list[tuple[str, float]]:
    """Names of the columns and their factors."""
    known = {name.lower(): name for name in COLUMNS}
    result: list[tuple[str, float]] = []
    for word in words:
        match = _HEAD.fullmatch(word)
        name = known.get(match[1].lower()) if match else None
        if match is None or name is None:
            raise InputError(
                f'{where}: found column "{word.strip()}"; accepted are {", ".join(COLUMNS)}, '
                'with a unit in brackets where needed, as in "rpm [1/s]"'
            )
        unit = match[2] if match[2] is not None else next(iter(COLUMNS[name]))
        if unit not in COLUMNS[name]:
            raise InputError(
                f'{where}: found unit "{unit}" of {name}; accepted are {", ".join(COLUMNS[name])}'
            )
        result.append((name, COLUMNS[name][unit]))
    names = [name for name, _ in result]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise InputError(f"{where}: found column {twice} twice; accepted is once")
    for group in (("J",), ("CT",), ("CP", "CQ")):
        if sum(name in names for name in group) != 1:
            raise InputError(f"{where}: accepted is exactly one column {' or '.join(group)}")
    if "rpm" in names and "reynolds" in names:
        raise InputError(f"{where}: found rpm and reynolds; accepted is one of them")
    return result


def _row(head: list[tuple[str, float]], row: TextRow) -> _Row:
    where, line, words, number = row
    try:
        if len(words) != len(head):
            raise ValueError
        values = {
            name: float(word) * factor for (name, factor), word in zip(head, words, strict=True)
        }
        if not all(map(math.isfinite, values.values())):
            raise ValueError
    except ValueError:
        raise InputError(
            f'{where}: found "{line.strip()}"; accepted are {len(head)} finite numbers, '
            f"{', '.join(name for name, _ in head)}"
        ) from None
    level = values.get("rpm", values.get("reynolds", 0.0))
    if level <= 0.0 and ("rpm" in values or "reynolds" in values):
        raise InputError(f"{where}: found {level:g} rpm or Reynolds number; accepted is above 0")
    power = values["CP"] if "CP" in values else 2.0 * math.pi * values["CQ"]
    return _Row(number, values["J"], values["CT"], power, level, values.get("pitch", 0.0))


def _chord(path: Path, notes: dict[str, str], by: str) -> float | None:
    if by != "reynolds":
        return None
    try:
        chord = float(notes["chord"])
    except (KeyError, ValueError):
        chord = math.nan
    if not 0.0 < chord < 2.0:
        raise InputError(
            f'{path}: Reynolds numbers need a line "# chord: VALUE", the blade\'s c/R at r/R = 0.75'
        )
    return chord


def _check_row(path: Path, row: _Row) -> None:
    """No row beyond the ideal disc: efficiency, figure of merit, power from braking."""
    least = ideal_power(row.advance, row.thrust)
    short = least - row.power
    if short <= _ROUNDING * abs(least) + 1e-4:
        return
    values = f"CT {row.thrust:g} and CP {row.power:g} at J {row.advance:g}"
    where = f"{path}, line {row.line}: found {values}"
    if row.thrust > 0.0 and row.power > 0.0 and row.advance * row.thrust > row.power:
        eta = row.advance * row.thrust / row.power
        raise InputError(f"{where}, an efficiency of {eta:.3g}; accepted is below 1")
    if row.thrust <= 0.0:
        raise InputError(
            f"{where}, more power than the drag takes from the air; accepted is a CP of at least J "
            f"CT, {least:.4g}"
        )
    raise InputError(
        f"{where}; accepted is a CP of at least {least:.4g}, what an ideal disc would need"
    )


def _family(path: Path, rows: list[_Row], by: str, angle: float | None) -> tuple[Curve, ...]:
    """Curves of one blade angle, of increasing level; rows at J = 0 serve them all."""
    at = "" if angle is None else f" at a pitch of {angle:g} deg"
    runs = _runs(path, rows, by, at)
    alone = [run for run in runs if len(run) == 1 and run[0].advance == 0.0]
    still = sorted((run[0] for run in alone), key=lambda row: row.level)
    curves: list[Curve] = []
    for run in runs:
        if run in alone:
            continue
        level = math.exp(sum(math.log(r.level) for r in run) / len(run)) if by else 0.0
        points = [(r.advance, r.thrust, r.power) for r in run]
        if still and points[0][0] > 0.0:
            logs = [math.log(row.level) if by else 0.0 for row in still]
            place = math.log(level) if by else 0.0
            thrust = float(np.interp(place, logs, [row.thrust for row in still]))
            power = float(np.interp(place, logs, [row.power for row in still]))
            points.insert(0, (0.0, thrust, power))
        if len(points) < LEAST_ROWS:
            speed = f" near {level:g} {'rpm' if by == 'rpm' else by}" if by else ""
            raise InputError(
                f"{path}, line {run[0].line}: found {len(points)} rows{speed}{at}; accepted are "
                f"{LEAST_ROWS} advance ratios or more"
            )
        curves.append(_curve(level, np.array(points)))
    if not curves:
        raise InputError(
            f"{path}: found rows at J = 0 only{at}; accepted are {LEAST_ROWS} advance ratios or "
            "more"
        )
    return tuple(sorted(curves, key=lambda curve: curve.level))


def _curve(level: float, points: Array) -> Curve:
    from scipy.interpolate import PchipInterpolator

    advance, values = points[:, 0], points[:, 1:]
    return Curve(level, advance, values, PchipInterpolator(advance, values))


def _runs(path: Path, rows: list[_Row], by: str, at: str) -> list[list[_Row]]:
    """Rows of one speed each, checked for order."""
    runs: list[list[_Row]] = []
    for row in rows:
        last = runs[-1] if runs else None
        if last is not None and (not by or abs(row.level / last[0].level - 1.0) <= ONE_SPEED):
            before = last[-1]
            if row.advance == before.advance == 0.0 and by:
                runs.append([row])  # static rows at neighbouring speeds stand for themselves
                continue
            if row.advance == before.advance:
                raise InputError(
                    f"{path}, line {row.line}: found J = {row.advance:g} again after line "
                    f"{before.line}{at}; accepted is one row for each J and speed"
                )
            if row.advance < before.advance:
                raise InputError(
                    f"{path}, line {row.line}: found J = {row.advance:g} after {before.advance:g}"
                    f"{at}; accepted are the rows of one speed together, in order of J"
                )
            last.append(row)
        else:
            runs.append([row])
    levels = sorted((run[0].level, run[0].line) for run in runs if len(run) > 1)
    for (low, _), (high, line) in pairwise(levels):
        if by and high / low - 1.0 <= ONE_SPEED:
            raise InputError(
                f"{path}, line {line}: found {high:g} {by} in a second place{at}; accepted are the "
                "rows of one speed together, in order of J"
            )
    return runs


def _zero_thrust(family: Sequence[Curve]) -> float:
    """J of no thrust by the curve that comes nearest to it."""
    curve = min(family, key=lambda c: float(np.min(np.abs(c.values[:, 0]))))
    advance, thrust = curve.advance, curve.values[:, 0]
    below = np.flatnonzero(thrust <= 0.0)
    k = int(below[0]) if below.size and below[0] > 0 else len(thrust) - 1
    fall = (thrust[k - 1] - thrust[k]) / (advance[k] - advance[k - 1])
    if not fall > 0.0:
        return float(advance[-1])
    return float(max(advance[k] + thrust[k] / fall, advance[0]))
