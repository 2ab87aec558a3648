"""Slipstream edges in the coupling: which there are, what they cover, how fast they run.

Each slipstream is one tube or a nest of tubes, one per layer of nearly uniform speed. Tubes are
laid along x at the height at which the slipstream passes the wing's quarter chord; the condition at
the disc gives the flow inside them its direction.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.coupling.parts import Discs, Flow
from blownwing.coupling.surfaces import (
    behind_discs,
    met_planform,
    met_surfaces,
    span_crossings,
)
from blownwing.coupling.walls import TOUCH, cut_crossings, inside_cuts, meeting_cuts
from blownwing.geometry.lattice import Lattice, planform_at
from blownwing.geometry.tube import Cut, Tubes, TubeShape, build_tubes
from blownwing.slipstream.streams import SLOWEST, Streams, contraction, gain, kept_crossflow
from blownwing.wing.blown import Held, Owned
from blownwing.wing.passing import Passing

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

LAYER_ERROR = 0.10  # rms of the speed inside a layer over the jet's speed that asks for one more
MOST_LAYERS = 4
GRAZE = 0.01  # of the radius: a stream that dips into the wing by less lies on it
SAME = 0.04  # rad between the edges of two surfaces on a tube that share a corner
_STILL = 0.02  # of the fastest jet's increment: slower outer air counts as at rest
_BETWEEN = 6  # rings between two surfaces that a tube passes
_UPSTREAM = 16  # radii stored along the contraction ahead of the wing


@dataclass(frozen=True)
class Interfaces:
    """Slipstream interfaces at the wing, the outer before the inner of each disc; (k,) each."""

    disc: Ints  # placed propeller
    outer: Array  # radius over the disc's slipstream radius: 1, then the inner layers'
    inner: Array  # where the layer inside this interface ends; 0 for the innermost
    enclosing: Ints  # interface around this one, −1 for the outermost
    distance: Array  # from the disc to the wing's quarter chord along the tube, m
    y: Array  # tube axis at the wing, m
    z: Array
    radius: Array  # at the wing, m
    cuts: Mapping[int, tuple[Cut, ...]]  # of those that overlap others


@dataclass(frozen=True)
class EdgeFlow:
    """Speeds and directions that a state of the discs gives to strips and tubes.

    Speeds m are over the airspeed, or over 1 m/s where the outer air is as good as at rest.
    """

    ratio: Array  # (columns,) m of the strips' streams
    stream: Array  # (3, columns) undisturbed stream of the strips over m, m/s
    axis: Array  # (3, columns) along which the discs' axial speed acts, 0 outside all
    contrast: Array  # (n,) κ at the places of the tubes' doublets
    held: Held | None  # what the discs decide, None without tubes


@dataclass(frozen=True)
class Jets:
    """Interfaces, their panels and what they cover; fixed during a fixed point."""

    interfaces: Interfaces
    tubes: Tubes
    strip: Ints  # (columns,) innermost interface around each strip, −1 outside all
    narrowing: Array  # (k,) radius at the wing over that at the disc
    rim_arms: Array  # (2, m) y and z from the tubes' axes to the places of their rims, at the wing
    layer_weights: Array  # (k, n) from axial increments at the discs to the layers' at the wing
    wakes: tuple[Passing, ...] = ()  # of surfaces ahead of a disc, through its tubes


def interfaces_at_wing(case: Case, flow: Flow, discs: Discs, streams: Streams) -> Interfaces:
    """Interfaces of all slipstreams that pass the wing, from the state `streams`.

    Raises InputError for slipstreams that overlap too much at the wing.
    """
    layers = _layers(case, streams, flow.airspeed)
    disc = np.repeat(np.arange(layers.size), layers)
    layer = np.arange(disc.size) - (np.cumsum(layers) - layers)[disc]
    # Layers of equal area.
    outer, inner = np.sqrt((layers[disc] - layer - np.array([[0], [1]])) / layers[disc])
    x, _, chord = met_planform(case, streams.centres, streams.radii)
    ahead = x + 0.25 * chord - streams.centres[:, 0]
    distance = ahead / np.maximum(streams.courses[:, 0], 1e-6)
    axis = streams.centres + distance[:, None] * streams.courses
    radius = streams.radii * contraction(streams, np.maximum(distance, 0.0))
    # Discs behind the quarter chord blow on the wake only, which needs no edge.
    blowing = (ahead > 0.0)[disc]
    found = Interfaces(
        disc=disc,
        outer=outer,
        inner=inner,
        enclosing=np.where(layer > 0, np.arange(disc.size) - 1, -1),
        distance=distance[disc],
        y=axis[disc, 1],
        z=axis[disc, 2],
        radius=radius[disc] * outer,
        cuts={},
    )
    if not np.all(blowing):
        found = _picked(found, blowing)
    names = [discs.placed[d].name for d in found.disc]
    outermost = np.flatnonzero(found.enclosing < 0)
    cuts = meeting_cuts(found.y, found.z, found.radius, outermost, names)
    # Layers inside end where the stream does.
    radius = found.radius
    for k in cuts:
        within = (found.disc == found.disc[k]) & (found.enclosing >= 0)
        limit = (1.0 - TOUCH) * min(cut.distance for cut in cuts[k])
        radius = np.where(within, np.minimum(radius, limit), radius)
    return _off_grazed(case, replace(found, cuts=cuts, radius=radius), streams)


def _off_grazed(case: Case, found: Interfaces, streams: Streams) -> Interfaces:
    """Interfaces narrowed to touch the wing where they would dip into it by less than GRAZE.

    No strips are fine enough for so thin a cut: those between its edges swing the lift gained by a
    quarter.
    """
    lead, surface = planform_at(case.wing, found.y)[:2]
    height = np.abs(surface - found.z)
    tip = max(abs(station.y) for station in case.wing.stations)
    over = (streams.centres[found.disc, 0] < lead) & (np.abs(found.y) < tip)
    grazing = over & (height < found.radius) & (height > (1.0 - GRAZE) * found.radius)
    return replace(found, radius=np.where(grazing, height, found.radius))


def on_starboard(found: Interfaces) -> NDArray[np.bool_]:
    """Which of the interfaces (k,) lie on the starboard side or on the plane of symmetry."""
    return np.asarray(found.y > -1e-9)


def _picked(found: Interfaces, keep: NDArray[np.bool_]) -> Interfaces:
    """Some of the interfaces; behind a wall a mirror image stands for one that is left out."""
    new = np.where(keep, np.cumsum(keep) - 1, -1)
    for k in {cut.beyond for of in found.cuts.values() for cut in of if not keep[cut.beyond]}:
        twin = np.flatnonzero(keep & np.isclose(found.y, -found.y[k]) & (found.z == found.z[k])
                              & (found.outer == found.outer[k]))  # fmt: skip
        new[k] = new[twin[0]] if twin.size else -1
    enclosing = found.enclosing[keep]
    arrays = {name: v[keep] for name, v in vars(found).items() if isinstance(v, np.ndarray)}
    arrays["enclosing"] = np.where(enclosing >= 0, new[enclosing], -1)
    cuts = {
        int(new[k]): tuple(cut._replace(beyond=int(new[cut.beyond])) for cut in of)
        for k, of in found.cuts.items()
        if keep[k]
    }
    return Interfaces(**arrays, cuts=cuts)


def _layers(case: Case, streams: Streams, airspeed: float) -> Ints:
    """Layers (d,) asked for, or as many as keep the speed within a layer nearly uniform."""
    wanted, discs = case.model.jet_layers, streams.radii.size
    if wanted != "auto":
        return np.full(discs, int(wanted))
    if not discs:
        return np.zeros(0, dtype=np.int64)
    area = np.gradient(streams.middles**2, axis=1)
    area /= area.sum(axis=1)[:, None]
    jet = airspeed + 2.0 * np.abs(np.sum(area * streams.axial, axis=1))
    place = (streams.middles / streams.radii[:, None]) ** 2
    found = np.ones(discs, dtype=np.int64)
    for count in range(1, MOST_LAYERS):
        layer = np.minimum((place * count).astype(int), count - 1)
        layer += count * np.arange(discs)[:, None]
        share, total = (
            np.bincount(layer.ravel(), values.ravel(), count * discs)
            for values in (area, area * streams.axial)
        )
        mean = total / np.where(share > 0.0, share, 1.0)
        spread = 2.0 * np.sqrt(np.sum(area * (streams.axial - mean[layer]) ** 2, axis=1))
        found[(found == count) & (jet > 0.0) & (spread > LAYER_ERROR * jet)] += 1
    return found


def edge_breaks(found: Interfaces, case: Case) -> Array:
    """Spanwise positions (n,) [m] of the interfaces on the wing: breaks for the lattice."""
    surface = planform_at(case.wing, found.y)[1]
    breaks: list[float] = []
    for k, height in enumerate((surface - found.z).tolist()):
        if abs(height) < found.radius[k]:
            places = cut_crossings(found.cuts.get(k, ()), float(found.radius[k]), height)
            breaks += [float(found.y[k]) + place for place in places]
    return np.array(breaks)


def surface_breaks(found: Interfaces, case: Case) -> list[Array]:
    """Where the interfaces cross each surface beside the wing, m along its described half."""
    return [
        np.array(
            [
                arc
                for k in range(found.disc.size)
                for arc in span_crossings(
                    surface,
                    float(found.y[k]),
                    float(found.z[k]),
                    float(found.radius[k]),
                    found.cuts.get(k, ()),
                )
            ]
        )
        for surface in case.surfaces
    ]


def placed_jets(case: Case, found: Interfaces, streams: Streams, lattice: Lattice) -> Jets:
    """Tubes whose corners lie on the lattice's strip edges, and the strips that they cover.

    In a folded lattice only tubes on the starboard half are built, one on the plane by half.
    Raises InputError when a tube has too few panels round it or along it (`build_tubes`).
    """
    corner_y, corner_z = lattice.edge_y, lattice.edge_z
    strip = np.full(lattice.columns, -1, dtype=np.int64)
    middle_y = 0.5 * (corner_y[1:] + corner_y[:-1])
    middle_z = 0.5 * (corner_z[1:] + corner_z[:-1])
    if lattice.symmetric:
        found = _picked(found, on_starboard(found))
    off_y, off_z = middle_y - found.y[:, None], middle_z - found.z[:, None]
    inside = np.hypot(off_y, off_z) < found.radius[:, None]
    half = np.abs(found.y) < 1e-9 if lattice.symmetric else np.zeros(found.y.size, dtype=np.bool_)
    behind = behind_discs(case, lattice, streams)
    corners, wakes = [], []
    for k, own in enumerate(inside):
        own &= inside_cuts(found.cuts.get(k, ()), off_y[k], off_z[k])
        # Surfaces ahead of a disc send their wakes through its stream and are not blown.
        if behind is None:
            strip[own] = k
        else:
            strip[own & behind[found.disc[k]]] = k
            wakes += _passing(lattice, own & lattice.live & ~behind[found.disc[k]], k)
        ends = _changes(lattice, own, bool(half[k]))
        crossings = list(zip(corner_y[ends].tolist(), corner_z[ends].tolist(), strict=True))
        if lattice.parts:
            crossings = _apart(crossings, float(found.y[k]), float(found.z[k]))
        corners.append(tuple(crossings))
    shapes = _shapes(case, found, streams, corners, half, lattice)
    more = max((len(shape.later) for shape in shapes), default=0) * (lattice.rows + _BETWEEN)
    tubes = build_tubes(shapes, case.model.jet_around, case.model.jet_rings + more)
    narrowing = np.array([1.0 / shape.upstream_radius[0] for shape in shapes])
    far = tubes.middles.reshape(3, -1, tubes.rings, tubes.around)[1:, :, -1, :]
    arms = far - np.stack((found.y, found.z))[:, :, None]
    arms = arms.reshape(2, -1)[:, tubes.basis.rims]
    weights = _layer_weights(streams, found)
    return Jets(found, tubes, strip, narrowing, arms, weights, tuple(wakes))


def _passing(lattice: Lattice, inside: NDArray[np.bool_], tube: int) -> list[Passing]:
    """Wakes through a tube of the strips (columns,) that lie in its circle and ahead of its disc.

    One that runs up or down through the tube is no cut to be led round.
    """
    found = []
    for part in lattice.parts:
        strips = part.first + np.flatnonzero(inside[part.strips])
        if strips.size and np.all(np.diff(lattice.edge_y[strips[0] : strips[-1] + 2]) > 0.0):
            found.append(Passing(tube, strips))
    return found


def _apart(crossings: list[tuple[float, float]], y: float, z: float) -> list[tuple[float, float]]:
    """Crossings without those that another surface's all but meets, seen from the axis y, z."""
    kept: list[tuple[float, float]] = []
    for at in crossings:
        angle = np.arctan2(at[1] - z, at[0] - y)
        others = [np.arctan2(v - z, u - y) for u, v in kept]
        if all(abs(np.remainder(angle - o + np.pi, 2.0 * np.pi) - np.pi) > SAME for o in others):
            kept.append(at)
    return kept


