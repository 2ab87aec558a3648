"""The wing's answer to an onset flow, with slipstreams superposed or with their edges.

This is the one piece that the two models of a slipstream do differently.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from blownwing.coupling.jets import speed_ratios
from blownwing.coupling.model import Model, WingState
from blownwing.coupling.parts import Flow
from blownwing.coupling.sections import balanced, lattice_incidence
from blownwing.errors import SolveError
from blownwing.slipstream.streams import (
    AddedVelocity,
    Streams,
    added_velocity,
    prepared_lines,
)
from blownwing.wing.blown import (
    WING_SHARE,
    blown_circulation,
    far_lines,
    tube_velocity,
    tubes_on_bound,
)
from blownwing.wing.loads import WingLoads, cross, lattice_loads, trefftz_downwash
from blownwing.wing.nearfield import bound_velocity
from blownwing.wing.system import circulation, frame_velocity

Array = NDArray[np.float64]

_STALE = 0.05  # rad of a strip's correction after which the Newton matrix is made anew
_BARE_PASSES = 60
_SHARE = 0.1  # of the coupling's tolerance, for the doublets


def wing_state(
    model: Model,
    flow: Flow,
    streams: Streams | None,
    added: AddedVelocity,
    correction: Array,
    doublets: Array | None,
    tolerance: float,
    strength: Array | None = None,
) -> WingState:
    """Strengths of wing and tubes in the streams' flow.

    streams: None without any; added: along the collocation lines; correction: (columns,) rad off
    the strips' incidence; doublets, strength: first guesses; tolerance: of the coupling.
    """
    system, lattice = model.system, model.system.lattice
    onset = flow.onset(lattice.collocation) + added.velocity
    still = np.zeros(lattice.columns)
    ratio, contrast, rise, axis = still + 1.0, np.zeros(0), still, np.zeros((3, still.size))
    if model.jets is not None and streams is not None:
        ratio, contrast, rise, axis = speed_ratios(model.jets, flow, streams)
        onset = _scaled(onset, added.axial, ratio, rise, axis)
    speed = np.linalg.norm(onset.reshape(3, lattice.rows, -1).mean(axis=1), axis=0)
    normal = np.sum(turned(onset, correction) * system.normals, axis=0)
    if model.edge is None:
        share = WING_SHARE * _SHARE * tolerance
        strength, found = circulation(system, normal, strength, share), np.zeros(0)
    else:
        if doublets is None or doublets.size != contrast.size:
            doublets = np.zeros_like(contrast)
        share = _SHARE * tolerance
        strength, found = blown_circulation(model.edge, normal, contrast, doublets, share, strength)
    circ = strength.reshape(lattice.rows, lattice.columns).sum(axis=0)
    # The stretched frame steepens the plane section by as much.
    slope = 2.0 * np.pi / system.frame.stretch
    if model.sections is not None:
        slope = model.sections.slope
    plane, _ = lattice_incidence(circ, speed, lattice.chord, model.zero_lift, slope)
    return WingState(
        strength, ratio, found, contrast, rise, axis, speed, correction, plane + correction, 0.0
    )


def turned(onset: Array, correction: Array) -> Array:
    """Onset (3, panels) turned nose-down by the strips' corrections (columns,) [rad]."""
    rows = onset.shape[1] // correction.size
    cos, sin = np.tile(np.cos(correction), rows), np.tile(np.sin(correction), rows)
    return np.stack((onset[0] * cos + onset[2] * sin, onset[1], onset[2] * cos - onset[0] * sin))


class SectionLoop:
    """The strips' corrections from pass to pass: the Newton matrix is kept."""

    def __init__(self, model: Model, flow: Flow, mach: float) -> None:
        self._model, self._flow, self._mach = model, flow, mach
        self._at: Array | None = None
        self._response = np.zeros((0, 0))
        self._least = 0.0

    def next(self, wing: WingState) -> tuple[Array, WingState]:
        """Next corrections (columns,) from the section tables; the state with its incidences."""
        sections, answers, flow = self._model.sections, self._model.answers, self._flow
        if sections is None or answers is None:
            return wing.correction, wing
        lattice = self._model.system.lattice
        fresh = self._at is None
        if self._at is None or float(np.max(np.abs(wing.correction - self._at))) > _STALE:
            self._response = answers.by_correction(flow.direction, wing.correction)
            self._at = wing.correction
        circ = wing.strength.reshape(lattice.rows, lattice.columns).sum(axis=0)
        reynolds = flow.air.density * wing.ratio * wing.speed * lattice.chord / flow.air.viscosity
        found = balanced(
            sections,
            circ,
            wing.correction,
            self._response * wing.speed[None, :],
            wing.speed,
            reynolds,
            self._mach,
            fresh,
            self._least,
        )
        self._least = found.smoothing
        state = replace(wing, incidence=found.incidence, smoothing=found.smoothing)
        return found.correction, state


