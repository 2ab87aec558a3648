"""A phase of flight as cases to solve: flaps, altitude, and what every propeller does."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from blownwing.case.air import GRAVITY
from blownwing.case.aircraft import Aircraft, Idle, Motor, covered
from blownwing.case.model import Case
from blownwing.coupling.setup import placed_discs
from blownwing.errors import InputError, SolveError
from blownwing.propeller.unit import UnitState, unit_state

Array = NDArray[np.float64]
Phase = Literal["take_off", "approach", "climb", "cruise"]

# The tables' lattice and discs: coarse, since hundreds of states are needed; the output states
# how far the coarse model is from the case's own.
COARSE = {
    "jet_layers": 1, "jet_around": 12, "jet_rings": 12, "azimuth": 6, "radial": 12,
    "tolerance": 1e-6,
}  # fmt: skip


FLAP_EFFECTIVENESS = 0.7  # deflection felt, with linear sections; common practice, no source
STALLED_AREA = 0.1  # share of the wing at its limit that counts as a stall; our judgement


@dataclass(frozen=True)
class Configuration:
    """One phase: the case's tables without propellers, each propeller's table, who is powered."""

    phase: Phase
    case: Case  # every placed propeller written out, flaps and altitude set
    aircraft: Aircraft
    drag_area: float  # m², of all but the wing
    powered: tuple[str, ...]
    idle: tuple[str, ...]
    idle_state: Idle
    full_flap: float  # deg felt by the flow, that `flapped_clmax` belongs to

    @property
    def folded_drag_area(self) -> float:
        """Drag area of the idle propellers that stand folded, m²."""
        if self.idle_state != "folded":
            return 0.0
        return sum(p.folded_drag_area or 0.0 for p in self.case.propellers if p.name in self.idle)

    @property
    def by_tables(self) -> bool:
        """Whether sections follow tables, stall included, instead of straight lift lines."""
        return self.case.model.sections == "tables"

    @property
    def alphas(self) -> tuple[float, ...]:
        """Incidences (deg) of performance tables.

        Where sections can stall, a clean wing's nodes stay below that: a polynomial through the
        peak of the lift would spoil the drag at small incidence.
        """
        if not self.by_tables:
            return (-6.0, 5.0, 16.0, 27.0)
        if self.phase in ("climb", "cruise"):
            return (-5.0, 0.0, 5.0, 10.0, 14.0)
        return (-6.0, 1.0, 8.0, 15.0, 22.0)

    @property
    def weight(self) -> float:
        """N."""
        return self.aircraft.mass * GRAVITY

    @property
    def area(self) -> float:
        """Reference area, m²."""
        return self.case.wing.area


def aircraft_of(case: Case) -> Aircraft:
    """The aircraft table of a case.

    Raises:
        InputError: when there is none.
    """
    if case.aircraft is None:
        raise InputError(
            "aircraft: this table is missing; accepted is a case with [aircraft], mass and drag "
            "area, tail, motors, battery, take_off and cruise"
        )
    return case.aircraft


def configured(case: Case, phase: Phase, altitude: float | None = None) -> Configuration:
    """The configuration of a phase.

    Args:
        case: with an aircraft table.
        phase: climb has no flaps and all propellers at work; cruise has the idle ones idle.
        altitude: m, instead of the phase's own.

    Raises:
        InputError: for a case without an aircraft table, or with discs of a given speed ratio.
    """
    aircraft = aircraft_of(case)
    flap, extra, own = _settings(aircraft, phase)
    tables = case.model_dump(by_alias=True, exclude_none=True)
    tables.pop("aircraft")
    full = max(
        [abs(f.deflection) for f in case.wing.flaps]
        + [abs(p.flap) for p in (aircraft.take_off, aircraft.approach) if p.flap is not None],
        default=0.0,
    )
    effective = 1.0  # tables know what a flap does; the lattice alone overrates it
    if case.model.sections == "linear":
        given = aircraft.flap_effectiveness
        effective = FLAP_EFFECTIVENESS if given is None else given
    for table in tables["wing"].get("flaps", ()):
        wanted = table["deflection"] if flap is None else flap
        table["deflection"] = wanted * effective
    tables["flow"] |= {"altitude": own if altitude is None else altitude, "beta": 0.0}
    tables["flow"].pop("ground_height", None)
    tables["model"] |= COARSE | {"chordwise": aircraft.chordwise, "spanwise": aircraft.spanwise}
    tables["propellers"] = _written_out(case)
    names = {item.name: item.definition.name for item in case.propeller_list()}
    idle = covered(aircraft.cruise.idle, names) if phase == "cruise" else []
    return Configuration(
        phase,
        Case.from_tables(tables, case.folder),
        aircraft,
        aircraft.drag_area + extra,
        tuple(name for name in names if name not in idle),
        tuple(idle),
        aircraft.cruise.idle_state,
        full * effective,
    )


def finely(case: Case, configuration: Configuration) -> Configuration:
    """The configuration on the case's own lattice and discs."""
    tables = configuration.case.model_dump(by_alias=True, exclude_none=True)
    tables["model"] = case.model.model_dump(exclude_none=True)
    return replace(configuration, case=Case.from_tables(tables, case.folder))


