"""What a coupled calculation is made of: flow, discs, the unchanging model, a converged point."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from blownwing.case.air import Air
from blownwing.case.model import Case
from blownwing.case.placed import PlacedPropeller
from blownwing.propeller.unit import Unit, UnitState
from blownwing.slipstream.streams import AddedVelocity, Lines, Streams
from blownwing.wing.loads import WingLoads
from blownwing.wing.system import WingSystem

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Discs:
    """All propellers; those that are computed and those that mirror one of them."""

    placed: tuple[PlacedPropeller, ...]
    units: tuple[Unit, ...]
    source: tuple[int, ...]  # for each placed propeller the unit that stands for it
    mirrored: tuple[bool, ...]


@dataclass(frozen=True)
class Flow:
    """The undisturbed flow of one incidence."""

    air: Air
    alpha: float  # deg
    airspeed: float
    free_stream: Array  # (3,) m/s
    direction: Array  # (3,) unit, of drag
    lift_direction: Array  # (3,) unit
    rotation: Array  # (3,) rad/s, of the aircraft, case axes
    point: Array  # (3,) reference point

    def onset(self, points: Array) -> Array:
        """Undisturbed velocity (3, …) relative to points (3, …) of the turning aircraft."""
        shape = (3,) + (1,) * (points.ndim - 1)
        arm = points - self.point.reshape(shape)
        turn = np.cross(self.rotation.reshape(shape), arm, axis=0)
        return np.asarray(self.free_stream.reshape(shape) - turn)


@dataclass(frozen=True)
class Model:
    """Everything that stays the same during one fixed point; geometry and factored system."""

    discs: Discs
    system: WingSystem
    rows: Lines  # collocation lines, then the discs' samples
    wing_velocity: Array  # (3, samples, panels), from circulations to frame velocities


@dataclass(frozen=True)
class Point:
    """A converged state at one incidence."""

    flow: Flow
    model: Model
    gamma: Array  # (panels,)
    gamma_unblown: Array
    states: tuple[UnitState, ...]  # one per unit
    streams: Streams
    onset_bound: Array  # (3, panels)
    quarter: AddedVelocity  # along the strips' quarter-chord lines
    loads: WingLoads
    loads_unblown: WingLoads
    history: dict[str, list[float]] = field(default_factory=dict)


def undisturbed(case: Case, alpha: float) -> Flow:
    """The undisturbed flow at an incidence, deg."""
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
