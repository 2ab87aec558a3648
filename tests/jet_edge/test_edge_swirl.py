"""Swirl on an elliptic wing inside slipstreams with edges: the first-order law, and tip propellers.

Munk's reciprocity and stagger theorems (Munk 1921, NACA Report 121) give, for an elliptic wing
with upwash angle ε(y) from swirl, at fixed lift ΔCD = −CL E with
E = (4/πb) ∫ ε √(1 − (2y/b)²) dy: the lift that is there is tilted, and the change of the induced
drag itself is of second order. In a jet the lift that is there is the blown wing's.
"""

import math

import numpy as np
import pytest
from edge_scenes import COARSE, blade, scene
from numpy.testing import assert_allclose
from scipy.integrate import quad

from blownwing import solve
from blownwing.case.parts import Wing
from blownwing.geometry.lattice import build_lattice, planform_at
from blownwing.geometry.tube import TubeShape, build_tubes
from blownwing.slipstream.streams import Streams, added_velocity, prepared_lines
from blownwing.wing.blown import blown_circulation, edge_system, far_lines, tubes_on_bound
from blownwing.wing.loads import lattice_loads, trefftz_downwash
from blownwing.wing.nearfield import bound_velocity, half_lines
from blownwing.wing.system import Frame, factored_system

SPAN, LIFT, ANGLE = 8.0, 0.503, 0.02
RADIUS = SPAN / 16.0
MIDDLE, TIP = 0.25 * SPAN, 0.5 * SPAN
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
    """Streams at ±centre whose swirl makes the angle ε of the stream, unit speed, no thrust."""
    rim = RADIUS * np.sin(np.linspace(0.0, 0.5 * np.pi, 61))
    middles = np.tile(0.5 * (rim[1:] + rim[:-1]), (2, 1))
    ahead = np.tile([1.0, 0.0, 0.0], (2, 1))
    return Streams(
        centres=np.array([[-2.0, centre, 0.0], [-2.0, -centre, 0.0]]),
        axes=ahead,
        courses=ahead,
        radii=np.full(2, RADIUS),
        growth=np.zeros(2),
        normal_speed=np.ones(2),
        mean=np.zeros(2),
        cross=np.zeros((2, 3)),
        push=np.zeros((2, 3)),
        held=np.ones(2),
        middles=middles,
        axial=np.zeros_like(middles),
        swirl=ANGLE * sense * np.array([[-1.0], [1.0]]) * middles,
    )


class SwirlingWing:
    """An elliptic wing with a jet of given speed ratio at ±centre; drag at fixed lift."""

    def __init__(self, centre, ratio):
        self.wing, self.centre = elliptic_wing(), centre
        breaks = [centre - RADIUS, centre]
        if centre + RADIUS < 0.5 * SPAN - 1e-9:
            breaks.append(centre + RADIUS)
        self.lattice = lattice = build_lattice(self.wing, 3, 32, "cosine", breaks)
        normals = np.zeros((3, lattice.panels))
        normals[2] = 1.0
        self.system = factored_system(lattice, normals, Frame())
        middle = 0.5 * (lattice.edge_y[1:] + lattice.edge_y[:-1])
        self.inside = np.abs(middle - centre) < RADIUS
        self.ratio = np.where(self.inside, ratio, 1.0)
        at = np.array([min(centre, 0.5 * SPAN)])
        lead, _, chord, _, _ = (float(v[0]) for v in planform_at(self.wing, at))
        change = np.flatnonzero(self.inside[1:] != self.inside[:-1]) + 1
        shape = TubeShape(
            start=-2.0,
            y=centre,
            z=0.0,
            radius=RADIUS,
            lead=lead,
            rows=lead + max(chord, 0.3) * (np.arange(lattice.rows) + 0.25) / lattice.rows,
            upstream_x=np.array([-2.0, lead]),
            upstream_radius=np.ones(2),
            crossings=tuple((float(lattice.edge_y[e]), 0.0) for e in change),
        )
        self.edge = edge_system(self.system, build_tubes([shape], 16, 20))
        kappa = (ratio**2 - 1.0) / (ratio**2 + 1.0)
        self.contrast = np.full(self.edge.size, kappa)

    def coefficients(self, alpha, streams):
        """CL, near-field and far-field CD, and CL of the strips (columns,) over both halves."""
        lattice, system = self.lattice, self.system
        nodes = lattice.nodes.reshape(3, lattice.rows, -1)
        bound_ends = nodes[:, :, :-1].reshape(3, -1), nodes[:, :, 1:].reshape(3, -1)
        member = np.tile(np.where(self.inside, 0, -1), lattice.rows)
        wind = np.array([[math.cos(alpha), 0.0, math.sin(alpha)], [0.0, 1.0, 0.0],
                         [-math.sin(alpha), 0.0, math.cos(alpha)]])  # fmt: skip

        def onset(ends):
            lines = prepared_lines(streams, *ends, member=member)
            return wind[0][:, None] + added_velocity(streams, lines).velocity

        normal = np.sum(onset(lattice.collocation_ends) * system.normals, axis=0)
        start = np.zeros_like(self.contrast)
        strength, doublets, _ = blown_circulation(self.edge, normal, self.contrast, start, 1e-10)
        induced = bound_velocity(system, strength[None])[0]
        strips = strength.reshape(lattice.rows, -1).sum(axis=0)
        far = None
        if np.any(self.contrast):
            lines = far_lines(self.edge, strips, self.contrast)
            induced = induced + tubes_on_bound(self.edge, doublets, lines)
            far = half_lines(system, *lines, lattice.fraction, 0.0)
        wash = trefftz_downwash(system, strips, far)
        loads = lattice_loads(
            system, strength, self.ratio, onset(bound_ends), induced, wash, 1.0, wind, np.zeros(3)
        )
        unit = 0.5 * self.wing.area
        total = np.array([wind[2] @ loads.force, wind[0] @ loads.force, loads.farfield_drag]) / unit
        return *total, 2.0 * wind[2] @ loads.strip_force / unit

    def drag(self, sense):
        """CD near and far at fixed lift, and the strips' CL."""
        streams = swirling_pair(self.centre, sense)
        # lift is all but linear in α: secant
        low, high = 0.06, 0.10
        at_low, at_high = (self.coefficients(a, streams)[0] for a in (low, high))
        for _ in range(2):
            rise = (at_high - at_low) / (high - low)
            low, at_low, high = high, at_high, high + (LIFT - at_high) / rise
            found = self.coefficients(high, streams)
            at_high = found[0]
        assert_allclose(at_high, LIFT, rtol=1e-6)
        return np.array(found[1:3]), found[3]


