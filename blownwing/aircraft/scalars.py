"""The numbers by which whole aircraft are compared, under flat names with units."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from blownwing.aircraft.configuration import aircraft_of
from blownwing.aircraft.headlines import headlines
from blownwing.aircraft.noise import loudest_tones
from blownwing.case.model import Case
from blownwing.case.placed import PlacedPropeller
from blownwing.case.units import RPM
from blownwing.solution.variables import Variable

VARIABLES = {
    "take_off_distance": Variable("m", "take-off distance to the screen"),
    "lift_off": Variable("m/s", "lift-off speed"),
    "CLmax": Variable("1", "largest lift coefficient, take-off setting"),
    "CLmax_unblown": Variable("1", "largest lift coefficient, zero thrust"),
    "approach_stall": Variable("m/s", "stall speed in approach configuration, full thrust"),
    "lift_off_thrust": Variable("N", "thrust of all propellers at lift-off"),
    "cruise_power": Variable("W", "shaft power in cruise"),
    "range": Variable("m", "range in cruise on all usable energy"),
    "gradient_failed": Variable("1", "climb gradient with the outermost motor failed"),
    "roll_failed": Variable("1", "rolling moment coefficient to be held then"),
    "control_speed": Variable("m/s", "smallest speed at which that failure is held"),
    "by_tail": Variable("1", "1 where the tail's limit ends the lift of take-off or approach"),
    "noise": Variable("dB", "tones of take-off below the path, powers added, re 20 uPa"),
    "tip_mach": Variable("1", "tip Mach number of the row at lift-off"),
    "mass": Variable("kg", "mass of the aircraft"),
    "wing_area": Variable("m2", "wing area"),
    "row_count": Variable("1", "propellers in the row: the most of one diameter"),
    "row_diameter": Variable("m", "their disc diameter"),
    "coverage": Variable("1", "diameters of the row over the span"),
    "disc_loading": Variable("N/m2", "thrust of the row at lift-off over its discs"),
    "radius_over_chord": Variable("1", "radius of the row's discs over the chord behind them"),
    "blown_fraction": Variable("1", "wing area behind the row's discs over wing area"),
}
# whether less is better; the others of the table are no aims but reasons
AIMS = {
    "take_off_distance": True, "CLmax": False, "cruise_power": True, "range": False, "mass": True,
    "gradient_failed": False, "roll_failed": True, "noise": True,
}  # fmt: skip
COMPROMISE = ("take_off_distance", "range", "noise")


def aircraft_scalars(case: Case) -> dict[str, float]:
    """Every number of `VARIABLES` that the aircraft has; ideal discs have no tones and no tips.

    Args:
        case: with an aircraft table.

    Raises:
        InputError: a case without an aircraft table.
        SolveError: when a state does not converge, or the aircraft cannot do what is asked.
    """
    found = headlines(case)
    state = found.lift_off_state
    row = row_of(case)
    thrust = {name: values["thrust"] for name, values in state.values.items()}
    diameter = row[0].definition.diameter
    area = 0.25 * math.pi * diameter**2 * len(row)
    chords = np.array([chord_at(case, item.position[1]) for item in row])
    result = {name: float(v) for name, v in vars(found).items() if name in VARIABLES} | {
        "lift_off_thrust": sum(thrust.values()),
        "mass": aircraft_of(case).mass,
        "wing_area": case.wing.area,
        "row_count": float(len(row)),
        "row_diameter": diameter,
        "coverage": len(row) * diameter / case.wing.span,
        "disc_loading": sum(thrust[item.name] for item in row) / area,
        "radius_over_chord": 0.5 * diameter * float(np.mean(1.0 / chords)),
        "blown_fraction": diameter * float(chords.sum()) / case.wing.area,
    }
    noise = loudest_tones(case, state)
    if noise is not None:
        result["noise"] = noise
    turns = state.values[row[0].name].get("rpm", 0.0)
    if turns > 0.0:
        tip = turns * RPM * 0.5 * diameter
        result["tip_mach"] = math.hypot(tip, found.lift_off) / state.flown.air.speed_of_sound
    return {name: result[name] for name in VARIABLES if name in result}


def unbeaten(rows: Sequence[Mapping[str, float]]) -> list[int]:
    """Numbers of the rows that no other beats in all of `COMPROMISE` at once (Pareto).

    A number that a row does not have counts as the worst; rows that are equal all stay.
    """
    aims = np.array([
        [(1.0 if AIMS[name] else -1.0) * row.get(name, math.nan) for name in COMPROMISE]
        for row in rows
    ])  # fmt: skip
    aims = np.where(np.isnan(aims), np.inf, aims)
    return [
        i for i, mine in enumerate(aims)
        if not any(np.all(other <= mine) and np.any(other < mine) for other in aims)
    ]  # fmt: skip


def row_of(case: Case) -> list[PlacedPropeller]:
    """The propellers of the row: the most numerous of one diameter, of equals the first."""
    alike: dict[float, list[PlacedPropeller]] = {}
    for item in case.propeller_list():
        alike.setdefault(item.definition.diameter, []).append(item)
    return max(alike.values(), key=len)


def chord_at(case: Case, y: float) -> float:
    """The wing's chord (m) at a place y along the span (m)."""
    stations = case.wing.stations
    at = abs(y) if case.wing.symmetric else y
    return float(np.interp(at, [s.y for s in stations], [s.chord for s in stations]))
