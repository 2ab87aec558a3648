"""From a planform to lattice arrays: strips across the span, panels along the chord.

The lattice lies on the mean surface: stations give leading edge and chord, chord lines run along
x, and twist, camber and flaps act through the normals only (thin-aerofoil linearisation). Each
ring of the lattice is kept in its horseshoe form: bound edge on the panel's quarter-chord line,
legs straight downstream, so the strength of the ring edges aft of it adds up by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from blownwing.case.checks import STRIPS_PER_EDGE
from blownwing.case.controls import Control
from blownwing.case.parts import Flap, Wing
from blownwing.errors import InputError

Array = NDArray[np.float64]

# With this many stations or fewer each one is a break; beyond it the stations describe a curve,
# and only real kinks of the quarter-chord line are.
_FEW_STATIONS = 8
_KINK = 0.1


class Part(NamedTuple):
    """The strips of one surface, or of one side of it, in a lattice of several."""

    surface: int  # 0 for the wing, k for the k-th of the case's other surfaces
    first: int  # column
    columns: int
    bears: bool  # whether its strips are solved for; not where the flow's symmetry says zero

    @property
    def strips(self) -> slice:
        return slice(self.first, self.first + self.columns)

    @property
    def edges(self) -> slice:
        return slice(self.first, self.first + self.columns + 1)


@dataclass(frozen=True)
class Lattice:
    """Panels of one lifting surface, or of several; all arrays read-only, metres and radians.

    Several surfaces stand side by side, a column without strength between any two (`geometry.
    surfaces`); `parts` says which columns are whose, and is empty for a wing alone.

    Panel p = row * columns + column, rows from the leading edge, columns from port to starboard
    (from the root outboard when `symmetric`).
    """

    rows: int
    columns: int
    symmetric: bool
    edge_y: Array  # (columns + 1,)
    edge_x: Array  # leading edge
    edge_z: Array
    edge_chord: Array
    twist: Array  # (columns,), nose up
    dihedral: Array  # (columns,)
    chord: Array  # (columns,), mean of the edges
    width: Array  # (columns,), measured in the y-z plane
    station: Array  # (columns,), fractional index of the strip's middle among the stations
    fraction: Array  # (columns,), place across the strip of its collocation points
    row_edges: Array  # (rows + 1,), chord fractions of the panel edges
    nodes: Array  # (3, rows * (columns + 1)), ends of the bound segments
    collocation: Array  # (3, rows * columns)
    collocation_ends: Array  # (2, 3, rows * columns), the same line at the strip's two edges
    bound_point: Array  # (3, rows * columns), on the bound segments at `fraction`
    bound: Array  # (3, rows * columns), vectors from port to starboard
    parts: tuple[Part, ...] = ()
    rise: Array | float = 0.0  # (columns,) m that strips are drawn over where streams see them

    @property
    def drawn_quarter(self) -> Array:
        """(3, columns) quarter-chord points where the strips are drawn."""
        if not np.any(self.rise):
            return self.quarter
        return self.quarter + np.outer([0.0, 0.0, 1.0], self.rise)

    @property
    def live(self) -> NDArray[np.bool_]:
        """(columns,) whether a strip carries circulation."""
        return self._weights(0.0) > 0.0

    @property
    def share(self) -> Array:
        """(columns,) what counts of a strip's friction: half of one on the plane of a half."""
        return self._weights(0.5)

    def _weights(self, upright: float) -> Array:
        if not self.parts:
            return np.ones(self.columns)
        found = np.zeros(self.columns)
        for part in self.parts:
            found[part.strips] = 1.0 if part.bears else upright
        return found

    @property
    def panels(self) -> int:
        return self.rows * self.columns

    def by_strip(self, values: Array) -> Array:
        """Sums (columns,) over each strip of values (panels,)."""
        return np.asarray(values.reshape(self.rows, self.columns).sum(axis=0))

    @property
    def quarter(self) -> Array:
        """(3, columns) quarter-chord points of the strips."""
        mid = _middles
        x = mid(self.edge_x) + 0.25 * self.chord
        return np.stack((x, mid(self.edge_y), mid(self.edge_z)))


