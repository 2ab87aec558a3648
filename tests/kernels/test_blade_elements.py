"""The blade-element kernel: closure over random states, published branches, limits."""

import math
from pathlib import Path

import numba
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.interpolate import CubicHermiteSpline
from scipy.optimize import brentq

from blownwing.airfoil.library import section_for
from blownwing.airfoil.section import ALPHA_GRID
from blownwing.kernels import blade as kernel

SECTIONS = Path(__file__).parents[2] / "shared" / "sections"


def packed(name="cambered_4412.csv", level=1):
    table = section_for(name, SECTIONS)
    return table.values[level : level + 1], table.peaks[level : level + 1]


def random_states(n, seed, pitch=90.0, inflow=(-100.0, 150.0), rpm=12000.0):
    rng = np.random.default_rng(seed)
    r = rng.uniform(0.15, 0.999, n)
    blades = rng.integers(2, 8, n)
    return {
        "axial": rng.uniform(*inflow, n),
        "tangential": rng.uniform(0.0, rpm, n) * math.pi / 30.0 * r,
        "twist": np.radians(rng.uniform(-pitch, pitch, n)),
        "solidity": blades * rng.uniform(0.02, 0.25, n) / (2.0 * math.pi * r),
        "tip": 0.5 * blades * (1.0 - r) / r,
        "hub": 0.5 * blades * (r - 0.14) / 0.14,
    }


def solved(states, polar, peaks, xtol=1e-12):
    n = len(states["axial"])
    out = np.full((9, n), np.nan)
    kernel.solve_elements(*states.values(), polar, peaks, 0, 0.0, 1.0, xtol, out)
    return dict(
        zip(("phi", "w", "u", "v", "cl", "cd", "loss", "worst", "evaluations"), out, strict=True)
    )


def thrust_law(a, loss):
    """Momentum and empirical thrust coefficient (on the undisturbed flow) of a retarding disc."""
    buhl = 8 / 9 + (4 * loss - 40 / 9) * a + (50 / 9 - 4 * loss) * a**2
    end = 2 + (60 / 9 - 4 * loss) * (a - 1)
    return np.select(
        [a <= 0.4, a <= 1.0],
        [4 * loss * a * (1 - a), buhl],
        np.maximum(end, 4 * loss * a * (a - 1)),
    )


@pytest.mark.parametrize("name", ["cambered_4412.csv", "low_reynolds_cambered.csv"])
def test_no_state_fails(name):
    # 1e5 states, each checked against both momentum equations written out independently here.
    states = random_states(100_000, seed=7)
    s = solved(states, *packed(name))
    assert np.isfinite([*s.values()]).all()
    assert s["worst"].max() < 1e-9
    speed = np.hypot(states["axial"], states["tangential"])
    assert_allclose(s["w"] * np.sin(s["phi"]), states["axial"] + s["u"], atol=1e-8 * speed.max())
    assert_allclose(
        s["w"] * np.cos(s["phi"]), states["tangential"] - s["v"], atol=1e-8 * speed.max()
    )
    assert s["w"].min() > 0.0
    cn = s["cl"] * np.cos(s["phi"]) - s["cd"] * np.sin(s["phi"])
    ct = s["cl"] * np.sin(s["phi"]) + s["cd"] * np.cos(s["phi"])
    load = states["solidity"] * s["w"] ** 2
    # the reaction turns the air against the force
    assert_allclose(s["u"] * ct, s["v"] * cn, atol=1e-9 * speed.max())
    # thrust = momentum, branch by branch
    through = states["axial"] + s["u"]
    a = -s["u"] / states["axial"]
    floor = np.abs(s["phi"] - np.pi * np.round(s["phi"] / np.pi)) < 2 * kernel.FLOW_FLOOR
    empirical = (a > 0.4) & ~floor
    ordinary = (a <= 0.4) & ~floor
    assert ordinary.sum() > 60_000
    assert empirical.sum() > 3_000
    assert_allclose(
        (load * cn)[ordinary],
        (4 * s["loss"] * np.abs(through) * s["u"])[ordinary],
        rtol=1e-6,
        atol=1e-7 * speed.max() ** 2,
    )
    expected = thrust_law(a, s["loss"]) * states["axial"] ** 2
    assert_allclose(
        np.abs(load * cn)[empirical], expected[empirical], rtol=1e-5, atol=1e-7 * speed.max() ** 2
    )


