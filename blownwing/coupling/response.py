"""The wing's answer to an onset flow, with slipstreams superposed or with their edges.

This is the one piece that the two models of a slipstream do differently.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from blownwing.coupling.jets import speed_ratios
from blownwing.coupling.model import Model, WingState
from blownwing.coupling.parts import Flow
from blownwing.slipstream.streams import AddedVelocity, Streams
from blownwing.wing.blown import blown_circulation, far_lines, tube_velocity, tubes_on_bound
from blownwing.wing.loads import WingLoads, lattice_loads, trefftz_downwash
from blownwing.wing.nearfield import bound_velocity
from blownwing.wing.system import circulation

Array = NDArray[np.float64]

_SHARE = 0.1  # of the coupling's tolerance, for the doublets


def wing_state(
    model: Model,
    flow: Flow,
    streams: Streams,
    added: AddedVelocity,
    doublets: Array | None,
    tolerance: float,
) -> WingState:
    """Strengths of wing and tubes in the streams' flow.

    added: along the collocation lines; doublets: a first guess; tolerance: of the coupling.
    """
    system, lattice = model.system, model.system.lattice
    velocity = flow.onset(lattice.collocation) + added.velocity
    if model.jets is None or model.edge is None:
        strength = circulation(system, np.sum(velocity * system.normals, axis=0))
        still = np.zeros(lattice.columns)
        none = np.zeros(0)
        return WingState(strength, still + 1.0, none, none, still, np.zeros((3, still.size)))
    ratio, contrast, rise, axis = speed_ratios(model.jets, flow, streams)
    onset = _scaled(velocity, added.axial, ratio, rise, axis)
    if doublets is None or doublets.size != contrast.size:
        doublets = np.zeros_like(contrast)
    normal = np.sum(onset * system.normals, axis=0)
    strength, doublets = blown_circulation(
        model.edge, normal, contrast, doublets, _SHARE * tolerance
    )
    return WingState(strength, ratio, doublets, contrast, rise, axis)


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
    velocity = model.wing_velocity @ wing.strength
    if model.edge is not None and np.any(wing.doublets):
        velocity += tube_velocity(model.edge, frame.points(samples), wing.doublets, core)
    return frame.velocities(velocity)


def wing_loads(
    model: Model, flow: Flow, wing: WingState, added: AddedVelocity
) -> tuple[WingLoads, WingLoads]:
    """Loads of the blown wing and, as the baseline, of the same wing without slipstreams.

    added: what the streams add along the bound segments.
    """
    system, lattice = model.system, model.system.lattice
    clean = flow.onset(lattice.bound_point)
    normal = np.sum(flow.onset(lattice.collocation) * system.normals, axis=0)
    unblown = circulation(system, normal)
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
