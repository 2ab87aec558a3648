"""Slipstream surfaces as panels: straight tubes along x that follow the contraction to the wing.

A tube is described at the wing; ahead of the leading edge its radius follows the slipstream's
contraction, from there on it stays, so that the lines where the wing pierces it run along the
wing's strip edges and down the wake. Azimuth stations are split at these lines, and where a plane
wall towards another slipstream cuts off a part of the circle.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from blownwing.errors import InputError
from blownwing.geometry.ring_basis import RingBasis, ring_basis

Array = NDArray[np.float64]

LENGTH = 60.0  # radii downstream of the wing
_LEAST_ARC = 2  # panels between two fixed azimuths
_MEETS = 1e-3  # rad
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
    sections = [_cross_section(shape, around) for shape in shapes]
    nodes = np.stack(
        [
            _tube_nodes(shape, *section[:2], rings)
            for shape, section in zip(shapes, sections, strict=True)
        ],
        axis=1,
    )
    corner = (
        nodes[:, :, :-1, :-1] + nodes[:, :, :-1, 1:] + nodes[:, :, 1:, :-1] + nodes[:, :, 1:, 1:]
    )
    return Tubes(
        around,
        rings,
        np.ascontiguousarray(nodes.reshape(3, -1)),
        np.ascontiguousarray(0.25 * corner.reshape(3, -1)),
        np.array([[shape.start, shape.y, shape.z] for shape in shapes]).T,
        np.repeat(np.arange(len(shapes)), around * rings),
        np.concatenate([section[2] for section in sections]),
        ring_basis([section[3] for section in sections], around, rings),
    )


def _tube_nodes(shape: TubeShape, y: Array, z: Array, rings: int) -> Array:
    """Nodes (3, rings + 1, around + 1) of one tube with a cross-section y, z (around + 1,)."""
    x = axial_stations(shape, rings)
    scale = np.interp(x, shape.upstream_x, shape.upstream_radius)
    return np.stack(
        (
            np.broadcast_to(x[:, None], (rings + 1, y.size)),
            shape.y + scale[:, None] * y[None, :],
            shape.z + scale[:, None] * z[None, :],
        )
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
    low, high = 1.01, 1e3
    for _ in range(60):
        growth = math.sqrt(low * high)
        if sum(_steps(length, growth) for length in lengths) > steps:
            low = growth
        else:
            high = growth
    return high


def _stretched(first: float, length: float, steps: int) -> Array:
    """Distances (steps,) up to a length, the first about `first`, each step a like factor more."""
    if steps * first >= length:
        return np.asarray(length / steps * np.arange(1, steps + 1))
    # the last of the steps alone is no longer than all of the length
    low, high = 1.0, (length / first) ** (1.0 / max(steps - 1, 1))
    for _ in range(80):
        growth = math.sqrt(low * high)
        if first * math.expm1(steps * math.log(growth)) < length * (growth - 1.0):
            low = growth
        else:
            high = growth
    places = np.expm1(np.arange(1, steps + 1) * math.log(high))
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
) -> tuple[Array, Array, NDArray[np.int64], list[tuple[int, Array]]]:
    """Polygon (around + 1,) about the axis, y and z, what lies behind its sides (around,), arcs.

    A corner lies on every crossing and at both ends of every wall; between two of them is an arc,
    given as for `ring_basis`.
    """
    corners = [(np.arctan2(z - shape.z, y - shape.y), y, z) for y, z in shape.crossings]
    turns = [(cut, float(np.arccos(cut.distance / shape.radius))) for cut in shape.cuts]
    ends = [_turned(c.angle + sign * g) for c, g in turns for sign in (-1.0, 1.0)]
    if shape.half:
        ends = [e for e in ends if abs(e) < 0.5 * np.pi]
        fixed = [-0.5 * np.pi, *_sorted_apart([c[0] for c in corners], ends), 0.5 * np.pi]
    elif corners or ends:
        angles = _sorted_apart([c[0] for c in corners], ends)
        fixed = [*angles, angles[0] + 2.0 * np.pi]
    else:
        fixed = [-np.pi, np.pi]
    arcs = np.diff(fixed)
    counts = np.maximum(_LEAST_ARC, np.floor(around * arcs / arcs.sum()).astype(int))
    while counts.sum() < around:
        counts[np.argmax(arcs / counts)] += 1
    while counts.sum() > around:
        if counts.max() <= _LEAST_ARC:
            raise InputError(
                f"model.jet_around: found {around}; accepted is at least "
                f"{_LEAST_ARC * counts.size} where the wing or another slipstream cuts this one"
            )
        counts[np.argmax(counts)] -= 1
    parts = [
        np.linspace(a, b, int(n), endpoint=False)
        for a, b, n in zip(fixed[:-1], fixed[1:], counts, strict=True)
    ]
    angle = np.concatenate([*parts, fixed[-1:]])
    y, z = np.cos(angle), np.sin(angle)
    # Corners a little outside the circle give the polygon the circle's area.
    polygon = float(np.sum(y[:-1] * z[1:] - z[:-1] * y[1:]))
    radius = np.full(angle.shape, shape.radius * np.sqrt((angle[-1] - angle[0]) / polygon))
    middle = 0.5 * (angle[1:] + angle[:-1])
    beyond = np.full(middle.shape, -1, dtype=np.int64)
    for cut, reach in turns:
        within = _off(angle, cut.angle) <= reach + 1e-9
        radius[within] = cut.distance / np.cos(_off(angle, cut.angle)[within])
        beyond[_off(middle, cut.angle) < reach] = cut.beyond
    y, z = radius * y, radius * z
    for theta, cy, cz in corners:
        here = _same_angle(angle, theta)
        y[here], z[here] = cy - shape.y, cz - shape.z
    inner = np.split(middle, np.cumsum(counts)[:-1])
    placed = [
        (int(n), (at - a) / (b - a))
        for n, at, a, b in zip(counts, inner, fixed[:-1], fixed[1:], strict=True)
    ]
    return y, z, beyond, placed


def _turned(angle: float) -> float:
    """The same angle from −π to π."""
    return float(np.remainder(angle + np.pi, 2.0 * np.pi) - np.pi)


def _off(angle: Array, other: float) -> Array:
    """Distances of angles from another, 0 to π."""
    return np.asarray(np.abs(np.remainder(angle - other + np.pi, 2.0 * np.pi) - np.pi))


def _sorted_apart(corners: list[float], ends: list[float]) -> list[float]:
    """All angles in order; an end of a wall that a crossing all but meets gives way to it."""
    kept = [e for e in ends if not any(abs(_turned(e - c)) < _MEETS for c in corners)]
    return sorted([*corners, *kept])


def _same_angle(angle: Array, other: float) -> NDArray[np.bool_]:
    return np.asarray(_off(angle, other) < 1e-9)