def _settings(aircraft: Aircraft, phase: Phase) -> tuple[float | None, float, float]:
    """Flap (deg, None to leave as the file has it), added drag area (m²) and altitude (m)."""
    ground = aircraft.take_off.altitude
    if phase == "take_off":
        return aircraft.take_off.flap, aircraft.take_off.drag_area, ground
    if phase == "approach":
        return aircraft.approach.flap, aircraft.approach.drag_area, ground
    return 0.0, 0.0, aircraft.cruise.altitude if phase == "cruise" else ground


def _written_out(case: Case) -> list[dict[str, Any]]:
    """Every placed propeller as a table of its own, so that each can be driven differently."""
    result = []
    for item in case.propeller_list():
        table = item.definition.model_dump(exclude_none=True)
        if item.definition.speed_ratio is not None:
            raise InputError(
                f"propellers[{item.index}].speed_ratio: found a disc of a given speed ratio; "
                "accepted with [aircraft] are blades, or discs with thrust"
            )
        table |= {"name": item.name, "position": list(item.position)}
        table |= {"mirror": False, "toe": item.toe}
        table.pop("twin_spin", None)
        if item.rotation:
            table["spin"] = "clockwise" if item.rotation > 0 else "counterclockwise"
        result.append(table)
    return result


def failed(configuration: Configuration, names: tuple[str, ...]) -> Configuration:
    """The configuration with the motors of some propellers failed."""
    return replace(
        configuration,
        powered=tuple(name for name in configuration.powered if name not in names),
        idle=tuple(dict.fromkeys((*configuration.idle, *names))),
        idle_state=configuration.aircraft.inoperative_state,
    )


def inoperative_propeller(case: Case) -> str:
    """Name of the propeller whose motor fails: the given one, else the outermost to starboard."""
    aircraft = aircraft_of(case)
    if aircraft.inoperative is not None:
        return aircraft.inoperative
    return max(case.propeller_list(), key=lambda item: item.position[1]).name


def opposite(case: Case, name: str) -> str | None:
    """Name of the propeller that mirrors another, or None on the centre line or without one."""
    items = {item.name: item for item in case.propeller_list()}
    x, y, z = items[name].position
    for other in items.values():
        if y != 0.0 and other.position == (x, -y, z):
            return other.name
    return None


def motor_of(case: Case, name: str) -> Motor:
    """The motor that drives a placed propeller."""
    aircraft = aircraft_of(case)
    placed = {item.name: item.definition.name for item in case.propeller_list()}
    rest = next((m for m in aircraft.motors if not m.propellers), None)
    own = next((m for m in aircraft.motors if name in covered(m.propellers, placed)), rest)
    if own is None:  # excluded when the case was read
        raise InputError(f"aircraft.motors: no motor drives {name}")
    return own


def operating_case(
    configuration: Configuration,
    airspeed: float,
    alphas: tuple[float, ...],
    thrust: Mapping[str, float],
    ground_height: float | None = None,
) -> Case:
    """The case of one speed and thrust over incidences.

    Args:
        airspeed: m/s. alphas: deg. thrust: N, of each powered propeller.
        ground_height: m, of the reference point; None in free air.
    """
    base = configuration.case.model_dump(by_alias=True, exclude_none=True)
    base["flow"] |= {"airspeed": airspeed, "alpha": list(alphas)}
    if ground_height is not None:
        base["flow"]["ground_height"] = ground_height
    tables = []
    for table in base["propellers"]:
        name = table["name"]
        if name in thrust:
            tables.append(_driven(table, {"thrust": thrust[name]}))
        elif configuration.idle_state == "folded" or table["kind"] == "disc":
            continue
        else:
            drive = {"rpm": 0.0} if configuration.idle_state == "stopped" else {"power": 0.0}
            tables.append(_driven(table, drive))
    base["propellers"] = tables
    return Case.from_tables(base, configuration.case.folder)


