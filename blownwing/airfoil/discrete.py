"""The section that a wing lattice sees: its lift line in two dimensions, panel for panel."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def lattice_line(edges: Array, slope: Array) -> tuple[float, Array]:
    """Lift slope and zero-lift angle of chordwise panels on an endless wing.

    Each panel has its vortex at a quarter and its condition at three quarters of its length. On the
    flat plate the slope is 2π for any number of equal panels; with camber or a flap the zero-lift
    angle differs from thin-airfoil theory's by what the panels cannot resolve, so corrections to a
    lattice's section start from this one.

    Args:
        edges: (n + 1,) panel edges from 0 at the leading to 1 at the trailing edge.
        slope: (n, ...) angles, rad, by which the panels' normals tilt back from the vertical
            (camber and flap; twist too, if it is to count as part of the section).

    Returns:
        The slope a per rad, and the zero-lift angles (...) in rad: cl = a sin(α − α₀)/cos α₀ for a
        lattice whose panels stay in the plane.

    Source: James (1972), "On the remarkable accuracy of the vortex lattice method", Computer
    Methods in Applied Mechanics and Engineering 1, 59-79.
    """
    weight = lattice_weights(edges)
    lift_slope = float(weight.sum())
    tilt = np.tensordot(weight, np.tan(np.asarray(slope)), axes=1) / lift_slope
    return lift_slope, np.asarray(np.arctan(tilt))


def lattice_weights(edges: Array) -> Array:
    """Lift coefficient (n,) per radian of each panel's slope on an endless wing.

    edges: (n + 1,) panel edges from 0 at the leading to 1 at the trailing edge. Source: as
    `lattice_line`.
    """
    return _weights(tuple(edges.tolist()))[0]


def lattice_moment(edges: Array, slope: Array) -> Array:
    """Moment coefficient (...) about the quarter chord of a lattice section, by its slopes alone.

    edges, slope: as for `lattice_line`, and the source. Incidence adds none, but scales it by its
    cosine.
    """
    weight = _weights(tuple(edges.tolist()))[1]
    return np.asarray(-np.tensordot(weight, np.tan(np.asarray(slope)), axes=1))


@lru_cache(maxsize=16)
def _weights(edges: tuple[float, ...]) -> tuple[Array, Array]:
    """Lift and nose-up moment coefficients (n,) per radian of each panel's slope; read-only."""
    start, length = np.array(edges[:-1]), np.diff(edges)
    vortex, control = start + 0.25 * length, start + 0.75 * length
    influence = 1.0 / (2.0 * math.pi * (control[:, None] - vortex[None, :]))
    # cl = 2 Σ Γ/(V c); for the moment at their distance ahead of the quarter chord
    of_unit = np.stack((np.full(vortex.size, 2.0), 2.0 * (0.25 - vortex)), axis=1)
    lift, moment = np.linalg.solve(influence.T, of_unit).T
    lift.flags.writeable = moment.flags.writeable = False
    return lift, moment
