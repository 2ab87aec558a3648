"""Units: definitions from NIST Special Publication 811 (Thompson and Taylor, 2008), appendix B."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from blownwing.case import units
from blownwing.errors import InputError


@pytest.mark.parametrize(
    ("convert", "text", "expected"),
    [
        # SP 811, appendix B.8, exact factors in bold there; quoted from memory
        (units.length, "18 in", 0.4572),
        (units.length, "1 ft", 0.3048),
        (units.length, "250mm", 0.25),
        (units.length, " -1.5e1 cm ", -0.15),
        (units.length, "1_000 km", 1e6),
        (units.speed, "1 kt", 0.5144444444444445),
        (units.speed, "36 km/h", 10.0),
        (units.speed, "1 mph", 0.44704),
        (units.speed, "100 ft/min", 0.508),
        (units.force, "1 lbf", 4.4482216152605),
        (units.power, "1 hp", 745.6998715822702),
        (units.mass, "1 lb", 0.45359237),
        (units.area, "1 ft2", 0.09290304),
        (units.density, "1 lb/ft3", 16.01846337396014),
        # definitions, no source needed
        (units.angle, "0.1 rad", math.degrees(0.1)),
        (units.angle, "4 deg", 4.0),
        (units.angular_rate, "1 rad/s", math.degrees(1.0)),
        (units.rotation, "70 1/s", 4200.0),
        (units.rotation, "1 rad/s", 60.0 / (2.0 * math.pi)),
        (units.temperature_difference, "15 K", 15.0),
    ],
)
def test_unit_factors(convert, text, expected) -> None:
    assert_allclose(convert(text), expected, rtol=1e-12)


@pytest.mark.parametrize(
    ("convert", "value", "fragment"),
    [
        (units.length, "18 inch", 'the unit "inch" is not a unit of length, accepted are m, mm'),
        (units.length, "18 M", 'the unit "M" is not a unit of length'),
        (units.length, "18", "for a length accepted is a number in m"),
        (units.length, "long", "for a length accepted is a number in m"),
        (units.length, "", "for a length"),
        (units.length, "1e999 m", "accepted is a finite number"),
        (units.length, [1.0], "found [1.0]"),
        (units.length, {"m": 1}, "found a table"),
        (units.length, None, "found nothing"),
        (units.speed, False, "found false"),
        (units.number, "3", "accepted is a number"),
        (units.number, 10**400, "accepted is a finite number"),
        (units.number, math.nan, "found nan"),
        (units.whole, 2.5, "accepted is a whole number"),
        (units.whole, True, "accepted is a whole number"),
        (units.whole, math.inf, "accepted is a finite number"),
    ],
)
def test_what_is_not_a_quantity_is_refused(convert, value, fragment) -> None:
    with pytest.raises(InputError, match=r"^found ") as caught:
        convert(value)
    assert fragment in str(caught.value)


@settings(derandomize=True, deadline=None)
@given(st.floats(-1e6, 1e6, allow_subnormal=False))
def test_text_and_number_agree(value: float) -> None:
    assert units.length(f"{value!r} m") == units.length(value) == value
    assert units.whole(float(round(value))) == round(value)
    assert_allclose(units.length(f"{value!r} ft"), value * 0.3048, rtol=1e-15)
