"""From a case to discs, slipstreams and a lattice whose strips end at the slipstream edges."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.coupling.parts import Discs, Flow, Model
from blownwing.errors import InputError
from blownwing.geometry.lattice import build_lattice, planform_at
from blownwing.propeller.blade import read_blade
from blownwing.propeller.rotor import Rotor, build_rotor
from blownwing.propeller.unit import Unit, UnitState, built_unit, unit_state
from blownwing.slipstream.streams import Streams, directed, prepared_lines, wing_crossings
from blownwing.wing.normals import panel_normals
from blownwing.wing.system import Frame, factored_system, velocity_matrix

Array = NDArray[np.float64]


def placed_discs(case: Case) -> Discs:
    """Rotors of all propellers; in a mirror-symmetric case only one of each pair is computed."""
    placed = tuple(case.propeller_list())
    rotors = [_rotor(case, index) for index in range(len(case.propellers))]
    folded = case.is_symmetric
    units: list[Unit] = []
    source: list[int] = [-1] * len(placed)
    for i, item in enumerate(placed):
        if not folded or item.position[1] >= 0.0:
            source[i] = len(units)
            annuli, azimuth = case.model.radial, case.model.azimuth
            units.append(built_unit(item, rotors[item.index], annuli, azimuth))
    for i, item in enumerate(placed):
        if source[i] < 0:
            x, y, z = item.position
            source[i] = next(
                source[k] for k, other in enumerate(placed) if other.position == (x, -y, z)
            )
    mirrored = tuple(folded and item.position[1] < 0.0 for item in placed)
    return Discs(placed, tuple(units), tuple(source), mirrored)


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


def built_model(case: Case, flow: Flow, discs: Discs, streams: Streams) -> Model:
    wing = case.wing
    folded = case.is_symmetric
    crossings = _crossings(case, streams)
    if wing.symmetric:
        crossings = np.unique(np.round(np.abs(crossings), 12))
    lattice = build_lattice(
        wing,
        case.model.chordwise,
        case.model.spanwise,
        case.model.spacing,
        crossings.tolist(),
        whole=not folded,
    )
    normals = panel_normals(wing, lattice, section_names(case))
    mach = case.mach if case.model.compressibility else 0.0
    frame = Frame(np.radians(case.flow.beta), float(np.sqrt(1.0 - mach * mach)))
    height = case.flow.ground_height
    ground = None if height is None else float(flow.point[2]) - height
    system = factored_system(lattice, normals, frame, ground)
    samples = _samples(discs)
    starts = np.concatenate((lattice.collocation_ends[0], samples), axis=1)
    ends = np.concatenate((lattice.collocation_ends[1], samples), axis=1)
    owner = np.full(starts.shape[1], -1)
    count = samples.shape[1] // max(len(discs.units), 1)
    for i in range(len(discs.units)):
        owner[lattice.panels + i * count : lattice.panels + (i + 1) * count] = _first(discs, i)
    core = 0.1 * float(np.min(lattice.width)) if samples.size else 0.0
    matrix = velocity_matrix(system, samples, core)
    return Model(discs, system, prepared_lines(streams, starts, ends, owner), matrix)


def _first(discs: Discs, unit: int) -> int:
    """The placed propeller that a unit was built from."""
    pairs = zip(discs.source, discs.mirrored, strict=True)
    return next(k for k, (s, m) in enumerate(pairs) if s == unit and not m)


def section_names(case: Case) -> list[str]:
    """Sections of the wing's stations: names, or paths that can be opened."""
    names = [station.airfoil for station in case.wing.stations]
    return [str(case.file_path(n)) if "." in n or "/" in n else n for n in names]


def _samples(discs: Discs) -> Array:
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
    """States of all units at induced velocities (3, azimuths, samples) each."""
    return tuple(
        unit_state(
            unit,
            flow.air,
            flow.airspeed,
            flow.onset(unit.samples) + extra,
            None if start is None else start[i],
        )
        for i, (unit, extra) in enumerate(zip(discs.units, induced, strict=True))
    )


def disc_streams(case: Case, flow: Flow, discs: Discs, states: Sequence[UnitState]) -> Streams:
    """Slipstreams of all placed propellers from the states of the units."""
    count = len(discs.placed)
    annuli = max((unit.middles.size for unit in discs.units), default=1)
    centres = np.array([p.position for p in discs.placed], dtype=float).reshape(count, 3)
    axes = np.array([p.axis for p in discs.placed], dtype=float).reshape(count, 3)
    middles, axial, swirl = (np.zeros((count, annuli)) for _ in range(3))
    radii, growth, mean = np.zeros(count), np.ones(count), np.zeros(count)
    for i in range(count):
        unit, state = discs.units[discs.source[i]], states[discs.source[i]]
        middles[i], axial[i] = unit.middles, state.axial
        swirl[i] = -state.swirl if discs.mirrored[i] else state.swirl
        radii[i] = unit.placed.radius
        growth[i] = 0.0 if unit.placed.definition.speed_ratio is not None else 1.0
        mean[i] = float(unit.weights @ state.axial)
    normal = np.maximum(axes @ flow.free_stream, 0.0)
    bare = Streams(centres, axes, axes, radii, growth, normal, mean, middles, axial, swirl)
    x, _, chord, _, _ = planform_at(case.wing, centres[:, 1])
    return directed(bare, flow.free_stream, x + 0.25 * chord - centres[:, 0])


def _crossings(case: Case, streams: Streams) -> Array:
    x, z, chord, _, _ = planform_at(case.wing, streams.centres[:, 1])
    return wing_crossings(streams, x + 0.25 * chord, z)


def edge_drift(case: Case, model: Model, streams: Streams) -> float:
    """Largest distance of a slipstream edge on the wing from the nearest strip edge, over R."""
    edges = model.system.lattice.edge_y
    crossings = _crossings(case, streams)
    if crossings.size == 0:
        return 0.0
    inside = (np.abs(crossings) < np.max(np.abs(edges))) & (crossings > edges[0] - 1e-9)
    gap = np.min(np.abs(crossings[:, None] - edges[None, :]), axis=1)
    return float(np.max(np.where(inside, gap / np.tile(streams.radii, 2), 0.0)))
