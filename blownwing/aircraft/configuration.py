"""A phase of flight as cases to solve: flaps, altitude, and what every propeller does."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from blownwing.case.air import GRAVITY
from blownwing.case.aircraft import Aircraft, settings_of
from blownwing.case.drawn import pitch_unknown, surface_of
from blownwing.case.model import Case
from blownwing.case.phases import Idle
from blownwing.case.trim import FLIGHT, Trim, Unknown
from blownwing.errors import InputError
from blownwing.trim.control import widened
from blownwing.trim.settings import is_throttle, with_trim

Phase = Literal["take_off", "climb", "cruise", "descent", "approach", "landing"]

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
    """One phase: the case with every placed propeller written out, and what each of them does.

    Attributes:
        phase: of flight. case: flaps, altitude, pitch and governed speed of the phase set.
        aircraft: the table. drag_area: m², of all but the wing.
        powered: names. held: of those of them that keep a share of the thrust available, the
            share; the others follow the phase's lever. idle_states: of all others.
        full_flap: deg felt by the flow, that `flapped_clmax` belongs to.
        trim: of an aircraft whose tail is drawn, its controls with their limits; the case's own
            trim balances the pitching moment alone, limits left out.
    """

    phase: Phase
    case: Case
    aircraft: Aircraft
    drag_area: float
    powered: tuple[str, ...]
    held: Mapping[str, float]
    idle_states: Mapping[str, Idle]
    full_flap: float
    trim: Trim | None = None

    @property
    def pitch(self) -> Unknown | None:
        """What balances the pitching moment of a drawn aircraft, with its limits."""
        if self.trim is None:
            return None
        return pitch_unknown(self.trim, self.case.wing, self.case.surfaces)

    @property
    def pitch_surface(self) -> str:
        """Name of the surface that does so; empty without a drawn tail."""
        pitch = self.pitch
        if pitch is None:
            return ""
        return surface_of(pitch.name, self.case.wing, self.case.surfaces)

    @property
    def idle(self) -> tuple[str, ...]:
        """Names of the propellers that are not powered."""
        return tuple(self.idle_states)

    @property
    def folded_drag_area(self) -> float:
        """Drag area of the idle propellers that stand folded, m²."""
        return sum(
            p.folded_drag_area or 0.0
            for p in self.case.propellers
            if self.idle_states.get(p.name) == "folded"
        )

    def shares(self, setting: float) -> dict[str, float]:
        """Share of the thrust available that each powered propeller gives at a lever setting."""
        return {name: self.held.get(name, setting) for name in self.powered}

    @property
    def tail_clmax(self) -> float | None:
        """Largest cl of a drawn tail's sections on local q, None where section tables say it."""
        if self.by_tables:
            return None
        given = self.aircraft.controls.tail_clmax
        return 0.9 if given is None else given

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
        if self.phase in ("climb", "cruise", "descent"):
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
    """The configuration of a phase, as the schedule has it.

    Args:
        case: with an aircraft table.
        phase: climb, cruise and descent are flown without flaps.
        altitude: m, instead of the phase's own.

    Raises:
        InputError: for a case without an aircraft table, or with discs of a given speed ratio.
    """
    aircraft = aircraft_of(case)
    flaps, extra, own = _settings(aircraft, phase)
    tables = case.model_dump(by_alias=True, exclude_none=True)
    tables.pop("aircraft")
    full = max(
        [abs(f.deflection) for f in case.wing.flaps]
        + [abs(p.flap) for p in (aircraft.take_off, aircraft.approach) if p.flap is not None]
        + [abs(f) for p in (aircraft.take_off, aircraft.approach) for f in p.flaps or ()],
        default=0.0,
    )
    effective = 1.0  # tables know what a flap does; the lattice alone overrates it
    if case.model.sections == "linear":
        given = aircraft.flap_effectiveness
        effective = FLAP_EFFECTIVENESS if given is None else given
    for i, table in enumerate(tables["wing"].get("flaps", ())):
        wanted = flaps[i] if isinstance(flaps, tuple) else flaps
        table["deflection"] = (table["deflection"] if wanted is None else wanted) * effective
    tables["flow"] |= {"altitude": own if altitude is None else altitude, "beta": 0.0}
    tables["flow"].pop("ground_height", None)
    tables["model"] |= COARSE | {"chordwise": aircraft.chordwise, "spanwise": aircraft.spanwise}
    names = {item.name: item.definition.name for item in case.propeller_list()}
    wanted_of = settings_of(aircraft, names, phase)
    tables["propellers"] = _written_out(case)
    for table in tables["propellers"]:
        row = wanted_of[table["name"]]
        if row.pitch is not None and table["kind"] != "disc":
            table["pitch"] = row.pitch
        if row.rpm is not None:
            if table.get("trim") != "pitch":
                raise InputError(
                    f"aircraft.schedule: found rpm for {table['name']} in {phase}; accepted with "
                    'trim = "pitch" only: the speed of a fixed-pitch propeller follows its thrust'
                )
            table["rpm"] = row.rpm
    trim = _balance(case, aircraft.mass) if case.surfaces else None
    tables.pop("trim", None)
    ready = Case.from_tables(tables, case.folder)
    if trim is not None:
        ready = _pitching(ready, trim)
        extra += 0.0 if case.fuselage is None else case.fuselage.drag_area
    return Configuration(
        phase,
        ready,
        aircraft,
        aircraft.drag_area + extra,
        tuple(name for name, row in wanted_of.items() if row.state == "powered"),
        {n: r.setting for n, r in wanted_of.items() if r.setting is not None},
        {n: r.state for n, r in wanted_of.items() if r.state != "powered"},
        full * effective,
        trim,
    )


