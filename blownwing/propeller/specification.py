"""What a user writes to have a propeller designed: a TOML file, validated."""

from __future__ import annotations

import os
from pathlib import Path

from pydantic import Field, StrictStr, ValidationError, model_validator

from blownwing.airfoil.library import is_known, section_for, section_thickness
from blownwing.case.air import HIGHEST_ALTITUDE, LOWEST_ALTITUDE, Air, air_at
from blownwing.case.fields import (
    Airspeed,
    Angle,
    Current,
    FileName,
    Force,
    Length,
    Number,
    Power,
    Resistance,
    Revolutions,
    Size,
    SpeedConstant,
    Table,
    TemperatureDifference,
    Voltage,
    Whole,
)
from blownwing.case.lines import key_lines, line_of
from blownwing.case.messages import Fault, faults, one_sentence
from blownwing.case.reader import parse_toml, read_text
from blownwing.case.units import RPM
from blownwing.errors import InputError
from blownwing.propeller.motor import Motor
from blownwing.propeller.motor_table import GearedTable, read_motor_table
from blownwing.propeller.task import DesignTask


class Point(Table):
    """The operating point that a blade is designed for."""

    airspeed: Airspeed = Field(gt=0.0, le=340.0, description="true airspeed")
    altitude: Length = Field(
        default=0.0, ge=LOWEST_ALTITUDE, le=HIGHEST_ALTITUDE, description="pressure altitude"
    )
    isa_offset: TemperatureDifference = Field(
        default=0.0, ge=-100.0, le=100.0, description="temperature above standard"
    )
    thrust: Force | None = Field(default=None, gt=0.0, description="wanted; or power")
    power: Power | None = Field(default=None, gt=0.0, description="shaft power; or thrust")

    @model_validator(mode="after")
    def _one_aim(self) -> Point:
        if (self.thrust is None) == (self.power is None):
            raise InputError("accepted is exactly one of thrust and power")
        return self


class Rotor(Table):
    """The propeller's given sizes."""

    diameter: Size = Field(gt=0.0, description="of the disc")
    blades: Whole = Field(ge=1, le=24, description="number of blades")
    rpm: Revolutions = Field(gt=0.0, description="rotational speed")
    hub_ratio: Number = Field(default=0.18, ge=0.02, le=0.6, description="hub / tip radius")
    section: FileName = Field(description="NACA 4- or 5-digit name, or a section file")
    thickness_ratio: Number | None = Field(
        default=None,
        gt=0.0,
        lt=1.0,
        description="of the section, thickness / chord; absent: as name or coordinates say",
    )


class Limits(Table):
    """What the blade must keep to."""

    tip_mach: Number = Field(default=0.7, gt=0.0, lt=1.0, description="largest, of the blade's tip")
    lift_coefficient: Number | None = Field(
        default=None, gt=0.0, description="section cl to design for; absent: best cl/cd"
    )
    lift_coefficient_limit: Number = Field(default=1.0, gt=0.0, description="largest section cl")
    chord_least: Number = Field(default=0.02, gt=0.0, description="in parts of the radius")
    chord_most: Number = Field(default=0.4, gt=0.0, description="in parts of the radius")
    chord_slope: Number = Field(default=0.8, gt=0.0, description="largest |dc/dr|")
    root_thickness: Length = Field(default=0.0, ge=0.0, description="least, at the hub")
    tip_thickness: Length = Field(
        default=0.0, ge=0.0, description="least, at the tip; linear between"
    )


class HighLift(Table):
    """What the high-lift blade is made for: most lift for its power, or an even slipstream."""

    evenness: Number | None = Field(
        default=None,
        gt=0.0,
        le=1.0,
        description="unevenness allowed, in parts of the minimum-loss blade's; absent: the blade "
        "that gains most lift per kilowatt on the wing",
    )


class MapRange(Table):
    """The grid of the performance maps."""

    advance_ratio: Number = Field(default=1.2, gt=0.0, description="largest J; the first is 0")
    pitch_from: Angle = Field(default=-10.0, description="first pitch, added to the twist")
    pitch_to: Angle = Field(default=20.0, description="last pitch, added to the twist")
    points: Whole = Field(default=40, ge=4, le=400, description="over J")
    pitches: Whole = Field(default=20, ge=4, le=400, description="over pitch")

    @model_validator(mode="after")
    def _rising(self) -> MapRange:
        if not self.pitch_from < self.pitch_to:
            raise Fault(
                ("pitch_to",), f"found {self.pitch_to:g}; accepted is above {self.pitch_from:g}"
            )
        return self


class ComparisonWing(Table):
    """A rectangular wing with a row of the propeller, to compare the two blades on."""

    span: Size = Field(gt=0.0, description="of the wing")
    chord: Size = Field(gt=0.0, description="constant along the span")
    airfoil: StrictStr = Field(
        default="naca2412", description='"flat", a NACA 4- or 5-digit name, or a file'
    )
    alpha: Angle = Field(default=4.0, ge=-20.0, le=20.0, description="incidence")
    propellers: Whole = Field(default=2, ge=1, le=12, description="per half span, evenly spaced")
    ahead: Length = Field(gt=0.0, description="discs ahead of the leading edge")


