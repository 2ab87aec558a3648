"""Steady rotation: signs and sizes of the rate derivatives."""

import math

import pytest
from numpy.testing import assert_allclose
from planforms import bent, elliptic, rectangle, totals, wing_case

from blownwing import solve

SPEED = 30.0


def roll_damping(stations, span):
    found = totals(stations, 0.0, flow={"roll_rate": 1.0})
    return found, found["C_roll"] / (math.radians(1.0) * span / (2.0 * SPEED))


@pytest.mark.parametrize(("aspect", "most"), [(8.0, 0.12), (16.0, 0.06), (30.0, 0.035)])
def test_roll_damping_of_an_elliptic_wing(aspect, most):
    # Lifting line with elliptic chord and α = −p y/V: only the second Glauert coefficient,
    # Clp = −π A/(4 (A + 4)) for a0 = 2π (derived from Glauert 1926, ch. XI, eq. for A_n). A lifting
    # surface lies below it; the two meet as A grows.
    found, damping = roll_damping(elliptic(aspect), aspect)
    exact = -math.pi * aspect / (4.0 * (aspect + 4.0))
    assert damping < 0.0
    assert 1.0 - most < damping / exact < 1.0
    # Pure roll gives no net lift, pitching moment or side force.
    for key in ("CL", "C_pitch", "CY"):
        assert abs(found[key]) < 1e-12


def test_strip_theory_bounds_the_roll_damping():
    # Without induction Clp = −2π/6 for a rectangular wing (strip theory); induction weakens it.
    _, damping = roll_damping(rectangle(8.0), 8.0)
    assert -2.0 * math.pi / 6.0 < damping < -0.4
    _, slender = roll_damping(rectangle(40.0), 40.0)
    assert damping > slender > -2.0 * math.pi / 6.0


def test_opposite_roll_mirrors_the_loading():
    right = solve(wing_case(rectangle(6.0), 3.0, flow={"roll_rate": 20.0}))
    left = solve(wing_case(rectangle(6.0), 3.0, flow={"roll_rate": -20.0}))
    assert_allclose(right.strips["cl"], left.strips["cl"][::-1], rtol=1e-11, atol=1e-13)
    assert_allclose(right.totals["C_roll"], -left.totals["C_roll"], rtol=1e-11)
    assert_allclose(right.totals["C_yaw"], -left.totals["C_yaw"], rtol=1e-9)


def test_pitch_rate_acts_as_the_incidence_of_the_three_quarter_chord():
    # Thin-aerofoil theory: a plate turning about its nose lifts as at the incidence of its 3/4
    # chord, q (3/4 c)/V, so CLq = 3/2 CLα on q c/2V; damping moment about the nose is negative.
    rate = {"pitch_rate": 1.0}
    turning = totals(rectangle(12.0), 0.0, flow=rate)
    hat = math.radians(1.0) * 1.0 / (2.0 * SPEED)
    slope = totals(rectangle(12.0), 0.1)["CL"] / math.radians(0.1)
    assert_allclose(turning["CL"] / hat, 1.5 * slope, rtol=0.015)
    assert turning["C_pitch"] < 0.0
    # About the three-quarter point the same rotation brings no lift at all.
    rear = totals(rectangle(12.0), 0.0, flow=rate, reference_point=[0.75, 0.0, 0.0])
    assert abs(rear["CL"]) < 0.015 * turning["CL"]


def test_yaw_rate_lifts_the_advancing_wing():
    # Nose to starboard: the port wing advances, its lift force grows with the speed over it, and
    # the aircraft rolls starboard wing down. With circulation kept (flat wing, body axes) strip
    # integration of elliptic loading gives Cl = CL (r b/2V)/8.
    aspect = 12.0
    found = totals(elliptic(aspect), 4.0, flow={"yaw_rate": 1.0})
    hat = math.radians(1.0) * aspect / (2.0 * SPEED)
    assert found["C_roll"] > 0.0
    # (2 % below: the lifting surface's loading is a little fuller inboard than the ellipse.)
    assert_allclose(found["C_roll"], found["CL"] * hat / 8.0, rtol=0.03)
    opposite = totals(elliptic(aspect), 4.0, flow={"yaw_rate": -1.0})
    assert_allclose(opposite["C_roll"], -found["C_roll"], rtol=1e-10)


def test_dihedral_rolls_away_from_the_wind():
    # Wind from starboard raises the starboard wing's incidence by Γβ: Clβ < 0 (common practice).
    # At zero incidence that is all there is.
    angle, sideslip = math.radians(6.0), 0.01
    bend = bent(8.0, angle)
    found = totals(bend, 0.0, flow={"beta": sideslip})
    slope = found["C_roll"] / math.radians(sideslip)
    assert slope < 0.0
    # Constant incidence ±Γβ on the halves: strips alone give −2π Γ/4; induction takes away less
    # than half of it.
    strips = -2.0 * math.pi * angle / 4.0
    assert 0.5 < slope / strips < 1.0
    other = totals(bend, 0.0, flow={"beta": -sideslip})
    assert_allclose(other["C_roll"], -found["C_roll"], rtol=1e-9)
    assert found["CY"] < 0.0  # and the air pushes to port


def test_sideslip_rolls_a_lifting_wing_away_from_the_wind():
    # Clβ < 0 at positive lift, larger on a swept-back wing, proportional to lift (common practice,
    # no source); it must not depend on the lattice.
    def slope(alpha, sweep=0.0, strips=32):
        back = 4.0 * math.tan(math.radians(sweep))
        stations = [{"y": 0.0, "chord": 1.0}, {"y": 4.0, "x": back, "chord": 1.0}]
        model = {"chordwise": 8, "spanwise": strips, "compressibility": False}
        found = totals(stations, alpha, flow={"beta": 2.0}, model=model)
        return found["C_roll"] / math.radians(2.0)

    plain = slope(5.0)
    assert plain < 0.0
    assert_allclose(slope(5.0, strips=64), plain, rtol=0.01)
    assert_allclose(slope(2.5), 0.5 * plain, rtol=0.01)
    assert slope(5.0, sweep=30.0) < 2.0 * plain
