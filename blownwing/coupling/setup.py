"""From a case to discs, slipstreams and a lattice whose strips end at the slipstream edges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields

import numpy as np
from numpy.typing import NDArray

from blownwing.airfoil.discrete import lattice_line
from blownwing.case.model import Case
from blownwing.case.parts import Propeller, Wing
from blownwing.coupling.jets import (
    Jets,
    edge_breaks,
    interfaces_at_wing,
    placed_jets,
    starboard,
    surface_breaks,
)
from blownwing.coupling.model import Model, WingParts
from blownwing.coupling.parts import Discs, Flow, ground_level, wing_frame
from blownwing.coupling.sections import StripSections, strip_answers, strip_sections
from blownwing.coupling.size import expected_size
from blownwing.coupling.surfaces import (
    laid_lattice,
    live_normals,
    met_planform,
    panel_turns,
    surface_slopes,
)
from blownwing.errors import InputError
from blownwing.geometry.lattice import Lattice, planform_at
from blownwing.propeller.blade import read_blade
from blownwing.propeller.measured import HUB_RATIO, MeasuredRotor
from blownwing.propeller.performance import read_performance
from blownwing.propeller.rotor import Rotor, build_rotor
from blownwing.propeller.unit import Unit, UnitState, built_unit, unit_state
from blownwing.slipstream.streams import (
    FREE,
    Lines,
    Streams,
    directed,
    prepared_lines,
    wing_crossings,
)
from blownwing.wing.blown import EdgeSystem, edge_system
from blownwing.wing.normals import panel_normals
from blownwing.wing.system import (
    WingSystem,
    compressed_system,
    factored_system,
    velocity_matrix,
)

Array = NDArray[np.float64]


def placed_discs(case: Case) -> Discs:
    """Rotors of all propellers; in a mirror-symmetric case only one of each pair is computed."""
    placed = tuple(case.propeller_list())
    made: dict[tuple[object, ...], Rotor | None] = {}
    for index, propeller in enumerate(case.propellers):
        if _make(propeller) not in made:
            made[_make(propeller)] = _rotor(case, index)
    rotors = [made[_make(propeller)] for propeller in case.propellers]
    folded = case.is_symmetric
    units: list[Unit] = []
    source: list[int] = [-1] * len(placed)
    for i, item in enumerate(placed):
        if not folded or item.position[1] >= 0.0:
            source[i] = len(units)
            annuli, azimuth = case.model.radial, case.model.azimuth
            table = _measured(case, item.index)
            units.append(built_unit(item, rotors[item.index], annuli, azimuth, table))
    for i, item in enumerate(placed):
        if source[i] < 0:
            x, y, z = item.position
            source[i] = next(
                source[k] for k, other in enumerate(placed) if other.position == (x, -y, z)
            )
    mirrored = tuple(folded and item.position[1] < 0.0 for item in placed)
    return Discs(placed, tuple(units), tuple(source), mirrored)


def _make(item: Propeller) -> tuple[object, ...]:
    """What two propellers share that have equal rotors."""
    return item.blade, item.blades, item.diameter, item.hub_ratio


def _rotor(case: Case, index: int) -> Rotor | None:
    item = case.propellers[index]
    if item.blade is None or item.blades is None:
        return None
    try:
        blade = read_blade(case.file_path(item.blade))
        hub = None if item.hub_ratio is None else 0.5 * item.hub_ratio * item.diameter
        return build_rotor(blade, item.diameter, item.blades, case.model.radial, hub)
    except InputError as error:
        raise InputError(f"propellers[{index}].blade: {error}") from None


def _measured(case: Case, index: int) -> MeasuredRotor | None:
    """The table of a measured propeller, with its sizes; None for one of another kind."""
    item = case.propellers[index]
    if item.table is None or item.blades is None:
        return None
    try:
        table = read_performance(case.file_path(item.table))
    except InputError as error:
        raise InputError(f"propellers[{index}].table: {error}") from None
    radius, shape = 0.5 * item.diameter, None
    hub = HUB_RATIO * radius if item.hub_ratio is None else item.hub_ratio * radius
    solidity = item.solidity
    if item.shape is not None:
        try:
            blade = read_blade(case.file_path(item.shape))
            given = None if item.hub_ratio is None else hub
            shape = build_rotor(blade, item.diameter, item.blades, case.model.radial, given)
        except InputError as error:
            raise InputError(f"propellers[{index}].shape: {error}") from None
        hub = shape.hub_radius
        solidity = shape.solidity if solidity is None else solidity
    return MeasuredRotor(table, radius, hub, item.blades, solidity, shape)


def built_model(
    case: Case, flow: Flow, discs: Discs, streams: Streams, kept: Model | None = None
) -> Model:
    """Lattice with strip edges on the slipstream edges, its factored system, tubes, samples.

    kept: a model of the same wing and discs, whose parts serve where they would be the same.
    """
    wing = case.wing
    if case.model.jet_edge and discs.placed:
        found = interfaces_at_wing(case, flow, discs, streams)
        breaks = edge_breaks(found, case)
    else:
        found = None
        breaks = _crossings(case, streams)
    others = [np.zeros(0)] * len(case.surfaces) if found is None else surface_breaks(found, case)
    lattice = laid_lattice(case, strip_breaks(wing, breaks), others)
    if kept is not None and np.array_equal(lattice.nodes, kept.system.lattice.nodes):
        parts: WingParts = kept
    else:
        parts = _wing_parts(case, lattice, discs, None if kept is None else kept.sections)
    system = parts.system
    jets = None if found is None else placed_jets(case, found, streams, system.lattice)
    edge = None if jets is None else _edge(system, jets, kept)
    turns, hinged = panel_turns(case, system.lattice)
    return Model(
        **{field.name: getattr(parts, field.name) for field in fields(WingParts)},
        discs=discs,
        jets=jets,
        edge=edge,
        rows=_rows(discs, system.lattice, jets, streams),
        turns=turns,
        turned_zero=None if hinged is None else lattice_line(lattice.row_edges, hinged)[1],
    )


def _edge(system: WingSystem, jets: Jets, kept: Model | None) -> EdgeSystem:
    """The edge system of these tubes, or what there is of it in a model that has the same ones."""
    if kept is None or kept.edge is None:
        return edge_system(system, jets.tubes, wakes=jets.wakes)
    if not np.array_equal(kept.edge.tubes.nodes, jets.tubes.nodes):
        return edge_system(system, jets.tubes, wakes=jets.wakes)
    if system is kept.system:
        return kept.edge
    return edge_system(system, jets.tubes, kept.edge.on_tube, wakes=jets.wakes)


def _wing_parts(
    case: Case, lattice: Lattice, discs: Discs, known: StripSections | None
) -> WingParts:
    """What depends on the lattice alone and on the places of the discs.

    known: sections of the same wing on another lattice.
    """
    slopes = surface_slopes(case, lattice)
    _, zero_lift = lattice_line(lattice.row_edges, slopes)
    normals = live_normals(lattice, panel_normals(lattice, slopes))
    frame, ground = wing_frame(case), ground_level(case)
    sections = None
    if case.model.sections == "tables":
        sections = strip_sections(case, lattice, slopes, frame.stretch, known)
    compressed = expected_size(case).compressed
    system = (compressed_system if compressed else factored_system)(lattice, normals, frame, ground)
    samples = disc_samples(discs)
    core = 0.1 * float(np.min(lattice.width[lattice.live])) if samples.size else 0.0
    return WingParts(
        system=system,
        zero_lift=zero_lift,
        sections=sections,
        core=core,
        wing_velocity=None if compressed else velocity_matrix(system, samples, core),
        answers=None if sections is None else strip_answers(system),
    )


def strip_breaks(wing: Wing, breaks: Array) -> list[float]:
    """Where strips of a lattice end at slipstream edges y (n,), m: once for both halves."""
    if wing.symmetric:
        breaks = np.unique(np.round(np.abs(breaks), 12))
    return [float(y) for y in breaks]


def _rows(discs: Discs, lattice: Lattice, jets: Jets | None, streams: Streams) -> Lines:
    """Collocation lines and disc samples with the discs that own or cover them."""
    samples = disc_samples(discs)
    starts = np.concatenate((lattice.collocation_ends[0], samples), axis=1)
    ends = np.concatenate((lattice.collocation_ends[1], samples), axis=1)
    owner = np.concatenate((np.full(lattice.panels, -1), sample_owners(discs)))
    member = strip_members(jets, lattice)
    free = np.full(samples.shape[1], FREE)
    member = np.concatenate((np.tile(member, lattice.rows), free))
    return prepared_lines(streams, starts, ends, owner, member, without_tubes(discs, jets))


def load_lines(discs: Discs, jets: Jets | None, lattice: Lattice, streams: Streams) -> Lines:
    """Lines on which loads are found: the bound segments, then the strips' quarter chords."""
    ends = lattice.nodes.reshape(3, lattice.rows, lattice.columns + 1)
    edge = np.stack((lattice.edge_x + 0.25 * lattice.edge_chord, lattice.edge_y, lattice.edge_z))
    starts = np.concatenate((ends[:, :, :-1].reshape(3, -1), edge[:, :-1]), axis=1)
    stops = np.concatenate((ends[:, :, 1:].reshape(3, -1), edge[:, 1:]), axis=1)
    member = np.tile(strip_members(jets, lattice), lattice.rows + 1)
    turning = without_tubes(discs, jets)
    return prepared_lines(streams, starts, stops, member=member, turning=turning)


