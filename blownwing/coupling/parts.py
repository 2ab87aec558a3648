"""The undisturbed flow of a case and its discs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blownwing.case.air import Air
from blownwing.case.model import Case
from blownwing.case.placed import PlacedPropeller
from blownwing.coupling.loaded import Packed
from blownwing.propeller.unit import Unit
from blownwing.wing.loads import cross
from blownwing.wing.system import Frame

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Discs:
    """All propellers; those that are computed and those that mirror one of them."""

    placed: tuple[PlacedPropeller, ...]
    units: tuple[Unit, ...]
    source: tuple[int, ...]  # for each placed propeller the unit that stands for it
    mirrored: tuple[bool, ...]
    packed: Packed  # the same as arrays, without places and tasks


@dataclass(frozen=True)
class Flow:
    """The undisturbed flow of one incidence; airspeed in m/s."""

    air: Air
    alpha: float  # deg
    airspeed: float
    free_stream: Array  # (3,) m/s
    direction: Array  # (3,) unit, of drag
    lift_direction: Array  # (3,) unit
    rotation: Array  # (3,) rad/s, of the aircraft, case axes
    point: Array  # (3,) reference point

    @property
    def wind(self) -> Array:
        """(3, 3) rows drag, side and lift directions."""
        side = cross(self.lift_direction, self.direction)
        return np.stack((self.direction, side, self.lift_direction))

    def onset(self, points: Array) -> Array:
        """Undisturbed velocity (3, …) relative to points (3, …) of the turning aircraft."""
        shape = (3,) + (1,) * (points.ndim - 1)
        if not self.rotation.any():
            still = np.empty(points.shape)
            still[...] = self.free_stream.reshape(shape)
            return still
        arm = points - self.point.reshape(shape)
        turn = np.cross(self.rotation.reshape(shape), arm, axis=0)
        return np.asarray(self.free_stream.reshape(shape) - turn)


def wing_frame(case: Case) -> Frame:
    """Axes of the wing's potential problem, stretched for the Mach number (Göthert's rule)."""
    return Frame(float(np.sqrt(1.0 - case.wing_mach**2)))


def ground_level(case: Case) -> float | None:
    """z of the ground, m, None in free air."""
    height = case.flow.ground_height
    return None if height is None else case.wing.reference_point[2] - height


def undisturbed(case: Case, alpha: float) -> Flow:
    """The undisturbed flow at an incidence alpha (deg) and the case's sideslip and rates."""
    a, b = np.radians(alpha), np.radians(case.flow.beta)
    ca, sa, cb, sb = np.cos(a), np.sin(a), np.cos(b), np.sin(b)
    direction = np.array([ca * cb, -sb, sa * cb])
    rates = np.radians([-case.flow.roll_rate, case.flow.pitch_rate, -case.flow.yaw_rate])
    return Flow(
        air=case.air,
        alpha=alpha,
        airspeed=case.flow.airspeed,
        free_stream=case.flow.airspeed * direction,
        direction=direction,
        lift_direction=np.array([-sa, 0.0, ca]),
        rotation=rates,
        point=np.array(case.wing.reference_point),
    )
