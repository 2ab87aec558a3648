"""Curves of CT, CP and efficiency over J, of blades and of measured tables alike."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blownwing.case.units import RPM
from blownwing.errors import InputError
from blownwing.propeller.map import PerformanceMap, interpolated, solved
from blownwing.propeller.measured import MeasuredRotor, table_level
from blownwing.propeller.performance import reach
from blownwing.propeller.rotor import AirState, Rotor

Array = NDArray[np.float64]

POINTS = 61
FARTHEST = 4.0  # J
LEAST_ANGLES = 4  # of a map: it is read by cubics through four lines


@dataclass(frozen=True)
class PerformanceCurve:
    """CT and CP over J of one rotor speed and blade angle.

    Attributes:
        rpm: 1/min; None of a table that does not know its own. pitch: deg, added to the twist of
            blades, the blade angle of a table; None of a table without.
        advance, thrust, power: (n,) J, CT, CP.
    """

    rpm: float | None
    pitch: float | None
    advance: Array
    thrust: Array
    power: Array

    @property
    def efficiency(self) -> Array:
        """(n,) J CT/CP; 0 where the propeller does not drive."""
        driving = (self.thrust > 0.0) & (self.power > 0.0)
        ratio = self.advance * self.thrust / np.where(driving, self.power, 1.0)
        return np.where(driving, ratio, 0.0)


def blade_curves(
    rotor: Rotor, air: AirState, omega: float, pitches: Sequence[float]
) -> list[PerformanceCurve]:
    """Curves of a rotor by blade elements, each from rest to a little beyond no thrust.

    Args:
        rotor, air: as for `solve_rotor`. omega: rad/s, above 0. pitches: deg, added to the twist.

    Raises:
        InputError: a rotor speed not above 0.
        SolveError: a point did not close.
    """
    if not 0.0 < omega < math.inf:
        raise InputError(f"propeller curves: found {omega:g} rad/s; accepted is above 0")
    found = []
    for pitch in pitches:
        angle = np.array([math.radians(pitch)])
        coarse = np.linspace(0.0, FARTHEST, 41)
        thrust = solved(rotor, air, omega, coarse, angle)[0, 0]
        braking = np.flatnonzero(thrust < 0.0)
        end = float(coarse[braking[0]]) if braking.size else FARTHEST
        advance = np.linspace(0.0, max(end, float(coarse[1])), POINTS)
        ct, cp = solved(rotor, air, omega, advance, angle)[:, 0]
        found.append(PerformanceCurve(omega / RPM, pitch, advance, ct, cp))
    return found


def table_curves(
    rotor: MeasuredRotor, air: AirState, omega: float | None
) -> list[PerformanceCurve]:
    """Curves of a measured table, each over the J that it has there.

    Args:
        rotor: the table with its sizes. air: for Reynolds numbers.
        omega: rad/s, blended as everywhere; None takes the table's own rotor speeds.

    Raises:
        InputError: no rotor speed for a table that tells its curves apart by Reynolds number.
    """
    table, found = rotor.table, []
    if omega is None and table.by == "reynolds":
        raise InputError(
            f"{table.name}: its curves are told apart by Reynolds number; a rotor speed is needed"
        )
    for index, family in enumerate(table.families):
        pitch = table.pitches[index] if table.pitches else None
        if omega is None:
            for curve in family:
                advance = np.linspace(curve.advance[0], curve.advance[-1], POINTS)
                ct, cp = np.asarray(curve.fit(advance)).T
                rpm = curve.level if table.by == "rpm" else None
                found.append(PerformanceCurve(rpm, pitch, advance, ct, cp))
        else:
            advance, values = _blended(rotor, air, omega, pitch or 0.0)
            rpm = omega / RPM if table.by else None
            found.append(PerformanceCurve(rpm, pitch, advance, *values))
    return found


def _blended(
    rotor: MeasuredRotor, air: AirState, omega: float, pitch: float
) -> tuple[Array, Array]:
    """J and (2, n) CT and CP at a rotor speed and blade angle, as far as the table goes."""
    table, turns = rotor.table, omega / (2.0 * math.pi)

    def ends(advance: float) -> tuple[float, float]:
        level = table_level(rotor, air, advance * turns * rotor.diameter, omega)
        return reach(table.blend(level, pitch))

    low, high = ends(0.0)[0], ends(table.advance_range[1])[1]
    advance = np.linspace(low, high, POINTS)
    return advance, _at(rotor, air, omega, pitch, advance)


def _at(rotor: MeasuredRotor, air: AirState, omega: float, pitch: float, advance: Array) -> Array:
    """(2, n) CT and CP of a table."""
    turns = omega / (2.0 * math.pi)
    rows = [
        rotor.table.coefficients(
            j, table_level(rotor, air, j * turns * rotor.diameter, omega), pitch
        )
        for j in advance.tolist()
    ]
    return np.array(rows).T


def table_map(
    rotor: MeasuredRotor, air: AirState, omega: float, points: int = 40
) -> PerformanceMap | None:
    """The map of a measured table over J and blade angle; None with fewer than four angles.

    Its pitch is the table's blade angle. It spans the advance ratios that all angles have.

    Args:
        rotor: the table with its sizes. air: for Reynolds numbers. omega: rad/s. points: over J.

    Raises:
        InputError: angles that have no advance ratios in common.
    """
    table = rotor.table
    if len(table.pitches) < LEAST_ANGLES:
        return None
    ranges = [_blended(rotor, air, omega, angle)[0] for angle in table.pitches]
    low, high = max(float(a[0]) for a in ranges), min(float(a[-1]) for a in ranges)
    if not low < high:
        raise InputError(f"{table.name}: its blade angles have no advance ratios in common")
    advance = np.linspace(low, high, points)
    angles = np.array(table.pitches)

    def values(at_angles: Array, at: Array) -> Array:
        rows = [_at(rotor, air, omega, float(angle), at) for angle in at_angles]
        return np.stack(rows, axis=1)

    grid = values(angles, advance)
    middle_j, middle_p = 0.5 * (advance[1:] + advance[:-1]), 0.5 * (angles[1:] + angles[:-1])
    at_p, at_j = np.meshgrid(middle_p, middle_j, indexing="ij")
    error = np.abs(interpolated(angles, advance, grid, at_p, at_j) - values(middle_p, middle_j))
    digest = hashlib.sha256(grid.tobytes() + angles.tobytes() + advance.tobytes())
    worst, usual = error.max(axis=(1, 2)), np.sqrt((error**2).mean(axis=(1, 2)))
    return PerformanceMap(
        advance_ratio=advance,
        pitch=np.radians(angles),
        thrust=grid[0].copy(),
        power=grid[1].copy(),
        omega=omega,
        diameter=rotor.diameter,
        blades=rotor.blades,
        density=air.density,
        thrust_error=(float(worst[0]), float(usual[0])),
        power_error=(float(worst[1]), float(usual[1])),
        key=digest.hexdigest(),
    )
