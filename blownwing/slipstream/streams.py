"""Slipstreams of all discs as arrays, and the velocities they add anywhere in the flow.

Behind a disc the axial increment of each annulus grows as v_a (1 + x/√(x² + R²)), the value on the
axis of a semi-infinite vortex cylinder (McCormick 1967, Aerodynamics of V/STOL Flight, ch. 4); the
tube narrows so that its volume flow is kept, r·v_θ is kept along it, and outside it each disc is
felt as a sink.

A disc pushes along its axis. Its stream follows the push, the outer air goes round the stream, and
momentum across it, with that air's apparent mass, gives the direction: deflected from the free
stream by ε = (T α + N)/(ρ A V² (μ² + 1)) at small angles, T thrust, N force in the disc's plane, A
and μ the developed stream's area and speed ratio, α of the axis (implied by the inflow factor of
Ribner 1945, NACA Report 820). The tube runs straight in that direction.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from blownwing.kernels import stream

Array = NDArray[np.float64]

FREE = stream.FREE
SLOWEST = stream.SLOWEST  # the kernels have `gain` and `contraction` again, see there


class Streams(NamedTuple):
    """Slipstreams of d discs cut into n annuli each; case axes, SI."""

    centres: Array  # (d, 3)
    axes: Array  # (d, 3), unit, downstream
    courses: Array  # (d, 3), unit, direction of the tubes
    radii: Array  # (d,)
    growth: Array  # (d,), 1 for a propeller's stream, 0 for a constant jet
    normal_speed: Array  # (d,), undisturbed speed through the disc
    mean: Array  # (d,), area mean of the induced axial speed at the disc
    cross: Array  # (d, 3), undisturbed flow across the axis
    push: Array  # (d, 3), what the blades' force in the disc's plane adds across the axis
    held: Array  # (d,), 1 where the stream starts at its disc, 0 from a nozzle far upstream
    middles: Array  # (d, n)
    axial: Array  # (d, n), induced axial speed at the disc
    swirl: Array  # (d, n), r·v_θ about the course, right-handed, behind the disc


class Lines(NamedTuple):
    """Short straight lines (points when both ends agree) with the unit sink field of every disc."""

    starts: Array  # (3, n)
    ends: Array  # (3, n)
    middles: Array  # (3, n)
    halves: Array  # (n,) half lengths
    owner: NDArray[np.int64]  # (n,), disc whose own stream is left out, or −1
    member: NDArray[np.int64]  # (n,), disc whose stream covers the line, −1 none, FREE by geometry
    turning: NDArray[np.bool_]  # (d,), whether no tube with an edge stands for a turned stream
    sinks: Array  # (d, 3, n)


@dataclass(frozen=True)
class AddedVelocity:
    """What slipstreams add, averaged over lines: (3, n) and parts (n,), m/s; covered share (n,)."""

    velocity: Array
    axial: Array
    swirl_up: Array
    cover: Array

    def part(self, pick: slice) -> AddedVelocity:
        """The same for some of the lines."""
        return AddedVelocity(
            self.velocity[:, pick], self.axial[pick], self.swirl_up[pick], self.cover[pick]
        )


def prepared_lines(
    streams: Streams,
    starts: Array,
    ends: Array,
    owner: NDArray[np.int64] | None = None,
    member: NDArray[np.int64] | None = None,
    turning: NDArray[np.bool_] | None = None,
) -> Lines:
    """Lines with the sink fields, which depend on the discs' places and sizes only.

    starts, ends: (3, n) m, case axes; owner, member, turning: see `Lines`; by default no owner,
    coverage by geometry, and no tubes.
    """
    count = starts.shape[1]
    if owner is None:
        owner = np.full(count, -1)
    if member is None:
        member = np.full(count, FREE)
    if turning is None:
        turning = np.ones(streams.radii.size, dtype=np.bool_)
    # copies can be written to; frozen arrays are another type to numba, which would compile again
    starts, ends = np.array(starts, order="C"), np.array(ends, order="C")
    middles, across = 0.5 * (starts + ends), ends - starts
    halves = 0.5 * np.sqrt(np.einsum("cn,cn->n", across, across))
    sinks = np.empty((streams.radii.size, 3, count))
    stream.sink_fields(middles, streams.centres, streams.axes, streams.radii, sinks)
    return Lines(starts, ends, middles, halves, owner, member, turning, sinks)


def added_velocity(streams: Streams, lines: Lines) -> AddedVelocity:
    """Velocities that the slipstreams add along lines; a line's owner adds nothing to it."""
    n = lines.owner.size
    velocity = np.empty((3, n))
    axial, up, cover = np.empty(n), np.empty(n), np.empty(n)
    stream.jet_velocity(lines, streams, velocity, axial, up, cover)
    return AddedVelocity(velocity, axial, up, cover)


