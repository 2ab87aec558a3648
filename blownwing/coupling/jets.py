"""Slipstream edges in the coupling: which there are, what they cover, how fast they run.

Each slipstream is one tube or a nest of tubes, one per layer of nearly uniform speed. Tubes are
laid along x at the height at which the slipstream passes the wing's quarter chord.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.coupling.parts import Discs, Flow
from blownwing.errors import InputError
from blownwing.geometry.lattice import Lattice, planform_at
from blownwing.geometry.tube import Tubes, TubeShape, build_tubes
from blownwing.slipstream.streams import Streams, contraction, gain

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

LAYER_ERROR = 0.10  # rms of the speed inside a layer over the jet's speed that asks for one more
MOST_LAYERS = 4
_TOUCH = 1e-3  # of the radius: tubes may come this much into each other, by round-off and snapping
_STILL = 0.02  # of the fastest jet's increment: slower outer air counts as at rest
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


@dataclass(frozen=True)
class Jets:
    """Interfaces, their panels and what they cover; fixed during a fixed point."""

    interfaces: Interfaces
    tubes: Tubes
    strip: Ints  # (columns,) innermost interface around each strip, −1 outside all


def interfaces_at_wing(case: Case, flow: Flow, discs: Discs, streams: Streams) -> Interfaces:
    """Interfaces of all slipstreams that pass the wing, from the state `streams`.

    Raises InputError for slipstreams that overlap at the wing.
    """
    columns: list[tuple[int, float, float, int]] = []
    for d in range(len(discs.placed)):
        count = _layers(case, streams, d, flow.airspeed)
        # Layers of equal area.
        edges = np.sqrt(np.linspace(1.0, 0.0, count + 1))
        for layer in range(count):
            around = len(columns) - 1 if layer else -1
            columns.append((d, float(edges[layer]), float(edges[layer + 1]), around))
    disc = np.array([c[0] for c in columns], dtype=np.int64)
    x, _, chord, _, _ = planform_at(case.wing, streams.centres[:, 1])
    ahead = x + 0.25 * chord - streams.centres[:, 0]
    distance = ahead / np.maximum(streams.courses[:, 0], 1e-6)
    axis = streams.centres + distance[:, None] * streams.courses
    radius = streams.radii * contraction(streams, np.maximum(distance, 0.0))
    # Discs behind the quarter chord blow on the wake only, which needs no edge.
    blowing = (ahead > 0.0)[disc] if disc.size else np.zeros(0, dtype=bool)
    outer = np.array([c[1] for c in columns])
    found = Interfaces(
        disc=disc,
        outer=outer,
        inner=np.array([c[2] for c in columns]),
        enclosing=np.array([c[3] for c in columns], dtype=np.int64),
        distance=distance[disc],
        y=axis[disc, 1],
        z=axis[disc, 2],
        radius=radius[disc] * outer,
    )
    if not np.all(blowing):
        found = _picked(found, blowing)
    _check_apart(discs, found)
    return found


def starboard(found: Interfaces) -> Interfaces:
    """The interfaces on the starboard side and on the plane of symmetry."""
    return _picked(found, found.y > -1e-9)


def _picked(found: Interfaces, keep: NDArray[np.bool_]) -> Interfaces:
    new = np.cumsum(keep) - 1
    enclosing = found.enclosing[keep]
    values = {name: value[keep] for name, value in vars(found).items()}
    values["enclosing"] = np.where(enclosing >= 0, new[enclosing], -1)
    return Interfaces(**values)


def _layers(case: Case, streams: Streams, disc: int, airspeed: float) -> int:
    """Layers asked for, or as many as keep the speed within a layer nearly uniform."""
    wanted = case.model.jet_layers
    if wanted != "auto":
        return int(wanted)
    middles, axial = streams.middles[disc], streams.axial[disc]
    area = np.gradient(middles**2)
    area = area / area.sum()
    jet = airspeed + 2.0 * abs(float(area @ axial))
    if jet == 0.0:
        return 1
    place = (middles / streams.radii[disc]) ** 2
    for count in range(1, MOST_LAYERS):
        layer = np.minimum((place * count).astype(int), count - 1)
        share = np.bincount(layer, area, count)
        mean = np.bincount(layer, area * axial, count) / np.where(share > 0.0, share, 1.0)
        spread = 2.0 * float(np.sqrt(area @ (axial - mean[layer]) ** 2))
        if spread <= LAYER_ERROR * jet:
            return count
    return MOST_LAYERS


def _check_apart(discs: Discs, found: Interfaces) -> None:
    outermost = np.flatnonzero(found.enclosing < 0)
    for a, i in enumerate(outermost):
        for j in outermost[a + 1 :]:
            reach = found.radius[i] + found.radius[j]
            gap = np.hypot(found.y[i] - found.y[j], found.z[i] - found.z[j]) - reach
            if gap < -_TOUCH * reach:
                first, second = discs.placed[found.disc[i]].name, discs.placed[found.disc[j]].name
                raise InputError(
                    f"propellers {first} and {second}: their slipstreams overlap by {-gap:.3g} m "
                    "at the wing; accepted with model.jet_edge = true are slipstreams side by side"
                )


def edge_breaks(found: Interfaces, case: Case) -> Array:
    """Spanwise positions of the interfaces on the wing, m: breaks for the lattice."""
    surface = planform_at(case.wing, found.y)[1]
    height = found.z - surface
    inside = np.abs(height) < found.radius
    half = np.sqrt(np.maximum(found.radius**2 - height**2, 0.0))[inside]
    return np.concatenate((found.y[inside] - half, found.y[inside] + half))


def placed_jets(case: Case, found: Interfaces, streams: Streams, lattice: Lattice) -> Jets:
    """Tubes whose corners lie on the lattice's strip edges, and the strips that they cover.

    In a folded lattice only tubes on the starboard half are built, one on the plane by half.
    """
    corner_y, corner_z = lattice.edge_y, lattice.edge_z
    strip = np.full(lattice.columns, -1, dtype=np.int64)
    middle_y = 0.5 * (corner_y[1:] + corner_y[:-1])
    middle_z = 0.5 * (corner_z[1:] + corner_z[:-1])
    tip = float(np.max(np.abs(lattice.edge_y)))
    if lattice.symmetric:
        found = starboard(found)
    shapes = []
    for k in range(found.disc.size):
        inside = np.hypot(middle_y - found.y[k], middle_z - found.z[k]) < found.radius[k]
        strip[inside] = k
        half = lattice.symmetric and abs(found.y[k]) < 1e-9
        change = (np.flatnonzero(inside[1:] != inside[:-1]) + 1).tolist()
        if lattice.symmetric and inside[0] and not half:
            change = [0, *change]  # the tube ends on the plane of symmetry
        crossings = [(float(corner_y[e]), float(corner_z[e])) for e in change]
        shapes.append(_shape(case, found, streams, k, tuple(crossings), half, tip))
    tubes = build_tubes(shapes, case.model.jet_around, case.model.jet_rings)
    return Jets(found, tubes, strip)


def _shape(
    case: Case,
    found: Interfaces,
    streams: Streams,
    k: int,
    crossings: tuple[tuple[float, float], ...],
    half: bool,
    tip: float,
) -> TubeShape:
    d = int(found.disc[k])
    at = np.array([np.clip(found.y[k], -tip, tip)])
    lead, _, chord, _, _ = (float(v[0]) for v in planform_at(case.wing, at))
    start = float(streams.centres[d, 0])
    x = np.linspace(min(start, lead), lead, _UPSTREAM)
    one = Streams(**{n: v[np.full(_UPSTREAM, d)] for n, v in vars(streams).items()})
    widths = contraction(one, x - start)
    return TubeShape(
        start=min(start, lead),
        y=float(found.y[k]),
        z=float(found.z[k]),
        radius=float(found.radius[k]),
        lead=lead,
        chord=chord,
        upstream_x=x,
        upstream_radius=widths / widths[-1],
        crossings=crossings,
        half=half,
    )


def speed_ratios(jets: Jets, flow: Flow, streams: Streams) -> tuple[Array, Array, Array, Array]:
    """Ratios m of strips (columns,), κ of tube panels, axial speeds and directions of strips.

    Speeds are over the airspeed, or over 1 m/s where the outer air is as good as at rest. Returns
    (ratio, contrast, added, axis): added (columns,) m/s is the layer's mean axial increment, axis
    (3, columns) its disc's axis.
    """
    found = jets.interfaces
    rise = np.array([_layer_mean(streams, found, k) for k in range(found.disc.size)])
    axes = streams.axes[found.disc]
    # Beside a jet fifty times as fast the outer air is as good as at rest; its own small flow over
    # the squared ratio would only bring noise.
    moving = flow.airspeed > _STILL * float(np.max(np.abs(rise), initial=0.0))
    unit = flow.airspeed if moving else 1.0
    still = 1.0 if moving else 0.0
    inside = np.linalg.norm(flow.free_stream + rise[:, None] * axes, axis=1) / unit
    outside = np.where(found.enclosing >= 0, inside[found.enclosing], still)
    total = inside**2 + outside**2
    kappa = (inside**2 - outside**2) / np.where(total > 0.0, total, 1.0)
    covered = jets.strip >= 0
    pick = np.where(covered, jets.strip, 0)
    if found.disc.size == 0:
        none = np.zeros(jets.strip.size)
        return none + still, np.zeros(0), none, np.zeros((3, jets.strip.size))
    return (
        np.where(covered, inside[pick], still),
        kappa[jets.tubes.owner],
        np.where(covered, rise[pick], 0.0),
        np.where(covered, axes[pick].T, 0.0),
    )


def _layer_mean(streams: Streams, found: Interfaces, k: int) -> float:
    """Mean axial increment at the wing between an interface and the next inner one, m/s."""
    d = int(found.disc[k])
    r = np.linspace(found.inner[k], found.outer[k], 33) * streams.radii[d]
    r = 0.5 * (r[1:] + r[:-1])
    speed = np.interp(r, streams.middles[d], streams.axial[d])
    growth = gain(found.distance[k : k + 1], streams.radii[d : d + 1], streams.growth[d : d + 1])
    return float(growth[0] * (r @ speed) / r.sum())