def _changes(lattice: Lattice, inside: NDArray[np.bool_], half: bool) -> list[int]:
    """Strip edges at which the tube's inside begins or ends.

    inside: (columns,) strips; half: whether only half the tube is built.
    """
    strips = [part.strips for part in lattice.parts if part.bears]
    changes: list[int] = []
    for own in strips or [slice(0, lattice.columns)]:
        here = inside[own]
        at = own.start + np.flatnonzero(here[1:] != here[:-1]) + 1
        if lattice.symmetric and here[0] and not half and lattice.edge_y[own.start] == 0.0:
            changes.append(own.start)  # the tube ends on the plane of symmetry
        changes += at.tolist()
    return changes


def _shapes(
    case: Case,
    found: Interfaces,
    streams: Streams,
    corners: Sequence[tuple[tuple[float, float], ...]],
    half: NDArray[np.bool_],
    lattice: Lattice,
) -> list[TubeShape]:
    """Tubes of the interfaces; corners: of each, on strip edges; half: of which half is built."""
    disc, tip = found.disc, float(np.max(np.abs(lattice.edge_y)))
    lead, _, chord, _, _ = planform_at(case.wing, np.clip(found.y, -tip, tip))
    met = met_surfaces(case, streams.centres[disc], streams.radii[disc]) if case.surfaces else []
    for k, surfaces in enumerate(met):
        if surfaces:
            lead[k], _, chord[k] = surfaces[0]
    bound = 0.75 * lattice.row_edges[:-1] + 0.25 * lattice.row_edges[1:]
    rows = lead[:, None] + chord[:, None] * bound
    centre = streams.centres[disc, 0]
    start = np.minimum(centre, lead)
    x = np.linspace(start, lead, _UPSTREAM, axis=1)
    each = Streams(*(v[disc][:, None] for v in streams))
    widths = contraction(each, x - centre[:, None])
    widths /= widths[:, -1:]
    return [
        TubeShape(
            start=float(start[k]),
            y=float(found.y[k]),
            z=float(found.z[k]),
            radius=float(found.radius[k]),
            lead=float(lead[k]),
            rows=rows[k],
            upstream_x=x[k],
            upstream_radius=widths[k],
            crossings=crossings,
            half=bool(half[k]),
            cuts=found.cuts.get(k, ()),
            later=tuple(x + c * bound for x, _, c in met[k][1:] if x > lead[k] + chord[k])
            if met
            else (),
        )
        for k, crossings in enumerate(corners)
    ]