def _driven(table: dict[str, Any], drive: dict[str, float]) -> dict[str, Any]:
    """A propeller's table with another drive; trim by pitch keeps its speed under power."""
    by_pitch = table.get("trim") == "pitch" and drive.get("rpm") is None
    kept = {"rpm"} if by_pitch else set()
    dropped = {"thrust", "power", "rpm"} - kept | (set() if by_pitch else {"trim"})
    return {key: value for key, value in table.items() if key not in dropped} | drive


def thrust_limits(
    case: Case, configuration: Configuration, airspeed: float
) -> dict[str, tuple[float, float]]:
    """Thrust (N) of each powered propeller at its motor's power, and at power and rpm limits.

    In the free stream along the axis, without the wing; an ideal disc at its ideal power.

    Args:
        case: the user's, for the motors. airspeed: m/s.
    """
    result: dict[str, tuple[float, float]] = {}
    known: dict[Any, tuple[float, float]] = {}
    for table in configuration.case.model_dump(by_alias=True, exclude_none=True)["propellers"]:
        if table["name"] not in configuration.powered:
            continue
        motor = motor_of(case, table["name"])
        alike = {k: v for k, v in table.items() if k not in ("name", "position", "spin", "toe")}
        key = (repr(alike), motor.power, motor.rpm)
        if key not in known:
            known[key] = _limits(configuration, table, motor, airspeed)
        result[table["name"]] = known[key]
    return result


def solo_states(
    case: Case, configuration: Configuration, airspeed: float, setting: float
) -> dict[str, UnitState]:
    """Each powered propeller alone in the free stream, at a setting within its motor's limits.

    Args:
        case: the user's, for the motors. airspeed: m/s. setting: of the thrust at their power.
    """
    limits = thrust_limits(case, configuration, airspeed)
    flow, folder = configuration.case.flow, str(configuration.case.folder)
    air = (flow.altitude, flow.isa_offset, flow.density)
    tables = configuration.case.model_dump(by_alias=True, exclude_none=True)["propellers"]
    result = {}
    for table in tables:
        if table["name"] in limits:
            full, capped = limits[table["name"]]
            alike = {"name": "alone", "position": [0.0, 0.0, 0.0], "spin": "clockwise", "toe": 0.0}
            driven = _driven(table | alike, {"thrust": min(setting * full, capped)})
            result[table["name"]] = _alone(folder, _key(driven), air, airspeed)
    return result


def _limits(
    configuration: Configuration, table: dict[str, Any], motor: Motor, airspeed: float
) -> tuple[float, float]:
    flow = configuration.case.flow
    air = (flow.altitude, flow.isa_offset, flow.density)
    if table["kind"] == "disc":
        density = configuration.case.air.density
        best = disc_thrust_at_power(motor.power, table["diameter"], airspeed, density)
        return best, best
    folder = str(configuration.case.folder)
    by_power = _alone(folder, _key(_driven(table, {"power": motor.power})), air, airspeed)
    best = by_power.thrust
    capped = best
    turns = by_power.omega * 30.0 / math.pi
    if motor.rpm is not None and turns > motor.rpm and table.get("trim") != "pitch":
        capped = _alone(folder, _key(_driven(table, {"rpm": motor.rpm})), air, airspeed).thrust
    capped = max(capped, 0.0)  # beyond it the motor's speed limit leaves no thrust
    return float(best), float(capped)


def _key(table: dict[str, Any]) -> tuple[tuple[str, Any], ...]:
    plain = {k: tuple(v) if isinstance(v, list) else v for k, v in table.items()}
    return tuple(sorted(plain.items()))


@lru_cache(maxsize=512)
def _alone(
    folder: str,
    table: tuple[tuple[str, Any], ...],
    air: tuple[float, float, float | None],
    airspeed: float,
) -> UnitState:
    """A propeller by itself in a stream along its axis."""
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
    unit = placed_discs(case).units[0]
    onset = np.zeros_like(unit.samples) + airspeed * unit.axes[0][:, None, None]
    return unit_state(unit, case.air, airspeed, onset, None)


def disc_thrust_at_power(power: float, diameter: float, airspeed: float, density: float) -> float:
    """Thrust (N) of an ideal disc of a power: P = T (V + vi), by Newton's method.

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
