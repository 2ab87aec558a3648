"""Load factor in a discrete vertical gust, by the formula of the airworthiness rules."""

from __future__ import annotations

import math
from dataclasses import dataclass

from blownwing.case.air import GRAVITY
from blownwing.errors import InputError

SEA_LEVEL_DENSITY = 1.225


@dataclass(frozen=True)
class Gust:
    """Mass ratio, alleviation factor and the load factor the gust adds."""

    mass_ratio: float
    alleviation: float
    added: float


def gust_load(
    wing_loading: float,
    chord: float,
    slope: float,
    airspeed: float,
    gust: float,
    density: float = SEA_LEVEL_DENSITY,
) -> Gust:
    """Load factor added by a gust: Δn = Kg ρ₀ Ude Ve a/(2 W/S), Kg = 0.88 μ/(5.3 + μ).

    μ = 2 (W/S)/(ρ c a g). In knots, ft/s and lb/ft² the divisor is 498 W/S.

    Args:
        wing_loading: N/m². chord: mean geometric chord, m. slope: dCL/dα, 1/rad.
        airspeed: equivalent, m/s. gust: derived equivalent gust velocity, m/s.
        density: at altitude, kg/m³, in the mass ratio only.

    Raises:
        InputError: for a value that is not above zero.

    Source: Pratt (1953), "A Revised Formula for the Calculation of Gust Loads", NACA TN 2964;
    14 CFR 23.341(c), superseded 2017.
    """
    given = (wing_loading, chord, slope, airspeed, gust, density)
    if not all(math.isfinite(value) and value > 0.0 for value in given):
        raise InputError(
            f"gust: found wing loading {wing_loading:g}, chord {chord:g}, slope {slope:g}, "
            f"airspeed {airspeed:g}, gust {gust:g}, density {density:g}; accepted are values above "
            "0"
        )
    ratio = 2.0 * wing_loading / (density * chord * slope * GRAVITY)
    factor = 0.88 * ratio / (5.3 + ratio)
    added = factor * SEA_LEVEL_DENSITY * gust * airspeed * slope / (2.0 * wing_loading)
    return Gust(ratio, factor, added)


def gust_angle(airspeed: float, gust: float) -> float:
    """Change of the angle of attack (rad) in a sharp vertical gust at an airspeed, both in m/s."""
    return math.atan2(gust, airspeed)