def edge_flow(jets: Jets, flow: Flow, streams: Streams) -> EdgeFlow:
    """Speeds at strips and tubes, and what the discs decide about the tubes' doublets.

    Along a tube m_i φ_i − m_o φ_o keeps the value that it has at the disc's rim, where the disc,
    which pushes along its axis, leaves φ as it is but for what the blades throw across:
    m_i² ψ_i − m_o² ψ_o = (m_i − m_o) φ_rim + (m_i Δv_i − m_o Δv_o)·r. The free stream's flow across
    the axis is part of φ on both sides. A stream whose outer air hardly moves along it has taken
    the direction of its own speed, and nothing is left to turn it.
    """
    found, strips = jets.interfaces, jets.strip.size
    rise = np.sum(jets.layer_weights * streams.axial[found.disc], axis=1)
    fastest = np.zeros(streams.radii.size)
    np.maximum.at(fastest, found.disc, np.abs(rise))
    # Beside a jet fifty times as fast the outer air is as good as at rest; its own small flow over
    # the squared ratio would only bring noise.
    moving = flow.airspeed > _STILL * float(np.max(fastest, initial=0.0))
    unit, still = (flow.airspeed, 1.0) if moving else (1.0, 0.0)
    plain = np.repeat(still * flow.free_stream[:, None], strips, axis=1)
    if found.disc.size == 0:
        none = np.zeros((3, strips))
        return EdgeFlow(np.full(strips, still), plain, none, np.zeros(0), None)
    axes, cross, push = (v[found.disc] for v in (streams.axes, streams.cross, streams.push))
    along = axes @ flow.free_stream
    speed = np.maximum(along + rise, SLOWEST * along)
    beside = moving & (along > _STILL * fastest[found.disc])
    along = np.maximum(along, 0.0)
    kept, pushed = kept_crossflow(along, speed)
    velocity = speed[:, None] * axes + kept[:, None] * cross + pushed[:, None] * push
    inside = np.where(
        beside, speed / np.where(beside, along, 1.0), np.linalg.norm(velocity, axis=1) / unit
    )
    blown = inside > 0.0
    stream = np.where(blown[:, None], velocity / np.where(blown, inside, 1.0)[:, None], 0.0)
    # Across x the tubes' doublets turn the stream, where they can.
    stream[:, 1:] = np.where(beside[:, None], flow.free_stream[1:], stream[:, 1:])
    kappa, held = _at_rims(jets, streams, inside, beside)
    covered = jets.strip >= 0
    pick = np.where(covered, jets.strip, 0)
    return EdgeFlow(
        ratio=np.where(covered, inside[pick], still),
        stream=np.where(covered, stream[pick].T, plain),
        axis=np.where(covered, axes[pick].T, 0.0),
        contrast=kappa[jets.tubes.basis.rim_of],
        held=held,
    )


