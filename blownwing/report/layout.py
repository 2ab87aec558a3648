"""Where things are: the wing's outline and the discs, from the case stored in a solution."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.case.reader import parse_case
from blownwing.solution import Solution

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Disc:
    """One propeller disc: centre (m), diameter (m), spin, and where its axis points (rad)."""

    name: str
    x: float
    y: float
    z: float
    diameter: float
    rotation: int
    toe: float
    incidence: float = 0.0

    @property
    def spin(self) -> str:
        """Return the spin in words: the way the blades pass inboard, or as seen from behind."""
        return spin_words(self.rotation, self.y)


def spin_words(rotation: int, y: float) -> str:
    """Return a spin in words.

    Args:
        rotation: 1 clockwise seen from behind, -1 counterclockwise, 0 no swirl.
        y: place along the span, m; on the centre line there is no inboard side.
    """
    if rotation == 0:
        return "none"
    if y == 0.0:
        return "clockwise" if rotation > 0 else "counterclockwise"
    return "inboard up" if rotation * y > 0 else "outboard up"


def case_of(solution: Solution) -> Case:
    """Return the case that a solution answers, parsed from its stored text.

    Raises:
        InputError: the stored text is not a case this version reads.
    """
    return parse_case(solution.case_toml, Path(), "case stored in the result")


def title_of(solution: Solution) -> str:
    """Return a result's title for figures; that of a half model says whose the forces are."""
    words = "forces of the whole, model and image"
    return f"{solution.title}; {words}" if "half_lift" in solution.totals else solution.title


def discs_of(case: Case) -> tuple[Disc, ...]:
    """Return every disc of the case, twins included, from port to starboard."""
    discs = [
        Disc(
            name=item.name,
            x=item.position[0],
            y=item.position[1],
            z=item.position[2],
            diameter=2.0 * item.radius,
            rotation=item.rotation,
            toe=float(np.deg2rad(item.toe)),
            incidence=float(np.deg2rad(item.incidence)),
        )
        for item in case.propeller_list()
    ]
    return tuple(sorted(discs, key=lambda disc: disc.y))


def outline_of(case: Case) -> tuple[Array, Array, Array]:
    """Return y, leading-edge x and trailing-edge x, (n,) m, at the stations over the whole span."""
    stations = case.wing.stations
    y = np.array([s.y for s in stations], dtype=float)
    lead = np.array([s.x for s in stations], dtype=float)
    twist = np.deg2rad(np.array([s.twist for s in stations], dtype=float))
    trail = lead + np.array([s.chord for s in stations], dtype=float) * np.cos(twist)
    if not case.wing.symmetric:
        return y, lead, trail

    return np.r_[-y[:0:-1], y], np.r_[lead[:0:-1], lead], np.r_[trail[:0:-1], trail]


def blown_bands(solution: Solution) -> list[tuple[float, float]]:
    """Return the spans (from, to), m, where a slipstream blows over the wing.

    They are the tubes' own where the result has them (of a polar, of any angle). In others a strip
    counts as blown where the axial slipstream velocity exceeds 2 % of its greatest value, which
    leaves out the faint inflow outside the slipstreams.
    """
    tubes = [v for v in solution.slipstreams.values() if "span_from" in v and "span_to" in v]
    if tubes:
        spans = [(float(np.min(v["span_from"])), float(np.max(v["span_to"]))) for v in tubes]
        return _merged(sorted((low, high) for low, high in spans if high > low))
    values: dict[str, Any] = dict(solution.strips)
    if "slipstream_axial" not in values:
        return []
    axial = np.max(np.abs(np.atleast_2d(values["slipstream_axial"])), axis=0)
    blown = axial > 0.02 * axial.max() if axial.max() > 0.0 else np.zeros(axial.size, bool)
    return joined_spans(values["y"], 0.5 * values["width"], blown)


def _merged(spans: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Spans in order of their beginning, those that overlap as one."""
    merged: list[tuple[float, float]] = []
    for low, high in spans:
        if merged and low <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], high))
        else:
            merged.append((low, high))
    return merged


def joined_spans(y: Array, half: Array, chosen: NDArray[np.bool_]) -> list[tuple[float, float]]:
    """Return spans (from, to), m, of the chosen strips, neighbours joined.

    Args:
        y, half: (strips,) middle and half width, m.
        chosen: (strips,) which of them.
    """
    spans: list[tuple[float, float]] = []
    for index in np.flatnonzero(chosen):
        low, high = float(y[index] - half[index]), float(y[index] + half[index])
        if index and chosen[index - 1]:
            spans[-1] = (spans[-1][0], high)
        else:
            spans.append((low, high))
    return spans
