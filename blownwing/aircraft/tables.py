"""Performance tables: forces over airspeed, thrust setting and incidence, solved once."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from blownwing.aircraft.configuration import Configuration
from blownwing.aircraft.driven import OVER
from blownwing.aircraft.polar import (
    FORCES,
    Balance,
    NotReached,
    Polar,
    balanced,
    check_tail,
    solved_polar,
    weights_at,
)
from blownwing.aircraft.power import motor_power, setting_thrust
from blownwing.case.model import Case
from blownwing.errors import InputError

Array = NDArray[np.float64]

_THRUST_NODES = 33  # airspeeds at which isolated propellers give the thrust available
_SEED = 20240501


@dataclass(frozen=True)
class Table:
    """Forces of one configuration; see `built_table`.

    Attributes:
        configuration: the phase.
        speeds: (v,) m/s. settings: (s,) of the thrust available. alphas: (a,) deg.
        values: (len(FORCES), v, s, a), forces over q S + T, moments over (q S + T) c_ref, power
            over the motors' power, angles and cl as they are; smooth from rest to cruise.
        thrust_speeds, thrust, held: (k,) airspeeds; thrust (N) available, within power and
            rotational speed, of the propellers that follow the lever, and that of those that hold
            a share of their own.
        rated: W, of all powered motors.
        errors: worst difference of the table from solves between its nodes: lift and excess force
            over the weight, power over the rated power.
        samples: number of those solves.
    """

    configuration: Configuration
    speeds: Array
    settings: Array
    alphas: Array
    values: Array
    thrust_speeds: Array
    thrust: Array
    held: Array
    rated: float
    errors: dict[str, float]
    samples: int

    @property
    def density(self) -> float:
        """kg/m³."""
        return self.configuration.case.air.density

    def total_thrust(self, speed: float, setting: float) -> float:
        """Thrust (N) of all powered propellers at a setting of the lever."""
        lever = float(np.interp(speed, self.thrust_speeds, self.thrust))
        return setting * lever + float(np.interp(speed, self.thrust_speeds, self.held))

    def setting_limit(self, speed: float) -> float:
        """Largest setting within the motors' power in the wing's flow; thrust has its limit at 1.

        To a thousandth of the power, at the incidences of steady flight.
        """
        flown = [a for a in self.alphas.tolist() if -1.0 <= a <= 16.0]

        def over(setting: float) -> float:
            drawn = max(at["power"] for at in map(self._along(speed, setting), flown))
            return drawn / self.rated - (1.0 + OVER)

        low, high = float(self.settings[0]), float(self.settings[-1])
        if over(high) <= 0.0 or over(low) >= 0.0:
            return high
        return float(brentq(over, low, high, xtol=1e-6))

    def forces(self, speed: float, setting: float, alpha: float) -> dict[str, float]:
        """Forces by the names of `FORCES`.

        Args:
            speed: m/s. setting: 0 to 1. alpha: deg.

        Raises:
            SolveError: outside the table.
        """
        return self._along(speed, setting)(alpha)

    def _along(self, speed: float, setting: float) -> Callable[[float], dict[str, float]]:
        """Forces over incidence, deg, at a speed, m/s, and setting."""
        v = weights_at(self.speeds, speed, "airspeed", "m/s")
        s = weights_at(self.settings, setting, "thrust setting", "of 1")
        rows = np.einsum("fvsa,v,s->fa", self.values, v, s)
        rows *= _scales(self, speed, setting)[:, None]

        def at(alpha: float) -> dict[str, float]:
            row = rows @ weights_at(self.alphas, alpha, "incidence", "deg")
            return dict(zip(FORCES, row.tolist(), strict=True))

        return at

    def balance(self, speed: float, setting: float, alpha: float) -> Balance:
        """The whole aircraft's balance of forces."""
        return balanced(self.configuration, self.forces(speed, setting, alpha), speed, self.density)

    def trimmed_alpha(self, speed: float, setting: float, lift: float) -> float:
        """Incidence (deg) at which the aircraft's lift has a value, N.

        Raises:
            NotReached: when no incidence of the table gives it, or the tail cannot balance it.
        """

        forces = self._along(speed, setting)

        def balance(alpha: float) -> Balance:
            return balanced(self.configuration, forces(alpha), speed, self.density)

        def error(alpha: float) -> float:
            return balance(alpha).lift - lift

        low, high = float(self.alphas[0]), float(self.alphas[-1])
        ends = error(low), error(high)
        if not ends[0] < 0.0 < ends[1]:
            raise NotReached(
                f"{self.configuration.phase.replace('_', '-')} at {speed:.1f} m/s: a lift of "
                f"{lift:.0f} N is not reached between {low:g} and {high:g} deg "
                f"({ends[0] + lift:.0f} to {ends[1] + lift:.0f} N)"
            )
        alpha = float(brentq(error, low, high, xtol=1e-10))
        check_tail(self.configuration, balance(alpha), speed)
        return alpha


