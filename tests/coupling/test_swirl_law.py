"""Swirl on a wing: the first-order law, and what tip propellers gain.

Munk's stagger and reciprocity theorems give, for an elliptic wing with upwash angle ε(y) from
swirl, ΔCL = CLα E and at fixed lift ΔCD = −CL E, E = (4/πb) ∫ ε √(1 − (2y/b)²) dy (tilted lift;
the change of induced drag itself is of second order). Computed values for AR 8, CL 0.503,
ε = 0.02, disc radius b/16, inboard-up and outboard-up: −1.5e-4 and +0.9e-4 at mid-semispan, −5.5e-4
and +5.0e-4 at the tip (independent lifting line).
"""

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scenes import blade, scene
from scipy.integrate import quad
from scipy.optimize import brentq

from blownwing import solve
from blownwing.case.parts import Wing
from blownwing.geometry.lattice import build_lattice
from blownwing.slipstream.streams import Streams, added_velocity, prepared_lines
from blownwing.validation.claims import bar
from blownwing.wing.loads import trefftz_downwash
from blownwing.wing.nearfield import bound_velocity
from blownwing.wing.normals import panel_normals, panel_slopes
from blownwing.wing.system import Frame, circulation, factored_system

SPAN, LIFT, ANGLE, SPEED = 8.0, 0.503, 0.02, 30.0
RADIUS = SPAN / 16.0
INBOARD_UP, OUTBOARD_UP = 1.0, -1.0


def elliptic_wing():
    turn = np.linspace(0.0, 0.5 * np.pi, 41)
    chord = np.maximum(4.0 / np.pi * np.cos(turn), 1e-3)
    stations = [
        {"y": float(0.5 * SPAN * np.sin(t)), "x": float(-0.25 * c), "chord": float(c)}
        for t, c in zip(turn, chord, strict=True)
    ]
    return Wing.model_validate({"stations": stations})


def swirling_pair(centre, sense):
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


def drag_at_fixed_lift(centre, sense):
    """Near- and far-field induced drag coefficients at CL = LIFT."""
    wing = elliptic_wing()
    breaks = [y for y in (centre - RADIUS, centre, centre + RADIUS) if y < 0.5 * SPAN - 1e-9]
    lattice = build_lattice(wing, 4, 40, "cosine", breaks)
    system = factored_system(
        lattice, panel_normals(lattice, panel_slopes(wing, lattice, Path("."))), Frame()
    )
    streams = swirling_pair(centre, sense)

    def swirl_along(starts, ends):
        return added_velocity(streams, prepared_lines(streams, starts, ends)).velocity

    at_points = swirl_along(*lattice.collocation_ends)
    nodes = lattice.nodes.reshape(3, lattice.rows, -1)
    at_bound = swirl_along(nodes[:, :, :-1].reshape(3, -1), nodes[:, :, 1:].reshape(3, -1))
    unit = 0.5 * SPEED**2 * wing.area / 2.0  # one half of the wing, unit density

    def coefficients(alpha):
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


@pytest.mark.parametrize(
    ("centre", "inboard", "outboard"),
    [(0.25 * SPAN, -1.5e-4, 0.9e-4), (0.5 * SPAN, -5.5e-4, 5.0e-4)],
    ids=["middle", "tip"],
)
def test_first_order_swirl_law(centre, inboard, outboard):
    def weight(y):
        return math.sqrt(max(1.0 - (2.0 * y / SPAN) ** 2, 0.0))

    inner = quad(weight, centre - RADIUS, centre)[0]
    outer = quad(weight, centre, min(centre + RADIUS, 0.5 * SPAN))[0]
    law = -LIFT * 2.0 * 4.0 / (math.pi * SPAN) * ANGLE * (inner - outer)
    plain = drag_at_fixed_lift(centre, 0.0)
    up, down = (drag_at_fixed_lift(centre, s) - plain for s in (INBOARD_UP, OUTBOARD_UP))
    # Sign exact: inboard-up gains, outboard-up loses, near and far.
    assert np.all(up < 0.0) and np.all(down > 0.0)
    # Size: the odd part is the law's, the even part is of second order in ε.
    assert_allclose(0.5 * (up - down), law, rtol=bar("swirl_law"))
    assert_allclose(up, inboard, atol=0.5e-4)
    assert_allclose(down, outboard, atol=0.5e-4)
    assert_allclose(up[0], up[1], rtol=0.02)


def induced_drag_of_tip_pair(spin, wanted):
    """Induced drag at the wanted CL (secant in incidence) with 150 N each."""
    propeller = blade(y=4.0, spin=spin, thrust=150.0)

    def totals(alpha):
        return solve(scene([propeller], alpha)).totals

    low, high = totals(4.0), totals(6.0)
    for _ in range(3):
        rise = (high["CL"] - low["CL"]) / (high["alpha"] - low["alpha"])
        low, high = high, totals(high["alpha"] + (wanted - high["CL"]) / rise)
        if abs(high["CL"] - wanted) < 1e-7:
            break
    assert_allclose(high["CL"], wanted, atol=1e-6)
    assert_allclose(high["thrust"], 300.0, rtol=1e-6)
    return high


def test_tip_propellers_gain_with_inboard_up():
    # Snyder & Zumwalt (1969), J. Aircraft 6, 392-397 (memory): against the tip vortex, drag falls.
    up = induced_drag_of_tip_pair("inboard_up", 0.4)
    down = induced_drag_of_tip_pair("outboard_up", 0.4)
    for name in ("CD_induced", "CD_induced_farfield"):
        assert up[name] < 0.9 * down[name]
    assert up["net_axial_force"] > down["net_axial_force"]