def strip_members(jets: Jets | None, lattice: Lattice) -> NDArray[np.int64]:
    """Disc (columns,) whose stream covers each strip, −1 for none, FREE where geometry decides."""
    if jets is None:
        return np.full(lattice.columns, FREE)
    if jets.interfaces.disc.size == 0:
        return np.full(lattice.columns, -1)
    covered = jets.strip >= 0
    return np.where(covered, jets.interfaces.disc[np.where(covered, jets.strip, 0)], -1)


def without_tubes(discs: Discs, jets: Jets | None) -> NDArray[np.bool_]:
    """Which discs' streams (discs,) have no tube; in a folded lattice one stands for both sides."""
    source = np.array(discs.source, dtype=np.int64)
    if jets is None:
        return np.ones(source.size, dtype=np.bool_)
    return np.asarray(~np.isin(source, source[jets.interfaces.disc]))


def sample_owners(discs: Discs) -> NDArray[np.int64]:
    """The placed propeller (samples,) that each unit, whose samples these are, was built from."""
    built = [k for k in range(len(discs.source)) if not discs.mirrored[k]]
    first = {discs.source[k]: k for k in reversed(built)}
    sizes = [unit.samples[0].size for unit in discs.units]
    places = [first[i] for i in range(len(sizes))]
    return np.repeat(np.array(places, dtype=np.int64), np.array(sizes, dtype=np.int64))


