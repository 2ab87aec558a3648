"""The mission: take-off, accelerations, climb, cruise, descent and reserve, integrated in time."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from blownwing.aircraft.climb import climb_state
from blownwing.aircraft.cruise import (
    CruiseState,
    ExcessThrust,
    cruise_state,
    level_setting,
)
from blownwing.aircraft.drive import drawn_power, take_off_energy
from blownwing.aircraft.power import motor_of
from blownwing.aircraft.tables import Table
from blownwing.aircraft.takeoff import TakeOffRun
from blownwing.case.air import GRAVITY
from blownwing.case.model import Case
from blownwing.errors import SolveError

Array = NDArray[np.float64]

_DESCENT = math.sin(math.radians(-3.0))  # path of the descent when nothing else is said
_POINTS = 21  # speeds of an acceleration


@dataclass(frozen=True)
class Segment:
    """A part of the mission: time s, distance m, climb m, energy from the battery J.

    `drag_work` is the work done against drag and `thrust_work` that of the propulsive force; their
    difference is the gain of potential and kinetic energy. `faster`: m/s gained. `power`: W, the
    most drawn from the battery. `load`: the most that powered motors give, of their power.
    """

    name: str
    time: float
    distance: float
    climb: float
    energy: float
    drag_work: float
    thrust_work: float
    faster: float
    power: float
    load: float


@dataclass(frozen=True)
class Mission:
    """All segments and the histories.

    Attributes:
        segments: in order. time, power, charge, altitude, speed, load: (n,) histories, s, W from
            the battery, J used, m, m/s, power of the powered motors over theirs.
        powered: by segment, names of the powered propellers.
        usable: J. range: m over the ground in still air, reserve not counted.
        work_closure: thrust work against drag work and the gain of height and speed, relative,
            airborne: of the integration, not of the forces (see `checks`).
    """

    segments: tuple[Segment, ...]
    time: Array
    power: Array
    charge: Array
    altitude: Array
    speed: Array
    load: Array
    powered: tuple[tuple[str, ...], ...]
    usable: float
    range: float
    work_closure: float

    @property
    def peak_power(self) -> float:
        """Most power drawn from the battery, W."""
        return float(self.power.max())


@dataclass(frozen=True)
class _Rates:
    """Steady flight: battery power W, ground speed m/s, climb m/s, drag and thrust power W."""

    power: float
    speed: float
    rise: float
    drag: float
    thrust: float


@dataclass(frozen=True)
class _Flight:
    """An integrated segment: time (n,) s, power (n,) W, states (5, n) as `_Rates` summed up,
    altitude m, airspeed m/s, load of the powered motors, who they are."""

    name: str
    time: Array
    power: Array
    states: Array
    altitude: Array
    speed: Array
    load: Array
    powered: tuple[str, ...]


@dataclass(frozen=True)
class Flown:
    """The tables that a mission is flown by; climb at the altitude of take-off and of cruise."""

    take_off: Table
    climb: tuple[Table, Table]
    cruise: Table
    descent: Table


def flown_mission(case: Case, run: TakeOffRun, tables: Flown, climb_speed: float) -> Mission:
    """Fly the mission with all usable energy; the cruise takes what the rest leaves.

    Take-off; level acceleration with take-off flaps, then clean, to the climb speed; climb to the
    cruise altitude; acceleration to the cruise speed; cruise; descent at cruise speed on 3 degrees
    (as far as zero thrust allows), its kinetic energy left unused; reserve at cruise power.

    Args:
        case: the user's. run: take-off. tables: of the phases. climb_speed: m/s, true.

    Raises:
        InputError: a propeller without a motor.
        SolveError: when the energy does not last for the rest, leaving no cruise.
    """
    aircraft, weight = tables.cruise.configuration.aircraft, tables.cruise.configuration.weight
    battery, setup = aircraft.battery, aircraft.cruise
    level = cruise_state(case, tables.cruise, setup.airspeed)
    base, top = aircraft.take_off.altitude, setup.altitude
    first = _take_off_flight(case, run, tables.take_off)
    screen = aircraft.take_off.screen_margin * run.stall_speed
    low, high = tables.climb
    clean = min(max(float(low.speeds[0]), screen), climb_speed)
    up = _accelerations(
        case,
        [(tables.take_off, screen, min(clean, float(tables.take_off.speeds[-1])), base),
         (low, clean, climb_speed, base)],
    )  # fmt: skip
    down: list[_Flight] = []
    if top > base:
        up.append(_climb(case, tables.climb, climb_speed, base, top))
        down = [_descent(case, tables.descent, setup.airspeed, top, base)]
    up += _accelerations(case, [(high, climb_speed, setup.airspeed, top)])
    reserve = _level(case, "reserve", tables.cruise, level, 60.0 * setup.reserve_time, top)
    spent = sum(float(f.states[0, -1]) for f in (first, *up, *down, reserve))
    left = battery.usable_energy - spent
    if left <= 0.0:
        raise SolveError(
            f"mission: take-off, climb, descent and reserve take {spent / 3.6e6:.1f} kWh of "
            f"{battery.usable_energy / 3.6e6:.1f} kWh usable, none is left to cruise"
        )
    cruise = _level(case, "cruise", tables.cruise, level, left / level.battery_power, top)
    return _joined([first, *up, cruise, *down, reserve], battery.usable_energy, weight)


def _drawn(case: Case, table: Table, speed: float, setting: float, shaft: float) -> float:
    """Power (W) from the battery for a shaft power of a table's propellers."""
    systems = table.configuration.aircraft.battery.systems_power
    return drawn_power(case, table.configuration, speed, setting, max(shaft, 0.0)) + systems


