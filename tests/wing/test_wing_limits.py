"""Wings where theory is exact: elliptic, slender, high aspect ratio, camber, twist."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from planforms import elliptic, grid, rectangle, tapered, totals

from blownwing.validation.claims import bar

SMALL = 0.1  # deg, small enough for the linear range


def slope(stations, **more):
    return totals(stations, SMALL, **more)["CL"] / math.radians(SMALL)


def lifting_line_slope(aspect, a0=2.0 * math.pi):
    """Elliptic wing, Prandtl: a0/(1 + a0/(π A))."""
    return a0 / (1.0 + a0 / (math.pi * aspect))


@pytest.mark.parametrize("aspect", [4.0, 8.0, 16.0])
def test_elliptic_wing_has_the_least_induced_drag(aspect):
    found = totals(elliptic(aspect), 3.0)
    assert 1.0 - bar("elliptic_efficiency") <= found["span_efficiency_unblown"] <= 1.0001
    # Munk's theorem: no planar wing does better; a rectangular one does worse.
    plain = totals(rectangle(aspect), 3.0)
    assert plain["span_efficiency_unblown"] < found["span_efficiency_unblown"]


def test_elliptic_wing_approaches_the_lifting_line_from_below():
    # Glauert (1926), ch. XI: CLα = 2π A/(A + 2). A lattice of finite chord lies below and closes
    # the gap in proportion to 1/A or faster.
    aspects = np.array([8.0, 16.0, 32.0])
    gap = np.array([1.0 - slope(elliptic(a)) / lifting_line_slope(a) for a in aspects])
    assert np.all(gap > 0.0)
    assert gap[1] < 0.5 * gap[0] and gap[2] < 0.5 * gap[1]
    assert gap[2] < 0.0065


@pytest.mark.parametrize(
    ("aspect", "published"),
    [(6.0, 0.0483), (8.0, 0.0676), (12.0, 0.1031)],
)
def test_rectangular_induced_drag_approaches_lifting_line(aspect, published):
    # Glauert (1926), ch. XI, rectangular wings, CDi = CL² (1 + δ)/(π A); converged series
    # recomputed (a0 = 2π). A lifting surface has a slightly smaller δ; common practice, no source.
    found = totals(rectangle(aspect), 3.0)
    delta = 1.0 / found["span_efficiency_unblown"] - 1.0
    assert published - 0.06 < delta < published
    assert delta > 0.3 * published


@pytest.mark.parametrize("aspect", [0.1, 0.2])
def test_slender_rectangular_wing(aspect):
    # R. T. Jones (1946), NACA Report 835: CLα → π A/2. Tag: recalled and recomputed.
    assert_allclose(slope(rectangle(aspect)), 0.5 * math.pi * aspect, rtol=0.01)


def test_slender_delta_wing():
    # R. T. Jones (1946), NACA Report 835: CLα → π A/2, pressure centre → 2/3 of the root chord.
    # At A = 0.1 an independent 40 x 20 lattice gives 0.977 and 0.659; both limits within 4 %.
    half = 0.025
    delta = [{"y": 0.0, "chord": 1.0}, {"y": half, "x": 0.999, "chord": 0.001}]
    found = totals(delta, SMALL, model=grid(16, 24))
    aspect = (2.0 * half) ** 2 / found["reference_area"]
    ratio = found["CL"] / math.radians(SMALL) / (0.5 * math.pi * aspect)
    centre = -found["C_pitch"] * found["reference_chord"] / found["CL"]
    assert 0.96 < ratio < 1.0
    assert 0.64 < centre < 2.0 / 3.0
    # Slender wings carry elliptic loading across the span whatever the planform.
    assert_allclose(found["span_efficiency_unblown"], 1.0, atol=0.01)


@pytest.mark.parametrize(
    ("airfoil", "zero_lift"),
    [
        # Thin-aerofoil values recomputed (Abbott & von Doenhoff 1959, ch. 4-6), deg.
        ("naca2412", -2.0772),
        ("naca4412", -4.1545),
        ("naca23012", -1.0936),
    ],
)
def test_camber_shifts_the_lift_curve(airfoil, zero_lift):
    # A cambered wing of high aspect ratio has its section's angle of no lift; 16 rows resolve
    # the camber line near the nose.
    model = grid(16, 16)
    wing = rectangle(20.0, airfoil=airfoil)
    at = [totals(wing, alpha, model=model)["CL"] for alpha in (-1.0, 1.0)]
    found = -1.0 - at[0] * 2.0 / (at[1] - at[0])
    assert_allclose(found, zero_lift, rtol=0.03)


@pytest.mark.parametrize("aspect", [8.0, 20.0])
def test_linear_washout_of_an_elliptic_wing(aspect):
    # CL = CLα (4/π) ∫ α(η) √(1 − η²) dη: exact for the elliptic lifting line (Glauert 1926, ch.
    # XI); twist ∝ η counts 4/(3π) = 0.424413 of its tip value.
    plain = totals(elliptic(aspect), 1.0)["CL"]
    washed = totals(elliptic(aspect, twist=lambda eta: eta), 0.0)["CL"]
    assert_allclose(washed / plain, 4.0 / (3.0 * math.pi), rtol=2e-3)


def test_inner_incidence_of_an_elliptic_wing():
    # Same formula, unit incidence over 0.6 of the span: (2/π)(asin f + f √(1 − f²)) = 0.71524.
    # A flap over all of the chord there is out of the flap's range, so twist steps over 1 % of the
    # span instead, which shifts the factor by far less than the tolerance.
    def step(eta):
        return float(np.clip((0.605 - eta) / 0.01, 0.0, 1.0))

    stations = elliptic(20.0, 201, twist=step)
    plain = totals(elliptic(20.0, 201), 1.0, model=grid(4, 64))["CL"]
    found = totals(stations, 0.0, model=grid(4, 64))["CL"]
    assert_allclose(found / plain, 0.71524, rtol=5e-3)


def test_twist_and_incidence_superpose():
    wing = tapered(8.0, 0.5)
    twisted = [wing[0], {**wing[1], "twist": -3.0}]
    alone = totals(wing, 4.0)["CL"]
    both = totals(twisted, 4.0)["CL"]
    none = totals(twisted, 0.0)["CL"]
    # Linear in the normal velocities, which go with sines of small angles.
    assert_allclose(both, alone + none, rtol=3e-3)
    assert none < 0.0


def test_upside_down_camber_and_incidence_turn_the_lift_round():
    # Symmetric sections: lift is odd in incidence, induced drag even.
    up, down = totals(tapered(6.0, 0.6), 4.0), totals(tapered(6.0, 0.6), -4.0)
    for key in ("CL", "C_pitch"):
        assert_allclose(up[key], -down[key], rtol=1e-12)
    assert_allclose(up["CD_induced"], down["CD_induced"], rtol=1e-12)