def by_unit(discs: Discs, values: Array) -> list[Array]:
    """Values (3, samples) at the samples of all units, in the shape of each unit's own."""
    ends = np.cumsum([unit.samples[0].size for unit in discs.units]).tolist()
    parts = np.split(values, ends[:-1], axis=1) if ends else []
    pairs = zip(parts, discs.units, strict=True)
    return [part.reshape(unit.samples.shape) for part, unit in pairs]


def disc_samples(discs: Discs) -> Array:
    """Inflow samples (3, n) of all units, case axes, m."""
    if not discs.units:
        return np.zeros((3, 0))
    return np.ascontiguousarray(
        np.concatenate([unit.samples.reshape(3, -1) for unit in discs.units], axis=1)
    )


def unit_states(
    flow: Flow,
    discs: Discs,
    induced: Sequence[Array],
    start: Sequence[UnitState] | None,
) -> tuple[UnitState, ...]:
    """States of all units at induced velocities (3, azimuths, samples) each.

    start: neighbouring states; without them a unit's trim starts from a like unit's before it.
    """
    states: list[UnitState] = []
    for i, (unit, extra) in enumerate(zip(discs.units, induced, strict=True)):
        guess = start[i] if start is not None else _like(discs.units, states, i)
        velocity = flow.onset(unit.samples) + extra
        states.append(unit_state(unit, flow.air, flow.airspeed, velocity, guess))
    return tuple(states)


def _like(units: Sequence[Unit], states: Sequence[UnitState], index: int) -> UnitState | None:
    """State of an earlier unit with the same blades and the same task, or None."""
    wanted = task(units[index])
    for unit, state in zip(units, states, strict=False):
        if task(unit) == wanted:
            return state
    return None


