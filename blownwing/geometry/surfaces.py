"""Several lifting surfaces as one lattice: side by side, a column without strength between two.

With such columns every kernel, product and sum that knows one lattice knows several, at the price
of a few columns. Surfaces have the same number of panels along the chord.

Vortex legs run along x. Where those of the wing pass a surface closer than its strips are wide, the
field of single lines is not that of the sheet they stand for, unless lines and strip edges fall
together, as on the wing itself: such a surface takes the wing's strip edges (`in_line`), and the
wing takes its ends.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from blownwing.case.parts import Station, Wing
from blownwing.case.surfaces import Surface
from blownwing.geometry.lattice import Lattice, Part, laid, planform_at, span_edges

Array = NDArray[np.float64]

_NEAR = 1.0  # widths of the wing's strips


class Piece(NamedTuple):
    """Strips of one surface, or of one side of it, before they are joined."""

    surface: int
    leading: Array  # (3, n + 1) leading edge at the strips' edges
    chord: Array  # (n + 1,)
    twist: Array  # (n,) rad
    station: Array  # (n,)
    place: Array  # (n,)
    bears: bool
    rise: float = 0.0


def path_at(surface: Surface, arc: Array) -> tuple[Array, Array, Array, Array, Array, Array]:
    """x, y, z of the leading edge, chord [m], twist [rad] and station index along the span.

    arc: any shape, m from the first station. z is less by the rise of streams and wakes: the height
    at which those pass the surface that run along x.
    """
    at, stations = surface.arcs, surface.stations
    values = (
        [s.x for s in stations],
        [s.y for s in stations],
        [s.z - surface.rise for s in stations],
        [s.chord for s in stations],
        [np.radians(s.twist) for s in stations],
        list(range(len(stations))),
    )
    x, y, z, chord, twist, station = (np.interp(arc, at, v) for v in values)
    return x, y, z, chord, twist, station


def in_line(wing: Wing, surface: Surface, strips: int) -> bool:
    """Whether the wing's wake passes the surface, or the surface's the wing, closer than a strip.

    strips: of the wing's half span. An upright fin has none of its own beside the plane.
    """
    y, z = (np.array([getattr(s, key) for s in surface.stations]) for key in ("y", "z"))
    if np.any(np.diff(y) <= 0.0):
        return False
    last = wing.stations[-1].y
    low = 0.0 if wing.symmetric else wing.stations[0].y
    at = np.linspace(max(float(y[0]), low), min(float(y[-1]), last), 65)
    if at[-1] <= at[0] or wing.symmetric != surface.symmetric:
        return False
    gap = np.abs(np.interp(at, y, z) - surface.rise - planform_at(wing, at)[1])
    width = (last - low) / strips / (1.0 if wing.symmetric else 2.0)
    return bool(np.min(gap) < _NEAR * width)


def pieces(
    surface: Surface,
    index: int,
    spacing: str,
    breaks: Sequence[float],
    whole: bool,
    wing_edges: tuple[Array, Array] | None,
) -> list[Piece]:
    """Strips of a surface: one piece, or one for each side where its halves do not meet.

    index: 1 for the first surface beside the wing; breaks: along the span, m from the first
    station; whole: both halves; wing_edges: y (n + 1,) [m] of the wing's starboard strips, and
    places across them (n,), for a surface in line with it.
    """
    folded = not whole
    if wing_edges is None:
        arc, place = _own_edges(surface, spacing, breaks)
    else:
        arc, place = _shared_edges(surface, *wing_edges)
    x, y, z, chord, _, _ = path_at(surface, arc)
    _, _, _, _, twist, station = path_at(surface, 0.5 * (arc[1:] + arc[:-1]))
    bears = not (folded and surface.upright)
    leading = np.stack((x, y, z))
    half = Piece(index, leading, chord, twist, station, place, bears, surface.rise)
    if not surface.symmetric or folded:
        return [half]
    port = _mirrored(half)
    if not surface.at_root:
        return [port, half]
    joint = Piece(
        surface=index,
        leading=np.concatenate((port.leading[:, :-1], half.leading), axis=1),
        chord=np.concatenate((port.chord[:-1], half.chord)),
        twist=np.concatenate((port.twist, half.twist)),
        station=np.concatenate((port.station, half.station)),
        place=np.concatenate((port.place, half.place)),
        bears=bears,
        rise=surface.rise,
    )
    return [joint]


def _mirrored(half: Piece) -> Piece:
    return half._replace(
        leading=half.leading[:, ::-1] * np.array([[1.0], [-1.0], [1.0]]),
        chord=half.chord[::-1],
        twist=half.twist[::-1],
        station=half.station[::-1],
        place=1.0 - half.place[::-1],
    )


def _own_edges(surface: Surface, spacing: str, breaks: Sequence[float]) -> tuple[Array, Array]:
    """Strip edges along the span and places across the strips, as on a wing that lies flat."""
    arcs = surface.arcs
    first, second = surface.stations[:2]
    # Loading is smooth across the plane of symmetry where the halves meet without a kink.
    smooth = surface.at_root and first.z == second.z
    flat = Wing.model_construct(
        symmetric=smooth,
        stations=tuple(
            Station.model_construct(y=arc, x=s.x, z=0.0, chord=s.chord, twist=s.twist)
            for arc, s in zip(arcs, surface.stations, strict=True)
        ),
        flaps=(),
        controls=(),
    )
    hinges = [arcs[-1] * f for item in surface.controls for f in (item.start, item.end)]
    wanted = surface.strips if smooth else 0.5 * surface.strips
    count = max(int(np.ceil(wanted)), 1)
    places = sorted(b for b in {*hinges, *breaks} if 0.0 < b < arcs[-1])
    return span_edges(flat, count, spacing, places)


def _shared_edges(surface: Surface, edges: Array, place: Array) -> tuple[Array, Array]:
    """The wing's strips within the surface's span, whose ends are edges of the wing's."""
    y = np.array([s.y for s in surface.stations])
    slack = 1e-9 * float(y[-1] - y[0])
    inside = (edges > y[0] - slack) & (edges < y[-1] + slack)
    own = edges[inside].copy()
    keep = place[inside[:-1] & inside[1:]]
    # A surface that reaches beyond the wing goes on with strips of the last one's width.
    for end, at in ((0, 0), (-1, own.size)):
        rest = float(abs(y[end] - own[end]))
        if rest <= slack:
            own[end] = y[end]
            continue
        step = float(abs(own[1] - own[0] if end == 0 else own[-1] - own[-2]))
        count = max(int(np.ceil(rest / max(step, rest / 24.0))), 4)
        turn = np.linspace(0.0, np.pi, count + 1)
        spread = rest * 0.5 * (1.0 - np.cos(turn))
        more = (own[0] - spread[:0:-1]) if end == 0 else (own[-1] + spread[1:])
        own = np.insert(own, at, more) if end == 0 else np.concatenate((own, more))
        keep = np.concatenate(
            (np.full(count, 0.5), keep) if end == 0 else (keep, np.full(count, 0.5))
        )
    return np.interp(own, y, np.array(surface.arcs)), keep