def planform_at(wing: Wing, y: Array) -> tuple[Array, Array, Array, Array, Array]:
    """Leading edge x and z, chord [m], twist [rad] and fractional station index at spanwise y.

    y: any shape, m; beyond the outermost stations the outermost values hold.
    """
    rows = np.array([[s.y, s.x, s.z, s.chord, s.twist] for s in wing.stations]).T
    at = np.abs(y) if wing.symmetric else y
    x, z, chord, twist = (np.interp(at, rows[0], row) for row in rows[1:])
    return x, z, chord, np.radians(twist), np.interp(at, rows[0], np.arange(rows.shape[1]))


def span_edges(
    wing: Wing, strips: int, spacing: str, breaks: Sequence[float] = ()
) -> tuple[Array, Array]:
    """Strip edges y (n + 1,) [m] and the place of each strip's collocation points across it (n,).

    Places go from 0 to 1. Every break of the planform, flaps and slipstreams is an edge. In cosine
    segments the points sit at the middle angles, for which the elliptic loading is exact and
    convergence near tips and breaks is of second order (Multhopp 1938, Luftfahrtforschung 15,
    153-169).

    strips: wanted number per half span; spacing: "cosine" crowds both ends of every segment (only
    the outer end of the one that starts on the plane of symmetry, unless the wing is swept
    there), "uniform" none; breaks: spanwise positions, m (their mirror is added by the caller).
    """
    ys = [s.y for s in wing.stations]
    low, high = ys[0], ys[-1]
    count = strips if wing.symmetric else 2 * strips
    # Slipstreams bring detail of their own, so each of their edges adds strips.
    inside = [y for y in sorted(breaks) if low < y < high]
    hard = [low, high, *_planform_breaks(wing), *_flap_breaks(wing)]
    least = 0.1 * (high - low) / (count + STRIPS_PER_EDGE * len(inside))
    found = sorted(set(hard))
    # Closer than a fraction of a strip to another break, a slipstream edge would make a sliver.
    for y in inside:
        if min(abs(y - e) for e in found) > least:
            found.append(y)
            count += STRIPS_PER_EDGE
    knots = np.array(sorted(found))
    lengths = np.diff(knots)
    # Cosine segments meet with equal end cells when their counts go with the root of the length.
    weight = lengths if spacing == "uniform" else np.sqrt(lengths)
    wanted = np.maximum(1 if spacing == "uniform" else min(4, count), count * weight / weight.sum())
    counts = np.rint(wanted).astype(int)
    smooth_root = wing.symmetric and abs(_quarter_slopes(wing)[0]) < _KINK
    segment = np.repeat(np.arange(counts.size), counts)
    strip = np.arange(segment.size) - (np.cumsum(counts) - counts)[segment]
    places = (2.0 * strip + np.array([[0.0], [1.0], [2.0]])) / (2.0 * counts[segment])
    start, middle, end = _spread(places, spacing, (segment == 0) & smooth_root)
    edges = knots[segment] + lengths[segment] * end
    return np.concatenate((knots[:1], edges)), (middle - start) / (end - start)


def build_lattice(
    wing: Wing,
    rows: int,
    strips: int,
    spacing: str,
    breaks: Sequence[float] = (),
    whole: bool = False,
) -> Lattice:
    """Lattice of a wing.

    rows: panels along the chord; strips: per half span; breaks: slipstream edges, m; whole: build
    both halves of a symmetric wing (for flow that is not symmetric). Raises InputError when a
    wing station makes no sense here.
    """
    edges, place = span_edges(wing, strips, spacing, breaks)
    symmetric = wing.symmetric and not whole
    if wing.symmetric and whole:
        edges = np.concatenate((-edges[:0:-1], edges))
        place = np.concatenate((1.0 - place[::-1], place))
    x, z, chord, _, _ = planform_at(wing, edges)
    middle = _middles(edges)
    _, _, _, twist, station = planform_at(wing, middle)
    if not np.all(np.diff(edges) ** 2 + np.diff(z) ** 2 > 0.0):
        raise InputError("wing.stations: two strips coincide; y must increase along the stations")
    return laid(rows, symmetric, np.stack((x, edges, z)), chord, twist, station, place)