def gain(x: Array, radii: Array, growth: Array) -> Array:
    """Axial increment at distance x [m] over its value at the disc: 1 + x/√(x² + R²), or 1.

    x, radii, growth: of one shape; radii: of the discs, m; growth: 1 for a propeller's stream, 0
    for a constant jet. Exact on the axis of a uniformly loaded disc's vortex cylinder.
    """
    return np.asarray(1.0 + growth * x / np.sqrt(x * x + radii * radii))


def contraction(streams: Streams, x: Array) -> Array:
    """Tube radius over disc radius (d,) at distances x (d,) [m], from conservation of volume."""
    here = streams.normal_speed + streams.mean
    there = streams.normal_speed + streams.mean * gain(x, streams.radii, streams.growth)
    there = np.maximum(there, SLOWEST * here)
    moving = (there > 0.0) & (streams.growth > 0.0)
    return np.sqrt(np.where(moving, here, 1.0) / np.where(moving, there, 1.0))


def directed(streams: Streams, free_stream: Array, distance: Array) -> Streams:
    """Streams turned as they are where they pass the wing.

    free_stream: (3,) m/s; distance: (d,) from the discs to the wing, m, where their speed is taken.
    """
    courses = np.empty_like(streams.axes)
    stream.turned_courses(free_stream, distance, streams, courses)
    return streams._replace(courses=courses)


def kept_crossflow(along: Array, speed: Array) -> tuple[Array, Array]:
    """Shares of undisturbed cross-flow, and of the blades' push across, in a developed stream.

    along, speed: of the outer air and of the stream along the disc's axis, m/s, of one shape. f =
    s(s + a)/(s² + a²) and s²/(s² + a²), see `kernels.stream.turned_courses`; both 0 where nothing
    moves.
    """
    square = speed * speed + along * along
    scale = np.where(square > 0.0, square, 1.0)
    return speed * (speed + along) / scale, speed * speed / scale


def met_by_discs(streams: Streams, owner: NDArray[np.int64], onset: Array, induced: Array) -> Array:
    """Velocity (3, n) that is to be added to the onset at samples of discs, m/s.

    owner: (n,) disc of each sample; onset: (3, n) undisturbed; induced: (3, n) by all but the
    disc's own stream. Flow across the axis is met as the mean of what comes and of what leaves in
    the developed stream: times ½(1 + f), which with the axial 1 + a is the factor f(a) of Ribner
    1945, "Propellers in Yaw", NACA Report 820. (What the blades' own force in the plane does to it
    is in the blade elements.)
    """
    along = streams.normal_speed
    speed = np.maximum(along + streams.mean * (1.0 + streams.growth), SLOWEST * along)
    kept, _ = kept_crossflow(along, speed)
    rise = 0.5 * streams.held * np.where(along > 0.0, kept - 1.0, 0.0)
    axis = streams.axes[owner].T
    total = onset + induced
    across = total - np.sum(total * axis, axis=0) * axis
    return np.asarray(induced + rise[owner] * across)


def wing_crossings(streams: Streams, quarter_x: Array, surface_z: Array) -> Array:
    """Spanwise positions (2 d,) [m] where tubes cut the wing's quarter-chord line.

    quarter_x, surface_z: (d,) the wing's quarter-chord x and z at each disc's y, m. NaN-free: a
    tube that misses the wing gives its axis position twice.
    """
    distance = (quarter_x - streams.centres[:, 0]) / np.maximum(streams.courses[:, 0], 1e-6)
    distance = np.maximum(distance, 0.0)
    axis = streams.centres + distance[:, None] * streams.courses
    radius = streams.radii * contraction(streams, distance)
    height = axis[:, 2] - surface_z
    half = np.sqrt(np.maximum(radius * radius - height * height, 0.0))
    return np.concatenate((axis[:, 1] - half, axis[:, 1] + half))