def _scaled(velocity: Array, along: Array, ratio: Array, rise: Array, axis: Array) -> Array:
    """Velocity (3, panels) with the layer's uniform axial increment, over m; 0 in still air."""
    rows = along.size // ratio.size
    correction = (np.tile(rise, rows) - along) * np.tile(axis, rows)
    m = np.tile(ratio, rows)
    moving = m > 0.0
    return np.where(moving, (velocity + correction) / np.where(moving, m, 1.0), 0.0)


def disc_velocity(model: Model, wing: WingState, samples: Array, core: float) -> Array:
    """Velocity (3, n) that wing and tubes induce at the discs' samples (3, n)."""
    frame = model.system.frame
    if model.wing_velocity is None:
        points = frame.points(samples)
        velocity = frame_velocity(model.system, points, wing.strength, model.core)[0]
    else:
        velocity = model.wing_velocity @ wing.strength
    if model.edge is not None and np.any(wing.doublets):
        velocity += tube_velocity(model.edge, frame.points(samples), wing.doublets, core)
    return frame.velocities(velocity)


def bare_state(model: Model, flow: Flow, mach: float, tolerance: float) -> WingState:
    """The same wing's answer without slipstreams, on its section tables where it has them.

    Raises SolveError when the strips do not settle.
    """
    bare = replace(model, jets=None, edge=None)
    columns, panels = model.system.lattice.columns, model.system.lattice.panels
    still = AddedVelocity(np.zeros((3, panels)), *(np.zeros(panels) for _ in range(3)))
    loop = SectionLoop(bare, flow, mach)
    correction = np.zeros(columns)
    for _ in range(_BARE_PASSES):
        state = wing_state(bare, flow, None, still, correction, None, tolerance)
        wanted, state = loop.next(state)
        if float(np.max(np.abs(wanted - correction))) <= tolerance:
            return state
        correction = wanted
    raise SolveError("the wing without slipstreams does not settle on its section tables")


def wing_loads(
    model: Model, flow: Flow, wing: WingState, bare: WingState, added: AddedVelocity
) -> tuple[WingLoads, WingLoads]:
    """Loads of the blown wing and, as the baseline, of the same wing without slipstreams.

    bare: from `bare_state`; added: what the streams add along the bound segments.
    """
    system, lattice = model.system, model.system.lattice
    clean = flow.onset(lattice.bound_point)
    unblown = bare.strength
    induced = bound_velocity(system, np.stack((wing.strength, unblown)))
    onset = clean + added.velocity
    circ = wing.strength.reshape(lattice.rows, lattice.columns).sum(axis=0)
    far = None
    if model.edge is not None:
        onset = _scaled(onset, added.axial, wing.ratio, wing.rise, wing.axis)
        if np.any(wing.doublets):
            lines = far_lines(model.edge, circ, wing.contrast)
            tubes, far = tubes_on_bound(model.edge, wing.doublets, lines)
            induced[0] += tubes
    wash = trefftz_downwash(system, circ, far)
    place = (flow.air.density, flow.wind, flow.point)
    blown = lattice_loads(system, wing.strength, wing.ratio, onset, induced[0], wash, *place)
    circ = unblown.reshape(lattice.rows, lattice.columns).sum(axis=0)
    ones = np.ones(lattice.columns)
    wash = trefftz_downwash(system, circ)
    return blown, lattice_loads(system, unblown, ones, clean, induced[1], wash, *place)


def superposed_lift(model: Model, flow: Flow, streams: Streams) -> Array:
    """Lift (columns,) [N] of the strips if the slipstreams' velocities were merely added.

    The comparison that shows what the edges do; lift of the bound vortices in the onset flow.
    """
    system, lattice = model.system, model.system.lattice
    added = added_velocity(streams, prepared_lines(streams, *lattice.collocation_ends))
    onset = flow.onset(lattice.collocation) + added.velocity
    strength = circulation(system, np.sum(onset * system.normals, axis=0))
    ends = lattice.nodes.reshape(3, lattice.rows, lattice.columns + 1)
    starts, stops = ends[:, :, :-1].reshape(3, -1), ends[:, :, 1:].reshape(3, -1)
    added = added_velocity(streams, prepared_lines(streams, starts, stops))
    onset = flow.onset(lattice.bound_point) + added.velocity
    force = flow.air.density * strength * cross(onset, lattice.bound)
    lift = flow.lift_direction @ force
    return np.asarray(lift.reshape(lattice.rows, lattice.columns).sum(axis=0))