def with_rows(lattice: Lattice, rows: int) -> Lattice:
    """The same strips with `rows` panels along the chord."""
    leading = np.stack((lattice.edge_x, lattice.edge_y, lattice.edge_z))
    other = laid(
        rows, lattice.symmetric, leading, lattice.edge_chord, lattice.twist, lattice.station,
        lattice.fraction, lattice.parts,
    )  # fmt: skip
    return replace(other, chord=lattice.chord, width=lattice.width, rise=lattice.rise)


def laid(
    rows: int,
    symmetric: bool,
    leading: Array,
    chord: Array,
    twist: Array,
    station: Array,
    place: Array,
    parts: tuple[Part, ...] = (),
) -> Lattice:
    """Panels between strip edges, `rows` of them along the chord.

    leading: (3, columns + 1) leading edge at the strips' edges, m; chord: (columns + 1,) m; twist:
    (columns,) rad, nose up; station: (columns,) as in `Lattice`; place: (columns,) of the
    collocation points across the strips, 0 to 1; parts: of a lattice of several surfaces.
    """
    x, edges, z = leading
    fractions = np.linspace(0.0, 1.0, rows + 1)
    quarter = fractions[:-1] + 0.25 * np.diff(fractions)
    three = fractions[:-1] + 0.75 * np.diff(fractions)

    def lines(fraction: Array) -> Array:
        at = np.empty((3, rows, edges.size))
        at[0] = x + fraction[:, None] * chord
        at[1], at[2] = edges, z
        return at

    bound_lines, colloc_lines = lines(quarter), lines(three)

    def flat(values: Array) -> Array:
        return np.ascontiguousarray(values.reshape(3, -1))

    ends = np.stack((flat(colloc_lines[:, :, :-1]), flat(colloc_lines[:, :, 1:])))
    lattice = Lattice(
        rows=rows,
        columns=edges.size - 1,
        symmetric=symmetric,
        edge_y=edges,
        edge_x=x,
        edge_z=z,
        edge_chord=chord,
        twist=twist,
        dihedral=np.arctan2(np.diff(z), np.diff(edges)),
        chord=_middles(chord),
        width=np.hypot(np.diff(edges), np.diff(z)),
        station=station,
        row_edges=fractions,
        nodes=flat(bound_lines),
        fraction=place,
        collocation=ends[0] + np.tile(place, rows) * (ends[1] - ends[0]),
        collocation_ends=ends,
        bound_point=flat(bound_lines[:, :, :-1] + place * np.diff(bound_lines, axis=2)),
        bound=flat(np.diff(bound_lines, axis=2)),
        parts=parts,
    )
    for value in vars(lattice).values():
        if isinstance(value, np.ndarray):
            value.flags.writeable = False
    return lattice


def _middles(edge: Array) -> Array:
    return 0.5 * (edge[1:] + edge[:-1])


def _spread(t: Array, spacing: str, one_sided: NDArray[np.bool_]) -> Array:
    """Map t in 0…1: uniform, crowded at both ends, or where one_sided at the outer end only."""
    if spacing == "uniform":
        return t
    return np.where(one_sided, np.sin(0.5 * np.pi * t), 0.5 * (1.0 - np.cos(np.pi * t)))


def _quarter_slopes(wing: Wing) -> Array:
    """Slope dx/dy of the quarter-chord line in every segment between stations."""
    y = np.array([s.y for s in wing.stations])
    x = np.array([s.x + 0.25 * s.chord for s in wing.stations])
    return np.asarray(np.diff(x) / np.diff(y))


def _planform_breaks(wing: Wing) -> list[float]:
    inner = wing.stations[1:-1]
    if len(wing.stations) <= _FEW_STATIONS:
        return [s.y for s in inner]
    y = np.array([s.y for s in wing.stations])
    rise = np.diff([s.z for s in wing.stations]) / np.diff(y)
    kink = np.maximum(np.abs(np.diff(_quarter_slopes(wing))), np.abs(np.diff(rise)))
    return [s.y for s, k in zip(inner, kink, strict=True) if k > _KINK]


def _flap_breaks(wing: Wing) -> list[float]:
    low, high = wing.stations[0].y, wing.stations[-1].y
    hinged: tuple[Flap | Control, ...] = (*wing.flaps, *wing.controls)
    return [y for flap in hinged for y in wing.flap_extent(flap) if low < y < high]
