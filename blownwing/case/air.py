"""The air around the wing: the International Standard Atmosphere and its deviations.

The standard atmosphere is written out here because importing a library for it would cost more
time (0.3 s) than a whole small calculation may; the tests hold it against such a library.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from blownwing.errors import InputError

GAS_CONSTANT = 287.05287  # J/(kg K), dry air
HEAT_RATIO = 1.4
GRAVITY = 9.80665  # m/s²
SEA_LEVEL_TEMPERATURE = 288.15  # K
SEA_LEVEL_PRESSURE = 101325.0  # Pa
LAPSE_RATE = 0.0065  # K/m below the tropopause
TROPOPAUSE = 11000.0  # m
SUTHERLAND_FACTOR = 1.458e-6  # kg/(m s K^½)
SUTHERLAND_TEMPERATURE = 110.4  # K
LOWEST_ALTITUDE = -5000.0
HIGHEST_ALTITUDE = 20000.0


@dataclass(frozen=True)
class Air:
    """State of the air, SI units.

    Attributes:
        density: kg/m³.
        viscosity: dynamic viscosity, Pa s.
        speed_of_sound: m/s.
        temperature: K.
        pressure: Pa.
    """

    density: float
    viscosity: float
    speed_of_sound: float
    temperature: float
    pressure: float


def air_at(
    altitude: float = 0.0,
    isa_offset: float = 0.0,
    density_override: float | None = None,
) -> Air:
    """Air at a pressure altitude in the standard atmosphere, warmer or colder by an offset.

    Args:
        altitude: pressure (geopotential) altitude, m, from -5000 to 20000.
        isa_offset: temperature above the standard one at that pressure, K.
        density_override: density to use instead of the gas law's, kg/m³ (a wind tunnel's, say).

    Returns:
        The air's state; the density override leaves temperature and pressure as they are.

    Raises:
        InputError: outside the altitude range, or for a temperature or density not above zero.

    Source: ICAO, 1993, "Manual of the ICAO Standard Atmosphere", Doc 7488/3, sections 2-3
    (temperature profile, barometric formula, Sutherland's law).
    """
    if not LOWEST_ALTITUDE <= altitude <= HIGHEST_ALTITUDE:
        raise InputError(
            f"altitude: found {altitude:g} m; accepted is {LOWEST_ALTITUDE:g} m to "
            f"{HIGHEST_ALTITUDE:g} m"
        )
    lapse_height = min(altitude, TROPOPAUSE)
    standard = SEA_LEVEL_TEMPERATURE - LAPSE_RATE * lapse_height
    exponent = GRAVITY / (GAS_CONSTANT * LAPSE_RATE)
    pressure = SEA_LEVEL_PRESSURE * (standard / SEA_LEVEL_TEMPERATURE) ** exponent
    pressure *= math.exp(-GRAVITY * (altitude - lapse_height) / (GAS_CONSTANT * standard))
    temperature = standard + isa_offset
    if not temperature > 0.0 or not math.isfinite(temperature):
        raise InputError(
            f"isa_offset: found {isa_offset:g} K, which makes the air {temperature:g} K; "
            "accepted is an offset that leaves it above 0 K"
        )
    if density_override is not None and not 0.0 < density_override < math.inf:
        raise InputError(f"density: found {density_override:g}; accepted is a value above 0 kg/m3")
    return Air(
        density=density_override or pressure / (GAS_CONSTANT * temperature),
        viscosity=SUTHERLAND_FACTOR * temperature**1.5 / (temperature + SUTHERLAND_TEMPERATURE),
        speed_of_sound=math.sqrt(HEAT_RATIO * GAS_CONSTANT * temperature),
        temperature=temperature,
        pressure=pressure,
    )