def lift_slopes(table: Table, speed: float, setting: float, alpha: float) -> tuple[float, float]:
    """Slope dCL/dα (1/rad) of the wing, blown and without slipstreams, over two degrees.

    At the ends of the table over the part of them that lies inside it.

    speed: m/s. setting: share of the thrust available. alpha: deg. SolveError: outside the table.
    """
    low = max(alpha - 1.0, float(table.alphas[0]))
    high = min(alpha + 1.0, float(table.alphas[-1]))
    below, above = (table.forces(speed, setting, a) for a in (low, high))
    unit = 0.5 * table.density * speed**2 * table.configuration.area * math.radians(high - low)
    return (
        (above["lift"] - below["lift"]) / unit,
        (above["lift_unblown"] - below["lift_unblown"]) / unit,
    )


def _scales(table: Table, speed: float, setting: float) -> Array:
    """What each of `FORCES` is divided by in the table."""
    return _scale_row(
        table.configuration,
        speed,
        table.total_thrust(speed, setting),
        table.rated,
    )


def _scale_row(configuration: Configuration, speed: float, thrust: float, rated: float) -> Array:
    density = configuration.case.air.density
    force = 0.5 * density * speed * speed * configuration.area + thrust
    moment = force * configuration.case.wing.chord
    by_name = {"moment": moment, "roll": moment, "yaw": moment, "power": rated}
    by_name |= dict.fromkeys(("control", "tail_least", "tail_most"), 1.0)
    return np.array([by_name.get(name, force) for name in FORCES])


def spread(low: float, high: float, count: int) -> Array:
    """Nodes (count,) from low to high, denser toward the ends, for interpolation by polynomials.

    Source: Trefethen (2013), "Approximation Theory and Approximation Practice", chapter 2.
    """
    if count == 1:
        return np.array([high])
    return low + (high - low) * 0.5 * (1.0 - np.cos(np.linspace(0.0, math.pi, count)))


def built_table(
    case: Case,
    configuration: Configuration,
    speeds: Sequence[float],
    settings: Sequence[float],
    alphas: tuple[float, ...] | None = None,
    samples: int = 3,
) -> Table:
    """Solve the nodes of a table, and a few states between them to measure its error.

    Args:
        case: the user's, for the motors. configuration: the phase.
        speeds: m/s, in order. settings: shares of the thrust available, in
            order, one or more.
        alphas: deg, in order; absent: the phase's own.
        samples: solves between the nodes.

    Raises:
        InputError: for nodes out of order.
        SolveError: when a state does not converge.
    """
    alphas = configuration.alphas if alphas is None else alphas
    for nodes in (speeds, settings, alphas):
        if list(nodes) != sorted(set(nodes)):
            raise InputError("performance tables: found nodes out of order")
    grid = np.linspace(speeds[0], speeds[-1], _THRUST_NODES)
    full = [setting_thrust(case, configuration, v, 1.0) for v in grid.tolist()]
    rated = sum(motor_power(case, configuration, name) for name in configuration.powered)

    polars: dict[tuple[float, float], Polar] = {}
    first: Polar | None = None
    for speed in speeds:
        near = first
        for setting in settings:
            thrust = setting_thrust(case, configuration, speed, setting)
            near = solved_polar(configuration, speed, thrust, alphas, near=near)
            polars[speed, setting] = near
        first = polars[speed, settings[0]]
    scaled = [
        polar.values / _scale_row(configuration, v, polar.thrust, rated)[:, None]
        for (v, _), polar in polars.items()
    ]
    shape = (len(speeds), len(settings), len(FORCES), len(alphas))
    values = np.array(scaled).reshape(shape).transpose(2, 0, 1, 3)
    table = Table(
        configuration,
        np.array(speeds),
        np.array(settings),
        np.array(alphas),
        values,
        grid,
        np.array([sum(t for n, t in at.items() if n not in configuration.held) for at in full]),
        np.array([sum(t for n, t in at.items() if n in configuration.held) for at in full]),
        rated,
        {},
        samples,
    )
    errors = _measured(case, table, samples, polars)
    return Table(**{**vars(table), "errors": errors})


def _measured(
    case: Case, table: Table, samples: int, polars: Mapping[tuple[float, float], Polar]
) -> dict[str, float]:
    """Worst differences between table and direct solves at seeded places inside it.

    polars: of its speeds, m/s, and settings.
    """
    random = np.random.default_rng(_SEED)
    worst = {"lift": 0.0, "excess": 0.0, "power": 0.0}
    configuration = table.configuration
    for _ in range(samples):
        speed = float(random.uniform(table.speeds[0], table.speeds[-1]))
        low, high = float(table.settings[0]), float(table.settings[-1])
        setting = float(random.uniform(low, high))
        # the middle of the incidences, where the aircraft flies
        alpha = float(random.uniform(0.0, 12.0))
        thrust = setting_thrust(case, configuration, speed, setting)
        near = min(polars, key=lambda at: (abs(at[0] - speed), abs(at[1] - setting)))
        polar = solved_polar(configuration, speed, thrust, (alpha,), near=polars[near])
        exact = balanced(configuration, polar.at(alpha), speed, table.density)
        found = table.balance(speed, setting, alpha)
        weight = configuration.weight
        differences = {
            "lift": (found.lift - exact.lift) / max(weight, exact.lift),
            "excess": (found.excess - exact.excess) / weight,
            "power": (found.power - exact.power) / table.rated,
        }
        worst = {name: max(worst[name], abs(differences[name])) for name in worst}
    return worst
