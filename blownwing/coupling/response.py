"""The wing's answer to an onset flow, with slipstreams superposed or with their edges.

This is the one piece that the two models of a slipstream do differently.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from blownwing.coupling.jets import EdgeFlow, edge_flow, owned_tubes, without_edges
from blownwing.coupling.model import Model, WingParts, WingState
from blownwing.coupling.parts import Flow
from blownwing.coupling.sections import Strips, balanced, lattice_incidence
from blownwing.coupling.surfaces import turned_about_spans
from blownwing.errors import SolveError
from blownwing.slipstream.streams import (
    AddedVelocity,
    Streams,
    added_velocity,
    met_by_discs,
    prepared_lines,
)
from blownwing.wing.blown import (
    WING_SHARE,
    blown_circulation,
    far_lines,
    held_doublets,
    held_downwash,
    tube_velocity,
    tubes_on_bound,
)
from blownwing.wing.loads import WingLoads, cross, lattice_loads, trefftz_downwash
from blownwing.wing.nearfield import bound_velocity, half_lines
from blownwing.wing.system import circulation, frame_velocity

Array = NDArray[np.float64]

_STALE = 0.05  # rad of a strip's correction after which the Newton matrix is made anew
_BARE_PASSES = 60
_SHARE = 0.1  # of the coupling's tolerance, for the doublets


def wing_state(
    model: Model,
    flow: Flow,
    streams: Streams,
    added: AddedVelocity,
    correction: Array,
    tolerance: float,
    guess: WingState | None = None,
) -> WingState:
    """Strengths of wing and tubes in the streams' flow.

    added: along the collocation lines; correction: (columns,) rad off
    the strips' incidence; tolerance: of the coupling; guess: a neighbouring state, perhaps of a
    lattice of another size. Raises SolveError when the linear system cannot be solved.
    """
    system, lattice = model.system, model.system.lattice
    onset = flow.onset(lattice.collocation) + added.velocity
    if model.jets is None:
        edges = without_edges(flow, lattice.columns)
    else:
        edges = edge_flow(model.jets, flow, streams)
        onset = scaled_onset(flow, onset, added.axial, edges)
    normal = _normal_onset(model, onset, correction)
    near, found, tried, share = None, np.zeros(0), None, _SHARE * tolerance
    if guess is not None and guess.strength.size == normal.size:
        near = guess.strength
    if model.edge is None:
        strength = circulation(system, normal, near, WING_SHARE * share)
    else:
        start = np.zeros_like(edges.contrast)
        if guess is not None and guess.doublets.size == start.size:
            start, tried = guess.doublets, guess.tried
        strength, found, tried = blown_circulation(
            model.edge, normal, edges.contrast, start, share, near, edges.held, tried
        )
    return WingState(strength, found, edges, onset, correction, tried=tried)


def strip_incidence(model: Model, wing: WingState) -> Array:
    """Effective incidence (columns,) [rad] of the strips' plane sections."""
    if wing.tabled is not None:
        return wing.tabled
    lattice, plane = model.system.lattice, model.plane
    circ = lattice.by_strip(wing.strength)
    incidence, _ = lattice_incidence(circ, wing.speed, lattice.chord, plane.zero_lift, plane.slope)
    return incidence + wing.correction


def _met(model: Model, onset: Array, correction: Array) -> Array:
    """Onset (3, panels) turned by settings, and nose down by the strips' corrections (columns,)."""
    turn = model.setting - correction
    if not turn.any() and not model.hinged.any():
        return onset
    return turned_about_spans(onset, turn, model.hinged, model.system.lattice)


def _normal_onset(model: Model, onset: Array, correction: Array) -> Array:
    """What of an onset (3, panels), so turned, goes through the panels (panels,)."""
    met = _met(model, onset, correction)
    return np.asarray(np.einsum("cn,cn->n", met, model.system.normals))


