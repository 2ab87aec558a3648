"""Wakes that pass through slipstreams which start behind their surface.

Across a wake the potential jumps by the circulation Γ, inside a stream as outside it: a disc adds
none. On the edge of a stream m² ψ, with ψ = φ/m, would have to jump likewise, and horseshoes jump
by Γ in ψ on both sides: left at that, the edge's doublets would make up for a vortex that is not
there, and the uniform downwash behind an endless wing would be turned in a stream as if the stream
were half above and half below a surface of its own. The jump says nothing but where the potential
is cut. Its cut is therefore led round below the stream: potentials on the edge below the wake are
raised by the circulation of the strip above them. What is left out is that lines shed within a
stream's width have ψ of Γ where Γ/m would be right, a part μ − 1 of what is shed there.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from blownwing.geometry.lattice import Lattice

Array = NDArray[np.float64]
Ints = NDArray[np.int64]


class Passing(NamedTuple):
    """A wake through one tube: its strips, side by side."""

    tube: int
    strips: Ints


def below_wakes(
    lattice: Lattice, wakes: Sequence[Passing], tube: Ints, y: Array, z: Array
) -> tuple[Ints, Ints]:
    """Places on tubes that lie below a wake through their tube, and the strip whose wake it is.

    tube: (n,) of the places; y, z: (n,) their points, m. Indices into the n places, and columns.
    """
    places: list[Ints] = []
    columns: list[Ints] = []
    for wake in wakes:
        own = np.flatnonzero(tube == wake.tube)
        edges = np.arange(wake.strips[0], wake.strips[-1] + 2)
        at, height = lattice.edge_y[edges], lattice.edge_z[edges]
        within = np.clip(y[own], at[0], at[-1])
        below = z[own] < np.interp(within, at, height)
        strip = np.clip(np.searchsorted(at, within[below], "right") - 1, 0, wake.strips.size - 1)
        places.append(own[below])
        columns.append(wake.strips[strip])
    if not places:
        none = np.zeros(0, dtype=np.int64)
        return none, none
    return np.concatenate(places), np.concatenate(columns)


def led_round(lattice: Lattice, potential: Array, places: Ints, columns: Ints) -> None:
    """Raise potentials (n, panels) of unit circulations at places below wakes, in place.

    potential: over a circulation, without unit; places, columns: from `below_wakes`.
    """
    for row in range(lattice.rows):
        potential[places, row * lattice.columns + columns] += 1.0
