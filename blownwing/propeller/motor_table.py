"""A motor known by measurement: efficiency over speed and torque, from a text file.

Kept and interpolated are the losses, which are smooth where the efficiency is not (it vanishes with
the torque): over torque by parabolas blended into one another, over speed by straight lines. The
losses of a motor of constant resistance and no-load current (Drela 2007, "First-Order DC Electric
Motor Model") are a parabola in torque and a straight line in speed; a table made from one gives its
answers back, between the rows too.
"""

from __future__ import annotations

import contextlib
import math
import re
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from blownwing.case.textfiles import TextRow, input_text, noted_source, table_rows
from blownwing.case.units import RPM
from blownwing.errors import InputError, SolveError
from blownwing.propeller.motor import MotorState

Array = NDArray[np.float64]

# Column -> unit -> factor to the unit it is kept in; the first unit is the usual one.
COLUMNS: dict[str, dict[str, float]] = {
    "speed": {"1/min": 1.0, "rpm": 1.0, "1/s": 60.0, "rad/s": 1.0 / RPM},
    "torque": {"N m": 1.0, "Nm": 1.0, "lbf ft": 4.4482216152605 * 0.3048},
    "efficiency": {"1": 1.0, "-": 1.0, "%": 0.01},
}
LEAST_SPEEDS, LEAST_TORQUES = 2, 3
_HEAD = re.compile(r"([A-Za-z]+)\s*(?:[\[(]\s*([^\])]*?)\s*[\])])?")
_EDGE = 1e-9


@dataclass(frozen=True)
class MotorTable:
    """A measured motor, its controller included if the efficiencies are those of both.

    Attributes:
        name, source: of the file.
        speeds: (n,) of the motor, 1/min, increasing.
        torques, losses: for each speed (m,) N m, increasing, and W.
    """

    name: str
    source: str
    speeds: Array
    torques: tuple[Array, ...]
    losses: tuple[Array, ...]

    def loss(self, speed: float, torque: float) -> float:
        """Power lost, W.

        Below the least torque of the rows their loss is held: it grows with torque, so that it is
        the most that it can be. Beyond the other ends of the table there is no answer.

        Args:
            speed: of the motor, 1/min. torque: N m, 0 or more.

        Raises:
            SolveError: outside the table; says how far that goes.
        """
        low, high = float(self.speeds[0]), float(self.speeds[-1])
        if not low * (1.0 - _EDGE) <= speed <= high * (1.0 + _EDGE):
            raise SolveError(
                f"a motor speed of {speed:.0f} 1/min lies beyond the table {self.name}, which goes "
                f"from {low:.0f} to {high:.0f} 1/min; it is not extrapolated"
            )
        speed = min(max(speed, low), high)
        k = min(max(int(np.searchsorted(self.speeds, speed)) - 1, 0), len(self.speeds) - 2)
        share = (speed - self.speeds[k]) / (self.speeds[k + 1] - self.speeds[k])
        parts = [(k, 1.0 - float(share)), (k + 1, float(share))]
        parts = [(index, weight) for index, weight in parts if weight > 0.0]
        most = min(float(self.torques[index][-1]) for index, _ in parts)
        if not 0.0 <= torque <= most * (1.0 + _EDGE):
            raise SolveError(
                f"a motor torque of {torque:.4g} N m at {speed:.0f} 1/min lies beyond the table "
                f"{self.name}, which goes up to {most:.4g} N m there; it is not extrapolated"
            )
        return sum(
            weight * _curved(self.torques[index], self.losses[index], torque)
            for index, weight in parts
        )

    def drawn(self, speed: float, torque: float) -> float:
        """Electrical power, W, at a motor speed (1/min) and torque (N m); see `loss`."""
        return torque * speed * RPM + self.loss(speed, torque)

    def efficiency(self, speed: float, torque: float) -> float:
        """Shaft power over electrical power at a motor speed (1/min) and torque (N m)."""
        return torque * speed * RPM / self.drawn(speed, torque)


@dataclass(frozen=True)
class GearedTable:
    """A measured motor behind a gear; gear: motor speed over propeller speed."""

    table: MotorTable
    gear: float = 1.0


def table_state(drive: GearedTable, torque: float, omega: float) -> MotorState:
    """State of a motor at a propeller's torque (N m) and omega (rad/s).

    Raises:
        SolveError: outside the table.
    """
    shaft = torque * omega
    drawn = drive.table.drawn(drive.gear * omega / RPM, torque / drive.gear)
    power, ratio = np.asarray(drawn), np.asarray(shaft / drawn)
    return MotorState(None, None, power, np.asarray(shaft), ratio, None)


def table_map(drive: GearedTable, torque: Array, omega: Array) -> Array:
    """Efficiency over a propeller's torque and omega: (n_q, n_w), NaN off the table.

    torque: (n_q,) N m. omega: (n_w,) rad/s.

    NaN marks what was not measured, for drawing; below the least torque nothing is drawn either.
    """
    table, gear = drive.table, drive.gear
    values = np.full((len(torque), len(omega)), math.nan)
    for k, rate in enumerate((gear * omega / RPM).tolist()):
        least = float(np.interp(rate, table.speeds, [q[0] for q in table.torques]))
        for i, load in enumerate((torque / gear).tolist()):
            if load >= least:
                with contextlib.suppress(SolveError):
                    values[i, k] = table.efficiency(rate, load)
    return values


def _curved(x: Array, y: Array, at: float) -> float:
    """Cubic whose slopes at the nodes are those of the parabola through three of them.

    Exact for parabolas on any nodes; below the first node the first value.
    """
    from scipy.interpolate import CubicHermiteSpline

    at = min(max(at, float(x[0])), float(x[-1]))
    k = min(max(int(np.searchsorted(x, at)) - 1, 0), len(x) - 2)
    slopes = np.gradient(y, x, edge_order=2)
    pick = slice(k, k + 2)
    return float(CubicHermiteSpline(x[pick], y[pick], slopes[pick])(at))