def _load(case: Case, table: Table, shaft: float | Array) -> Array:
    """Shaft power of the powered motors over what they can give, whatever the battery feeds."""
    own = sum(motor_of(case, name).power for name in table.configuration.powered)
    return np.asarray(np.maximum(shaft, 0.0) / own)


def _take_off_flight(case: Case, run: TakeOffRun, table: Table) -> _Flight:
    """The take-off at its mean power, from rest to the screen."""
    length = run.roll.time + run.rotation / max(run.lift_off, 1e-9) + run.airborne.time
    time = np.array([0.0, length])
    energy = take_off_energy(case, table.configuration, run)
    systems = table.configuration.aircraft.battery.systems_power
    power = np.full(2, energy / length + systems)
    setup = table.configuration.aircraft.take_off
    states = np.zeros((5, 2))
    states[:, 1] = power[0] * length, run.distance, setup.obstacle, 0.0, 0.0
    altitude = setup.altitude + np.array([0.0, setup.obstacle])
    speed = np.array([0.0, setup.screen_margin * run.stall_speed])
    load = _load(case, table, np.full(2, run.energy / length))
    return _Flight(
        "take-off", time, power, states, altitude, speed, load, table.configuration.powered
    )


def _accelerations(case: Case, parts: list[tuple[Table, float, float, float]]) -> list[_Flight]:
    """Level accelerations at full setting between airspeeds (m/s) at an altitude (m), joined."""
    flights = []
    for table, start, end, altitude in parts:
        if end - start > 1e-3:
            flights.append(_acceleration(case, table, start, end, altitude))
    return flights


def _acceleration(case: Case, table: Table, start: float, end: float, altitude: float) -> _Flight:
    speeds = np.linspace(start, end, _POINTS)
    weight = table.configuration.weight
    rows = []
    for speed in speeds.tolist():
        setting = table.setting_limit(speed)
        state = table.balance(speed, setting, table.trimmed_alpha(speed, setting, weight))
        if state.excess <= 0.0:
            raise SolveError(
                f"mission: at {speed:.1f} m/s full power no longer accelerates the aircraft to "
                f"{end:.1f} m/s in {table.configuration.phase.replace('_', '-')} configuration"
            )
        drawn = _drawn(case, table, speed, setting, state.power)
        rows.append((state.excess, state.drag, state.power, drawn))
    excess, drag, shaft, power = np.array(rows).T
    pace = weight / GRAVITY / excess  # dt/dV
    time = _summed(pace, speeds)
    rates = np.array([power, speeds, np.zeros_like(speeds), drag * speeds,
                      (excess + drag) * speeds])  # fmt: skip
    states = np.array([_summed(row * pace, speeds) for row in rates])
    return _Flight(
        "acceleration", time, power, states, np.full_like(speeds, altitude), speeds,
        _load(case, table, shaft), table.configuration.powered,
    )  # fmt: skip


def _summed(values: Array, x: Array) -> Array:
    """Integral of a smooth curve from its start to each of its points (cubic spline)."""
    from scipy.interpolate import CubicSpline

    whole = CubicSpline(x, values).antiderivative()
    return np.asarray(whole(x) - whole(x[0]))


def _climb(
    case: Case, tables: tuple[Table, Table], speed: float, base: float, top: float
) -> _Flight:
    ends = [_climbing(case, table, speed) for table in tables]
    if min(rates.rise for rates, _ in ends) <= 0.0:
        raise SolveError(f"mission: no climb to {top:.0f} m at {speed:.1f} m/s")
    return _through(case, "climb", tables[0], (ends[0], ends[1]), speed, base, top)


def _climbing(case: Case, table: Table, speed: float) -> tuple[_Rates, float]:
    state = climb_state(table, speed)
    setting = table.setting_limit(speed)
    balance = table.balance(speed, setting, state.alpha)
    return _Rates(
        _drawn(case, table, speed, setting, balance.power),
        speed * math.sqrt(1.0 - state.gradient**2),
        state.rate,
        balance.drag * speed,
        (balance.excess + balance.drag) * speed,
    ), balance.power


