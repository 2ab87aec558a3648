"""What each surface of a lattice of several does: its strips, its forces, their part of the sum."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.coupling.model import Model, Point, WingState
from blownwing.coupling.parts import Flow
from blownwing.coupling.response import strip_incidence
from blownwing.geometry.lattice import Lattice, Part, planform_at
from blownwing.wing.loads import WingLoads
from blownwing.wing.profile import profile_drag, strip_thickness
from blownwing.wing.system import frame_velocity, velocity_at

Array = NDArray[np.float64]

_COURSE = 24  # steps of the course behind the wing
_SMOOTH = 0.1  # chords, by which vortices are smoothed along it
_LOADED = 0.1  # share of a surface's area whose sections may be at their limits; our judgement
_CLOSE = 0.01  # chords, within which a rise is as good as found
Values = dict[str, Any]


def lattice_thickness(case: Case, lattice: Lattice) -> Array:
    """Thickness ratio (columns,) of the strips' sections. Errors as `strip_thickness`."""
    parts = lattice.parts or (Part(0, 0, lattice.columns, True),)
    result = np.zeros(lattice.columns)
    for part in parts:
        shape = case.wing if part.surface == 0 else case.surfaces[part.surface - 1]
        names = [s.airfoil for s in shape.stations]
        result[part.strips] = strip_thickness(names, case.folder, lattice.station[part.strips])
    return result


class Friction(NamedTuple):
    """What sections add to the lattice's strips: drag per span [N/m] along the stream (columns,),
    moments (3, columns) [N m] of one half where there are two."""

    drag: Array
    moment: Array


def section_friction(
    case: Case, flow: Flow, model: Model, wing: WingState, speed: Array
) -> Friction:
    """Profile drag, and what the tables' cm differ by from the lattice's.

    speed: (columns,) of the strips' local streams, m/s. Linear sections have a plate's friction.
    """
    lattice = model.system.lattice
    if model.sections is None:
        viscous = (flow.air.density, flow.air.viscosity)
        moving = np.maximum(speed, 1e-9)
        drag = profile_drag(lattice.chord, moving, lattice_thickness(case, lattice), *viscous)
        return Friction(drag, np.zeros((3, lattice.columns)))
    incidence = strip_incidence(model, wing)
    table = model.sections.values(incidence, reynolds(flow, lattice, speed), case.wing_mach)
    pressure = 0.5 * flow.air.density * speed**2 * lattice.chord
    excess = table.cm - model.plane.moment * np.cos(incidence - wing.correction)
    nose_up = pressure * lattice.chord * lattice.width * lattice.live * excess
    bank = lattice.dihedral
    moment = nose_up * np.stack((np.zeros_like(bank), np.cos(bank), np.sin(bank)))
    return Friction(pressure * table.cd, moment)


def reynolds(flow: Flow, lattice: Lattice, speed: Array) -> Array:
    """Reynolds numbers (columns,) of the strips in streams of speed (columns,) m/s."""
    return np.asarray(flow.air.density * speed * lattice.chord / flow.air.viscosity)


def both_halves(vector: Array, lattice: Lattice, about: bool = False) -> Array:
    """A force (3,) on the lattice from that on its half where it is one; about: a moment."""
    if not lattice.symmetric:
        return vector
    doubled = np.array([0.0, 2.0, 0.0] if about else [2.0, 0.0, 2.0])
    return np.asarray(vector * doubled)


def by_surface(
    case: Case, point: Point, values: Values, friction: Friction
) -> tuple[Values, dict[str, Values]]:
    """Arrays of the wing's strips over the whole span, and what belongs to each surface.

    values: arrays (columns,) of the lattice; friction: from `section_friction`. The second is
    empty for a wing alone.
    """
    lattice = point.model.system.lattice
    if not lattice.parts:
        return _whole(values, lattice.symmetric), {}
    wing = {name: value[lattice.parts[0].strips] for name, value in values.items()}
    drawn = {"wing": _forces(case, point, 0, friction)}
    for index, surface in enumerate(case.surfaces, start=1):
        parts = [part for part in lattice.parts if part.surface == index]
        arcs = np.array(surface.arcs)
        sides: list[Values] = []
        for part in parts:
            own = {name: value[part.strips] for name, value in values.items()}
            at = np.interp(lattice.station[part.strips], np.arange(arcs.size), arcs)
            port = surface.symmetric & (own["y"] < 0.0)
            sides.append({"s": np.where(port, -at, at), **own})
        joint = {name: np.concatenate([side[name] for side in sides]) for name in sides[0]}
        if lattice.symmetric and surface.symmetric:
            joint = _whole(joint, True)
        rise = float(np.broadcast_to(lattice.rise, lattice.columns)[parts[0].first])
        rises = {"stream_rise": rise}
        if point.flow.airspeed > 0.0:
            rises["local_rise"] = local_rise(case, point.flow, point.model, point.wing, index)
        drawn[surface.name] = {**joint, **_forces(case, point, index, friction), **rises}
    return _whole(wing, lattice.symmetric), drawn


