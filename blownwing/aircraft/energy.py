"""Electric range and endurance, and the power that a climb needs."""

from __future__ import annotations

from blownwing.case.air import GRAVITY

WATT_HOUR = 3600.0


def electric_range(
    specific_energy: float, efficiency: float, lift_to_drag: float, battery_fraction: float
) -> float:
    """Range (m) at constant speed and altitude: R = E* η (L/D) (m_b/m)/g.

    Exact for constant mass and L/D.

    Args:
        specific_energy: of the battery, usable, J/kg. efficiency: battery to thrust power.
        lift_to_drag: of the whole aircraft. battery_fraction: battery mass over total mass.

    Source: Hepperle (2012), "Electric Flight - Potential and Limitations", STO-MP-AVT-209-09.
    """
    return specific_energy * efficiency * lift_to_drag * battery_fraction / GRAVITY


def range_power(energy: float, power: float, airspeed: float) -> tuple[float, float]:
    """Range (m) and endurance (s) of an energy (J) at a steady electric power (W).

    airspeed: m/s.
    """
    endurance = energy / power
    return endurance * airspeed, endurance
