"""What stays fixed during one fixed point, and what comes out of it."""

from __future__ import annotations

from dataclasses import KW_ONLY, dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blownwing.coupling.jets import EdgeFlow, Jets
from blownwing.coupling.parts import Discs, Flow
from blownwing.coupling.sections import LatticeSection, StripAnswers, StripSections
from blownwing.propeller.unit import UnitState
from blownwing.slipstream.streams import AddedVelocity, Lines, Streams
from blownwing.wing.blown import EdgeSystem, Tried
from blownwing.wing.loads import WingLoads
from blownwing.wing.system import WingSystem

Array = NDArray[np.float64]


@dataclass(frozen=True)
class WingParts:
    """What depends on the lattice alone; serves every flow, propeller and spin."""

    key: tuple[Any, ...]  # from `setup.wing_key`
    system: WingSystem
    slopes: Array  # (rows, columns) rad by which camber and flaps tilt the normals back
    clean: StripSections | None  # without controls; None: sections are the lattice's own, linear
    core: float  # of the wing's vortices as the discs feel them, m
    answers: StripAnswers | None  # None for linear sections
    # Of a lattice that serves many cases: from circulations to mean velocities on the bound
    # segments (3 panels, panels), from those of strips to Trefftz downwash (columns, columns).
    on_bound: Array | None = None
    wash: Array | None = None


@dataclass(frozen=True)
class Model(WingParts):
    """Geometry and factored systems, slipstreams included."""

    _: KW_ONLY
    discs: Discs
    wing_velocity: Array | None  # (3, samples, panels), from circulations to frame velocities,
    # None where it would be too large: then each product sums over the vortices
    jets: Jets | None  # None: slipstreams are superposed, without edges
    edge: EdgeSystem | None
    rows: Lines  # collocation lines, then the discs' samples
    still: bool  # whether the strips stay where they are, whatever the slipstreams do
    setting: Array  # (columns,) rad by which surfaces beside the wing are set nose up
    hinged: Array  # (rows, columns) rad by which controls turn the panels trailing edge down
    plane: LatticeSection  # of the strips, controls turned
    sections: StripSections | None  # the tables with controls turned, None for linear sections


@dataclass(frozen=True)
class WingState:
    """The wing's answer: strengths g = Γ/m in a stream of m times the reference speed."""

    strength: Array  # (panels,) g, m²/s
    doublets: Array  # (n,) D at the places where it is sought
    edges: EdgeFlow  # speeds m of the strips' streams and what goes with them
    onset: Array  # (3, panels) over m, m/s
    correction: Array  # (columns,) rad taken off the incidence to meet the section tables
    tabled: Array | None = None  # (columns,) rad, incidence that the section tables are read at
    smoothing: float = 0.0  # chords over which stalled strips were coupled, 0 if none was
    tried: Tried | None = None  # what led to the doublets, for other states on these tubes

    @property
    def speed(self) -> Array:
        """(columns,) of the onset over m, m/s."""
        onset = self.onset.reshape(3, -1, self.ratio.size)
        mean = onset.sum(axis=1) / onset.shape[1]
        return np.asarray(np.sqrt(np.einsum("cn,cn->n", mean, mean)))

    @property
    def ratio(self) -> Array:
        """(columns,) m."""
        return self.edges.ratio


@dataclass(frozen=True)
class Point:
    """A converged state at one incidence."""

    flow: Flow
    model: Model
    states: tuple[UnitState, ...]  # one per unit
    streams: Streams
    quarter: AddedVelocity  # along the strips' quarter-chord lines
    loads: WingLoads
    loads_unblown: WingLoads
    wing: WingState
    superposed: Array | None  # (columns,) strip lift without slipstream edges, N
    induced: Array  # (3, samples) velocity at the discs beside the undisturbed one, m/s
    edge_drift: float = 0.0  # of the slipstreams from their tubes at the wing, over the radius
    history: dict[str, list[float]] = field(default_factory=dict)