def _whole(values: Values, folded: bool) -> Values:
    """Arrays over both halves from those of the starboard one."""
    if not folded:
        return values
    return {
        name: np.concatenate((-value[::-1] if name in ("y", "s") else value[::-1], value))
        for name, value in values.items()
    }


def surface_force(lattice: Lattice, loads: WingLoads, index: int) -> tuple[Array, Array]:
    """Force and moment (3,) [N, N m] of one surface, both halves; index: 0 for the wing."""
    if loads.strip_moment is None:
        raise ValueError("loads of a kept lattice have no moments by strip")
    own = np.zeros(lattice.columns, dtype=bool)
    for part in lattice.parts:
        own[part.strips] |= part.surface == index
    force, moment = loads.strip_force[:, own].sum(axis=1), loads.strip_moment[:, own].sum(axis=1)
    return both_halves(force, lattice), both_halves(moment, lattice, about=True)


def _forces(case: Case, point: Point, index: int, friction: Friction) -> Values:
    flow, lattice = point.flow, point.model.system.lattice
    force, moment = surface_force(lattice, point.loads, index)
    own = np.zeros(lattice.columns, dtype=bool)
    for part in lattice.parts:
        own[part.strips] |= part.surface == index
    moment = moment + both_halves(friction.moment[:, own].sum(axis=1), lattice, about=True)
    profile = float(np.sum((friction.drag * lattice.width * lattice.share)[own]))
    profile *= 2.0 if lattice.symmetric else 1.0
    drag, side, lift = (float(axis @ force) for axis in flow.wind)
    values: Values = {"lift": lift, "drag": drag + profile, "side_force": side}
    if flow.airspeed == 0.0:
        return values
    unit = 0.5 * flow.air.density * flow.airspeed**2 * case.wing.area
    span, chord = case.wing.span, case.wing.chord
    bare, turn = surface_force(lattice, point.loads_unblown, index)
    area = (lattice.chord * lattice.width)[own]
    speed = np.linalg.norm(flow.onset(lattice.quarter) + point.quarter.velocity, axis=0)
    least, most = most_loaded(point, index)
    if point.model.sections is not None and index > 0:
        ends = stall_ways(case, flow, point.model, point.wing, index)
        values |= dict(zip(("stall_way_least", "stall_way_most"), ends, strict=True))
    return values | {
        "cl_least": least,
        "cl_most": most,
        "CL": lift / unit,
        "CL_unblown": float(flow.lift_direction @ bare) / unit,
        "CD_induced": drag / unit,
        "CD_profile": profile / unit,
        "CY": side / unit,
        "C_roll": -float(moment[0]) / unit / span,
        "C_pitch": float(moment[1]) / unit / chord,
        "C_pitch_unblown": float(turn[1]) / unit / chord,
        "C_yaw": -float(moment[2]) / unit / span,
        "downwash_angle": float(area @ downwash(point, own)) / float(area.sum()),
        "pressure_ratio": float(area @ (speed[own] / flow.airspeed) ** 2) / float(area.sum()),
    }


def most_loaded(point: Point, index: int, extent: float = _LOADED) -> tuple[float, float]:
    """Least and largest section cl of a surface, on its local dynamic pressure.

    Across each strip's own span, whichever way that lies; a share `extent` of the area, 0 to 1,
    goes beyond either. index: 0 for the wing. Strips in still air have none.
    """
    flow, lattice = point.flow, point.model.system.lattice
    own = np.zeros(lattice.columns, dtype=bool)
    for part in lattice.parts:
        own[part.strips] |= part.surface == index
    force, bank = point.loads.strip_force[:, own], lattice.dihedral[own]
    across = force[2] * np.cos(bank) - force[1] * np.sin(bank)
    onset = (flow.onset(lattice.quarter) + point.quarter.velocity)[:, own]
    area = (lattice.chord * lattice.width)[own]
    local = 0.5 * flow.air.density * np.sum(onset**2, axis=0) * area
    still = local <= 0.0
    cl = np.where(still, 0.0, across / np.where(still, 1.0, local))
    return _ends(cl, area, extent)


def stall_ways(
    case: Case, flow: Flow, model: Model, wing: WingState, index: int
) -> tuple[float, float]:
    """How far a surface's sections are on the way from no lift to the stall, by their tables.

    Least and largest: −1 and 1 at the peaks of either sign, beyond them in the stall; a share
    of a tenth of the area goes beyond either. index: 1 for the first surface beside the wing.
    """
    lattice, sections = model.system.lattice, model.sections
    if sections is None:
        raise ValueError("linear sections do not stall")
    re = reynolds(flow, lattice, wing.ratio * wing.speed)
    lower, zero, upper = sections.range(re, case.wing_mach)
    alpha = strip_incidence(model, wing)
    way = np.where(alpha > zero, (alpha - zero) / (upper - zero), (alpha - zero) / (zero - lower))
    own = np.zeros(lattice.columns, dtype=bool)
    for part in lattice.parts:
        own[part.strips] |= (part.surface == index) & part.bears
    if not np.any(own):
        return 0.0, 0.0
    return _ends(way[own], (lattice.chord * lattice.width)[own], _LOADED)


