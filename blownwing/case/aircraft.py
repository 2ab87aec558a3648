"""The ``[aircraft]`` table: mass, the drag of the rest, tail, motors, battery and phases of flight.

Efficiencies and specific energies are inputs, never constants of the package. Defaults that are
habits of the trade say so ("common practice, no source").
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from pydantic import Field, StrictStr, model_validator

from blownwing.case.fields import (
    Area,
    FileName,
    Length,
    Mass,
    Minutes,
    Number,
    Power,
    Rotation,
    SpecificEnergy,
    SpecificPower,
    Speed,
    Table,
    Whole,
)
from blownwing.case.messages import Fault
from blownwing.case.phases import (
    Approach,
    Cruise,
    Idle,
    Landing,
    NoisePlaces,
    PhaseName,
    Scheduled,
    TakeOff,
)


class Tail(Table):
    """The horizontal tail that balances the aircraft, of a concept that does not draw it."""

    arm: Length = Field(gt=0.0, description="reference point to the tail's quarter chord")
    span: Length = Field(gt=0.0, description="of the tailplane")
    area: Area = Field(gt=0.0, description="of the tailplane")
    clmax: Number = Field(default=0.9, gt=0.0, description="largest lift coefficient, either sign")


class Controls(Table):
    """What ailerons and rudder can hold."""

    roll_coefficient: Number = Field(
        default=0.045, ge=0.0, description="largest C_roll of full ailerons; 0.03 to 0.06 is common"
    )
    fin_area: Area | None = Field(
        default=None, gt=0.0, description="of fin and rudder; absent: yaw not checked"
    )
    fin_arm: Length | None = Field(default=None, gt=0.0, description="reference point to fin")
    fin_clmax: Number = Field(default=0.8, gt=0.0, description="of fin with full rudder")
    tail_clmax: Number | None = Field(
        default=None,
        gt=0.0,
        description="largest cl, on its own local q and of either sign, of a drawn surface's "
        "sections with the control turned, linear sections only; absent: 0.9",
    )

    @model_validator(mode="after")
    def _together(self) -> Controls:
        for given, other in (("fin_area", "fin_arm"), ("fin_arm", "fin_area")):
            if getattr(self, given) is not None and getattr(self, other) is None:
                raise Fault((other,), f"this key is missing, needed with {given}")
        return self


class Motor(Table):
    """One motor with its controller and gear; every propeller has one."""

    propellers: tuple[StrictStr, ...] = Field(
        default=(), description="names of the propellers it drives; empty: all the others"
    )
    power: Power = Field(gt=0.0, description="largest shaft power of each")
    continuous_power: Power | None = Field(
        default=None, gt=0.0, description="shaft power that may last; absent: power"
    )
    overload_time: Minutes | None = Field(
        default=None, ge=0.0, description="that a flight may hold more than that"
    )
    rpm: Rotation | None = Field(default=None, gt=0.0, description="largest propeller speed")
    efficiency: Number | None = Field(
        default=None, gt=0.0, le=1.0, description="of the motor; or a table of it"
    )
    table: FileName | None = Field(
        default=None, description="file of measured efficiency over the motor's speed and torque"
    )
    gear: Number = Field(default=1.0, gt=0.0, description="motor speed / propeller speed")
    controller_efficiency: Number = Field(
        default=1.0, gt=0.0, le=1.0, description="of the motor's controller"
    )
    gear_efficiency: Number = Field(default=1.0, gt=0.0, le=1.0, description="of the gear")
    specific_power: SpecificPower | None = Field(
        default=None, gt=0.0, description="shaft power over the mass of motor and controller"
    )
    fixed_mass: Mass = Field(
        default=0.0, ge=0.0, description="mass of each that does not grow with power"
    )

    @model_validator(mode="after")
    def _consistent(self) -> Motor:
        if self.continuous_power is not None and self.continuous_power > self.power:
            raise Fault(
                ("continuous_power",),
                f"found {self.continuous_power:g} W; accepted is at most power, {self.power:g} W",
            )
        if self.efficiency is None and self.table is None:
            raise Fault(("efficiency",), "this key is missing; accepted is efficiency or table")
        if self.efficiency is not None and self.table is not None:
            raise Fault(
                ("table",),
                f'found "{self.table}" beside efficiency; accepted is exactly one of efficiency '
                "and table",
            )
        if self.table is None and self.gear != 1.0:
            raise Fault(
                ("gear",),
                f"found {self.gear:g}; accepted only with table, whose speeds are the motor's",
            )
        if self.overload_time is not None and self.continuous_power is None:
            raise Fault(("continuous_power",), "this key is missing, needed with overload_time")
        return self

    @property
    def chain(self) -> float:
        """Shaft power over power drawn from the battery, of a motor of constant efficiency."""
        return (self.efficiency or 1.0) * self.controller_efficiency * self.gear_efficiency

    def mass(self, power: float) -> float:
        """Mass of one motor of a shaft power in W, kg: fixed_mass + power/specific_power."""
        return self.fixed_mass + (power / self.specific_power if self.specific_power else 0.0)


class Battery(Table):
    """The battery as the mission sees it."""

    mass: Mass = Field(gt=0.0, description="of the whole pack")
    specific_energy: SpecificEnergy = Field(gt=0.0, le=2000.0, description="of the whole pack")
    usable: Number = Field(gt=0.0, le=1.0, description="fraction of the energy that may be used")
    efficiency: Number = Field(default=1.0, gt=0.0, le=1.0, description="of discharge")
    systems_power: Power = Field(default=0.0, ge=0.0, description="drawn besides the motors")
    c_rate: Number | None = Field(
        default=None, gt=0.0, description="largest discharge, 1/h: power / energy when full"
    )
    power: Power | None = Field(default=None, gt=0.0, description="largest power given")

    @property
    def usable_energy(self) -> float:
        """Energy that may leave the terminals, J."""
        return 3600.0 * self.mass * self.specific_energy * self.usable * self.efficiency

    @property
    def capacity(self) -> float:
        """Energy when full, Wh: what a C-rate refers to."""
        return self.mass * self.specific_energy

    @property
    def power_limit(self) -> float:
        """Largest power at the terminals by `power` and `c_rate`, W; infinite without either."""
        limits = [self.power or math.inf]
        if self.c_rate is not None:
            limits.append(self.c_rate * self.capacity)
        return min(limits)


class Aircraft(Table):
    """What the wing and its propellers have to carry, and where."""

    mass: Mass = Field(gt=0.0, description="at take-off, and throughout: batteries lose none")
    drag_area: Area = Field(ge=0.0, description="zero-lift drag area of all but the wing")
    section_clmax: Number | None = Field(
        default=None,
        gt=0.0,
        le=3.0,
        description="largest cl, on its own local q, of an unflapped section; linear sections only",
    )
    flapped_clmax: Number | None = Field(
        default=None, gt=0.0, le=4.5, description="the same of a flapped section at full flap"
    )
    stalled_area: Number | None = Field(
        default=None, ge=0.0, le=0.5, description="share of the wing at its limit that is a stall"
    )
    flap_effectiveness: Number | None = Field(
        default=None, gt=0.0, le=1.0, description="deflection felt by the flow, of the flap's"
    )
    gear_drag_area: Area = Field(default=0.0, ge=0.0, description="of the landing gear")
    gear_down: tuple[PhaseName, ...] = Field(
        default=("take_off", "approach", "landing"), description="phases flown with it down"
    )
    tail: Tail | None = Field(
        default=None, description="of a concept; absent: [[surfaces]] and [trim] draw it"
    )
    controls: Controls = Field(default_factory=Controls)
    motors: tuple[Motor, ...] = Field(min_length=1)
    battery: Battery
    take_off: TakeOff
    approach: Approach = Field(default_factory=Approach)
    cruise: Cruise
    landing: Landing = Field(default_factory=Landing)
    noise: NoisePlaces = Field(default_factory=NoisePlaces)
    schedule: tuple[Scheduled, ...] = Field(
        default=(), description="what some propellers do in some phases"
    )
    inoperative: StrictStr | None = Field(
        default=None, description="propeller whose motor fails; absent: the outermost to starboard"
    )
    inoperative_state: Idle = Field(default="folded", description="what the failed propeller does")
    failure_speed: Speed | None = Field(
        default=None, ge=0.0, description="of the failure in the roll; absent: balanced field"
    )
    chordwise: Whole = Field(default=4, ge=1, le=32, description="panels of the tables' lattice")
    spanwise: Whole = Field(default=20, ge=4, le=200, description="strips per half span of it")


def covered(names: Sequence[str], placed: Mapping[str, str]) -> list[str]:
    """Placed propellers that names mean; a definition's name means its twin as well.

    Args:
        names: from the file. placed: name of each placed propeller to that of its definition.
    """
    return [name for name, definition in placed.items() if name in names or definition in names]


def settings_of(
    aircraft: Aircraft, placed: Mapping[str, str], phase: PhaseName
) -> dict[str, Scheduled]:
    """What each placed propeller does in a phase: the last row of the schedule that names it.

    Without a row all are powered, but the cruise's idle ones; the descent does what the cruise
    does, the landing what the approach does.

    Args:
        aircraft: the table. placed: name of each propeller to its definition's. phase: of flight.
    """
    before: dict[str, PhaseName] = {"descent": "cruise", "landing": "approach"}
    if phase in before:
        result = settings_of(aircraft, placed, before[phase])
    else:
        at_work = Scheduled(phases=(phase,), propellers=("all",))
        result = dict.fromkeys(placed, at_work)
    if phase == "cruise":
        idle = Scheduled(phases=(phase,), propellers=("idle",), state=aircraft.cruise.idle_state)
        result |= dict.fromkeys(covered(aircraft.cruise.idle, placed), idle)
    for row in aircraft.schedule:
        if phase in row.phases:
            result |= dict.fromkeys(covered(row.propellers, placed), row)
    return result


_FLOWN: tuple[PhaseName, ...] = ("take_off", "climb", "cruise", "descent", "approach")
_LINEAR_ONLY = ("section_clmax", "flapped_clmax", "stalled_area", "flap_effectiveness")


def check_aircraft(
    aircraft: Aircraft, placed: Mapping[str, str], flap_groups: int, sections: str
) -> None:
    """Names exist, something drives the aircraft, flap settings have flaps.

    Args:
        aircraft: the table.
        placed: name of each propeller, twins included, to its definition's name.
        flap_groups: number of [[wing.flaps]]. sections: "linear" or "tables".

    Raises:
        Fault: with the path of the key to blame.
    """
    if not placed:
        raise Fault(("aircraft",), "found no propellers in this case; accepted are one or more")
    given_limits = [name for name in _LINEAR_ONLY if getattr(aircraft, name) is not None]
    if sections == "tables" and given_limits:
        raise Fault(
            ("aircraft", given_limits[0]),
            f"found {getattr(aircraft, given_limits[0]):g}; not accepted with model.sections = "
            '"tables", whose sections have stalls and flaps of their own',
        )
    if sections == "tables" and aircraft.controls.tail_clmax is not None:
        raise Fault(
            ("aircraft", "controls", "tail_clmax"),
            f"found {aircraft.controls.tail_clmax:g}; not accepted with model.sections = "
            '"tables", by which the sections of a drawn tail stall',
        )
    if sections == "linear" and aircraft.section_clmax is None:
        raise Fault(
            ("aircraft", "section_clmax"),
            'this key is missing, needed with model.sections = "linear"',
        )
    lists: list[tuple[tuple[str | int, ...], tuple[str, ...]]] = [
        (("aircraft", "cruise", "idle"), aircraft.cruise.idle),
        (("aircraft", "inoperative"), (aircraft.inoperative,) if aircraft.inoperative else ()),
    ]
    lists += [
        (("aircraft", "motors", i, "propellers"), m.propellers)
        for i, m in enumerate(aircraft.motors)
    ]
    lists += [
        (("aircraft", "schedule", i, "propellers"), row.propellers)
        for i, row in enumerate(aircraft.schedule)
    ]
    for path, given in lists:
        for name in given:
            if name not in placed:
                raise Fault(path, f'found "{name}"; accepted are {", ".join(placed)}')
    if len(covered(aircraft.cruise.idle, placed)) == len(placed):
        raise Fault(
            ("aircraft", "cruise", "idle"), "found all propellers idle; accepted is a part of them"
        )
    for phase in _FLOWN:
        if all(row.state != "powered" for row in settings_of(aircraft, placed, phase).values()):
            raise Fault(
                ("aircraft", "schedule"),
                f"found no powered propeller in {phase}; accepted is one or more",
            )
    _check_motors(aircraft.motors, placed)
    _check_masses(aircraft, placed)
    for phase in ("take_off", "approach"):
        _check_flaps(("aircraft", phase), getattr(aircraft, phase), flap_groups)


def _check_flaps(path: tuple[str, ...], phase: TakeOff | Approach, groups: int) -> None:
    if phase.flap is not None and groups == 0:
        raise Fault(
            (*path, "flap"),
            "the wing has no flaps; accepted is a flap setting with [[wing.flaps]]",
        )
    if phase.flaps is None:
        return
    if phase.flap is not None:
        raise Fault((*path, "flaps"), "found flap as well; accepted is one of flap and flaps")
    if len(phase.flaps) != groups:
        raise Fault(
            (*path, "flaps"),
            f"found {len(phase.flaps)} angles; accepted is one for each of the {groups} "
            "[[wing.flaps]]",
        )


def _check_masses(aircraft: Aircraft, placed: Mapping[str, str]) -> None:
    """Battery and motors are parts of the aircraft, and cannot weigh more than it."""
    battery = aircraft.battery.mass
    if battery >= aircraft.mass:
        raise Fault(
            ("aircraft", "battery", "mass"),
            f"found {battery:g} kg in an aircraft of {aircraft.mass:g} kg; accepted is less than "
            "the aircraft's mass, of which the battery is a part",
        )
    named = [set(covered(motor.propellers, placed)) for motor in aircraft.motors]
    rest = len(placed) - sum(map(len, named))
    motors = sum(
        motor.mass(motor.power) * (len(own) if motor.propellers else rest)
        for motor, own in zip(aircraft.motors, named, strict=True)
    )
    if battery + motors >= aircraft.mass:
        raise Fault(
            ("aircraft", "mass"),
            f"found {aircraft.mass:g} kg with {battery:g} kg of battery and {motors:.0f} kg of "
            "motors; accepted is more than both together",
        )
    systems, limit = aircraft.battery.systems_power, aircraft.battery.power_limit
    if systems >= limit:
        raise Fault(
            ("aircraft", "battery", "systems_power"),
            f"found {systems:g} W of {limit:g} W that the battery can give; accepted is less",
        )


def _check_motors(motors: Sequence[Motor], placed: Mapping[str, str]) -> None:
    driven: set[str] = set()
    open_ended = [i for i, motor in enumerate(motors) if not motor.propellers]
    if len(open_ended) > 1:
        raise Fault(
            ("aircraft", "motors", open_ended[1], "propellers"),
            "found a second motor for all the others; accepted is one",
        )
    for i, motor in enumerate(motors):
        own = set(covered(motor.propellers, placed))
        if own & driven:
            raise Fault(
                ("aircraft", "motors", i, "propellers"),
                f"found a second motor for {', '.join(sorted(own & driven))}; accepted is one each",
            )
        driven |= own
    missing = sorted(set(placed) - driven)
    if missing and not open_ended:
        raise Fault(
            ("aircraft", "motors"),
            f"found no motor for {', '.join(missing)}; accepted is one each",
        )