class SectionLoop:
    """The strips' corrections from pass to pass: the Newton matrix is kept.

    before: the loop of another lattice of the same wing, whose corrections go on; without one the
    first pass starts from the linear wing.
    """

    def __init__(self, mach: float, before: SectionLoop | None = None) -> None:
        self._mach = mach
        self._at: Array | None = None
        self._response = np.zeros((0, 0))
        self._fresh = before is None
        self._least: float = 0.0 if before is None else before._least

    def next(
        self, model: Model, flow: Flow, wing: WingState, tolerance: float
    ) -> tuple[Array, WingState]:
        """Next corrections (columns,) from the section tables; the state with its incidences.

        tolerance: of the pass, which the strips need not meet better. Raises SolveError
        when the strips do not settle.
        """
        sections, answers = model.sections, model.answers
        if sections is None or answers is None:
            return wing.correction, wing
        lattice = model.system.lattice
        if self._at is None or float(np.max(np.abs(wing.correction - self._at))) > _STALE:
            self._response = answers.by_correction(
                flow.direction, wing.correction - model.setting, lattice.dihedral
            )
            self._at = wing.correction
        speed = wing.speed * lattice.live
        reynolds = flow.air.density * wing.ratio * speed * lattice.chord / flow.air.viscosity
        strips = Strips(
            sections,
            model.plane,
            lattice.by_strip(wing.strength),
            wing.correction,
            self._response * speed,
            speed,
            reynolds,
            self._mach,
            _SHARE * tolerance,
        )
        found = balanced(strips, self._least, self._fresh)
        self._fresh, self._least = False, found.smoothing
        state = replace(wing, tabled=found.incidence, smoothing=found.smoothing)
        return found.correction, state


def scaled_onset(flow: Flow, velocity: Array, along: Array, edges: EdgeFlow) -> Array:
    """Onset (3, panels) over m: the strips' own streams, and all else of `velocity` over m.

    In m/s. velocity: (3, panels) undisturbed flow and what discs add; along: (panels,) the axial
    part of the latter, which the streams hold already. 0 in still air.
    """
    columns = edges.ratio.size
    rest = velocity - flow.free_stream[:, None]
    rest = rest.reshape(3, -1, columns) - along.reshape(-1, columns) * edges.axis[:, None]
    moving = edges.ratio > 0.0
    total = edges.stream[:, None] + rest / np.where(moving, edges.ratio, 1.0)
    return np.where(moving, total, 0.0).reshape(3, -1)


def disc_velocity(
    model: Model, flow: Flow, wing: WingState, streams: Streams, added: Array, samples: Array,
    core: float,
) -> Array:  # fmt: skip
    """Velocity (3, n) [m/s] that the discs' samples (3, n) [m] meet beside the undisturbed one.

    That of the wing, of all tubes but the disc's own, and `added` (3, n) by the other streams;
    across the axis as `met_by_discs` says. core: of the tubes' vortices, m.
    """
    frame, edge = model.system.frame, model.edge
    if model.wing_velocity is None:
        points = frame.points(samples)
        velocity = frame_velocity(model.system, points, wing.strength, model.core)[0]
    else:
        velocity = model.wing_velocity @ wing.strength
    owner = model.rows.owner[model.system.lattice.panels :]
    if edge is not None and model.jets is not None and np.any(wing.doublets):
        owned = owned_tubes(model.jets, owner, model.system.lattice.symmetric)
        velocity += tube_velocity(edge, frame.points(samples), wing.doublets, core, owned)
    induced = frame.velocities(velocity) + added
    return met_by_discs(streams, owner, flow.onset(samples), induced)


def bare_state(model: Model, flow: Flow, mach: float, tolerance: float) -> WingState:
    """The same wing's answer without slipstreams, on its section tables where it has them.

    mach: for the section tables; tolerance: on the corrections, rad. Raises SolveError
    when the strips do not settle.
    """
    system, columns = model.system, model.system.lattice.columns
    onset, edges = flow.onset(system.lattice.collocation), without_edges(flow, columns)
    loop, correction = SectionLoop(mach), np.zeros(columns)
    for _ in range(_BARE_PASSES):
        normal = _normal_onset(model, onset, correction)
        strength = circulation(system, normal, None, WING_SHARE * _SHARE * tolerance)
        state = WingState(strength, np.zeros(0), edges, onset, correction)
        wanted, state = loop.next(model, flow, state, tolerance)
        if float(np.max(np.abs(wanted - correction))) <= tolerance:
            return state
        correction = wanted
    raise SolveError("the wing without slipstreams does not settle on its section tables")