def stalled_surfaces(
    case: Case, flow: Flow, model: Model, wing: WingState, beyond: float = 1.0
) -> list[str]:
    """Names of the surfaces beside the wing that are beyond a part of the way to their stall."""
    if model.sections is None:
        return []
    ways = [stall_ways(case, flow, model, wing, k + 1) for k in range(len(case.surfaces))]
    pairs = zip(case.surfaces, ways, strict=True)
    return [surface.name for surface, (low, high) in pairs if max(high, -low) > beyond]


def _ends(loading: Array, area: Array, extent: float) -> tuple[float, float]:
    """Least and largest loading (strips,) that a share of the area (strips,) goes beyond."""
    share = (area / area.sum())[None, :]
    low = -exceeded(-loading[None, :], share, extent)[0]
    return float(low), float(exceeded(loading[None, :], share, extent)[0])


def exceeded(loading: Array, share: Array, extent: float) -> Array:
    """Loading (rows,) that strips over a share `extent` of the area exceed.

    loading: (rows, strips), of any unit; share: of the strips' areas in the whole, (strips,) or the
    shape of loading; strips count with the middle of their area.
    """
    order = np.argsort(-loading, axis=1)
    ranked = np.take_along_axis(loading, order, axis=1)
    areas = np.broadcast_to(share, loading.shape)
    areas = np.take_along_axis(areas, order, axis=1)
    covered = np.cumsum(areas, axis=1) - 0.5 * areas
    pairs = zip(covered, ranked, strict=True)
    return np.array([np.interp(extent, at, values) for at, values in pairs])


def local_rise(case: Case, flow: Flow, model: Model, wing: WingState, index: int) -> float:
    """How far the flow rises between the wing's trailing edge and another surface, m.

    Along the local course of free stream and vortices of all but that surface, on the mean section
    of the surface; 0 for one ahead of the wing. index: 1 for the first surface beside the wing.
    """
    surface, lattice = case.surfaces[index - 1], model.system.lattice
    y = abs(float(np.mean([s.y for s in surface.stations])))
    lead, height, chord, _, _ = (float(v[0]) for v in planform_at(case.wing, np.array([y])))
    end = surface.volume_arm
    start = lead + chord
    if end <= start:
        return 0.0
    edges = np.linspace(start, end, _COURSE + 1)
    x = 0.5 * (edges[1:] + edges[:-1])
    points = np.stack((x, np.full_like(x, y), np.full_like(x, height)))
    others = wing.strength.reshape(lattice.rows, -1).copy()
    for part in lattice.parts:
        if part.surface == index:
            others[:, part.strips] = 0.0
    frame = model.system.frame
    core = _SMOOTH * chord
    induced = frame_velocity(model.system, frame.points(points), others.ravel(), core)[0]
    local = flow.onset(points) + frame.velocities(induced)
    return float(np.sum(local[2] / np.maximum(local[0], 0.1 * flow.airspeed) * np.diff(edges)))


def with_local_rises(
    asked: Case, now: Case, flow: Flow, model: Model, wing: WingState
) -> Case | None:
    """The case with the rises that this state's flow gives, None where they are there already.

    asked: the case that says where they are to be found; now: with those that the state has. Raises
    InputError for a rise that no case can have.
    """
    edits: dict[str, float] = {}
    for index, surface in enumerate(now.surfaces, start=1):
        if asked.surfaces[index - 1].stream_rise != "local":
            continue
        found = local_rise(now, flow, model, wing, index)
        if abs(found - surface.rise) > _CLOSE * surface.stations[0].chord:
            edits[f"surfaces.{index - 1}.stream_rise"] = found
    return now.replace(**edits) if edits else None


def follows_course(case: Case) -> bool:
    """Whether the rise of streams at a surface is to be found."""
    return any(surface.stream_rise == "local" for surface in case.surfaces)


def downwash(point: Point, own: NDArray[np.bool_]) -> Array:
    """Angle (n,) [deg], down positive, that the vortices of all other strips turn the flow by.

    own: (columns,) the strips at whose quarter-chord points it is taken. Each other strip's
    g counts, which in a slipstream is its circulation over the speed ratio.
    """
    system, lattice, flow = point.model.system, point.model.system.lattice, point.flow
    others = point.wing.strength.reshape(lattice.rows, -1) * ~own
    induced = velocity_at(system, np.ascontiguousarray(lattice.quarter[:, own]), others.ravel())
    bank = lattice.dihedral[own]
    down = induced[1] * np.sin(bank) - induced[2] * np.cos(bank)
    return np.asarray(np.degrees(np.arctan2(down, flow.airspeed)))
