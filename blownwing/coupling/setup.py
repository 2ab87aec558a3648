"""From a case to discs, slipstreams and a lattice whose strips end at the slipstream edges."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.case.parts import Wing
from blownwing.coupling.jets import (
    Interfaces,
    Jets,
    edge_breaks,
    interfaces_at_wing,
    on_starboard,
    placed_jets,
    surface_breaks,
)
from blownwing.coupling.model import Model, WingParts
from blownwing.coupling.parts import Discs, Flow, ground_level, wing_frame
from blownwing.coupling.rotors import disc_samples
from blownwing.coupling.sections import (
    StripSections,
    lattice_section,
    strip_answers,
    strip_sections,
)
from blownwing.coupling.size import expected_size
from blownwing.coupling.surfaces import (
    hinge_angles,
    laid_lattice,
    live_normals,
    met_planform,
    panel_turns,
    surface_settings,
    surface_slopes,
)
from blownwing.geometry.lattice import Lattice, planform_at
from blownwing.kernels import stream
from blownwing.slipstream.streams import (
    FREE,
    Lines,
    Streams,
    directed,
    prepared_lines,
    wing_crossings,
)
from blownwing.wing.blown import EdgeSystem, edge_system
from blownwing.wing.loads import trefftz_downwash
from blownwing.wing.nearfield import bound_velocity
from blownwing.wing.normals import panel_normals
from blownwing.wing.system import (
    WingSystem,
    compressed_system,
    factored_system,
    velocity_matrix,
)

Array = NDArray[np.float64]

_FEW_ROWS, _FEW_STRIPS = 3, 24  # of a wing for first guesses
_BLOCK = 64  # unit circulations that are evaluated together


def built_model(
    case: Case,
    flow: Flow,
    discs: Discs,
    streams: Streams,
    kept: Model | None = None,
    still: WingParts | None = None,
) -> Model:
    """Lattice with strip edges on the slipstream edges, its factored system, tubes, samples.

    kept: a model whose parts serve where they would be the same; still: parts of a lattice that
    stays as it is, whatever the slipstreams do; they have no edges then. Raises
    InputError for slipstreams that overlap too much at the wing, or too few panels for a tube,
    SolveError for a singular lattice.
    """
    found = None
    if still is not None:
        parts = still
    else:
        if case.model.jet_edge and discs.placed:
            found = interfaces_at_wing(case, flow, discs, streams)
        parts = _following_parts(case, streams, found, kept)
    if kept is not None and kept.key != parts.key:
        kept = None
    system, lattice = parts.system, parts.system.lattice
    jets = None if found is None else placed_jets(case, found, streams, lattice)
    samples, velocity = disc_samples(discs), None
    if kept is not None and kept.system is system:
        if np.array_equal(disc_samples(kept.discs), samples):
            velocity = kept.wing_velocity
    if velocity is None and system.direct:
        velocity = velocity_matrix(system, samples, parts.core)
    return Model(
        **{field.name: getattr(parts, field.name) for field in fields(WingParts)},
        **_set(case, parts, None if kept is None else kept.sections),
        discs=discs,
        wing_velocity=velocity,
        jets=jets,
        edge=None if jets is None else _edge(system, jets, kept),
        rows=_rows(discs, lattice, jets, streams),
        still=still is not None,
    )


def with_settings(case: Case, model: Model) -> Model:
    """The same model with a case's controls and settings of surfaces."""
    return replace(model, **_set(case, model, model.sections))


def _set(case: Case, parts: WingParts, known: StripSections | None) -> dict[str, Any]:
    """What controls and settings decide of a `Model`; known: tables that may serve."""
    lattice, sections = parts.system.lattice, parts.clean
    hinges = hinge_angles(case, lattice)
    hinged = panel_turns(lattice, hinges)
    if sections is not None and hinges:
        sections = strip_sections(case, lattice, hinges, known)
    return {
        "setting": surface_settings(case, lattice),
        "hinged": hinged,
        "plane": lattice_section(lattice, parts.slopes, hinged, parts.system.frame.stretch),
        "sections": sections,
    }


