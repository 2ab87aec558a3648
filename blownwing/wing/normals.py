"""Panel normals: twist, camber and flap deflection tilt them, the lattice itself stays put."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from blownwing.airfoil.camber import flap_effectiveness
from blownwing.airfoil.discrete import lattice_weights
from blownwing.airfoil.library import mean_line_slope
from blownwing.case.parts import Flap, Wing
from blownwing.geometry.lattice import Lattice

Array = NDArray[np.float64]


def panel_slopes(wing: Wing, lattice: Lattice, folder: Path) -> Array:
    """Angles (rows, columns) [rad] by which camber and flaps tilt the panels' normals back.

    folder: where files of sections are looked up. Raises InputError for an unknown section.
    """
    edges = lattice.row_edges
    three_quarter = edges[:-1] + 0.75 * np.diff(edges)
    names = [station.airfoil for station in wing.stations]
    lines = {name: mean_line_slope(name, three_quarter, folder) for name in dict.fromkeys(names)}
    camber = np.arctan([lines[name] for name in names])
    left = np.minimum(lattice.station.astype(int), len(wing.stations) - 2)
    share = lattice.station - left
    slope = (camber[left] * (1.0 - share)[:, None] + camber[left + 1] * share[:, None]).T
    for flap in wing.flaps:
        turned = (
            flap_share(lattice, flap.chord_fraction)[:, None]
            * flap_cover(wing, lattice, flap)[None, :]
        )
        slope = slope - np.radians(flap.deflection) * turned
    return np.asarray(slope)


def panel_normals(lattice: Lattice, slopes: Array) -> Array:
    """Unit normals (3, panels) of the cambered, flapped and twisted surface.

    slopes: (rows, columns) rad, from `panel_slopes`, without twist.
    """
    slope = slopes - lattice.twist[None, :]
    bank = np.broadcast_to(lattice.dihedral, slope.shape)
    cos = np.cos(slope)
    normals = np.stack((-np.sin(slope), -np.sin(bank) * cos, np.cos(bank) * cos))
    return np.ascontiguousarray(normals.reshape(3, -1))


def flap_cover(wing: Wing, lattice: Lattice, flap: Flap) -> Array:
    """1 for strips (columns,) that carry the flap, 0 for the others."""
    inner, outer = wing.flap_extent(flap)
    y = 0.5 * (lattice.edge_y[1:] + lattice.edge_y[:-1])
    at = np.abs(y) if wing.symmetric else y
    return np.asarray(((at >= inner) & (at <= outer)).astype(float))


def flap_share(lattice: Lattice, chord_fraction: float) -> Array:
    """Part (rows,) of each panel that turns with a flap or control of a chord fraction.

    chord_fraction: flap chord over chord, 0 to 1.

    The panel that the hinge cuts turns by the part that gives the plane lattice the exact flap
    effectiveness of thin-aerofoil theory (Glauert 1927, "Theoretical relationships for an aerofoil
    with hinged flap", ARC R&M 1095), wherever panel edges fall.
    """
    edges = lattice.row_edges
    hinge = 1.0 - chord_fraction
    weight = lattice_weights(edges)
    share = (edges[:-1] >= hinge - 1e-12).astype(float)
    cut = int(np.clip(np.searchsorted(edges, hinge - 1e-12) - 1, 0, lattice.rows - 1))
    wanted = float(flap_effectiveness(chord_fraction)) * weight.sum()
    share[cut] += (wanted - weight @ share) / weight[cut]
    return share
