"""Slipstream surfaces as panels: straight tubes along x that follow the contraction to the wing.

A tube is described at the wing; ahead of the leading edge its radius follows the slipstream's
contraction, from there on it stays, so that the lines where the wing pierces it run along the
wing's strip edges and down the wake. Azimuth stations are split at these lines, and where a plane
wall towards another slipstream cuts off a part of the circle.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from blownwing.errors import InputError
from blownwing.geometry.ring_basis import RingBasis, ring_basis

Array = NDArray[np.float64]

LENGTH = 60.0  # radii downstream of the wing
_LEAST_ARC = 2  # panels between two fixed azimuths
_MEETS = 1e-3  # rad
_MOST_STEPS, _EXACT = 80, 1e-15  # of a search for a root
_BEYOND = 7  # rings at least ahead of the bound vortices and behind them


class Cut(NamedTuple):
    """A plane along x that cuts off a part of a tube."""

    angle: float  # rad, of the outward normal in the y-z plane, from y to z
    distance: float  # from the axis, m
    beyond: int  # the interface on the other side


@dataclass(frozen=True)
class TubeShape:
    """One slipstream interface: where it starts, where and how wide it is at the wing."""

    start: float  # x of the disc, m
    y: float  # of the axis at the wing, m
    z: float
    radius: float  # at the wing, m
    lead: float  # x of the wing's leading edge there, m
    rows: Array  # (k,) ascending x of the wing's bound vortices there, m
    upstream_x: Array  # (k,) ascending, start … lead, m
    upstream_radius: Array  # (k,) radius there over radius at the wing
    crossings: tuple[tuple[float, float], ...]  # (y, z) of strip edges that lie on the tube
    half: bool = False  # only y ≥ 0, the mirror plane completes it
    cuts: tuple[Cut, ...] = ()
    later: tuple[Array, ...] = ()  # bound vortices of surfaces further down


@dataclass(frozen=True)
class Tubes:
    """Panels of all interfaces in one flat run; arrays read-only, case axes."""

    around: int
    rings: int
    nodes: Array  # (3, tubes * (rings + 1) * (around + 1))
    middles: Array  # (3, panels)
    axes: Array  # (3, tubes) a point on each axis
    owner: NDArray[np.int64]  # (panels,), index of the interface
    beyond: NDArray[np.int64]  # (tubes * around,), interface behind a wall, −1 where there is none
    basis: RingBasis  # places at which the doublets are sought

    @property
    def panels(self) -> int:
        return int(self.owner.size)


def build_tubes(shapes: Sequence[TubeShape], around: int, rings: int) -> Tubes:
    """Panels of interfaces: `around` panels on each ring, `rings` of them along each tube.

    Raises InputError when so few panels cannot end on every strip edge that cuts a tube.
    """
    if not shapes:
        empty = np.zeros((3, 0))
        none = np.zeros(0, dtype=np.int64)
        return Tubes(around, rings, empty, empty, empty, none, none, ring_basis((), around, rings))
    nodes = np.empty((3, len(shapes), rings + 1, around + 1))
    beyond, arcs = [], []
    for k, shape in enumerate(shapes):
        y, z, behind, counts = _cross_section(shape, around)
        x = axial_stations(shape, rings)
        scale = np.interp(x, shape.upstream_x, shape.upstream_radius)[:, None]
        nodes[0, k] = x[:, None]
        nodes[1, k] = shape.y + scale * y
        nodes[2, k] = shape.z + scale * z
        beyond.append(behind)
        arcs.append(tuple(counts))
    sides = nodes[..., :-1] + nodes[..., 1:]
    middles = 0.25 * (sides[:, :, :-1] + sides[:, :, 1:])
    return Tubes(
        around,
        rings,
        nodes.reshape(3, -1),
        middles.reshape(3, -1),
        np.array([[shape.start, shape.y, shape.z] for shape in shapes]).T,
        np.repeat(np.arange(len(shapes)), around * rings),
        np.concatenate(beyond),
        ring_basis(tuple(arcs), around, rings),
    )


def axial_stations(shape: TubeShape, rings: int) -> Array:
    """Ring positions (rings + 1,) x [m]: on the wing's bound vortices, stretched from there on.

    A bound vortex that ends on the tube goes on round it. Where a ring's edge lies at the same x
    the panels hold that step exactly; between two edges they would smear it.

    Raises InputError when so few rings cannot serve all surfaces in the tube.
    """
    if shape.later:
        return _past_several(shape, rings)
    rows = shape.rows[:: max(1, math.ceil((shape.rows.size - 1) / max(rings - _BEYOND, 1)))]
    free = rings - (rows.size - 1)
    ahead, behind = float(rows[0]) - shape.start, LENGTH * shape.radius
    step = float(rows[1] - rows[0]) if rows.size > 1 else 2.0 * (float(rows[0]) - shape.lead)
    growth = _growth((ahead / step, behind / step), free)
    upstream = min(max(1, round(_steps(ahead / step, growth))), free - 1)
    return np.concatenate(
        (
            shape.start + ahead - _stretched(step, ahead, upstream)[::-1],
            rows,
            rows[-1] + _stretched(step, behind, free - upstream),
        )
    )


def _steps(length: float, growth: float) -> float:
    """How many steps, each `growth` times the last, the first of length 1, cover a length."""
    return math.log1p(length * (growth - 1.0)) / math.log(growth)


def _growth(lengths: Sequence[float], steps: int) -> float:
    """The growth, 1.01 or more, at which so many steps, each first of length 1, cover lengths."""

    def excess(log: float) -> tuple[float, float]:
        rise = math.expm1(log)
        value = sum([math.log1p(length * rise) for length in lengths])
        slope = sum([length * (1.0 + rise) / (1.0 + length * rise) for length in lengths])
        return value - steps * log, slope - steps

    return math.exp(_root(excess, math.log(1.01), math.log(1e3)))


def _root(excess: Callable[[float], tuple[float, float]], low: float, high: float) -> float:
    """Where a function falls to zero between bounds, one of them where it does not.

    excess: its value and slope. Newton's method, halving where that leads out of the bounds.
    """
    if excess(low)[0] <= 0.0:
        return low
    at = 0.5 * (low + high)
    for _ in range(_MOST_STEPS):
        value, slope = excess(at)
        low, high = (at, high) if value > 0.0 else (low, at)
        there = at - value / slope if slope < 0.0 else math.inf
        if not low <= there <= high:
            there = 0.5 * (low + high)
        if abs(there - at) <= _EXACT * at:
            break
        at = there
    return at


def _stretched(first: float, length: float, steps: int) -> Array:
    """Distances (steps,) up to a length, the first about `first`, each step a like factor more."""
    if steps * first >= length or steps == 1:
        return np.asarray(length / steps * np.arange(1, steps + 1))

    def excess(log: float) -> tuple[float, float]:
        one, all_steps = math.expm1(log), math.expm1(steps * log)
        value = math.log(length / first * one / all_steps)
        return value, 1.0 + 1.0 / one - steps * (1.0 + 1.0 / all_steps)

    # the last of the steps alone is no longer than all of the length
    most = math.log(length / first) / (steps - 1)
    log = _root(excess, _EXACT * most, most)
    places = np.expm1(log * np.arange(1, steps + 1))
    return np.asarray(length * places / places[-1])


def _past_several(shape: TubeShape, rings: int) -> Array:
    """The same past several surfaces: on the bound vortices of each, stretched between them."""
    groups = [shape.rows, *shape.later]
    most = max(2, (rings - _BEYOND - 4 * (len(groups) - 1)) // len(groups))
    groups = [rows[:: max(1, math.ceil(rows.size / most))] for rows in groups]
    steps = [float(r[1] - r[0]) if r.size > 1 else float(r[0]) - shape.lead for r in groups]
    free = rings - sum(rows.size - 1 for rows in groups)
    gaps = [float(b[0] - a[-1]) for a, b in pairwise(groups)]
    # one side of each stretch: ahead of the first, both sides of every gap, behind the last
    sides = [(float(groups[0][0]) - shape.start, steps[0])]
    for gap, near, far in zip(gaps, steps, steps[1:], strict=False):
        sides += [(0.5 * gap, near), (0.5 * gap, far)]
    sides.append((LENGTH * shape.radius, steps[-1]))
    growth = _growth([length / step for length, step in sides], free)
    counts = [max(1, round(_steps(length / step, growth))) for length, step in sides]
    counts[-1] = max(1, free - sum(counts[:-1]))
    if sum(counts) > free:
        raise InputError(
            f"model.jet_rings: found {rings} rings past {len(groups)} surfaces; accepted are "
            f"{sum(counts) - free} more"
        )
    ways = [_stretched(step, length, n) for (length, step), n in zip(sides, counts, strict=True)]
    parts = [float(groups[0][0]) - ways[0][::-1]]
    for number, rows in enumerate(groups):
        parts.append(rows)
        after = rows[-1] + ways[2 * number + 1]
        if number + 1 < len(groups):
            before = float(groups[number + 1][0]) - ways[2 * number + 2][::-1]
            after = np.concatenate((after, before[1:]))  # both reach the middle of the gap
        parts.append(after)
    return np.concatenate(parts)


def _cross_section(
    shape: TubeShape, around: int
) -> tuple[Array, Array, NDArray[np.int64], list[int]]:
    """Polygon (around + 1,) about the axis, y and z, what lies behind its sides (around,), arcs.

    A corner lies on every crossing and at both ends of every wall; between two of them is an arc
    of so many equal panels.
    """
    crossings = np.array(shape.crossings).reshape(-1, 2) - (shape.y, shape.z)
    corners = np.arctan2(crossings[:, 1], crossings[:, 0])
    reached = [cut for cut in shape.cuts if cut.distance < shape.radius]
    turns = [(cut, math.acos(cut.distance / shape.radius)) for cut in reached]
    ends = [_turned(c.angle + sign * g) for c, g in turns for sign in (-1.0, 1.0)]
    if shape.half:
        ends = [e for e in ends if abs(e) < 0.5 * math.pi]
        fixed = [-0.5 * math.pi, *_sorted_apart(corners.tolist(), ends), 0.5 * math.pi]
    elif corners.size or ends:
        angles = _sorted_apart(corners.tolist(), ends)
        fixed = [*angles, angles[0] + 2.0 * math.pi]
    else:
        fixed = [-math.pi, math.pi]
    counts = _arc_panels([b - a for a, b in pairwise(fixed)], around)
    angle = np.interp(np.arange(around + 1), [0, *accumulate(counts)], fixed)
    y, z = np.cos(angle), np.sin(angle)
    # Corners a little outside the circle give the polygon the circle's area.
    polygon = float(np.sum(y[:-1] * z[1:] - z[:-1] * y[1:]))
    radius = np.full(angle.shape, shape.radius * math.sqrt((angle[-1] - angle[0]) / polygon))
    middle = 0.5 * (angle[1:] + angle[:-1])
    beyond = np.full(middle.shape, -1, dtype=np.int64)
    for cut, reach in turns:
        within = _off(angle, cut.angle) <= reach + 1e-9
        radius[within] = cut.distance / np.cos(_off(angle, cut.angle)[within])
        beyond[_off(middle, cut.angle) < reach] = cut.beyond
    y, z = radius * y, radius * z
    corner, here = np.nonzero(_off(angle, corners[:, None]) < 1e-9)
    y[here], z[here] = crossings[corner].T
    return y, z, beyond, counts


def _arc_panels(arcs: list[float], around: int) -> list[int]:
    """How many of the panels round a tube lie on each of its arcs, rad.

    Raises InputError where there are too few for all arcs.
    """
    whole, every = sum(arcs), range(len(arcs))
    counts = [max(_LEAST_ARC, math.floor(around * arc / whole)) for arc in arcs]
    while sum(counts) < around:
        counts[max(every, key=lambda k: arcs[k] / counts[k])] += 1
    while sum(counts) > around:
        if max(counts) <= _LEAST_ARC:
            raise InputError(
                f"model.jet_around: found {around}; accepted is at least "
                f"{_LEAST_ARC * len(counts)} where the wing or another slipstream cuts this one"
            )
        counts[counts.index(max(counts))] -= 1
    return counts


def _turned(angle: float) -> float:
    """The same angle from −π to π."""
    return (angle + math.pi) % (2.0 * math.pi) - math.pi


def _off(angle: Array, other: float | Array) -> Array:
    """Distances of angles from another, 0 to π."""
    return np.asarray(np.abs(np.remainder(angle - other + np.pi, 2.0 * np.pi) - np.pi))


def _sorted_apart(corners: list[float], ends: list[float]) -> list[float]:
    """All angles in order; an end of a wall that a crossing all but meets gives way to it."""
    kept = [e for e in ends if not any(abs(_turned(e - c)) < _MEETS for c in corners)]
    return sorted([*corners, *kept])