def _at_rims(
    jets: Jets, streams: Streams, inside: Array, beside: NDArray[np.bool_]
) -> tuple[Array, Held]:
    """κ (m,) round the tubes' rims, and what the discs decide there.

    inside: (k,) speeds m of the interfaces' layers; beside: (k,) whether outer air moves along.
    Behind a wall another stream runs: one of the two carries it, neither its own mirror image.
    """
    found, tubes = jets.interfaces, jets.tubes
    rim, beyond_wall = tubes.basis.tube_of, tubes.beyond[tubes.basis.rims]
    wall = beyond_wall >= 0
    carried = ~wall | (rim < beyond_wall)
    around = np.where(wall, beyond_wall, found.enclosing[rim])
    inner, layered, turned = inside[rim], around >= 0, beside[rim]
    outer = np.where(layered, inside[around], np.where(turned, 1.0, 0.0))
    total = inner**2 + outer**2
    total = np.where(carried & (total > 0.0), total, np.inf)
    kappa = (inner**2 - outer**2) / total
    starts = streams.held[found.disc[rim]]
    hold = 2.0 * (inner - outer) / total * starts * turned
    cross, push = streams.cross[found.disc], streams.push[found.disc]
    beyond = np.where(layered[:, None], outer[:, None] * push[around], 0.0)
    thrown = 2.0 * (inner[:, None] * push[rim] - beyond) / total[:, None]
    turn = turned[:, None] * ((2.0 * kappa - hold)[:, None] * cross[rim] - thrown)
    given = np.sum(turn[:, 1:].T * jets.rim_arms, axis=0)
    return kappa, Held(hold * jets.narrowing[rim], given, 2.0 * kappa * starts)