def task(unit: Unit) -> tuple[object, ...]:
    """What a unit is and is asked for: equal for two whose trims are each other's first guess."""
    item = unit.placed.definition
    return (item.blade, item.blades, item.diameter, item.hub_ratio, item.rpm, item.thrust,
            item.power, item.pitch, item.trim)  # fmt: skip


def disc_streams(case: Case, flow: Flow, discs: Discs, states: Sequence[UnitState]) -> Streams:
    """Slipstreams of all placed propellers from the states of the units."""
    count = len(discs.placed)
    annuli = max((unit.middles.size for unit in discs.units), default=1)
    centres = np.array([p.position for p in discs.placed], dtype=float).reshape(count, 3)
    axes = np.array([p.axis for p in discs.placed], dtype=float).reshape(count, 3)
    middles, axial, swirl = (np.zeros((count, annuli)) for _ in range(3))
    radii, growth, mean = np.zeros(count), np.ones(count), np.zeros(count)
    held, force = np.ones(count), np.zeros((count, 3))
    for i in range(count):
        unit, state = discs.units[discs.source[i]], states[discs.source[i]]
        flip = -1.0 if discs.mirrored[i] else 1.0
        middles[i], axial[i] = unit.middles, state.axial
        swirl[i] = flip * state.swirl
        if np.any(state.axial):  # stopped blades leave no slipstream in blade-element theory
            force[i] = state.force * np.array([1.0, flip, 1.0])
        radii[i] = unit.placed.radius
        growth[i] = 0.0 if unit.placed.definition.speed_ratio is not None else 1.0
        mean[i] = float(unit.weights @ state.axial)
        if unit.placed.definition.nozzle:
            held[i], axes[i] = 0.0, flow.direction
    normal = np.maximum(axes @ flow.free_stream, 0.0)
    cross, push = across_discs(flow, axes, radii, normal + mean, force)
    bare = Streams(
        centres=centres,
        axes=axes,
        courses=axes,
        radii=radii,
        growth=growth,
        normal_speed=normal,
        mean=mean,
        cross=cross * held[:, None],
        push=push * held[:, None],
        held=held,
        middles=middles,
        axial=axial,
        swirl=swirl,
    )
    x, _, chord = met_planform(case, centres, radii)
    return directed(bare, flow.free_stream, x + 0.25 * chord - centres[:, 0])


def across_discs(
    flow: Flow, axes: Array, radii: Array, through: Array, force: Array
) -> tuple[Array, Array]:
    """Free stream across the discs' axes, and what the force in their planes adds to it, m/s.

    axes: (d, 3); radii: (d,) m; through: (d,) speed through the discs, m/s; force: (d, 3) on the
    discs, N, whose reaction the air takes with it.
    """
    cross = flow.free_stream - np.sum(axes * flow.free_stream, axis=1, keepdims=True) * axes
    inplane = force - np.sum(axes * force, axis=1, keepdims=True) * axes
    mass = flow.air.density * np.pi * radii**2 * through
    moving = mass > 0.0
    return cross, np.where(moving[:, None], -inplane / np.where(moving, mass, 1.0)[:, None], 0.0)


def _crossings(case: Case, streams: Streams) -> Array:
    x, z, chord, _, _ = planform_at(case.wing, streams.centres[:, 1])
    return wing_crossings(streams, x + 0.25 * chord, z)


def edge_drift(case: Case, flow: Flow, model: Model, streams: Streams) -> float:
    """How far the slipstreams at the wing are from where the model has them, over their radius."""
    if model.jets is not None:
        old = model.jets.interfaces
        new = interfaces_at_wing(case, flow, model.discs, streams)
        if model.system.lattice.symmetric:
            new = starboard(new)
        if new.disc.size != old.disc.size:
            return np.inf
        shift = np.hypot(new.y - old.y, new.z - old.z) + np.abs(new.radius - old.radius)
        return float(np.max(shift / old.radius, initial=0.0))
    edges = model.system.lattice.edge_y
    crossings = _crossings(case, streams)
    inside = (np.abs(crossings) < np.max(np.abs(edges))) & (crossings > edges[0] - 1e-9)
    gap = np.min(np.abs(crossings[:, None] - edges[None, :]), axis=1)
    return float(np.max(np.where(inside, gap / np.tile(streams.radii, 2), 0.0), initial=0.0))
