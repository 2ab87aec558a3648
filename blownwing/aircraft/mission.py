"""The mission: take-off, climb, cruise, descent, approach and reserve, integrated in time."""

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
from blownwing.aircraft.tables import Table
from blownwing.aircraft.takeoff import TakeOffRun
from blownwing.case.model import Case
from blownwing.errors import SolveError

Array = NDArray[np.float64]

_DESCENT = math.sin(math.radians(-3.0))  # path of the descent when nothing else is said


@dataclass(frozen=True)
class Segment:
    """A part of the mission: time s, distance m, climb m, energy from the battery J.

    `drag_work` is the work done against drag (and rolling) and `thrust_work` that of the
    propulsive force; their difference is the gain of potential and kinetic energy.
    """

    name: str
    time: float
    distance: float
    climb: float
    energy: float
    drag_work: float
    thrust_work: float


@dataclass(frozen=True)
class Mission:
    """All segments, the history of power, and how well the energy closes.

    Attributes:
        segments: in order. time, power, charge: histories, s, W from the battery, J used.
        usable: J. range: m over the ground in still air, reserve not counted.
        closure: battery energy against the integral of power, relative.
        work_closure: thrust work against drag work and the gain of height, relative, airborne.
    """

    segments: tuple[Segment, ...]
    time: Array
    power: Array
    charge: Array
    usable: float
    range: float
    closure: float
    work_closure: float


@dataclass(frozen=True)
class _Rates:
    """Steady flight: battery power W, ground speed m/s, climb m/s, drag and thrust power W."""

    power: float
    speed: float
    rise: float
    drag: float
    thrust: float


def flown_mission(
    case: Case, run: TakeOffRun, climb: tuple[Table, Table], cruise: Table, climb_speed: float
) -> Mission:
    """Fly the mission with all usable energy; the cruise takes what the rest leaves.

    Take-off, climb to the cruise altitude at `climb_speed`, cruise, descent at cruise speed on 3
    degrees (as far as zero thrust allows), reserve at cruise power.

    Args:
        case: the user's. run: take-off. climb: tables at the take-off and the cruise altitude.
        cruise: table. climb_speed: m/s, true.

    Raises:
        SolveError: when the energy does not last for the rest, leaving no cruise.
    """
    aircraft, weight = cruise.configuration.aircraft, cruise.configuration.weight
    battery, setup = aircraft.battery, aircraft.cruise
    level = _cruising(cruise_state(case, cruise, setup.airspeed))
    base, top = aircraft.take_off.altitude, setup.altitude
    first = _take_off_segment(case, climb[0], run, battery.systems_power)
    up: list[_Flight] = []
    down: list[_Flight] = []
    if top > base:
        ends = [_climbing(case, table, climb_speed, battery.systems_power) for table in climb]
        if min(rates.rise for rates in ends) <= 0.0:
            raise SolveError(f"mission: no climb to {top:.0f} m at {climb_speed:.1f} m/s")
        up = [_through("climb", ends[0], ends[1], base, top)]
        sinking = _descending(case, cruise, setup.airspeed, battery.systems_power)
        down = [_through("descent", sinking, sinking, top, base)]
    reserve = _steady("reserve", level, 60.0 * setup.reserve_time)
    spent = first.energy + sum(float(f.states[0, -1]) for f in (*up, *down, reserve))
    left = battery.usable_energy - spent
    if left <= 0.0:
        raise SolveError(
            f"mission: take-off, climb, descent and reserve take {spent / 3.6e6:.1f} kWh of "
            f"{battery.usable_energy / 3.6e6:.1f} kWh usable, none is left to cruise"
        )
    order = [*up, _steady("cruise", level, left / level.power), *down, reserve]
    return _joined(first, order, battery.usable_energy, weight)


@dataclass(frozen=True)
class _Flight:
    """An integrated segment: time (n,) s, power (n,) W, states (5, n) as `_Rates` summed up."""

    name: str
    time: Array
    power: Array
    states: Array


