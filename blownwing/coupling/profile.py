"""Slipstream velocities along the wing, point by point: strips average over their width."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.coupling.model import Point
from blownwing.coupling.setup import strip_members, without_tubes
from blownwing.geometry.lattice import planform_at
from blownwing.slipstream.streams import added_velocity, prepared_lines, wing_crossings

Array = NDArray[np.float64]

_SPAN = 160  # points over the whole span
_DISC = 60  # more of them across each disc
_REACH = 1.15  # radii from the disc's axis


def profile_places(case: Case) -> Array:
    """Spanwise places (n,) [m], dense across every disc; they depend on the case alone.

    Those of a symmetric case lie on the starboard half.
    """
    first, last = (case.wing.stations[k].y for k in (0, -1))
    low = -last if case.wing.symmetric else first
    # Cosines crowd points at the rim, where the stream ends.
    across = -_REACH * np.cos(np.linspace(0.0, np.pi, _DISC + 1))
    discs = [item.position[1] + item.radius * across for item in case.propeller_list()]
    y = np.concatenate((np.linspace(low, last, _SPAN + 1), *discs))
    lowest = 0.0 if case.is_symmetric else low
    return np.unique(np.round(y[(y >= lowest) & (y <= last)], 9))


def slipstream_profile(case: Case, point: Point) -> dict[str, Array]:
    """Axial speed added and the swirl's upward part at the quarter chord, by place of the span.

    Arrays (n,): y, m; axial and swirl, m/s; nothing without propellers. A place lies in the stream
    that its strip lies in.
    """
    model, lattice = point.model, point.model.system.lattice
    if not model.discs.placed:
        return {}
    y = profile_places(case)
    x, z, chord, _, _ = planform_at(case.wing, y)
    places = np.stack((x + 0.25 * chord, y, z))
    # of a lattice of several surfaces the wing's strips come first
    edges = lattice.edge_y[lattice.parts[0].edges] if lattice.parts else lattice.edge_y
    strip = np.clip(np.searchsorted(edges, y, side="right") - 1, 0, edges.size - 2)
    member = strip_members(model.jets, lattice)[strip]
    turning = without_tubes(model.discs, model.jets)
    lines = prepared_lines(point.streams, places, places, member=member, turning=turning)
    found = added_velocity(point.streams, lines)
    values = {"y": y, "axial": found.axial, "swirl": found.swirl_up}
    if not lattice.symmetric:
        return values
    port = slice(1 if y[0] == 0.0 else 0, None)
    return {
        name: np.concatenate(((-v if name == "y" else v)[port][::-1], v))
        for name, v in values.items()
    }


def covered_spans(case: Case, point: Point) -> tuple[Array, Array]:
    """Ends (d,), (d,) of the spans that the slipstreams cover, m; equal where one misses the wing.

    A stream whose disc stands behind the quarter chord covers nothing of it.
    """
    streams = point.streams
    x, z, chord, _, _ = planform_at(case.wing, streams.centres[:, 1])
    quarter = x + 0.25 * chord
    low, high = np.split(wing_crossings(streams, quarter, z), 2)
    behind = streams.centres[:, 0] >= quarter
    last = case.wing.stations[-1].y
    first = -last if case.wing.symmetric else case.wing.stations[0].y
    low = np.clip(low, first, last)
    return low, np.where(behind, low, np.clip(high, first, last))
