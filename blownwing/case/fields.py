"""Types of the values in a case file: what converts and checks each of them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, StrictStr

from blownwing.case import units
from blownwing.case.messages import Fault
from blownwing.errors import InputError


class Unit(NamedTuple):
    """Base unit of a number, as the reference of keys names it."""

    text: str


class Accepted(NamedTuple):
    """What a key accepts, where the type and limits beside it do not say."""

    text: str


Length = Annotated[float, BeforeValidator(units.length), Unit("m")]
Area = Annotated[float, BeforeValidator(units.area), Unit("m2")]
Speed = Annotated[float, BeforeValidator(units.speed), Unit("m/s")]
Angle = Annotated[float, BeforeValidator(units.angle), Unit("deg")]
AngularRate = Annotated[float, BeforeValidator(units.angular_rate), Unit("deg/s")]
Mass = Annotated[float, BeforeValidator(units.mass), Unit("kg")]
Force = Annotated[float, BeforeValidator(units.force), Unit("N")]
Power = Annotated[float, BeforeValidator(units.power), Unit("W")]
Rotation = Annotated[float, BeforeValidator(units.rotation), Unit("1/min")]
Density = Annotated[float, BeforeValidator(units.density), Unit("kg/m3")]
TemperatureDifference = Annotated[float, BeforeValidator(units.temperature_difference), Unit("K")]
Number = Annotated[float, BeforeValidator(units.number)]
Whole = Annotated[int, BeforeValidator(units.whole)]
Seconds = Annotated[Number, Unit("s")]
Minutes = Annotated[Number, Unit("min")]
Acceleration = Annotated[Number, Unit("m/s2")]
Moment = Annotated[Number, Unit("N m")]
SpecificPower = Annotated[Number, Unit("W/kg")]
SpecificEnergy = Annotated[Number, Unit("Wh/kg")]
SpeedConstant = Annotated[Number, Unit("1/min/V")]
Resistance = Annotated[Number, Unit("ohm")]
Current = Annotated[Number, Unit("A")]
Voltage = Annotated[Number, Unit("V")]

LEAST_SPEED = 1e-3  # m/s or 1/min; what is slower is at rest
LEAST_SIZE = 1e-6  # m, of chords and diameters
LEAST_DENSITY, LARGEST_DENSITY = 1e-6, 2000.0  # kg/m³, from near space to salt water
HIGHEST_INCIDENCE = 90.0  # deg, of the wing


def _each(
    value: list[Any] | tuple[Any, ...], convert: Callable[[object], float]
) -> tuple[float, ...]:
    result = []
    for index, item in enumerate(value):
        try:
            result.append(convert(item))
        except InputError as error:
            raise Fault((index,), str(error)) from None
    return tuple(result)


def _point(value: object) -> tuple[float, ...]:
    if not isinstance(value, list | tuple) or len(value) != 3:
        raise InputError(
            f"found {units.found(value)}; accepted is a list of three lengths [x, y, z]"
        )
    return _each(value, units.length)


def _incidence(value: object) -> float:
    degrees = units.angle(value)
    if abs(degrees) > HIGHEST_INCIDENCE:
        raise InputError(
            f"found {units.found(value)}; accepted is -{HIGHEST_INCIDENCE:g} to "
            f"{HIGHEST_INCIDENCE:g} deg"
        )
    return degrees


def _incidences(value: object) -> float | tuple[float, ...]:
    if not isinstance(value, list | tuple):
        return _incidence(value)
    if not value:
        raise InputError("found an empty list; accepted is an angle in deg or a list of angles")
    return _each(value, _incidence)


def _real_size(value: float) -> float:
    if 0.0 < value < LEAST_SIZE:
        raise InputError(f"found {value:g}; accepted is at least {LEAST_SIZE:g} m")
    return value


def _still_or_moving(value: float) -> float:
    if 0.0 < abs(value) < LEAST_SPEED:
        raise InputError(f"found {value:g}; accepted is 0 or at least {LEAST_SPEED:g}")
    return value


def file_name(value: str) -> str:
    """A path of a file, else InputError: blank, or with control characters."""
    if not value.strip() or not value.isprintable():
        raise InputError(f"found {units.found(value)}; accepted is the path of a file")
    return value


Size = Annotated[Length, AfterValidator(_real_size)]
Airspeed = Annotated[Speed, AfterValidator(_still_or_moving)]
Revolutions = Annotated[Rotation, AfterValidator(_still_or_moving)]
Inertias = Annotated[
    tuple[Number, Number, Number], Unit("kg m2"), Accepted("[about x, about y, about z]")
]
Products = Annotated[tuple[Number, Number, Number], Unit("kg m2"), Accepted("[xy, xz, yz]")]
FileName = Annotated[StrictStr, AfterValidator(file_name)]
Point = Annotated[
    tuple[float, float, float], BeforeValidator(_point), Unit("m"), Accepted("[x, y, z]")
]
Incidences = Annotated[
    float | tuple[float, ...],
    BeforeValidator(_incidences),
    Unit("deg"),
    Accepted(f"-{HIGHEST_INCIDENCE:g} to {HIGHEST_INCIDENCE:g}, or a list of such"),
]
Spin = Literal["inboard_up", "outboard_up", "clockwise", "counterclockwise"]


class Table(BaseModel):
    """A table of the case file: frozen, unknown keys refused, no NaN and no infinity."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)