def _descent(case: Case, table: Table, speed: float, top: float, base: float) -> _Flight:
    """Descent on 3 degrees at a speed, or as steep as zero thrust makes it."""
    weight = table.configuration.weight
    try:
        setting, alpha = level_setting(table, speed, _DESCENT)
    except ExcessThrust:
        setting = float(table.settings[0])
        alpha = table.trimmed_alpha(speed, setting, weight)
    balance = table.balance(speed, setting, alpha)
    sine = balance.excess / weight
    if sine >= 0.0:
        raise SolveError(f"mission: no descent at {speed:.1f} m/s at the lowest setting")
    rates = _Rates(
        _drawn(case, table, speed, setting, balance.power),
        speed * math.sqrt(1.0 - sine**2),
        sine * speed,
        balance.drag * speed,
        (balance.excess + balance.drag) * speed,
    )
    ends = (rates, balance.power)
    return _through(case, "descent", table, (ends, ends), speed, top, base)


def _level(
    case: Case, name: str, table: Table, level: CruiseState, duration: float, altitude: float
) -> _Flight:
    """Level flight at constant rates for a time, s."""
    work = level.drag * level.speed
    slope = np.array([level.battery_power, level.speed, 0.0, work, work])
    time = np.array([0.0, duration])
    both = np.ones(2)
    return _Flight(
        name, time, both * level.battery_power, slope[:, None] * time, both * altitude,
        both * level.speed, _load(case, table, both * level.shaft_power),
        table.configuration.powered,
    )  # fmt: skip


def _through(
    case: Case,
    name: str,
    table: Table,
    ends: tuple[tuple[_Rates, float], tuple[_Rates, float]],
    speed: float,
    start: float,
    end: float,
) -> _Flight:
    """Fly from one altitude to another, the rates changing evenly between them.

    Energy, distance, height and works are integrated over time until the altitude is reached.
    ends: rates and shaft power at both altitudes.
    """
    first, last = (np.array(list(vars(rates).values())) for rates, _ in ends)
    low, high = (rates for rates, _ in ends)

    def share(state: Array) -> float:
        return min(max(float(state[2]) / (end - start), 0.0), 1.0)

    def rate(_time: float, state: Array) -> Array:
        return np.asarray(first + share(state) * (last - first))

    def there(_time: float, state: Array) -> float:
        return float(state[2] - (end - start))

    there.terminal = True  # type: ignore[attr-defined]  # how scipy is told to stop
    longest = 3.0 * abs(end - start) / min(abs(low.rise), abs(high.rise))
    result = solve_ivp(
        rate, (0.0, longest), np.zeros(5), events=there, rtol=1e-9, atol=1e-6,
        max_step=longest / 300.0,
    )  # fmt: skip
    if result.status != 1:
        raise SolveError(f"mission: the {name} does not reach {end:.0f} m")
    power = np.array([rate(0.0, state)[0] for state in result.y.T])
    shaft = np.array([ends[0][1] + share(x) * (ends[1][1] - ends[0][1]) for x in result.y.T])
    return _Flight(
        name, result.t, power, result.y, start + result.y[2], np.full_like(result.t, speed),
        _load(case, table, shaft), table.configuration.powered,
    )  # fmt: skip


def _joined(order: list[_Flight], usable: float, weight: float) -> Mission:
    """Put segments behind one another and check that work closes."""
    segments: list[Segment] = []
    times: list[Array] = []
    charges: list[Array] = []
    for flight in order:
        energy, distance, climb, drag, thrust = flight.states[:, -1].tolist()
        faster = float(flight.speed[-1] - flight.speed[0])
        segments.append(
            Segment(
                flight.name, float(flight.time[-1]), distance, climb, energy, drag, thrust,
                faster, float(flight.power.max()), float(flight.load.max()),
            )
        )  # fmt: skip
        times.append(flight.time + (times[-1][-1] if times else 0.0))
        charges.append(flight.states[0] + (charges[-1][-1] if charges else 0.0))
    airborne = order[1:]
    kinetic = (
        0.5 * weight / GRAVITY * sum(float(f.speed[-1] ** 2 - f.speed[0] ** 2) for f in airborne)
    )
    gained = sum(float(f.states[3, -1] + weight * f.states[2, -1]) for f in airborne) + kinetic
    return Mission(
        segments=tuple(segments),
        time=np.concatenate(times),
        power=np.concatenate([f.power for f in order]),
        charge=np.concatenate(charges),
        altitude=np.concatenate([f.altitude for f in order]),
        speed=np.concatenate([f.speed for f in order]),
        load=np.concatenate([f.load for f in order]),
        powered=tuple(f.powered for f in order),
        usable=usable,
        range=sum(s.distance for s in segments if s.name != "reserve"),
        work_closure=abs(sum(float(f.states[4, -1]) for f in airborne) / gained - 1.0),
    )