def _following_parts(
    case: Case, streams: Streams, found: Interfaces | None, kept: Model | None
) -> WingParts:
    """Parts of a lattice whose strips end at the slipstreams' edges."""
    breaks = _crossings(case, streams) if found is None else edge_breaks(found, case)
    others = [np.zeros(0)] * len(case.surfaces) if found is None else surface_breaks(found, case)
    lattice = laid_lattice(case, strip_breaks(case.wing, breaks), others)
    key = wing_key(case)
    if kept is None or kept.key != key:
        return _wing_parts(case, key, lattice)
    if np.array_equal(lattice.nodes, kept.system.lattice.nodes):
        return kept
    return _wing_parts(case, key, lattice, kept.clean)


def _edge(system: WingSystem, jets: Jets, kept: Model | None) -> EdgeSystem:
    """The edge system of these tubes, or what there is of it in a model that has the same ones."""
    if kept is None or kept.edge is None:
        return edge_system(system, jets.tubes, wakes=jets.wakes)
    if not np.array_equal(kept.edge.tubes.nodes, jets.tubes.nodes):
        return edge_system(system, jets.tubes, wakes=jets.wakes)
    if system is kept.system:
        return kept.edge
    return edge_system(system, jets.tubes, kept.edge.on_tube, wakes=jets.wakes)


def wing_key(case: Case) -> tuple[Any, ...]:
    """What two cases must share to share parts of their wings."""
    options = case.model
    return (
        case.wing, case.surfaces, case.folder, options.chordwise, options.spanwise,
        options.spacing, options.sections, options.matrix, case.is_symmetric, case.wing_mach,
        ground_level(case),
    )  # fmt: skip


def _wing_parts(
    case: Case, key: tuple[Any, ...], lattice: Lattice, known: StripSections | None = None
) -> WingParts:
    """What depends on the lattice alone; known: sections of the same wing on another lattice."""
    slopes = surface_slopes(case, lattice)
    normals = live_normals(lattice, panel_normals(lattice, slopes))
    frame, ground = wing_frame(case), ground_level(case)
    clean = None
    if case.model.sections == "tables":
        clean = strip_sections(case, lattice, known=known)
    compressed = expected_size(case).compressed
    system = (compressed_system if compressed else factored_system)(lattice, normals, frame, ground)
    return WingParts(
        key=key,
        system=system,
        slopes=slopes,
        clean=clean,
        core=0.1 * float(np.min(lattice.width[lattice.live])),
        answers=None if clean is None else strip_answers(system),
    )


def still_parts(case: Case) -> WingParts:
    """Parts of a lattice without strip edges at the slipstreams, with its loads as matrices.

    Raises InputError for stations or sections that cannot be used, SolveError for a singular
    lattice.
    """
    lattice = laid_lattice(case, (), [np.zeros(0)] * len(case.surfaces))
    parts = _wing_parts(case, wing_key(case), lattice)
    unit = np.eye(lattice.panels)
    blocks = [unit[first : first + _BLOCK] for first in range(0, lattice.panels, _BLOCK)]
    on_bound = np.concatenate([bound_velocity(parts.system, block) for block in blocks])
    wash = [trefftz_downwash(parts.system, row) for row in np.eye(lattice.columns)]
    return replace(
        parts,
        on_bound=np.ascontiguousarray(on_bound.reshape(lattice.panels, -1).T),
        wash=np.stack(wash, axis=1),
    )


