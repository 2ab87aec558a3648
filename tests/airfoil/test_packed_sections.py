"""Tables of many strips at once, against single tables and exact results."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from blownwing.airfoil.discrete import lattice_line
from blownwing.airfoil.library import section_for
from blownwing.airfoil.packed import coefficients, packed, packed_coefficients
from blownwing.errors import InputError, SolveError

NAMES = ("naca2412", "naca0012_tripped_80", "ls1-0417_smooth")
PACK = packed([section_for(name) for name in NAMES])
FULL = np.linspace(-math.pi, math.pi, 1001)


def alone(index, alpha, reynolds, mach=0.0):
    return packed_coefficients(PACK, index, index, 0.0, alpha, reynolds, mach)


@pytest.mark.parametrize("index", range(len(NAMES)))
@pytest.mark.parametrize(("reynolds", "mach"), [(3e5, 0.0), (2.5e6, 0.5), (9e6, 0.0), (1e3, 0.0)])
def test_agrees_with_the_single_table(index, reynolds, mach):
    single = coefficients(section_for(NAMES[index]), FULL, reynolds, mach)
    many = alone(index, FULL, np.full(FULL.shape, reynolds), mach)
    # in the steep fall beyond the peak the cubic of the pack and the single table's chord differ
    for one, value in zip(single, (many.cl, many.cd, many.cm), strict=True):
        assert_allclose(value, one, atol=6e-3)


@given(alpha=st.floats(-3.1, 3.1), reynolds=st.floats(5e4, 2e7), share=st.floats(0.0, 1.0))
def test_slope_is_the_derivative(alpha, reynolds, share):
    step = 1e-6
    at = alpha + np.array([-step, 0.0, step])
    values = packed_coefficients(PACK, 0, 1, share, at, reynolds)
    steps = np.diff(values.cl) / step
    # a cubic: the slope is continuous, its own slope not
    assert_allclose(values.lift_slope[1], steps.mean(), atol=2e-2)


def test_slope_is_continuous():
    values = alone(0, np.linspace(-0.6, 0.6, 200001), 9e6)
    jumps = np.abs(np.diff(values.lift_slope)).max()
    assert jumps < 0.05  # of 6 per rad, over steps of 0.0003 deg


@given(share=st.floats(0.0, 1.0), alpha=st.floats(-0.5, 0.5), reynolds=st.floats(5e4, 2e7))
def test_sections_mix_linearly(share, alpha, reynolds):
    mixed = packed_coefficients(PACK, 0, 2, share, alpha, reynolds)
    first, second = alone(0, alpha, reynolds), alone(2, alpha, reynolds)
    for name in ("cl", "cd", "cm", "lift_slope"):
        expected = (1.0 - share) * getattr(first, name) + share * getattr(second, name)
        assert_allclose(getattr(mixed, name), expected, atol=1e-12)


def test_strips_of_different_tables():
    index = np.array([2, 0, 1])
    alpha, reynolds = np.array([0.1, -0.05, 0.3]), np.array([1e6, 3e6, 6e6])
    together = packed_coefficients(PACK, index, index, np.zeros(3), alpha, reynolds, np.zeros(3))
    for k in range(3):
        single = alone(int(index[k]), alpha[k], reynolds[k])
        assert_allclose(together.cl[k], single.cl, rtol=1e-12)
        assert_allclose(together.cd[k], single.cd, rtol=1e-12)


def test_prandtl_glauert_grows_slope_but_not_the_peak():
    # Glauert (1928), "The effect of compressibility on the lift of an aerofoil": 1/√(1 − M²).
    still, moving = alone(0, 0.02, 9e6), alone(0, 0.02, 9e6, 0.6)
    assert_allclose(moving.cl, still.cl / 0.8, rtol=1e-12)
    assert_allclose(moving.lift_slope, still.lift_slope / 0.8, rtol=1e-12)
    assert_allclose(alone(0, 0.02, 9e6, 0.99).cl, still.cl / 0.6, rtol=1e-12)
    at_peak = alone(0, math.radians(16.75), 9e6, 0.3)
    assert_allclose(at_peak.cl, 1.68, atol=1e-3)
    assert at_peak.lift_slope == 0.0


@pytest.mark.parametrize(
    ("aspect", "incidence"),
    # An elliptic untwisted wing with any section has CL(α) = cl(α − CL/πA) in lifting-line theory;
    # with the readings of Ladson (1988), NASA TM 4074, 80 grit, its largest CL is 1.6116 at these
    # incidences (deg; COMPUTED from the readings).
    [(6.0, 22.03), (8.0, 20.80), (10.0, 20.07)],
)
def test_elliptic_wing_stalls_where_theory_says(aspect, incidence):
    effective = np.radians(np.arange(10.0, 20.0, 0.005))
    lift = alone(1, effective, 6e6).cl
    alpha = effective + lift / (math.pi * aspect)
    peak = int(np.argmax(lift))
    assert_allclose(lift[peak], 1.6116, rtol=1e-3)
    assert_allclose(np.degrees(alpha[peak]), incidence, atol=0.05)


def test_blade_tables_join():
    coarse = section_for("naca4412")
    pack = packed([coarse, section_for("naca4412")])
    value = packed_coefficients(pack, 0, 0, 0.0, 0.05, 1e6)
    assert_allclose(value.cl, coefficients(coarse, 0.05, 1e6)[0], atol=1e-4)


def test_wrong_input_is_refused():
    with pytest.raises(InputError, match="found none"):
        packed([])
    for alpha, reynolds in ((math.nan, 1e6), (0.1, math.inf)):
        with pytest.raises(SolveError, match="not finite"):
            alone(0, alpha, reynolds)
    # an onset at rest is no error: the lowest Reynolds number holds
    assert_allclose(alone(0, 0.1, 0.0).cl, alone(0, 0.1, 1e5).cl)


@pytest.mark.parametrize("panels", [1, 2, 5, 20])
def test_equal_panels_are_exact(panels):
    # James (1972), "On the remarkable accuracy of the vortex lattice method", Computer Methods in
    # Applied Mechanics and Engineering 1: flat plate 2π and parabolic camber exact; with one panel
    # the parabola too.
    edges = np.linspace(0.0, 1.0, panels + 1)
    x = edges[:-1] + 0.75 * np.diff(edges)
    slope, zero = lattice_line(edges, np.arctan(np.outer(4.0 * (1.0 - 2.0 * x), [0.0, 0.01])))
    assert_allclose(slope, 2.0 * math.pi, rtol=1e-12)
    assert_allclose(np.tan(zero), [0.0, -0.02], atol=1e-12)


def test_a_turned_plate_is_turned():
    edges = 0.5 * (1.0 - np.cos(np.linspace(0.0, math.pi, 9)))
    slope, zero = lattice_line(edges, np.full((8, 2), [0.3, -0.7]))
    assert_allclose(zero, [0.3, -0.7], rtol=1e-12)
    assert_allclose(slope, 2.0 * math.pi, rtol=0.02)
