"""Drag of a wing at fixed lift in swirling streams."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from blownwing.case.parts import Wing
from blownwing.geometry.lattice import build_lattice
from blownwing.slipstream.streams import Streams, added_velocity, prepared_lines
from blownwing.validation import Row, published_rows
from blownwing.validation.scenes import elliptic
from blownwing.wing.loads import trefftz_downwash
from blownwing.wing.nearfield import bound_velocity
from blownwing.wing.normals import panel_normals, panel_slopes
from blownwing.wing.system import Frame, circulation, factored_system

Array = NDArray[np.float64]
SPAN, LIFT, ANGLE, SPEED = 8.0, 0.503, 0.02, 30.0
RADIUS = SPAN / 16.0


def elliptic_wing() -> Wing:
    return Wing.model_validate({"stations": elliptic(SPAN)})


def swirling_pair(centre: float, sense: float) -> Streams:
    """Tubes along x at ±centre with v_θ = ε V at every radius and no axial velocity."""
    edges = RADIUS * np.sin(np.linspace(0.0, 0.5 * np.pi, 61))
    middles = np.tile(0.5 * (edges[1:] + edges[:-1]), (2, 1))
    ahead = np.tile([1.0, 0.0, 0.0], (2, 1))
    # Inboard up on the starboard side turns clockwise seen from behind: about −x.
    swirl = ANGLE * SPEED * sense * np.array([[-1.0], [1.0]]) * middles
    return Streams(
        centres=np.array([[-2.0, centre, 0.0], [-2.0, -centre, 0.0]]),
        axes=ahead,
        courses=ahead,
        radii=np.full(2, RADIUS),
        growth=np.ones(2),
        normal_speed=np.full(2, SPEED),
        mean=np.zeros(2),
        cross=np.zeros((2, 3)),
        push=np.zeros((2, 3)),
        held=np.ones(2),
        middles=middles,
        axial=np.zeros_like(middles),
        swirl=swirl,
    )


def drag_at_fixed_lift(centre: float, sense: float) -> Array:
    """Near- and far-field induced drag coefficients at CL = LIFT."""
    wing = elliptic_wing()
    breaks = [y for y in (centre - RADIUS, centre, centre + RADIUS) if y < 0.5 * SPAN - 1e-9]
    lattice = build_lattice(wing, 4, 40, "cosine", breaks)
    system = factored_system(
        lattice, panel_normals(lattice, panel_slopes(wing, lattice, Path("."))), Frame()
    )
    streams = swirling_pair(centre, sense)

    def swirl_along(starts: Array, ends: Array) -> Array:
        return added_velocity(streams, prepared_lines(streams, starts, ends)).velocity

    at_points = swirl_along(*lattice.collocation_ends)
    nodes = lattice.nodes.reshape(3, lattice.rows, -1)
    at_bound = swirl_along(nodes[:, :, :-1].reshape(3, -1), nodes[:, :, 1:].reshape(3, -1))
    unit = 0.5 * SPEED**2 * wing.area / 2.0  # one half of the wing, unit density

    def coefficients(alpha: float) -> Array:
        direction = np.array([math.cos(alpha), 0.0, math.sin(alpha)])
        upward = np.array([-math.sin(alpha), 0.0, math.cos(alpha)])
        stream = SPEED * direction[:, None]
        gamma = circulation(system, np.sum((stream + at_points) * system.normals, axis=0))
        # Kutta-Joukowski near the wing; far behind, Munk's Trefftz integral and the work of the
        # bound vortices on the swirl.
        onset = np.cross(gamma * (stream + at_bound), lattice.bound, axis=0).sum(axis=1)
        induced = gamma * bound_velocity(system, gamma[None])[0]
        near = onset + np.cross(induced, lattice.bound, axis=0).sum(axis=1)
        strips = gamma.reshape(lattice.rows, -1).sum(axis=0)
        wake = 0.5 * np.sum(strips * trefftz_downwash(system, strips) * lattice.width)
        far = direction @ onset + wake * direction[0]
        return np.array([upward @ near, direction @ near, far]) / unit

    alpha = brentq(lambda a: coefficients(a)[0] - LIFT, 0.05, 0.15, xtol=1e-13)
    return coefficients(alpha)[1:]


def computed() -> dict[str, float]:
    """Odd part of the near-field drag change by quantity."""
    values = {}
    for words, centre in (("half the semi-span", 0.25 * SPAN), ("the tips", 0.5 * SPAN)):
        up, down = (drag_at_fixed_lift(centre, sense)[0] for sense in (1.0, -1.0))
        values[f"odd part of ΔCD, discs at {words}"] = 0.5 * float(up - down)
    return values


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
