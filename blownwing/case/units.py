"""Quantities as a user writes them: a number in the base unit, or a string with a unit.

Every function takes the value found in the input and returns a float in the base unit its
docstring names; it raises `InputError` for anything that is not a finite number, and names the
accepted units when the unit is unknown.

Conversion factors: inch, foot, pound and standard gravity exact by definition (Thompson, A. and
Taylor, B. N., 2008, "Guide for the Use of the International System of Units (SI)", NIST Special
Publication 811, appendix B); horsepower is 550 ft lbf/s (ibid.).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from numbers import Real

from blownwing.errors import InputError

_NUMBER = re.compile(r"\s*[+-]?(?:\d[\d_]*\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")

LARGEST = 1e30  # beyond it products of inputs leave the range of floating point

FOOT = 0.3048
INCH = 0.0254
POUND = 0.45359237
GRAVITY = 9.80665
KNOT = 1852.0 / 3600.0
DEGREE = math.pi / 180.0
RPM = math.pi / 30.0  # rad/s


@dataclass(frozen=True)
class _Quantity:
    noun: str
    example: str
    factors: Mapping[str, float]  # unit -> multiplier to the base unit, the first being the base


_LENGTH = _Quantity(
    "length",
    "18 in",
    {"m": 1.0, "mm": 1e-3, "cm": 1e-2, "km": 1e3, "in": INCH, "ft": FOOT},
)
_AREA = _Quantity(
    "area",
    "160 ft2",
    {"m2": 1.0, "m²": 1.0, "cm2": 1e-4, "in2": INCH**2, "ft2": FOOT**2, "ft²": FOOT**2},
)
_SPEED = _Quantity(
    "speed",
    "60 kt",
    {"m/s": 1.0, "km/h": 1.0 / 3.6, "kt": KNOT, "mph": 0.44704, "ft/s": FOOT, "ft/min": FOOT / 60},
)
_ANGLE = _Quantity("angle", "4 deg", {"deg": 1.0, "°": 1.0, "rad": 1.0 / DEGREE})
_ANGULAR_RATE = _Quantity("angular rate", "10 deg/s", {"deg/s": 1.0, "rad/s": 1.0 / DEGREE})
_MASS = _Quantity("mass", "1200 lb", {"kg": 1.0, "g": 1e-3, "t": 1e3, "lb": POUND})
_FORCE = _Quantity(
    "force",
    "120 lbf",
    {"N": 1.0, "kN": 1e3, "lbf": POUND * GRAVITY, "kgf": GRAVITY},
)
_POWER = _Quantity(
    "power",
    "40 kW",
    {"W": 1.0, "kW": 1e3, "MW": 1e6, "hp": 550.0 * FOOT * POUND * GRAVITY},
)
_ROTATION = _Quantity(
    "rotational speed",
    "70 1/s",
    {"rpm": 1.0, "1/min": 1.0, "1/s": 60.0, "Hz": 60.0, "rad/s": 1.0 / RPM},
)
_DENSITY = _Quantity(
    "density",
    "1.1 kg/m3",
    {"kg/m3": 1.0, "kg/m³": 1.0, "lb/ft3": POUND / FOOT**3},
)
_TEMPERATURE_DIFFERENCE = _Quantity("temperature difference", "15 K", {"K": 1.0, "degC": 1.0})


def found(value: object) -> str:
    """How a value taken from an input is quoted in a message.

    Args:
        value: anything a TOML file or a Python caller can hold.

    Returns:
        A short text; tables and long lists are described, not printed.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if value is None:
        return "nothing"
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, list | tuple):
        text = "[" + ", ".join(found(item) for item in value) + "]"
        return text if len(text) <= 50 else f"a list of {len(value)}"
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."


def number(value: object) -> float:
    """A dimensionless finite number of a magnitude up to `LARGEST`.

    Args:
        value: what the input holds.

    Raises:
        InputError: for anything but a finite real number.
    """
    if type(value) is float and abs(value) <= LARGEST:
        return value  # by far the commonest case; the abstract type test below is slow
    if isinstance(value, bool) or not isinstance(value, Real):
        raise InputError(f"found {found(value)}; accepted is a number")
    try:
        result = float(value)
    except OverflowError:  # a whole number too long for a float
        result = math.inf
    if not math.isfinite(result):
        raise InputError(f"found {found(value)}; accepted is a finite number")
    if abs(result) > LARGEST:
        raise InputError(f"found {found(value)}; accepted are magnitudes up to {LARGEST:g}")
    return result


def whole(value: object) -> int:
    """A whole number; 32.0 counts as one, since sweeps are often written in floats.

    Raises:
        InputError: for anything that is not a whole number.
    """
    if isinstance(value, bool) or not isinstance(value, Real) or number(value) % 1.0 != 0.0:
        raise InputError(f"found {found(value)}; accepted is a whole number")
    return int(number(value))


def _convert(value: object, quantity: _Quantity) -> float:
    base = next(iter(quantity.factors))
    accepted = f'accepted is a number in {base} or a string such as "{quantity.example}"'
    article = "an" if quantity.noun[0] in "aeiou" else "a"
    if isinstance(value, str):
        match = _NUMBER.match(value)
        unit = value[match.end() :].strip() if match else ""
        if match is None or not unit:
            raise InputError(f"found {found(value)}; for {article} {quantity.noun} {accepted}")
        if unit not in quantity.factors:
            raise InputError(
                f'found {found(value)}; the unit "{unit}" is not a unit of {quantity.noun}, '
                f"accepted are {', '.join(quantity.factors)}"
            )
        return number(float(match[0]) * quantity.factors[unit])
    if type(value) is not float and (isinstance(value, bool) or not isinstance(value, Real)):
        raise InputError(f"found {found(value)}; for {article} {quantity.noun} {accepted}")
    return number(value)


def length(value: object) -> float:
    """Length in metres (m, mm, cm, km, in, ft); InputError for anything else."""
    return _convert(value, _LENGTH)


def area(value: object) -> float:
    """Area in square metres (m2, cm2, in2, ft2); InputError for anything else."""
    return _convert(value, _AREA)


def speed(value: object) -> float:
    """Speed in metres per second (m/s, km/h, kt, mph, ft/s, ft/min).

    Raises:
        InputError: anything else.
    """
    return _convert(value, _SPEED)


def angle(value: object) -> float:
    """Angle in degrees, the unit of files and output (deg, rad); InputError for anything else."""
    return _convert(value, _ANGLE)


def angular_rate(value: object) -> float:
    """Angular rate in degrees per second (deg/s, rad/s); InputError for anything else."""
    return _convert(value, _ANGULAR_RATE)


def mass(value: object) -> float:
    """Mass in kilograms (kg, g, t, lb); InputError for anything else."""
    return _convert(value, _MASS)


def force(value: object) -> float:
    """Force in newtons (N, kN, lbf, kgf); InputError for anything else."""
    return _convert(value, _FORCE)


def power(value: object) -> float:
    """Power in watts (W, kW, MW, hp); InputError for anything else."""
    return _convert(value, _POWER)


def rotation(value: object) -> float:
    """Rotational speed in revolutions per minute (rpm, 1/min, 1/s, Hz, rad/s).

    Raises:
        InputError: anything else.
    """
    return _convert(value, _ROTATION)


def density(value: object) -> float:
    """Density in kilograms per cubic metre (kg/m3, lb/ft3); InputError for anything else."""
    return _convert(value, _DENSITY)


def temperature_difference(value: object) -> float:
    """Difference of temperature in kelvins (K, degC); InputError for anything else."""
    return _convert(value, _TEMPERATURE_DIFFERENCE)