def _take_off_segment(case: Case, climb: Table, run: TakeOffRun, systems: float) -> Segment:
    time = run.roll.time + run.rotation / max(run.lift_off, 1e-9) + run.airborne.time
    energy = take_off_energy(case, climb.configuration, run) + systems * time
    return Segment("take-off", time, run.distance, 0.0, energy, run.roll.ground_work, 0.0)


def _climbing(case: Case, table: Table, speed: float, systems: float) -> _Rates:
    state = climb_state(table, speed)
    setting = min(table.setting_limit(speed), 1.0)
    balance = table.balance(speed, setting, state.alpha)
    return _Rates(
        drawn_power(case, table.configuration, speed, setting, balance.power) + systems,
        speed * math.sqrt(1.0 - state.gradient**2),
        state.rate,
        balance.drag * speed,
        (balance.excess + balance.drag) * speed,
    )


def _descending(case: Case, cruise: Table, speed: float, systems: float) -> _Rates:
    """Descent on 3 degrees at a speed, or as steep as zero thrust makes it."""
    weight = cruise.configuration.weight
    try:
        setting, alpha = level_setting(cruise, speed, _DESCENT)
    except ExcessThrust:
        setting = float(cruise.settings[0])
        alpha = cruise.trimmed_alpha(speed, setting, weight)
    balance = cruise.balance(speed, setting, alpha)
    sine = balance.excess / weight
    if sine >= 0.0:
        raise SolveError(f"mission: no descent at {speed:.1f} m/s at the lowest setting")
    return _Rates(
        drawn_power(case, cruise.configuration, speed, setting, max(balance.power, 0.0)) + systems,
        speed * math.sqrt(1.0 - sine**2),
        sine * speed,
        balance.drag * speed,
        (balance.excess + balance.drag) * speed,
    )


def _cruising(level: CruiseState) -> _Rates:
    work = level.drag * level.speed
    return _Rates(level.battery_power, level.speed, 0.0, work, work)


def _through(name: str, low: _Rates, high: _Rates, start: float, end: float) -> _Flight:
    """Fly from one altitude to another, the rates changing evenly between them.

    Energy, distance, height and works are integrated over time until the altitude is reached.
    """
    first, last = (np.array(list(vars(rates).values())) for rates in (low, high))

    def rate(_time: float, state: Array) -> Array:
        share = state[2] / (end - start)
        return np.asarray(first + min(max(share, 0.0), 1.0) * (last - first))

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
    return _Flight(name, result.t, power, result.y)


def _steady(name: str, rates: _Rates, duration: float) -> _Flight:
    """Fly at constant rates for a time, s."""
    slope = np.array(list(vars(rates).values()))
    time = np.array([0.0, duration])
    return _Flight(name, time, np.full(2, rates.power), slope[:, None] * time)


def _joined(first: Segment, order: list[_Flight], usable: float, weight: float) -> Mission:
    """Put segments behind one another and check that energy and work close."""
    segments = [first]
    mean = first.energy / first.time
    times, powers = [np.array([0.0, first.time])], [np.full(2, mean)]
    charges = [np.array([0.0, first.energy])]
    for flight in order:
        energy, distance, climb, drag, thrust = flight.states[:, -1].tolist()
        segments.append(
            Segment(flight.name, float(flight.time[-1]), distance, climb, energy, drag, thrust)
        )
        times.append(times[-1][-1] + flight.time)
        powers.append(flight.power)
        charges.append(charges[-1][-1] + flight.states[0])
    time, power = np.concatenate(times), np.concatenate(powers)
    charge = np.concatenate(charges)
    airborne = segments[1:]
    gained = sum(s.drag_work + weight * s.climb for s in airborne)
    return Mission(
        segments=tuple(segments),
        time=time,
        power=power,
        charge=charge,
        usable=usable,
        range=sum(s.distance for s in segments if s.name != "reserve"),
        closure=abs(float(np.trapezoid(power, time)) / float(charge[-1]) - 1.0),
        work_closure=abs(sum(s.thrust_work for s in airborne) / gained - 1.0),
    )
