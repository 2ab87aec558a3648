"""What a blade is designed for, checked."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blownwing.airfoil.section import SectionTable
from blownwing.case.units import RPM
from blownwing.errors import InputError
from blownwing.propeller.rotor import AirState

Array = NDArray[np.float64]


@dataclass(frozen=True)
class DesignTask:
    """What a blade must do and what limits it.

    Attributes:
        diameter: m. hub_ratio: hub over tip radius. blades: number. omega: rad/s.
        airspeed: m/s. air: density, viscosity, speed of sound.
        section: the section's table. section_name: its key in a blade file.
        thrust, power: one of them, N or W, of the whole propeller.
        lift: section cl to design for; None takes the best cl/cd at each station.
        lift_limit: largest section cl.
        chord_least, chord_most: c/R.
        chord_slope: largest |dc/dr| of a finished blade.
        thickness_ratio: of the section, t/c; None where it is not known.
        root_thickness, tip_thickness: least thickness at hub and tip, m, linear between; 0: none.
        tip_mach: limit on the tip's Mach number (rotation and airspeed together).
    """

    diameter: float
    hub_ratio: float
    blades: int
    omega: float
    airspeed: float
    air: AirState
    section: SectionTable
    section_name: str
    thrust: float | None = None
    power: float | None = None
    lift: float | None = None
    lift_limit: float = 1.0
    chord_least: float = 0.01
    chord_most: float = 0.4
    tip_mach: float = 0.7
    chord_slope: float = 0.8
    thickness_ratio: float | None = None
    root_thickness: float = 0.0
    tip_thickness: float = 0.0

    def __post_init__(self) -> None:
        _check_sizes(self)
        _check_limits(self)
        _check_structure(self)

    @property
    def radius(self) -> float:
        """Of the tip, m."""
        return 0.5 * self.diameter

    def least_chord(self, radius: Array) -> Array:
        """Least chord (m) of a finished blade at radii (n,), m: as given, or by its thickness."""
        least = np.full_like(radius, self.chord_least * self.radius)
        if not self.thickness_ratio:
            return least
        hub = self.hub_ratio * self.radius
        thickness = np.interp(radius, [hub, self.radius], [self.root_thickness, self.tip_thickness])
        return np.maximum(least, thickness / self.thickness_ratio)

    @property
    def tip_speed_mach(self) -> float:
        """Mach number of the tip."""
        return math.hypot(self.omega * self.radius, self.airspeed) / self.air.speed_of_sound


def _check_sizes(task: DesignTask) -> None:
    if not (0.0 < task.diameter < math.inf and 0.0 < task.omega < math.inf):
        raise InputError("propeller design: accepted are a diameter and a rotor speed above 0")
    if not 0.02 <= task.hub_ratio <= 0.6:
        raise InputError(
            f"propeller design: found hub ratio {task.hub_ratio:g}; accepted is 0.02 to 0.6"
        )
    if task.blades < 1 or not 0.0 <= task.airspeed < math.inf:
        raise InputError(
            f"propeller design: found {task.blades} blades and {task.airspeed:g} m/s; accepted are "
            "1 or more and 0 or more"
        )
    given = [value for value in (task.thrust, task.power) if value is not None]
    if len(given) != 1 or not 0.0 < given[0] < math.inf:
        raise InputError("propeller design: accepted is one of thrust and power, above 0")


def _check_limits(task: DesignTask) -> None:
    if not 0.0 < task.chord_least < task.chord_most:
        raise InputError(
            f"propeller design: found chord limits {task.chord_least:g} and {task.chord_most:g}; "
            "accepted is 0 < limits.chord_least < limits.chord_most, in parts of the radius"
        )
    if not 0.0 < task.lift_limit or (task.lift is not None and not 0.0 < task.lift):
        raise InputError("propeller design: accepted are a lift coefficient and its limit above 0")
    if task.lift is not None and task.lift > task.lift_limit:
        raise InputError(
            f"propeller design: found lift coefficient {task.lift:g}; accepted is at most its "
            f"limit, {task.lift_limit:g} (limits.lift_coefficient, limits.lift_coefficient_limit)"
        )
    if task.tip_speed_mach > task.tip_mach:
        fastest = math.sqrt(
            max((task.tip_mach * task.air.speed_of_sound) ** 2 - task.airspeed**2, 0.0)
        )
        raise InputError(
            f"propeller design: the tip reaches Mach {task.tip_speed_mach:.3f}; accepted is at "
            f"most {task.tip_mach:g} (limits.tip_mach), here propeller.rpm up to "
            f"{fastest / task.radius / RPM:.0f} rpm"
        )


def _check_structure(task: DesignTask) -> None:
    if not 0.0 < task.chord_slope < math.inf:
        raise InputError(
            f"propeller design: found a chord slope of {task.chord_slope:g}; accepted is above 0"
        )
    if not (task.root_thickness >= 0.0 and task.tip_thickness >= 0.0):
        raise InputError("propeller design: accepted are thicknesses of 0 or more")
    if task.thickness_ratio is None:
        if task.root_thickness or task.tip_thickness:
            raise InputError(
                "propeller design: found a least thickness of the blade but no thickness of the "
                "section; accepted is propeller.thickness_ratio beside limits.root_thickness and "
                "limits.tip_thickness"
            )
        return
    if not 0.0 < task.thickness_ratio < 1.0:
        raise InputError(
            f"propeller design: found a section thickness of {task.thickness_ratio:g} chords; "
            "accepted is above 0 and below 1"
        )
    for key, value in (("root", task.root_thickness), ("tip", task.tip_thickness)):
        chord = value / task.thickness_ratio / task.radius
        if chord > task.chord_most:
            raise InputError(
                f"propeller design: limits.{key}_thickness of {1e3 * value:g} mm needs a chord of "
                f"{chord:.3f} R with this section; accepted is at most limits.chord_most, "
                f"{task.chord_most:g}"
            )