class Drive(Table):
    """The motor that turns the propeller, by three constants or by a measured table."""

    table: FileName | None = Field(
        default=None, description="file of efficiency over the motor's speed and torque"
    )
    constant: SpeedConstant | None = Field(default=None, gt=0.0, description="speed constant")
    resistance: Resistance | None = Field(default=None, ge=0.0, description="of the winding")
    no_load_current: Current | None = Field(
        default=None, ge=0.0, description="current without torque"
    )
    controller_resistance: Resistance = Field(default=0.0, ge=0.0, description="of the controller")
    supply_voltage: Voltage | None = Field(
        default=None, gt=0.0, description="of the supply; absent: as much as is needed"
    )
    current_limit: Current | None = Field(
        default=None, gt=0.0, description="largest current; absent: any"
    )
    gear: Number = Field(default=1.0, gt=0.0, description="motor speed / propeller speed")

    @model_validator(mode="after")
    def _constants_or_table(self) -> Drive:
        for key in ("constant", "resistance", "no_load_current"):
            if self.table is None and getattr(self, key) is None:
                raise Fault((key,), "this key is missing, needed without table")
        electric = {"constant", "resistance", "no_load_current", "controller_resistance",
                    "supply_voltage", "current_limit"}  # fmt: skip
        if self.table is not None and electric & self.model_fields_set:
            key = min(electric & self.model_fields_set)
            raise Fault((key,), f"found {getattr(self, key)}; not accepted with table")
        return self


class Specification(Table):
    """A propeller to design; build one with `read_specification`."""

    title: StrictStr = Field(default="", description="of results and figures")
    point: Point
    propeller: Rotor
    limits: Limits = Field(default_factory=Limits)
    high_lift: HighLift = Field(default_factory=HighLift)
    map: MapRange = Field(default_factory=MapRange)
    wing: ComparisonWing
    motor: Drive | None = None

    @property
    def air(self) -> Air:
        """The air at the design point."""
        return air_at(self.point.altitude, self.point.isa_offset)

    @property
    def omega(self) -> float:
        """rad/s."""
        return self.propeller.rpm * RPM

    def drive(self) -> Motor | GearedTable | None:
        """The motor, if there is one; its table is found from the current folder.

        Raises:
            InputError: a table that cannot be used.
        """
        if self.motor is None:
            return None
        if self.motor.table is None:
            return Motor(**self.motor.model_dump(exclude={"table"}))
        try:
            return GearedTable(read_motor_table(self.motor.table), self.motor.gear)
        except InputError as error:
            raise InputError(f"motor.table: {error}") from None


def read_specification(path: str | os.PathLike[str]) -> Specification:
    """A specification from a TOML file.

    Raises:
        InputError: for the first broken rule: file, line, key, what was found, what is accepted.
    """
    text = read_text(path)
    tables = parse_toml(text, str(path))
    try:
        return Specification.model_validate(tables)
    except ValidationError as error:
        broken = faults(error, Specification)
        line = line_of(broken[0][0], key_lines(text))
        where = str(path) if line is None else f"{path}, line {line}"
        raise InputError(one_sentence(broken, where)) from None


def specified_files(spec: Specification, path: Path) -> list[Path]:
    """The specification's own file and the section files that it names."""
    names = [spec.propeller.section, spec.wing.airfoil]
    names += [spec.motor.table] if spec.motor is not None and spec.motor.table else []
    files = [path.parent / name for name in names if not is_known(name)]
    return [path, *(file for file in files if os.path.isfile(file))]


def design_task(spec: Specification, folder: Path, target: Path) -> DesignTask:
    """The task of a specification.

    Args:
        spec: the specification.
        folder: where a section file's relative name starts.
        target: folder of the blade files, from which the section must be found again.

    Raises:
        InputError: a section that cannot be read, or limits that contradict one another.
    """
    name = spec.propeller.section
    table = section_for(name, folder)
    thickness = spec.propeller.thickness_ratio or section_thickness(name, folder)
    if not is_known(name):
        name = Path(os.path.relpath(folder / name, target)).as_posix()
    limits = spec.limits
    return DesignTask(
        diameter=spec.propeller.diameter,
        hub_ratio=spec.propeller.hub_ratio,
        blades=spec.propeller.blades,
        omega=spec.omega,
        airspeed=spec.point.airspeed,
        air=spec.air,
        section=table,
        section_name=name,
        thrust=spec.point.thrust,
        power=spec.point.power,
        lift=limits.lift_coefficient,
        lift_limit=limits.lift_coefficient_limit,
        chord_least=limits.chord_least,
        chord_most=limits.chord_most,
        tip_mach=limits.tip_mach,
        chord_slope=limits.chord_slope,
        thickness_ratio=thickness or None,
        root_thickness=limits.root_thickness,
        tip_thickness=limits.tip_thickness,
    )