def joined(rows: int, symmetric: bool, wing: Lattice, others: Sequence[Piece]) -> Lattice:
    """One lattice of the wing and pieces of other surfaces.

    rows: panels along the chord; symmetric: whether it stands for both halves.
    """
    leading = np.stack((wing.edge_x, wing.edge_y, wing.edge_z))
    first = Piece(0, leading, wing.edge_chord, wing.twist, wing.station, wing.fraction, True)
    parts, place = [], 0
    for piece in (first, *others):
        parts.append(Part(piece.surface, place, piece.twist.size, piece.bears))
        place += piece.twist.size + 1
    every = (first, *others)

    def gapped(values: Sequence[Array], gap: float) -> Array:
        spread = [part for value in values for part in (value, np.array([gap]))]
        return np.concatenate(spread[:-1])

    lattice = laid(
        rows,
        symmetric,
        np.concatenate([piece.leading for piece in every], axis=1),
        np.concatenate([piece.chord for piece in every]),
        gapped([piece.twist for piece in every], 0.0),
        gapped([piece.station for piece in every], 0.0),
        gapped([piece.place for piece in every], 0.5),
        tuple(parts),
    )
    # Columns between surfaces carry nothing; sizes of one keep divisions by them finite.
    between = np.ones(lattice.columns, dtype=bool)
    for part in parts:
        between[part.strips] = False
    chord, width = (np.where(between, 1.0, v) for v in (lattice.chord, lattice.width))
    chord.flags.writeable = width.flags.writeable = False
    rise = gapped([np.full(piece.twist.size, piece.rise) for piece in every], 0.0)
    return replace(lattice, chord=chord, width=width, rise=rise if np.any(rise) else 0.0)


def part_lattice(lattice: Lattice, part: Part) -> Lattice:
    """The strips of one part as a lattice of their own."""
    edges, strips = part.edges, part.strips
    leading = np.stack((lattice.edge_x[edges], lattice.edge_y[edges], lattice.edge_z[edges]))
    return laid(
        lattice.rows,
        lattice.symmetric,
        leading,
        lattice.edge_chord[edges],
        lattice.twist[strips],
        lattice.station[strips],
        lattice.fraction[strips],
    )