@pytest.mark.parametrize("axial", [0.0, 12.0, 40.0])
def test_agrees_with_a_general_root_finder(axial):
    # scipy.optimize.brentq on the thrust and torque balance with induction factors removed:
    # textbook form sin φ/cos φ against (V + u)/(Ωr − v), ordinary working states only; lift by
    # SciPy's cubic through values and slopes.
    polar, peaks = packed()
    lift = CubicHermiteSpline(ALPHA_GRID, polar[0, :, 0], polar[0, :, 3])
    states = random_states(40, seed=3, pitch=0.0, rpm=0.0)
    states["axial"][:] = axial
    states["tangential"][:] = 90.0
    states["twist"][:] = math.atan2(axial, 90.0) + np.radians(
        np.random.default_rng(5).uniform(4.0, 9.0, 40)
    )
    s = solved(states, polar, peaks)
    for i in range(40):
        sigma, tip, hub, twist = (states[k][i] for k in ("solidity", "tip", "hub", "twist"))

        def balance(phi, sigma=sigma, tip=tip, hub=hub, twist=twist):
            cl, cd = lift(twist - phi), np.interp(twist - phi, ALPHA_GRID, polar[0, :, 1])
            loss = np.prod(
                [2 / np.pi * np.arccos(np.exp(-f / abs(math.sin(phi)))) for f in (tip, hub)]
            )
            loss = max(loss, kernel.LOSS_FLOOR)
            k = sigma * (cl * math.cos(phi) - cd * math.sin(phi)) / (4 * loss * math.sin(phi))
            h = sigma * (cl * math.sin(phi) + cd * math.cos(phi)) / (4 * loss * math.sin(phi))
            return (math.sin(phi) - k) * 90.0 - (math.cos(phi) + h) * axial

        assert_allclose(s["phi"][i], brentq(balance, 1e-3, 1.2, xtol=1e-13), atol=1e-9)


@pytest.mark.parametrize(
    ("a", "loss", "ct"),
    [
        # Buhl (2005), NREL/TP-500-36834, his formula evaluated; at F = 1 Glauert's fit
        # 0.889 − (0.0203 − (a − 0.143)²)/0.6427 (recalled separately) agrees to 2e-4.
        (0.4, 1.0, 0.9600),
        (0.5, 1.0, 1.0556),
        (0.6, 1.0, 1.1822),
        (0.8, 1.0, 1.5289),
        (0.4, 0.8, 0.7680),
        (0.6, 0.8, 0.9902),
        (0.8, 0.8, 1.4009),
    ],
)
@pytest.mark.parametrize("sine", [0.02, 0.3])
def test_turbulent_windmill_state(a, loss, ct, sine):
    # a disc that retards the flow by a carries the load CT V²/4F at sin φ = (1 − a)V/W
    load = ct / (4 * loss) * (sine / (1 - a)) ** 2
    ratio = kernel.flow_ratio(1.0, sine, -load, loss)
    assert_allclose(ratio, load / (a * sine / (1 - a)), rtol=3e-4)
    # mirrored: reverse thrust in reversed flow
    assert kernel.flow_ratio(-1.0, -sine, load, loss) == ratio


def test_flow_ratio_is_continuous_where_branches_meet():
    for loss in (0.05, 0.5, 1.0):
        for load in (0.003, 0.05, 0.8):
            sines = np.linspace(-0.99, 0.99, 40_001)
            values = np.array([kernel.flow_ratio(1.0, s, -load, loss) for s in sines])
            assert np.abs(np.diff(values)).max() < 1e-3


def test_loss_factor_values():
    # Prandtl's factor, F = (2/π) arccos exp(−f), evaluated independently: B = 3, λ = 0.2, r/R = 0.9
    # with Betz's f = (B/2)(1 − x)√(1 + λ²)/λ gives 0.6918; B = 2, x = 0.8 gives 0.7651.
    for blades, x, value in ((3, 0.9, 0.6918), (2, 0.8, 0.7651)):
        sine = 0.2 / math.sqrt(1.0 + 0.04)
        f = 0.5 * blades * (1.0 - x)
        assert_allclose(kernel.loss_factor(sine, f, math.inf)[0], value, atol=6e-5)
    assert kernel.loss_factor(0.3, math.inf, math.inf) == (1.0, 0.0)
    assert kernel.loss_factor(0.9, 1e-9, math.inf)[0] == kernel.LOSS_FLOOR


def test_slope_of_the_residual_is_its_derivative():
    # where momentum theory holds and no table knot is near
    polar, peaks = packed()
    rng = np.random.default_rng(11)
    checked = 0
    for _ in range(200):
        phi0, delta = rng.uniform(0.05, 0.5), rng.uniform(0.01, 0.2)
        twist = phi0 + delta + math.radians(0.3125 + 0.5 * rng.integers(-5, 20))
        rest = (
            phi0,
            math.sin(phi0),
            math.cos(phi0),
            twist,
            rng.uniform(0.02, 0.3),
            rng.uniform(0.05, 3.0),
            rng.uniform(0.05, 3.0),
            polar,
            peaks,
            0,
            0.0,
            1.0,
        )
        value = kernel.residual(delta, *rest)
        if value[4] < 4.0 * value[5] * abs(value[6]) * (1 - 1e-12):
            continue
        h = 1e-6
        numeric = (kernel.residual(delta + h, *rest)[0] - kernel.residual(delta - h, *rest)[0]) / (
            2 * h
        )
        assert_allclose(value[1], numeric, rtol=1e-6, atol=1e-8)
        checked += 1
    assert checked > 150


