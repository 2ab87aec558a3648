"""Panel normals: twist, camber and flap deflection tilt them, the lattice itself stays put."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from blownwing.airfoil.camber import camber_slope
from blownwing.case.parts import Flap, Wing
from blownwing.geometry.lattice import Lattice

Array = NDArray[np.float64]


def panel_normals(wing: Wing, lattice: Lattice, sections: Sequence[str]) -> Array:
    """Unit normals (3, panels) of the cambered, twisted and flapped surface.

    sections: of the wing's stations, names or paths that can be opened. Raises InputError for an
    unknown section.
    """
    edges = lattice.row_edges
    three_quarter = edges[:-1] + 0.75 * np.diff(edges)
    camber = np.stack([np.arctan(camber_slope(name, three_quarter)) for name in sections])
    left = np.minimum(lattice.station.astype(int), len(wing.stations) - 2)
    share = lattice.station - left
    slope = (camber[left] * (1.0 - share)[:, None] + camber[left + 1] * share[:, None]).T
    slope = slope - lattice.twist[None, :]
    for flap in wing.flaps:
        slope = slope - np.radians(flap.deflection) * _flap_share(wing, lattice, flap)
    bank = np.broadcast_to(lattice.dihedral, slope.shape)
    cos = np.cos(slope)
    normals = np.stack((-np.sin(slope), -np.sin(bank) * cos, np.cos(bank) * cos))
    return np.ascontiguousarray(normals.reshape(3, -1))


def _flap_share(wing: Wing, lattice: Lattice, flap: Flap) -> Array:
    """Part (rows, columns) of each panel that turns with the flap.

    A panel cut by the hinge turns by the part of its thin-aerofoil lift weight √(x/(1 − x)) that
    lies aft of the hinge (Glauert 1926, The Elements of Aerofoil and Airscrew Theory, ch. VII: lift
    is the slope weighted so), so the flap's lift does not depend on where panel edges fall.
    """

    def weight(x: Array) -> Array:
        x = np.clip(x, 0.0, 1.0)
        return np.asarray(np.arcsin(np.sqrt(x)) - np.sqrt(x * (1.0 - x)))

    edges = lattice.row_edges
    hinge = np.maximum(edges, 1.0 - flap.chord_fraction)
    chordwise = np.diff(weight(hinge)) / np.diff(weight(edges))
    inner, outer = wing.flap_extent(flap)
    y = 0.5 * (lattice.edge_y[1:] + lattice.edge_y[:-1])
    at = np.abs(y) if wing.symmetric else y
    inside = ((at >= inner) & (at <= outer)).astype(float)
    return np.asarray(chordwise[:, None] * inside[None, :])