def _balance(case: Case, mass: float) -> Trim | None:
    """A case's trim as the phases use it: its centre of gravity and controls, level flight."""
    trim = case.trim
    if trim is None:
        return None
    kept = tuple(u for u in trim.unknowns if not is_throttle(u) and u.name not in FLIGHT)
    return Trim(mass=mass, centre_of_gravity=trim.centre_of_gravity, unknowns=kept)


def _pitching(case: Case, trim: Trim) -> Case:
    """The case with a trim of the pitching moment alone, free of limits."""
    pitch = pitch_unknown(trim, case.wing, case.surfaces)
    if pitch is None:  # refused when the case was read
        raise InputError("trim.unknowns: found none that pitches the aircraft")
    alone = trim.model_copy(update={"unknowns": (pitch,), "equations": ("pitch",)})
    return widened(with_trim(case, alone))


def finely(case: Case, configuration: Configuration) -> Configuration:
    """The configuration on the case's own lattice and discs.

    Raises InputError for a case that breaks a rule.
    """
    tables = configuration.case.model_dump(by_alias=True, exclude_none=True)
    tables["model"] = case.model.model_dump(exclude_none=True)
    return replace(configuration, case=Case.from_tables(tables, case.folder))


def _settings(
    aircraft: Aircraft, phase: Phase
) -> tuple[float | tuple[float, ...] | None, float, float]:
    """Flaps (deg, None to leave as the file has it), added drag area (m²) and altitude (m)."""
    ground = aircraft.take_off.altitude
    gear = aircraft.gear_drag_area if phase in aircraft.gear_down else 0.0
    if phase in ("take_off", "approach", "landing"):
        own = aircraft.take_off if phase == "take_off" else aircraft.approach
        return own.flaps or own.flap, own.drag_area + gear, ground
    at = ground if phase == "climb" else aircraft.cruise.altitude
    return 0.0, gear, at


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
    state = configuration.aircraft.inoperative_state
    return _without(configuration, names, state)


def unpowered(configuration: Configuration) -> Configuration:
    """The configuration with the powered propellers left out: zero thrust, which any kind can."""
    return _without(configuration, configuration.powered, "folded")


def _without(configuration: Configuration, names: Iterable[str], state: Idle) -> Configuration:
    gone = tuple(names)
    return replace(
        configuration,
        powered=tuple(name for name in configuration.powered if name not in gone),
        held={n: s for n, s in configuration.held.items() if n not in gone},
        idle_states=dict(configuration.idle_states) | dict.fromkeys(gone, state),
    )


def inoperative_propeller(case: Case) -> str:
    """Name of the propeller whose motor fails: the given one, else the outermost to starboard.

    Raises:
        InputError: a case without an aircraft table.
    """
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

    Raises:
        InputError: a state that no case can have, a disc in the ground for instance.
    """
    base = configuration.case.model_dump(by_alias=True, exclude_none=True)
    base["flow"] |= {"airspeed": airspeed, "alpha": list(alphas)}
    if ground_height is not None:
        base["flow"]["ground_height"] = ground_height
    if ground_height is not None or airspeed == 0.0:
        base.pop("trim", None)  # on the wheels moments need no balance
    tables = []
    for table in base["propellers"]:
        name = table["name"]
        if name in thrust:
            tables.append(driven(table, {"thrust": thrust[name]}))
            continue
        state = configuration.idle_states.get(name, "folded")
        if state != "folded" and table["kind"] != "disc":
            drive = {"rpm": 0.0} if state == "stopped" else {"power": 0.0}
            tables.append(driven(table, drive))
    base["propellers"] = tables
    return Case.from_tables(base, configuration.case.folder)


def driven(table: dict[str, Any], drive: dict[str, float]) -> dict[str, Any]:
    """A propeller's table with another drive; trim by pitch keeps its speed under power.

    table: keys of a propeller as in a case file. drive: thrust (N), power (W) or rpm (1/min).
    """
    by_pitch = table.get("trim") == "pitch" and drive.get("rpm") is None
    kept = {"rpm"} if by_pitch else set()
    dropped = {"thrust", "power", "rpm"} - kept | (set() if by_pitch else {"trim"})
    return {key: value for key, value in table.items() if key not in dropped} | drive