def near_velocities(
    model: Model,
    flow: Flow,
    wing: WingState,
    added: AddedVelocity,
    known: Array | None = None,
) -> tuple[Array, Array, Array]:
    """Onset and induced velocities (3, panels) [m/s] over m on the blown wing's bound segments.

    The third is the tubes' part of the second. added: what the streams add along the bound
    segments; known: the tubes' part of a state near by, taken as it is.
    """
    lattice = model.system.lattice
    onset = flow.onset(lattice.bound_point) + added.velocity
    induced = lattice_velocity(model, wing.strength[None])[0]
    if model.edge is None:
        return onset, induced, np.zeros_like(induced)
    onset = scaled_onset(flow, onset, added.axial, wing.edges)
    if known is not None:
        return onset, induced + known, known
    tubes = np.zeros_like(induced)
    if np.any(wing.doublets):
        held = None
        if wing.edges.held is not None:
            held = held_doublets(model.edge, wing.edges.held, wing.strength, wing.doublets)
        circ = lattice.by_strip(wing.strength)
        lines = far_lines(model.edge, circ, wing.edges.contrast, held)
        tubes = tubes_on_bound(model.edge, wing.doublets, lines)
    return onset, induced + tubes, tubes


def lattice_velocity(model: WingParts, gamma: Array) -> Array:
    """Mean velocities (k, 3, panels) [m/s] on the bound segments.

    gamma: (k, panels) circulations, m²/s.
    """
    if model.on_bound is None:
        return bound_velocity(model.system, gamma)
    # one by one, so that the last digit of none depends on how many there are
    return np.stack([(model.on_bound @ one).reshape(3, -1) for one in gamma])


def strip_wash(model: WingParts, circ: Array, extra: Array | None = None) -> Array:
    """Downwash (columns,) [m/s] in the Trefftz plane; circ, extra: as for `trefftz_downwash`."""
    if model.wash is None:
        return trefftz_downwash(model.system, circ, extra)
    return np.asarray(model.wash @ circ)


def wing_loads(
    model: Model,
    flow: Flow,
    wing: WingState,
    bare: Array | WingLoads,
    added: AddedVelocity,
) -> tuple[WingLoads, WingLoads]:
    """Loads of the blown wing and, as the baseline, of the same wing without slipstreams.

    bare: strengths (panels,) of the latter, m²/s, or its loads where they are known; added: what
    the streams add along the bound segments. Raises SolveError when the tubes without a wing do not
    converge.
    """
    system, lattice = model.system, model.system.lattice
    clean = flow.onset(lattice.bound_point)
    place = (flow.air.density, flow.wind, flow.point)
    if isinstance(bare, WingLoads):
        induced = lattice_velocity(model, wing.strength[None])
    else:
        induced = lattice_velocity(model, np.stack((wing.strength, bare)))
        circ = lattice.by_strip(bare)
        ones, wash = np.ones(lattice.columns), strip_wash(model, circ)
        bare = lattice_loads(system, bare, ones, clean, induced[1], wash, *place)
    onset = clean + added.velocity
    circ = lattice.by_strip(wing.strength)
    far, given = None, np.zeros(lattice.columns)
    if model.edge is not None:
        onset = scaled_onset(flow, onset, added.axial, wing.edges)
        if np.any(wing.doublets):
            contrast, held = wing.edges.contrast, np.zeros(model.edge.rim_share.size)
            if wing.edges.held is not None:
                held = held_doublets(model.edge, wing.edges.held, wing.strength, wing.doublets)
                given = 2.0 * held_downwash(model.edge, contrast, held)  # in full, not by half
            both = np.stack((held, 0.0 * held), axis=1)
            lines, y, z = far_lines(model.edge, circ, contrast, both)
            induced[0] += tubes_on_bound(model.edge, wing.doublets, (lines[:, 0], y, z))
            far = half_lines(system, lines[:, 1], y, z, lattice.fraction, 0.0)
    wash = strip_wash(model, circ, far) + given
    return lattice_loads(system, wing.strength, wing.ratio, onset, induced[0], wash, *place), bare


def superposed_lift(model: Model, flow: Flow, streams: Streams) -> Array:
    """Lift (columns,) [N] of the strips if the slipstreams' velocities were merely added.

    The comparison that shows what the edges do; lift of the bound vortices in the onset flow.
    """
    system, lattice = model.system, model.system.lattice
    added = added_velocity(streams, prepared_lines(streams, *lattice.collocation_ends))
    onset = flow.onset(lattice.collocation) + added.velocity
    normal = _normal_onset(model, onset, np.zeros(lattice.columns))
    strength = circulation(system, normal)
    ends = lattice.nodes.reshape(3, lattice.rows, lattice.columns + 1)
    starts, stops = ends[:, :, :-1].reshape(3, -1), ends[:, :, 1:].reshape(3, -1)
    added = added_velocity(streams, prepared_lines(streams, starts, stops))
    onset = flow.onset(lattice.bound_point) + added.velocity
    force = flow.air.density * strength * cross(onset, lattice.bound)
    lift = flow.lift_direction @ force
    return lattice.by_strip(lift)
