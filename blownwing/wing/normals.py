"""Panel normals: twist, camber and flap deflection tilt them, the lattice itself stays put."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from blownwing.airfoil.camber import camber_slope, flap_effectiveness
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

    The panel that the hinge cuts turns by the part that gives the plane lattice the exact flap
    effectiveness of thin-aerofoil theory (Glauert 1927, ARC R&M 1095), wherever panel edges fall.
    """
    edges = lattice.row_edges
    hinge = 1.0 - flap.chord_fraction
    weight = plane_weights(lattice.rows)
    share = (edges[:-1] >= hinge - 1e-12).astype(float)
    cut = int(np.clip(np.searchsorted(edges, hinge - 1e-12) - 1, 0, lattice.rows - 1))
    wanted = float(flap_effectiveness(flap.chord_fraction)) * weight.sum()
    share[cut] += (wanted - weight @ share) / weight[cut]
    inner, outer = wing.flap_extent(flap)
    y = 0.5 * (lattice.edge_y[1:] + lattice.edge_y[:-1])
    at = np.abs(y) if wing.symmetric else y
    inside = ((at >= inner) & (at <= outer)).astype(float)
    return np.asarray(share[:, None] * inside[None, :])


def plane_weights(rows: int) -> Array:
    """Lift (rows,) of the plane lattice per unit slope of each panel; any common factor."""
    panel = np.arange(rows)
    # vortex at the quarter, condition at the three-quarter point of equal panels
    matrix = 1.0 / (panel[:, None] - panel[None, :] + 0.5)
    return np.asarray(np.linalg.solve(matrix.T, np.ones(rows)))
