"""Performance maps: CT and CP over advance ratio and blade pitch, with a measured error."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blownwing.errors import InputError
from blownwing.kernels import blade as kernel
from blownwing.propeller.rotor import (
    ANGLE_TOLERANCE,
    AirState,
    Rotor,
    axial_inflow,
    integrated_loads,
)

Array = NDArray[np.float64]

ADVANCE_RATIOS = 40
PITCHES = 20


@dataclass(frozen=True)
class PerformanceMap:
    """CT and CP of a rotor at one rotor speed in one air.

    Attributes:
        advance_ratio: (n_j,) J = V/nD, increasing. pitch: (n_p,) added to the twist, rad.
        thrust, power: (n_p, n_j) CT = T/ρn²D⁴ and CP = P/ρn³D⁵.
        omega: rad/s. diameter: m. blades: number. density: kg/m³.
        thrust_error, power_error: interpolation errors (largest, root mean square) in CT and CP,
            measured against solves in the middle of every cell.
        key: fingerprint of rotor, air, speed and grid.
    """

    advance_ratio: Array
    pitch: Array
    thrust: Array
    power: Array
    omega: float
    diameter: float
    blades: int
    density: float
    thrust_error: tuple[float, float]
    power_error: tuple[float, float]
    key: str

    def __post_init__(self) -> None:
        for values in (self.advance_ratio, self.pitch, self.thrust, self.power):
            values.flags.writeable = False

    @property
    def efficiency(self) -> Array:
        """(n_p, n_j) J CT/CP; 0 where the propeller does not drive."""
        driving = (self.thrust > 0.0) & (self.power > 0.0)
        ratio = self.advance_ratio * self.thrust / np.where(driving, self.power, 1.0)
        return np.where(driving, ratio, 0.0)

    def coefficients(self, advance_ratio: ArrayLike, pitch: ArrayLike) -> tuple[Array, Array]:
        """CT and CP by piecewise cubic interpolation.

        Args:
            advance_ratio, pitch: J and rad, of one shape or broadcast together.

        Raises:
            InputError: outside the map.
        """
        j, p = np.broadcast_arrays(
            np.asarray(advance_ratio, dtype=np.float64), np.asarray(pitch, dtype=np.float64)
        )
        for values, grid, name in (
            (j, self.advance_ratio, "advance ratio"),
            (p, self.pitch, "pitch (rad)"),
        ):
            if not np.all((values >= grid[0] - 1e-12) & (values <= grid[-1] + 1e-12)):
                raise InputError(
                    f"performance map: found {name} from {values.min():g} to {values.max():g}; "
                    f"accepted is {grid[0]:g} to {grid[-1]:g}"
                )
        ct, cp = interpolated(
            self.pitch, self.advance_ratio, np.stack([self.thrust, self.power]), p, j
        )
        return ct, cp


def map_grid(
    advance_ratio: tuple[float, float] = (0.0, 1.2),
    pitch: tuple[float, float] = (math.radians(-10.0), math.radians(20.0)),
    n_advance: int = ADVANCE_RATIOS,
    n_pitch: int = PITCHES,
) -> tuple[Array, Array]:
    """Uniform grids of J and of pitch (rad), (n_advance,) and (n_pitch,).

    advance_ratio: first and last J, from 0 or more. pitch: first and last, rad, added to the twist.

    Raises:
        InputError: fewer than 4 points, or ends out of order.
    """
    if n_advance < 4 or n_pitch < 4:
        raise InputError(f"map: found {n_advance} by {n_pitch} points; accepted is 4 or more each")
    if not (0.0 <= advance_ratio[0] < advance_ratio[1] and pitch[0] < pitch[1]):
        raise InputError(
            f"map: found J from {advance_ratio[0]:g} to {advance_ratio[1]:g} and pitch from "
            f"{math.degrees(pitch[0]):g} to {math.degrees(pitch[1]):g} deg; accepted are rising "
            "ranges, J from 0"
        )
    return np.linspace(*advance_ratio, n_advance), np.linspace(*pitch, n_pitch)


def performance_map(
    rotor: Rotor, air: AirState, omega: float, advance_ratio: Array, pitch: Array
) -> PerformanceMap:
    """The map of a rotor at a rotor speed, every point solved by blade elements.

    Args:
        rotor: the rotor. air: density, viscosity, speed of sound.
        omega: rad/s.
        advance_ratio: (n_j,) increasing. pitch: (n_p,) rad, increasing; see `map_grid`.

    Raises:
        InputError: a rotor speed not above 0, or grids that do not increase.
        SolveError: a point did not close.
    """
    if not 0.0 < omega < math.inf:
        raise InputError(f"map: found omega {omega:g} rad/s; accepted is above 0")
    for grid in (advance_ratio, pitch):
        if len(grid) < 4 or np.any(np.diff(grid) <= 0.0):
            raise InputError("map: accepted are grids of 4 or more values that increase")
    values = solved(rotor, air, omega, advance_ratio, pitch)
    middle_j = 0.5 * (advance_ratio[1:] + advance_ratio[:-1])
    middle_p = 0.5 * (pitch[1:] + pitch[:-1])
    between = solved(rotor, air, omega, middle_j, middle_p)
    grid_p, grid_j = np.meshgrid(middle_p, middle_j, indexing="ij")
    error = np.abs(interpolated(pitch, advance_ratio, values, grid_p, grid_j) - between)
    worst = error.max(axis=(1, 2)).tolist()
    usual = np.sqrt((error**2).mean(axis=(1, 2))).tolist()
    return PerformanceMap(
        advance_ratio=advance_ratio.copy(),
        pitch=pitch.copy(),
        thrust=values[0],
        power=values[1],
        omega=omega,
        diameter=rotor.diameter,
        blades=rotor.blades,
        density=air.density,
        thrust_error=(worst[0], usual[0]),
        power_error=(worst[1], usual[1]),
        key=map_key(rotor, air, omega, advance_ratio, pitch),
    )


def map_key(rotor: Rotor, air: AirState, omega: float, advance_ratio: Array, pitch: Array) -> str:
    """Fingerprint of everything a map depends on, to reuse a stored one safely.

    omega: rad/s. advance_ratio: (n_j,). pitch: (n_p,) rad.
    """
    digest = hashlib.sha256()
    arrays = (rotor.geometry, rotor.stations, rotor.polars, rotor.log_reynolds)
    for values in (*arrays, advance_ratio, pitch):
        digest.update(np.ascontiguousarray(values).tobytes())
    scalars = (rotor.radius, rotor.blades, omega, air.density, air.viscosity, air.speed_of_sound)
    digest.update(repr(scalars).encode())
    return digest.hexdigest()


def solved(rotor: Rotor, air: AirState, omega: float, advance: Array, pitch: Array) -> Array:
    """(2, n_p, n_j) CT and CP of a rotor by blade elements, at a grid of J and pitch (rad).

    omega: rad/s. advance: (n_j,) J. pitch: (n_p,) rad. SolveError: a point did not close.
    """
    turns = omega / (2.0 * math.pi)
    unit = air.density * turns**2 * rotor.diameter**4
    result = np.empty((2, len(pitch), len(advance)))
    for k, j in enumerate(advance):
        inflow = axial_inflow(rotor, float(j) * turns * rotor.diameter).copy()
        for i, angle in enumerate(pitch):
            sums, _ = integrated_loads(
                rotor, air, omega, float(angle), 1.0, inflow, ANGLE_TOLERANCE
            )
            result[0, i, k] = sums[kernel.SUM_THRUST] / unit
            result[1, i, k] = 2.0 * math.pi * sums[kernel.SUM_TORQUE] / (unit * rotor.diameter)
    return result


def interpolated(rows: Array, columns: Array, values: Array, row: Array, column: Array) -> Array:
    """Values (k, n_rows, n_columns) on a grid at points: cubic through the four nearest lines.

    Lagrange's cubic of the four grid lines about the point, in both directions (third-order terms
    survive only where the blade stalls); at the grid's ends the last four lines serve.

    rows, columns: the grid's lines, increasing, four or more of each. row, column: the points, any
    one shape, which the result has behind its (k,).
    """
    i, along = _weights(rows, row)
    j, across = _weights(columns, column)
    result = np.zeros(values.shape[:1] + row.shape)
    for a in range(4):
        for b in range(4):
            result += along[a] * across[b] * values[:, i + a, j + b]
    return result


def _weights(grid: Array, x: Array) -> tuple[NDArray[np.int64], Array]:
    """First of the four grid lines about each point, and their Lagrange weights (4, …)."""
    first = np.clip(np.searchsorted(grid, x) - 2, 0, len(grid) - 4)
    nodes = grid[np.asarray(first)[None] + np.arange(4).reshape((4,) + (1,) * np.ndim(x))]
    weights = np.ones_like(nodes)
    for a in range(4):
        for b in range(4):
            if a != b:
                weights[a] *= (x - nodes[b]) / (nodes[a] - nodes[b])
    return first, weights