@pytest.mark.parametrize(
    ("centre", "ratio"),
    [
        pytest.param(MIDDLE, 1.0, marks=pytest.mark.slow),
        (MIDDLE, 1.25),
        (TIP, 1.1),
        pytest.param(MIDDLE, 1.1, marks=pytest.mark.slow),
        pytest.param(TIP, 1.0, marks=pytest.mark.slow),
        pytest.param(TIP, 1.5, marks=pytest.mark.slow),
    ],
)
def test_first_order_swirl_law_with_an_edge(centre, ratio):
    def weight(y):
        return math.sqrt(max(1.0 - (2.0 * y / SPAN) ** 2, 0.0))

    inner = quad(weight, centre - RADIUS, centre)[0]
    outer = quad(weight, centre, min(centre + RADIUS, 0.5 * SPAN))[0]
    law = -LIFT * 2.0 * 4.0 / (math.pi * SPAN) * ANGLE * (inner - outer)
    wing = SwirlingWing(centre, ratio)
    (plain, loading), (up, _), (down, _) = (wing.drag(s) for s in (0.0, INBOARD_UP, OUTBOARD_UP))
    # The swirl tilts the lift that is there: inboard half up, outboard half down. In a uniform
    # stream that is the elliptic one.
    side = np.where(wing.inside, np.sign(centre - wing.lattice.quarter[1]), 0.0)
    tilted = -ANGLE * float(side @ loading)
    print(f"centre {centre}, μ {ratio}: inboard up {up - plain}, outboard up {down - plain}, "
          f"law {law:.3e}, with the jet's loading {tilted:.3e}")  # fmt: skip
    if ratio == 1.0:
        assert_allclose(0.5 * (up - down), law, rtol=0.05)
    # Sign exact, near and far; size of the odd part to 10 %.
    assert np.all(up < plain) and np.all(down > plain)
    assert_allclose(0.5 * (up - down), tilted, rtol=0.10)
    assert_allclose(plain[0], plain[1], rtol=0.03)


def test_tip_propellers_gain_with_inboard_up():
    # Snyder & Zumwalt (1969), J. Aircraft 6, 392-397 (memory): against the tip vortex, drag falls.
    def at_fixed_lift(spin):
        totals = [solve(scene([blade(4.0, spin=spin, thrust=150.0)], a, model=COARSE)).totals
                  for a in (4.0, 7.0)]  # fmt: skip
        share = (0.4 - totals[0]["CL"]) / (totals[1]["CL"] - totals[0]["CL"])
        alpha = 4.0 + 3.0 * share
        return solve(scene([blade(4.0, spin=spin, thrust=150.0)], alpha, model=COARSE)).totals

    up, down = at_fixed_lift("inboard_up"), at_fixed_lift("outboard_up")
    assert_allclose([up["CL"], down["CL"]], 0.4, rtol=2e-3)
    for name in ("CD_induced", "CD_induced_farfield"):
        assert up[name] < 0.9 * down[name]
    assert up["net_axial_force"] > down["net_axial_force"]
