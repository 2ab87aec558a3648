"""The ``[aircraft]`` table: mass, the drag of the rest, tail, motors, battery and phases of flight.

Efficiencies and specific energies are inputs, never constants of the package. Defaults that are
habits of the trade say so ("common practice, no source").
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, StrictStr, model_validator

from blownwing.case import units
from blownwing.case.fields import (
    Angle,
    Area,
    FileName,
    Length,
    Number,
    Power,
    Rotation,
    Speed,
    Table,
    Whole,
)
from blownwing.case.messages import Fault

Mass = Annotated[float, BeforeValidator(units.mass)]
Idle = Literal["folded", "stopped", "windmilling"]


class Tail(Table):
    """The horizontal tail that balances the aircraft."""

    arm: Length = Field(gt=0.0, description="reference point to the tail's quarter chord, m")
    span: Length = Field(gt=0.0, description="m")
    area: Area = Field(gt=0.0, description="m2")
    clmax: Number = Field(default=0.9, gt=0.0, description="largest lift coefficient, either sign")


class Controls(Table):
    """What ailerons and rudder can hold."""

    roll_coefficient: Number = Field(
        default=0.045, ge=0.0, description="largest Cl of full ailerons; 0.03 to 0.06 is common"
    )
    fin_area: Area | None = Field(default=None, gt=0.0, description="m2; absent: yaw not checked")
    fin_arm: Length | None = Field(default=None, gt=0.0, description="reference point to fin, m")
    fin_clmax: Number = Field(default=0.8, gt=0.0, description="of fin with full rudder")

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
    power: Power = Field(gt=0.0, description="largest shaft power of each, W")
    rpm: Rotation | None = Field(default=None, gt=0.0, description="largest propeller speed, rpm")
    efficiency: Number | None = Field(
        default=None, gt=0.0, le=1.0, description="of the motor; or a table of it"
    )
    table: FileName | None = Field(
        default=None, description="file of measured efficiency over the motor's speed and torque"
    )
    gear: Number = Field(default=1.0, gt=0.0, description="motor speed / propeller speed")
    controller_efficiency: Number = Field(default=1.0, gt=0.0, le=1.0)
    gear_efficiency: Number = Field(default=1.0, gt=0.0, le=1.0)
    specific_power: Number | None = Field(
        default=None, gt=0.0, description="W of shaft power per kg of motor and controller"
    )
    fixed_mass: Mass = Field(
        default=0.0, ge=0.0, description="mass of each that does not grow with power, kg"
    )

    @model_validator(mode="after")
    def _one_efficiency(self) -> Motor:
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

    mass: Mass = Field(gt=0.0, description="kg")
    specific_energy: Number = Field(gt=0.0, le=2000.0, description="Wh/kg, of the whole pack")
    usable: Number = Field(gt=0.0, le=1.0, description="fraction of the energy that may be used")
    efficiency: Number = Field(default=1.0, gt=0.0, le=1.0, description="of discharge")
    systems_power: Power = Field(default=0.0, ge=0.0, description="W drawn besides the motors")

    @property
    def usable_energy(self) -> float:
        """Energy that may leave the terminals, J."""
        return 3600.0 * self.mass * self.specific_energy * self.usable * self.efficiency


class TakeOff(Table):
    """Take-off: configuration, ground and margins."""

    flap: Angle | None = Field(default=None, ge=-10.0, le=80.0, description="all flaps, deg")
    drag_area: Area = Field(default=0.0, ge=0.0, description="gear and flaps, added, m2")
    setting: Number = Field(default=1.0, gt=0.0, le=1.0, description="of the thrust available")
    altitude: Length = Field(default=0.0, description="pressure altitude, m")
    ground_height: Length = Field(gt=0.0, description="reference point above the ground, m")
    ground_alpha: Angle = Field(default=2.0, ge=-10.0, le=20.0, description="on its wheels, deg")
    rotation_limit: Angle = Field(default=12.0, ge=0.0, le=40.0, description="tail strike, deg")
    rotation_time: Number = Field(default=1.0, ge=0.0, description="s at lift-off speed")
    friction: Number = Field(default=0.04, ge=0.0, le=0.5, description="rolling, dry runway")
    braking: Number = Field(default=0.3, gt=0.0, le=1.0, description="friction with brakes")
    reaction_time: Number = Field(default=2.0, ge=0.0, description="s from failure to brakes")
    slope: Number = Field(default=0.0, ge=-0.1, le=0.1, description="uphill rise over run")
    headwind: Speed = Field(default=0.0, ge=-15.0, le=30.0, description="m/s")
    lift_off_margin: Number = Field(default=1.1, ge=1.0, description="over the stall speed")
    screen_margin: Number = Field(default=1.2, ge=1.0, description="over the stall speed")
    obstacle: Length = Field(default=15.24, gt=0.0, description="screen height, m")
    runway: Length | None = Field(default=None, gt=0.0, description="length available, m")


class Approach(Table):
    """Approach and landing configuration."""

    flap: Angle | None = Field(default=None, ge=-10.0, le=80.0, description="all flaps, deg")
    drag_area: Area = Field(default=0.0, ge=0.0, description="gear and flaps, added, m2")
    path: Angle = Field(default=-3.0, gt=-20.0, lt=0.0, description="flight path, deg")
    speed_margin: Number = Field(default=1.3, ge=1.0, description="over the stall speed")
    vertical_gust: Speed = Field(default=5.0, gt=0.0, description="for the angle margin, m/s")


class Cruise(Table):
    """Cruise, and what the propellers that are not needed do."""

    altitude: Length = Field(default=0.0, description="pressure altitude, m")
    airspeed: Speed = Field(gt=0.0, description="true, m/s")
    idle: tuple[StrictStr, ...] = Field(default=(), description="names of idle propellers")
    idle_state: Idle = Field(default="folded", description="folded ones are left out")
    gust: Speed = Field(default=15.24, gt=0.0, description="derived gust velocity, m/s EAS")
    reserve_time: Number = Field(default=30.0, ge=0.0, description="minutes at cruise power")


class Aircraft(Table):
    """What the wing and its propellers have to carry, and where."""

    mass: Mass = Field(gt=0.0, description="at take-off, and throughout: batteries lose none, kg")
    drag_area: Area = Field(ge=0.0, description="zero-lift drag area of all but the wing, m2")
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
    tail: Tail
    controls: Controls = Field(default_factory=Controls)
    motors: tuple[Motor, ...] = Field(min_length=1)
    battery: Battery
    take_off: TakeOff
    approach: Approach = Field(default_factory=Approach)
    cruise: Cruise
    inoperative: StrictStr | None = Field(
        default=None, description="propeller whose motor fails; absent: the outermost to starboard"
    )
    inoperative_state: Idle = "folded"
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


_LINEAR_ONLY = ("section_clmax", "flapped_clmax", "stalled_area", "flap_effectiveness")


def check_aircraft(
    aircraft: Aircraft, placed: Mapping[str, str], has_flaps: bool, sections: str
) -> None:
    """Names exist, something drives the aircraft, flap settings have flaps.

    Args:
        aircraft: the table.
        placed: name of each propeller, twins included, to its definition's name.
        has_flaps: whether the wing has flaps. sections: "linear" or "tables".

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
    for path, given in lists:
        for name in given:
            if name not in placed:
                raise Fault(path, f'found "{name}"; accepted are {", ".join(placed)}')
    if len(covered(aircraft.cruise.idle, placed)) == len(placed):
        raise Fault(
            ("aircraft", "cruise", "idle"), "found all propellers idle; accepted is a part of them"
        )
    _check_motors(aircraft.motors, placed)
    for phase in ("take_off", "approach"):
        if getattr(aircraft, phase).flap is not None and not has_flaps:
            raise Fault(
                ("aircraft", phase, "flap"),
                "the wing has no flaps; accepted is a flap setting with [[wing.flaps]]",
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
