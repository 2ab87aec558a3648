"""What a shape search evaluates a wing in, and what it learns of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.coupling.parts import Flow
from blownwing.slipstream.streams import Streams
from blownwing.study.shape.edges import Edges
from blownwing.study.shape.power import PowerModel

Array = NDArray[np.float64]

QUANTITIES = ("lift", "induced", "bending", "power")  # whose gradients take an adjoint each


@dataclass(frozen=True)
class Quantity:
    """A value with its gradients by the stations' twist (rad) and chord (m)."""

    value: float
    by_twist: Array  # (stations,)
    by_chord: Array  # (stations,)


@dataclass(frozen=True)
class Shape:
    """What a wing does in given slipstreams; forces of both halves, N.

    Attributes:
        lift: of the wing. induced: far-field induced drag. profile: skin-friction estimate.
        bending: root bending moment of one half, N m (of the whole wing about y = 0 when it is
            not symmetric).
        area: m².
        power: shaft power, W, None where the setting does not ask for it.
    """

    lift: Quantity
    induced: Quantity
    profile: Quantity
    bending: Quantity
    area: Quantity
    power: Quantity | None = None

    @property
    def drag(self) -> float:
        """Induced drag and skin friction, N."""
        return self.induced.value + self.profile.value


@dataclass(frozen=True)
class Setting:
    """What stays while the shape changes."""

    case: Case
    flow: Flow
    streams: Streams | None  # None without propellers
    edges: Edges | None = None  # None where slipstreams are superposed
    power: PowerModel | None = None  # None where power is not asked for

    @property
    def strips(self) -> int:
        """Strips of the lattice's half span."""
        if self.edges is None:
            return self.case.model.spanwise
        return self.edges.flow.ratio.size // (1 if self.case.is_symmetric else 2)


def objective_of(shape: Shape, name: str) -> float:
    """The value of "induced_drag", "drag" [N] or "power" [W].

    Raises:
        ValueError: power of a shape that was evaluated without it.
    """
    if name == "induced_drag":
        return shape.induced.value
    if name == "drag":
        return shape.drag
    if shape.power is None:
        raise ValueError("this shape was evaluated without its power")
    return shape.power.value
