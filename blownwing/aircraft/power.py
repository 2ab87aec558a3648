"""What motors and battery let the propellers do: thrust within power and rotational speed."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any

import numpy as np

from blownwing.aircraft.configuration import COARSE, Configuration, aircraft_of, driven
from blownwing.case.aircraft import Motor, covered
from blownwing.case.model import Case
from blownwing.case.units import RPM
from blownwing.coupling.discs import placed_discs
from blownwing.errors import InputError, SolveError
from blownwing.propeller.operation import most_thrust
from blownwing.propeller.unit import Unit, UnitState, unit_state


def motor_of(case: Case, name: str) -> Motor:
    """The motor that drives a placed propeller.

    Raises:
        InputError: no motor drives it, or a case without an aircraft table.
    """
    aircraft = aircraft_of(case)
    placed = {item.name: item.definition.name for item in case.propeller_list()}
    rest = next((m for m in aircraft.motors if not m.propellers), None)
    own = next((m for m in aircraft.motors if name in covered(m.propellers, placed)), rest)
    if own is None:  # excluded when the case was read
        raise InputError(f"aircraft.motors: no motor drives {name}")
    return own


def battery_share(case: Case, configuration: Configuration) -> float:
    """Share of the motors' power that the battery can feed in a phase, at most 1.

    Its power limit less the systems' power, over what all powered motors draw at full power, those
    of held propellers at their share. Losses in the battery do not enter: limits are of terminals.
    A motor known by a table counts without its own losses, which depend on its state.

    Raises:
        InputError: a case without an aircraft table, or a propeller without a motor.
    """
    battery = aircraft_of(case).battery
    if math.isinf(battery.power_limit):
        return 1.0
    wanted = 0.0
    for name, share in configuration.shares(1.0).items():
        motor = motor_of(case, name)
        wanted += share * motor.power / motor.chain
    return min(1.0, (battery.power_limit - battery.systems_power) / wanted) if wanted else 1.0


def motor_power(case: Case, configuration: Configuration, name: str) -> float:
    """Largest shaft power (W) of a propeller's motor in a phase, the battery's limit within.

    Raises:
        InputError: a case without an aircraft table, or a propeller without a motor.
    """
    return motor_of(case, name).power * battery_share(case, configuration)


def thrust_limits(
    case: Case, configuration: Configuration, airspeed: float
) -> dict[str, tuple[float, float]]:
    """Thrust (N) of each powered propeller at its motor's power, and at power and rpm limits.

    In the free stream along the axis, without the wing; an ideal disc at its ideal power. A
    governed propeller whose blades would stall at full power gives 97 % of its peak thrust instead.

    Args:
        case: the user's, for the motors. airspeed: m/s.

    Raises:
        InputError: a propeller without a motor.
        SolveError: no thrust is found at the power.
    """
    share = battery_share(case, configuration)
    result: dict[str, tuple[float, float]] = {}
    known: dict[Any, tuple[float, float]] = {}
    for table in configuration.case.model_dump(by_alias=True, exclude_none=True)["propellers"]:
        if table["name"] not in configuration.powered:
            continue
        motor = motor_of(case, table["name"])
        alike = {k: v for k, v in table.items() if k not in ("name", "position", "spin", "toe")}
        key = (repr(alike), motor.power, motor.rpm)
        if key not in known:
            known[key] = _limits(configuration, table, motor, airspeed, share)
        result[table["name"]] = known[key]
    return result


def setting_thrust(
    case: Case, configuration: Configuration, airspeed: float, setting: float
) -> dict[str, float]:
    """Thrust (N) of each powered propeller: a share of what its motor lets it give at a speed.

    airspeed: m/s. setting: the share, of the lever.

    Raises:
        InputError: a propeller without a motor.
        SolveError: for a fixed-pitch propeller whose motor is at its speed limit without thrust.
    """
    limits = thrust_limits(case, configuration, airspeed)
    for name, (full, capped) in limits.items():
        if capped <= 0.0 < full:
            motor = motor_of(case, name)
            raise SolveError(
                f"{configuration.phase.replace('_', '-')} at {airspeed:.1f} m/s: propeller {name} "
                f"of fixed pitch turns at its motor's {motor.rpm:.0f} rpm without thrust; say "
                "what it does then (aircraft.schedule: folded, stopped or windmilling), or give "
                "it coarser blades, more rpm or a governor"
            )
    shares = configuration.shares(setting)
    return {name: shares[name] * capped for name, (_, capped) in limits.items()}


def solo_states(
    case: Case, configuration: Configuration, airspeed: float, setting: float
) -> dict[str, UnitState]:
    """Each powered propeller alone in the free stream, at a setting of the thrust available.

    Args:
        case: the user's, for the motors. airspeed: m/s. setting: of the lever, a share.

    Raises:
        InputError: as for `setting_thrust`.
        SolveError: as for `setting_thrust`.
    """
    thrust = setting_thrust(case, configuration, airspeed, setting)
    flow, folder = configuration.case.flow, str(configuration.case.folder)
    air = (flow.altitude, flow.isa_offset, flow.density)
    tables = configuration.case.model_dump(by_alias=True, exclude_none=True)["propellers"]
    result = {}
    for table in tables:
        if table["name"] in thrust:
            alike = {"name": "alone", "position": [0.0, 0.0, 0.0], "spin": "clockwise", "toe": 0.0}
            alone = driven(table | alike, {"thrust": thrust[table["name"]]})
            result[table["name"]] = _alone(folder, _key(alone), air, airspeed)
    return result


def fastest_with_thrust(
    case: Case, configuration: Configuration, slowest: float, fastest: float
) -> float:
    """Airspeed (m/s) up to which every powered propeller gives thrust within its rotational speed.

    `fastest` when that is beyond it; to a thousandth of the range, on the side of thrust.

    slowest, fastest: m/s, the range that is looked at.

    Raises:
        InputError: a propeller without a motor.
        SolveError: a propeller of fixed pitch without thrust at the slowest speed.
    """

    def works(speed: float) -> bool:
        limits = thrust_limits(case, configuration, speed).values()
        return all(capped > 0.02 * full for full, capped in limits)

    if works(fastest):
        return fastest
    low, high = slowest, fastest
    if not works(low):
        setting_thrust(case, configuration, fastest, 1.0)  # says which propeller, and what helps
        return low
    while high - low > 1e-3 * (fastest - slowest):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if works(middle) else (low, middle)
    return low


def _limits(
    configuration: Configuration,
    table: dict[str, Any],
    motor: Motor,
    airspeed: float,
    share: float,
) -> tuple[float, float]:
    flow = configuration.case.flow
    air = (flow.altitude, flow.isa_offset, flow.density)
    power = share * motor.power
    if table["kind"] == "disc":
        density = configuration.case.air.density
        best = disc_thrust_at_power(power, table["diameter"], airspeed, density)
        return best, best
    folder = str(configuration.case.folder)
    governed = table.get("trim") == "pitch"
    if governed and table["kind"] == "blade":
        best = _governed(folder, _key(driven(table, {"power": power})), air, airspeed, power)
        return best, best
    by_power = _alone(folder, _key(driven(table, {"power": power})), air, airspeed)
    best = by_power.thrust
    capped = best
    turns = by_power.omega / RPM
    if motor.rpm is not None and turns > motor.rpm and not governed:
        capped = _alone(folder, _key(driven(table, {"rpm": motor.rpm})), air, airspeed).thrust
    capped = max(capped, 0.0)  # beyond it the motor's speed limit leaves no thrust
    return float(best), float(capped)


def _key(table: dict[str, Any]) -> tuple[tuple[str, Any], ...]:
    plain = {k: tuple(v) if isinstance(v, list) else v for k, v in table.items()}
    return tuple(sorted(plain.items()))


CLEAR_OF_STALL = 0.97  # of a governed propeller's peak thrust: flow at the wing differs; ours
_NO_LIMIT = 1e9  # W
Air = tuple[float, float, float | None]
Keyed = tuple[tuple[str, Any], ...]


@lru_cache(maxsize=512)
def _alone(folder: str, table: Keyed, air: Air, airspeed: float) -> UnitState:
    """A propeller by itself in a stream along its axis."""
    case, unit = _isolated(folder, table, air, airspeed)
    onset = np.zeros_like(unit.samples) + airspeed * unit.axes[0][:, None, None]
    return unit_state(unit, case.air, airspeed, onset, None)


@lru_cache(maxsize=512)
def _governed(folder: str, table: Keyed, air: Air, airspeed: float, power: float) -> float:
    """Most thrust (N) of a governed propeller by itself, its blades clear of the stall."""
    case, unit = _isolated(folder, table, air, airspeed)
    wanted = unit.placed.definition
    if unit.rotor is None or wanted.rpm is None:
        raise ValueError("a governed propeller has blades and a speed")
    omega = wanted.rpm * RPM
    try:
        within = most_thrust(unit.rotor, case.air, airspeed, omega, power).thrust
        peak = most_thrust(unit.rotor, case.air, airspeed, omega, _NO_LIMIT).thrust
        return min(within, CLEAR_OF_STALL * peak)
    except SolveError as error:
        raise SolveError(f"propeller {wanted.name}: {error}") from None


def _isolated(folder: str, table: Keyed, air: Air, airspeed: float) -> tuple[Case, Unit]:
    fields = {k: list(v) if isinstance(v, tuple) else v for k, v in table}
    flow = {"airspeed": airspeed, "altitude": air[0], "isa_offset": air[1]}
    if air[2] is not None:
        flow["density"] = air[2]
    # A wing far behind and small: the propeller alone is what is solved here.
    stations = [{"y": y, "x": 1e3, "chord": 0.1} for y in (-1.0, 1.0)]
    case = Case.from_tables(
        {
            "flow": flow,
            "wing": {"symmetric": False, "stations": stations},
            "propellers": [fields],
            "model": {"radial": COARSE["radial"], "azimuth": 4},
        },
        folder,
    )
    return case, placed_discs(case).units[0]


def disc_thrust_at_power(power: float, diameter: float, airspeed: float, density: float) -> float:
    """Thrust (N) of an ideal disc of a power: P = T (V + vi), by Newton's method.

    power: W. diameter: m. airspeed: m/s. density: kg/m³.

    Raises:
        SolveError: the iteration does not end.

    Source: Glauert (1935), in Durand, "Aerodynamic Theory" IV, division L, chapter II.
    """
    area = 0.25 * math.pi * diameter**2
    # with w = V + vi: P = 2 rho A w² (w − V), which rises without bound in w
    w: float = airspeed + math.cbrt(power / (2.0 * density * area))
    for _ in range(60):
        value = 2.0 * density * area * w * w * (w - airspeed) - power
        step = value / (2.0 * density * area * (3.0 * w * w - 2.0 * w * airspeed))
        w -= step
        if abs(step) < 1e-13 * w:
            return 2.0 * density * area * w * (w - airspeed)
    raise SolveError(f"actuator disc: no thrust found for {power:g} W at {airspeed:g} m/s")