def coarse_model(
    case: Case, flow: Flow, discs: Discs, streams: Streams, kept: Model | None = None
) -> Model:
    """A linear wing of few panels without slipstream edges, on which a first guess costs little.

    kept: another such model, whose parts serve where they are the same. Raises InputError for
    stations that cannot be used, SolveError for a singular lattice.
    """
    few = {
        "chordwise": min(case.model.chordwise, _FEW_ROWS),
        "spanwise": min(case.model.spanwise, _FEW_STRIPS),
    }
    linear = {"sections": "linear", "jet_edge": False, "matrix": "full"}
    options = case.model.model_copy(update=few | linear)
    coarse = case.model_copy(update={"model": options})
    key = wing_key(coarse)
    if kept is not None and kept.key == key:
        return built_model(coarse, flow, discs, streams, kept, kept)
    lattice = laid_lattice(coarse, (), [np.zeros(0)] * len(case.surfaces))
    return built_model(coarse, flow, discs, streams, still=_wing_parts(coarse, key, lattice))


def strip_breaks(wing: Wing, breaks: Array) -> list[float]:
    """Where strips of a lattice end at slipstream edges, m: once for both halves.

    breaks: (n,) y of the edges, m.
    """
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


def stream_source(case: Case, flow: Flow, discs: Discs) -> Callable[[Array, Array, Array], Streams]:
    """A function from what the units do to the slipstreams of all placed propellers.

    Its arguments: induced axial speed, m/s, and r·v_θ, m²/s, (units, annuli), forces in the discs'
    planes (units, 2), N. What the discs' places alone decide is worked out once.
    """
    packed = discs.packed
    jets = packed.jets
    centres = np.array([p.position for p in discs.placed], dtype=float).reshape(-1, 3)
    axes = np.where(jets.held[:, None] > 0.0, jets.axes, flow.direction)
    along = axes @ flow.free_stream
    cross = (flow.free_stream - along[:, None] * axes) * jets.held[:, None]
    normal = np.maximum(along, 0.0)
    bare = jets._replace(centres=centres, axes=axes, normal_speed=normal, cross=cross)
    x, _, chord = met_planform(case, centres, jets.radii)
    distance = x + 0.25 * chord - centres[:, 0]

    def blown(axial: Array, swirl: Array, inplane: Array) -> Streams:
        own, turned = np.empty_like(jets.axial), np.empty_like(jets.swirl)
        mean, push = np.empty_like(normal), np.empty_like(axes)
        stream.loaded_streams(
            axial, swirl, inplane, packed.weights, packed.source, packed.flips, packed.axes,
            flow.air.density, jets.radii, normal, jets.held, own, turned, mean, push,
        )  # fmt: skip
        loaded = bare._replace(axial=own, swirl=turned, mean=mean, push=push)
        return directed(loaded, flow.free_stream, distance)

    return blown


def _crossings(case: Case, streams: Streams) -> Array:
    x, z, chord, _, _ = planform_at(case.wing, streams.centres[:, 1])
    return wing_crossings(streams, x + 0.25 * chord, z)


def edge_drift(case: Case, flow: Flow, model: Model, streams: Streams) -> float:
    """How far the slipstreams at the wing are from where the model has them, over their radius.

    Raises InputError for slipstreams that overlap too much at the wing.
    """
    if model.still:
        return 0.0
    if model.jets is not None:
        old = model.jets.interfaces
        new = interfaces_at_wing(case, flow, model.discs, streams)
        places = np.stack((new.y, new.z, new.radius))
        if model.system.lattice.symmetric:
            places = places[:, on_starboard(new)]
        if places.shape[1] != old.disc.size:
            return np.inf
        dy, dz, wider = places - (old.y, old.z, old.radius)
        return float(np.max((np.hypot(dy, dz) + np.abs(wider)) / old.radius, initial=0.0))
    edges = model.system.lattice.edge_y
    crossings = _crossings(case, streams)
    inside = (np.abs(crossings) < np.max(np.abs(edges))) & (crossings > edges[0] - 1e-9)
    gap = np.min(np.abs(crossings[:, None] - edges[None, :]), axis=1)
    return float(np.max(np.where(inside, gap / np.tile(streams.radii, 2), 0.0), initial=0.0))