def test_no_lift_means_no_induction():
    polar, peaks = packed()
    polar = polar.copy()
    polar[0, :, 1] = 1e-12
    near = np.abs(ALPHA_GRID) < math.radians(10.0)
    zero = np.interp(0.0, polar[0, near, 0], ALPHA_GRID[near])
    states = random_states(200, seed=2, inflow=(5.0, 40.0), pitch=0.0)
    states["tangential"] += 20.0
    states["twist"] = np.arctan2(states["axial"], states["tangential"]) + zero
    s = solved(states, polar, peaks)
    assert np.abs(s["u"]).max() < 1e-6
    assert np.abs(s["v"]).max() < 1e-6


def test_still_air_has_no_loads():
    polar, peaks = packed()
    states = {key: np.zeros(1) + 0.3 for key in ("twist", "solidity", "tip", "hub")}
    s = solved({"axial": np.zeros(1), "tangential": np.zeros(1), **states}, polar, peaks)
    assert s["w"][0] == s["u"][0] == s["v"][0] == 0.0


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    axial=st.floats(-80.0, 120.0),
    tangential=st.floats(-60.0, 250.0),
    twist=st.floats(-1.5, 1.5),
    solidity=st.floats(0.01, 0.6),
    scale=st.floats(0.1, 10.0),
)
def test_velocities_scale(axial, tangential, twist, solidity, scale):
    polar, peaks = packed()
    common = (twist, solidity, 0.7, 2.0, polar, peaks, 0, 0.0, 1.0, 0.0, 1e-13)
    one = kernel.element(axial, tangential, *common)
    other = kernel.element(axial * scale, tangential * scale, *common)
    assert_allclose(other[0], one[0], atol=1e-9)
    assert_allclose(
        other[3:6],
        scale * np.array(one[3:6]),
        rtol=1e-6,
        atol=1e-8 * scale * math.hypot(axial, tangential) + 1e-12,
    )


def test_mirrored_element_mirrors():
    # axial direction and section turned over: thrust and its induction change sign, torque does not
    polar, peaks = packed()
    turned = polar[:, ::-1].copy()
    turned[..., [0, 2]] *= -1.0
    states = random_states(2000, seed=9)
    one = solved(states, polar, peaks)
    states["axial"] = -states["axial"]
    states["twist"] = -states["twist"]
    other = solved(states, turned, -peaks[:, ::-1])
    same = np.abs(one["phi"] + other["phi"]) < 1e-7
    assert same.mean() > 0.999  # the rest sit on a table knot or on one of several stalled roots
    for key, sign in (("u", -1.0), ("v", 1.0), ("cl", -1.0), ("cd", 1.0)):
        assert_allclose(other[key][same], sign * one[key][same], atol=2e-4)


def test_all_cores_give_the_same_numbers():
    polar, peaks = packed()
    states = random_states(4000, seed=13)
    results = []
    before = numba.get_num_threads()
    numba.set_num_threads(numba.config.NUMBA_NUM_THREADS)
    for solve in (kernel.solve_elements, kernel.solve_elements_parallel):
        out = np.full((9, 4000), np.nan)
        solve(*states.values(), polar, peaks, 0, 0.0, 1.0, 1e-10, out)
        results.append(out)
    numba.set_num_threads(before)
    assert_allclose(results[1], results[0], rtol=1e-13, atol=1e-13)
    assert np.isfinite(results[0]).all()


def test_a_neighbour_s_angle_leads_to_the_same_root():
    polar, peaks = packed()
    rng = np.random.default_rng(21)
    saved = 0
    for _ in range(300):
        axial, tangential = rng.uniform(0.0, 40.0), rng.uniform(40.0, 150.0)
        twist = math.atan2(axial + 5.0, tangential) + rng.uniform(-0.02, 0.08)
        common = (axial, tangential, twist, rng.uniform(0.05, 0.3), 0.8, 1.5, polar, peaks)
        cold = kernel.element(*common, 0, 0.0, 1.0, 0.0, 1e-12)
        warm = kernel.element(*common, 0, 0.0, 1.0, cold[11] + rng.normal(0.0, 1e-5), 1e-12)
        wrong = kernel.element(*common, 0, 0.0, 1.0, -3.0, 1e-12)
        assert_allclose(warm[0], cold[0], atol=1e-11)
        assert wrong == cold
        saved += cold[10] - warm[10]
    assert saved > 150  # evaluations in 300 elements