def owned_tubes(jets: Jets, owner: Ints, symmetric: bool) -> Owned:
    """Which samples lie on discs, of which `owner` (n,), and which tubes are those discs'.

    symmetric: whether the lattice is folded.
    """
    found = jets.interfaces
    halved = symmetric & (np.abs(found.y) < 1e-9)
    return Owned(owner, found.disc, np.where(halved, 2, 1))


def without_edges(flow: Flow, columns: int) -> EdgeFlow:
    """The same of a wing without slipstreams, or whose slipstreams are superposed.

    columns: number of strips.
    """
    stream = np.repeat(flow.free_stream[:, None], columns, axis=1)
    return EdgeFlow(np.ones(columns), stream, np.zeros((3, columns)), np.zeros(0), None)


def _layer_weights(streams: Streams, found: Interfaces) -> Array:
    """From axial increments of a disc's annuli to their means at the wing in its layers (k, n).

    A layer reaches from an interface to the next inner one.
    """
    disc, annuli = found.disc, streams.middles.shape[1]
    r = np.linspace(found.inner, found.outer, 33, axis=1) * streams.radii[disc, None]
    r = 0.5 * (r[:, 1:] + r[:, :-1])
    weights = np.empty((disc.size, annuli))
    for k, d in enumerate(disc.tolist()):
        place = np.interp(r[k], streams.middles[d], np.arange(annuli))
        low = place.astype(int)
        share = place - low
        weights[k] = np.bincount(low, (1.0 - share) * r[k], annuli)
        weights[k] += np.bincount(np.minimum(low + 1, annuli - 1), share * r[k], annuli)
    growth = gain(found.distance, streams.radii[disc], streams.growth[disc])
    return np.asarray(weights * (growth / r.sum(axis=1))[:, None])
