"""Velocity at any point of the flow, as a probe would measure it.

Undisturbed flow, the discs' streams, and the wing with its slipstreams' edges. Inside a stream of m
times the airspeed the potential is m times that of the linear problem (`wing.blown`). Behind a
uniformly loaded disc the axial part is that of a semi-infinite vortex cylinder off the axis too
(Branlard & Gaunaa 2015, "Cylindrical vortex wake model: right cylinder", Wind Energy 18): the far
stream's increment and the field of the disc as a sink. The wake leaves the wing along x, whatever
the incidence: heights behind the wing are to be taken from there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blownwing.case.model import Case
from blownwing.coupling import solved_points
from blownwing.coupling.jets import Jets, edge_flow
from blownwing.coupling.model import Point
from blownwing.coupling.setup import without_tubes
from blownwing.coupling.walls import inside_cuts
from blownwing.errors import InputError, SolveError
from blownwing.geometry.lattice import planform_at
from blownwing.slipstream.streams import (
    FREE,
    Streams,
    added_velocity,
    contraction,
    gain,
    prepared_lines,
)
from blownwing.wing.blown import tube_velocity
from blownwing.wing.system import frame_velocity

Array = NDArray[np.float64]

MOST_POINTS = 2_000_000
_CORE = 1e-3  # of the narrowest strip: a point on a vortex line has a finite velocity


@dataclass(frozen=True)
class Survey:
    """Velocities (..., 3) at points (..., 3), case axes: x aft, y to starboard, z up; m, m/s.

    Attributes:
        points, velocity: where, and the whole velocity relative to the aircraft.
        stream: (...) which slipstream a point lies in, the place of its propeller in `names`, −1
            for none.
        names: of the propellers.
        airspeed: m/s. density: kg/m³.
    """

    points: Array
    velocity: Array
    stream: NDArray[np.int64]
    names: tuple[str, ...]
    airspeed: float
    density: float

    @property
    def speed(self) -> Array:
        """(...) magnitude, m/s."""
        return np.asarray(np.linalg.norm(self.velocity, axis=-1))


def survey(case: Case, points: ArrayLike, alpha: float | None = None) -> Survey:
    """Solve a case and give the velocity at points, such as a plane behind disc or wing.

    Points inside the wing's boundary layer or within a strip's width of wing and wake see the
    lattice itself. Blades are azimuth means.

    Args:
        case: with one angle of attack, or `alpha`.
        points: (..., 3) m, case axes; see `plane`.
        alpha: deg, instead of the case's.

    Raises:
        InputError: points of another shape, not finite or too many, or a polar without `alpha`.
        SolveError: the case has no result.
    """
    places = np.asarray(points, dtype=np.float64)
    if places.ndim == 0 or places.shape[-1] != 3 or not np.all(np.isfinite(places)):
        raise InputError(
            f"points: found the shape {places.shape}; accepted are finite numbers of shape (..., 3)"
        )
    count = places.size // 3
    if not 0 < count <= MOST_POINTS:
        raise InputError(f"points: found {count}; accepted are 1 to {MOST_POINTS}")
    if alpha is None:
        if isinstance(case.flow.alpha, tuple):
            raise InputError("alpha: needed for a case with several angles of attack")
        alpha = case.flow.alpha
    point = solved_points(case.replace(**{"flow.alpha": alpha}))[0]
    flat = np.ascontiguousarray(places.reshape(-1, 3).T)
    velocity, stream = velocities(case, point, flat)
    if not np.all(np.isfinite(velocity)):
        raise SolveError("points: a velocity is not finite, so there is no result")
    shape = places.shape[:-1]
    return Survey(
        points=places,
        velocity=np.ascontiguousarray(velocity.T).reshape(places.shape),
        stream=stream.reshape(shape),
        names=tuple(item.name for item in point.model.discs.placed),
        airspeed=point.flow.airspeed,
        density=point.flow.air.density,
    )


def plane(x: ArrayLike, y: ArrayLike, z: ArrayLike) -> Array:
    """Points (..., 3) of a plane, line or box from places along its axes.

    Args:
        x, y, z: m, numbers or (n,); every array becomes an axis of the points, in this order.
    """
    axes = [np.asarray(values, dtype=np.float64) for values in (x, y, z)]
    grid = np.meshgrid(*(np.atleast_1d(values) for values in axes), indexing="ij")
    points = np.stack(grid, axis=-1)
    single = tuple(k for k, values in enumerate(axes) if values.ndim == 0)
    return np.squeeze(points, axis=single)


def velocities(case: Case, point: Point, points: Array) -> tuple[Array, NDArray[np.int64]]:
    """Velocity (3, n), m/s, at points (3, n), m, of a converged state; the streams (n,)."""
    lattice, model = point.model.system.lattice, point.model
    port = lattice.symmetric & (points[1] < 0.0)
    folded = points * np.where(port, -1.0, 1.0) ** np.array([0, 1, 0])[:, None]
    velocity, stream = _on_one_side(case, point, folded)
    velocity[1] *= np.where(port, -1.0, 1.0)
    return velocity, _twins(model.discs.source, stream, port)


def _twins(
    source: tuple[int, ...] | list[int], stream: NDArray[np.int64], port: Array
) -> NDArray[np.int64]:
    """Discs of folded points on their own side: the other disc of the same unit."""
    twin = list(range(len(source)))
    for k, unit in enumerate(source):
        others = [i for i, u in enumerate(source) if u == unit and i != k]
        twin[k] = others[0] if others else k
    table = np.array([*twin, -1], dtype=np.int64)
    return np.where(port, table[stream], stream)


def _on_one_side(case: Case, point: Point, points: Array) -> tuple[Array, NDArray[np.int64]]:
    model, flow, wing = point.model, point.flow, point.wing
    system, jets, edge = model.system, model.jets, model.edge
    tubed = ~without_tubes(model.discs, jets)
    layer = np.full(points.shape[1], -1)
    if jets is not None and jets.interfaces.disc.size:
        layer = _layers(case, jets, point.streams, points)
    stream = np.full(points.shape[1], -1, dtype=np.int64)
    velocity, axial = flow.onset(points), np.zeros(points.shape[1])
    for d in range(len(model.discs.placed)):
        inside = np.zeros(points.shape[1], dtype=np.bool_)
        if tubed[d] and jets is not None:
            inside = (layer >= 0) & (jets.interfaces.disc[layer] == d)
        added, along, covered = _of_one_disc(point.streams, d, points, inside, bool(tubed[d]), jets)
        velocity += added
        axial += along
        stream[covered] = d
    core = _CORE * float(np.min(system.lattice.width))
    frame = system.frame
    places = np.ascontiguousarray(frame.points(points))
    bound = frame_velocity(system, places, wing.strength, core)[0]
    if edge is not None and np.any(wing.doublets):
        bound = bound + tube_velocity(edge, places, wing.doublets, core)
    bound = frame.velocities(bound)
    ratio = np.ones(points.shape[1])
    if jets is not None and edge is not None:
        ratio = np.full(points.shape[1], 1.0 if flow.airspeed > 0.0 else 0.0)
        velocity, ratio = _in_streams(velocity, ratio, axial, layer, point, jets)
    return velocity + ratio * bound, stream


def _layers(case: Case, jets: Jets, streams: Streams, points: Array) -> NDArray[np.int64]:
    """Innermost interface (n,) around each point, −1 outside all tubes."""
    found = jets.interfaces
    layer = np.full(points.shape[1], -1, dtype=np.int64)
    for k, d in enumerate(found.disc.tolist()):
        start = float(streams.centres[d, 0])
        lead = float(planform_at(case.wing, np.array([found.y[k]]))[0][0])
        behind = points[0] - start
        one = Streams(*(v[np.full(behind.size, d)] for v in streams))
        reach = max(lead - start, 0.0)
        width = contraction(one, np.clip(behind, 0.0, reach))
        at_wing = contraction(one, np.full(behind.size, reach))
        off_y, off_z = points[1] - found.y[k], points[2] - found.z[k]
        inside = (behind > 0.0) & (np.hypot(off_y, off_z) < found.radius[k] * width / at_wing)
        inside &= inside_cuts(found.cuts.get(k, ()), off_y, off_z)
        layer[inside] = k
    return layer


def _of_one_disc(
    streams: Streams, d: int, points: Array, inside: NDArray[np.bool_], tubed: bool,
    jets: Jets | None,
) -> tuple[Array, Array, NDArray[np.bool_]]:  # fmt: skip
    """Velocity (3, n) that one disc adds, its axial part inside the stream (n,), what is inside."""
    one = Streams(*(v[d : d + 1] for v in streams))
    here = points
    if jets is not None and np.any(inside):
        # The tube lies along x, the stream along its course: each point has the same place in both.
        k = int(np.flatnonzero(jets.interfaces.disc == d)[0])
        ahead = (points[0] - one.centres[0, 0]) / max(float(one.courses[0, 0]), 1e-6)
        axis = one.centres[0][:, None] + one.courses[0][:, None] * ahead
        shift = axis[1:] - np.stack((jets.interfaces.y[k], jets.interfaces.z[k]))[:, None]
        here = points.copy()
        here[1:] += np.where(inside, shift, 0.0)
    member = np.where(inside, 0, -1) if tubed else np.full(points.shape[1], FREE)
    turning = np.array([not tubed])
    lines = prepared_lines(one, here, here, member=member, turning=turning)
    found = added_velocity(one, lines)
    covered = found.cover > 0.5
    velocity, axial = found.velocity.copy(), found.axial.copy()
    # Off the axis the growth along the stream is that of the whole cylinder, with its inflow.
    sink = lines.sinks[0]
    along = one.axes[0] @ sink
    x = one.courses[0] @ (here - one.centres[0][:, None])
    grown = gain(x, one.radii, one.growth)
    exact = 1.0 + one.growth[0] * (1.0 + 2.0 * along)
    more = np.where(covered, axial * (exact / grown - 1.0), 0.0)
    radial = 2.0 * one.mean[0] * one.growth[0] * (sink - one.axes[0][:, None] * along)
    velocity += one.axes[0][:, None] * more + np.where(covered, radial, 0.0)
    return velocity, axial + more, covered


def _in_streams(
    velocity: Array, ratio: Array, axial: Array, layer: NDArray[np.int64], point: Point, jets: Jets
) -> tuple[Array, Array]:
    """Velocity (3, n) with the streams' own direction, and m (n,), inside tubes.

    A layer's mean speed gives m; the profile inside the layer stays.
    """
    count = jets.interfaces.disc.size
    if not count or np.all(layer < 0):
        return velocity, ratio
    each = edge_flow(replace(jets, strip=np.arange(count)), point.flow, point.streams)
    inside = layer >= 0
    pick = np.where(inside, layer, 0)
    m, own, axis = each.ratio[pick], (each.ratio * each.stream)[:, pick], each.axis[:, pick]
    free = point.flow.free_stream[:, None]
    rest = velocity - free - axial * axis
    rise = np.sum((own - free) * axis, axis=0)
    # only the part along the axis follows the profile: doublets turn the stream across it
    moved = own + (axial - rise) * axis + rest
    return np.where(inside, moved, velocity), np.where(inside, m, ratio)
