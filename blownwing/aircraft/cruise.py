"""Cruise: thrust equals drag, through propeller, motor and controller to the battery."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from blownwing.aircraft.drive import drawn_power
from blownwing.aircraft.energy import electric_range, range_power
from blownwing.aircraft.polar import NotReached
from blownwing.aircraft.tables import Table, lift_slopes
from blownwing.case.model import Case
from blownwing.errors import SolveError

_SPEEDS = 31


@dataclass(frozen=True)
class CruiseState:
    """Level flight at a speed.

    Attributes:
        speed: m/s. alpha: deg. setting: of the thrust available. CL: wing's, on flight q.
        drag: N, of the whole aircraft with idle propellers and tail. lift_to_drag: W over it.
        shaft_power, battery_power: W. efficiency: battery to drag work, D V over battery power.
        range: m, endurance: s, of all usable energy; range_equation: m, by Hepperle's equation.
        slope, slope_unblown: dCL/dα, 1/rad, of the wing. trim_drag: N, of the tail.
        control: of a drawn aircraft, the angle that balances it, deg.
    """

    speed: float
    alpha: float
    setting: float
    CL: float
    drag: float
    lift_to_drag: float
    shaft_power: float
    battery_power: float
    efficiency: float
    range: float
    endurance: float
    range_equation: float
    slope: float
    slope_unblown: float
    trim_drag: float
    control: float


class ExcessThrust(NotReached):
    """Even the lowest setting is too much for the path."""


def level_setting(table: Table, speed: float, gradient: float = 0.0) -> tuple[float, float]:
    """Setting and incidence (deg) for a steady flight path.

    speed: m/s. gradient: the path's sine. The setting is a share of the thrust available.

    Raises:
        NotReached: when no setting holds the path; ExcessThrust when even zero thrust is too much.
            Both are SolveErrors.
    """
    weight = table.configuration.weight
    lift = weight * (1.0 - gradient * gradient) ** 0.5

    def error(setting: float) -> float:
        alpha = table.trimmed_alpha(speed, setting, lift)
        return table.balance(speed, setting, alpha).excess - gradient * weight

    low, high = float(table.settings[0]), table.setting_limit(speed)
    ends = error(low), error(high)
    if ends[1] < 0.0:
        raise NotReached(
            f"{table.configuration.phase} at {speed:.1f} m/s: full power falls "
            f"{-ends[1]:.0f} N short of the path"
        )
    if ends[0] > 0.0:
        raise ExcessThrust(
            f"{table.configuration.phase} at {speed:.1f} m/s: even zero thrust holds more than "
            "the path"
        )
    setting = float(brentq(error, low, high, xtol=1e-10))
    return setting, table.trimmed_alpha(speed, setting, lift)


def cruise_state(case: Case, table: Table, speed: float) -> CruiseState:
    """Level flight at a speed, m/s.

    Raises:
        InputError: a propeller without a motor.
        SolveError: when the aircraft cannot hold that speed.
    """
    configuration, battery = table.configuration, table.configuration.aircraft.battery
    setting, alpha = level_setting(table, speed)
    state = table.balance(speed, setting, alpha)
    drawn = drawn_power(case, configuration, speed, setting, state.power) + battery.systems_power
    weight = configuration.weight
    energy = battery.usable_energy
    distance, endurance = range_power(energy, drawn, speed)
    efficiency = state.drag * speed / drawn
    unit = 0.5 * table.density * speed**2 * configuration.area
    slope, slope_unblown = lift_slopes(table, speed, setting, alpha)
    return CruiseState(
        speed=speed,
        alpha=alpha,
        setting=setting,
        CL=state.wing_lift / unit,
        drag=state.drag,
        lift_to_drag=weight / state.drag,
        shaft_power=state.power,
        battery_power=drawn,
        efficiency=efficiency,
        range=distance,
        endurance=endurance,
        range_equation=electric_range(
            battery.usable_energy / battery.mass,
            efficiency,
            weight / state.drag,
            battery.mass / configuration.aircraft.mass,
        ),
        slope=slope,
        slope_unblown=slope_unblown,
        trim_drag=state.tail_drag,
        control=state.control,
    )


def cruise_curve(case: Case, table: Table, slowest: float) -> list[CruiseState]:
    """Level flight over the table's speeds from a slowest one (m/s), as far as power goes.

    Raises:
        InputError: a propeller without a motor.
        SolveError: no level flight at any of the speeds.
    """
    curve = []
    for speed in np.linspace(max(slowest, table.speeds[0]), table.speeds[-1], _SPEEDS).tolist():
        try:
            curve.append(cruise_state(case, table, speed))
        except NotReached:  # too slow to fly without flaps, or faster than power allows
            if curve:  # beyond the largest level speed
                break
    if not curve:
        raise SolveError(
            f"cruise: no level flight from {slowest:.1f} to {table.speeds[-1]:.1f} m/s"
        )
    return curve
