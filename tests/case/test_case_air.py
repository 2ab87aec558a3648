"""The standard atmosphere against its published table and against a reference library."""

from __future__ import annotations

import ambiance
import numpy as np
import pytest
from numpy.testing import assert_allclose

from blownwing.case.air import air_at
from blownwing.errors import InputError

# ICAO Doc 7488/3 (1993), table by geopotential altitude; US Standard Atmosphere (1976) agrees.
# Quoted from memory: H m, T K, p Pa, density kg/m3, speed of sound m/s.
TABLE = [
    (0.0, 288.15, 101325.0, 1.225, 340.294),
    (1000.0, 281.65, 89874.6, 1.11164, 336.434),
    (5000.0, 255.65, 54019.9, 0.736116, 320.529),
    (10000.0, 223.15, 26436.3, 0.412707, 299.463),
    (11000.0, 216.65, 22632.0, 0.363918, 295.070),
    (20000.0, 216.65, 5474.89, 0.0880349, 295.070),
]


@pytest.mark.parametrize("row", TABLE)
def test_published_table(row) -> None:
    altitude, *expected = row
    air = air_at(altitude)
    found = [air.temperature, air.pressure, air.density, air.speed_of_sound]
    assert_allclose(found, expected, rtol=3e-6)


def test_sea_level_viscosity() -> None:
    # US Standard Atmosphere (1976), table of dynamic viscosity, sea level; from memory.
    assert_allclose(air_at().viscosity, 1.7894e-5, rtol=3e-5)  # five digits


def test_reference_library() -> None:
    # ambiance 1.3 (after ICAO Doc 7488/3, 1993) takes geometric altitudes.
    geopotential = np.linspace(-4900.0, 19900.0, 63)
    reference = ambiance.Atmosphere(ambiance.Atmosphere.geop2geom_height(geopotential))
    ours = [air_at(altitude) for altitude in geopotential]
    for name, theirs in [
        ("temperature", reference.temperature),
        ("pressure", reference.pressure),
        ("density", reference.density),
        ("speed_of_sound", reference.speed_of_sound),
        ("viscosity", reference.dynamic_viscosity),
    ]:
        # It starts each layer from the table's base pressure, rounded to six digits.
        assert_allclose([getattr(air, name) for air in ours], theirs, rtol=3e-6, err_msg=name)


def test_hot_day_follows_the_gas_law() -> None:
    # Common practice, no source: the pressure is the standard one, the density falls as 1/T.
    hot, standard = air_at(1500.0, 20.0), air_at(1500.0)
    assert hot.pressure == standard.pressure
    assert_allclose(hot.density * hot.temperature, standard.density * standard.temperature)
    assert hot.temperature == standard.temperature + 20.0


def test_density_override_changes_density_alone() -> None:
    given, standard = air_at(0.0, 0.0, 1.19), air_at()
    assert given.density == 1.19
    assert (given.viscosity, given.pressure) == (standard.viscosity, standard.pressure)


@pytest.mark.parametrize(
    "arguments",
    [
        (20001.0,),
        (-5001.0,),
        (float("nan"),),
        (0.0, -300.0),
        (0.0, float("nan")),
        (0.0, 0.0, 0.0),
        (0.0, 0.0, float("nan")),
    ],
)
def test_what_is_no_air_is_refused(arguments) -> None:
    with pytest.raises(InputError, match="accepted"):
        air_at(*arguments)