def read_motor_table(path: str | Path) -> MotorTable:
    """A measured motor from a CSV file.

    Lines starting with `#` are comments; one must be `# source: …`. Then a header that names the
    columns with their units in brackets, `speed [1/min],torque [N m],efficiency [1]` where none are
    given, and rows: those of one speed together, in order of torque, speeds in order.

    Raises:
        InputError: naming file and line: unknown columns or units, rows that repeat or are out of
            order, an efficiency that cannot be, too few rows.
    """
    path = Path(path)
    try:
        state = path.stat()
    except OSError:
        input_text(path)  # says what is wrong with it
        raise
    return _remembered(str(path), state.st_mtime_ns, state.st_size)


@lru_cache(maxsize=32)
def _remembered(name: str, _changed: int, _size: int) -> MotorTable:
    path = Path(name)
    notes, lines = table_rows(path)
    head = _header(lines[0].where, lines[0].words) if lines else {}
    curves: list[tuple[float, list[tuple[float, float]]]] = []
    for row in lines[1:]:
        _add(row.where, curves, *_row(row, head))
    source = noted_source(path, notes, "table")
    if len(curves) < LEAST_SPEEDS:
        raise InputError(
            f"{path}: found {len(curves)} speeds; accepted are {LEAST_SPEEDS} or more, each with "
            f"{LEAST_TORQUES} torques or more"
        )
    for speed, points in curves:
        if len(points) < LEAST_TORQUES:
            raise InputError(
                f"{path}: found {len(points)} torques at {speed:g} 1/min; accepted are "
                f"{LEAST_TORQUES} or more at each speed"
            )
    speeds = np.array([speed for speed, _ in curves])
    torques = tuple(np.array([torque for torque, _ in points]) for _, points in curves)
    losses = tuple(
        np.array([t * speed * RPM * (1.0 / eta - 1.0) for t, eta in points])
        for speed, points in curves
    )
    for (speed, points), lost in zip(curves, losses, strict=True):
        for (before, after), (q, _) in zip(pairwise(lost.tolist()), points[1:], strict=True):
            if after < before * (1.0 - 0.02):
                raise InputError(
                    f"{path}: found a loss of {after:.4g} W at {speed:g} 1/min and {q:g} N m, less "
                    f"than the {before:.4g} W at the torque before; accepted are losses that grow"
                )
    return MotorTable(path.name, source, speeds, torques, losses)


def _header(where: str, words: list[str]) -> dict[str, tuple[int, float]]:
    """Place and factor of each column."""
    head: dict[str, tuple[int, float]] = {}
    for place, word in enumerate(words):
        match = _HEAD.fullmatch(word)
        name = match[1].lower() if match else ""
        if match is None or name not in COLUMNS:
            raise InputError(
                f'{where}: found column "{word}"; accepted are {", ".join(COLUMNS)}, with their '
                'units in brackets, as in "torque [N m]"'
            )
        if name in head:
            raise InputError(f"{where}: found column {name} twice; accepted is once")
        unit = match[2] if match[2] is not None else next(iter(COLUMNS[name]))
        if unit not in COLUMNS[name]:
            raise InputError(
                f'{where}: found unit "{unit}" of {name}; accepted are {", ".join(COLUMNS[name])}'
            )
        head[name] = place, COLUMNS[name][unit]
    missing = [name for name in COLUMNS if name not in head]
    if missing:
        raise InputError(
            f"{where}: found no column {' or '.join(missing)}; accepted are {', '.join(COLUMNS)}"
        )
    return head


def _row(row: TextRow, head: dict[str, tuple[int, float]]) -> tuple[float, float, float]:
    """Speed (1/min), torque (N m) and efficiency of a row."""
    where, line, words, _ = row
    try:
        if len(words) != len(head):
            raise ValueError
        places = [head[name] for name in COLUMNS]
        speed, torque, eta = (float(words[place]) * factor for place, factor in places)
    except ValueError:
        speed = torque = eta = math.nan
    if not all(map(math.isfinite, (speed, torque, eta))):
        raise InputError(
            f'{where}: found "{line.strip()[:60]}"; accepted are {len(head)} finite numbers'
        )
    if not (speed > 0.0 and torque > 0.0):
        raise InputError(
            f"{where}: found {speed:g} 1/min and {torque:g} N m; accepted are above 0, where a "
            "motor has an efficiency"
        )
    if not 0.0 < eta <= 1.0:
        raise InputError(
            f"{where}: found an efficiency of {eta:g}; accepted is above 0 and at most 1 (a column "
            "in percent says so in its header, efficiency [%])"
        )
    return speed, torque, eta


def _add(
    where: str,
    curves: list[tuple[float, list[tuple[float, float]]]],
    speed: float,
    torque: float,
    eta: float,
) -> None:
    """Put a row to the rows of its speed, checked for order."""
    if not curves or speed > curves[-1][0]:
        curves.append((speed, [(torque, eta)]))
        return
    if speed < curves[-1][0]:
        raise InputError(
            f"{where}: found {speed:g} 1/min after {curves[-1][0]:g}; accepted are the rows of one "
            "speed together, speeds in order"
        )
    last = curves[-1][1][-1][0]
    if torque <= last:
        raise InputError(
            f"{where}: found {torque:g} N m after {last:g} at {speed:g} 1/min; accepted are the "
            "rows of one speed in order of torque, each once"
        )
    curves[-1][1].append((torque, eta))
