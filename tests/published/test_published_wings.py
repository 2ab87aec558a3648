"""Wings against published lattice examples, lifting-surface values, tunnel tests and rules.

Tags: "recomputed" is a published figure recalled and reproduced by an independent calculation;
"memory" is recalled only; "computed" is an independent reference solution, not a published figure.
"""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from blownwing import Case, solve
from blownwing.validation.claims import bar

SPEED = 30.0


def solution(stations, alpha, *, flow=None, compressible=False, model=None, **wing):
    return solve(
        Case.from_tables(
            {
                "flow": {"airspeed": SPEED, "alpha": alpha, **(flow or {})},
                "wing": {"stations": stations, **wing},
                "model": {"compressibility": compressible, **(model or {})},
            }
        )
    )


def totals(stations, alpha, **more):
    return solution(stations, alpha, **more).totals


def swept(chord=0.2, half=0.5):
    return [{"y": 0.0, "chord": chord}, {"y": half, "x": half, "chord": chord}]


def elliptic(aspect):
    angle = np.linspace(0.0, 0.5 * np.pi, 41)
    chord = np.maximum(4.0 / np.pi * np.cos(angle), 1e-3)
    return [
        {"y": float(0.5 * aspect * np.sin(t)), "x": float(-0.25 * c), "chord": float(c)}
        for t, c in zip(angle, chord, strict=True)
    ]


def test_swept_textbook_lattice():
    # Bertin & Cummings, "Aerodynamics for Engineers", worked vortex-lattice example (7.2 in several
    # editions): A = 5, 45° sweep, four equal horseshoes per semispan. Recomputed; legs along x.
    found = solution(swept(), 0.1, model={"chordwise": 1, "spanwise": 4, "spacing": "uniform"})
    alpha = math.radians(0.1)
    assert_allclose(found.totals["CL"] / alpha, 3.443, rtol=bar("textbook_lattice"))  # printed
    assert_allclose(found.totals["CL"] / alpha, 3.44422, rtol=1e-5)  # recomputed
    strength = found.strips["circulation"][4:] / (4.0 * math.pi * 1.0 * SPEED * alpha)
    assert_allclose(strength, [0.027302, 0.028733, 0.028636, 0.024962], rtol=1e-4)
    assert_allclose(strength, [0.0273, 0.0287, 0.0286, 0.0250], atol=5e-5)  # printed
    # Control: other spacing is another lattice.
    other = totals(swept(), 0.1, model={"chordwise": 1, "spanwise": 4, "spacing": "cosine"})
    assert abs(other["CL"] / alpha / 3.443 - 1.0) > 5e-3


def test_swept_wing_converged():
    # Same wing on a fine grid: 3.185 ± 0.003 (computed, two tip treatments agree).
    found = totals(swept(), 0.1, model={"chordwise": 8, "spanwise": 40})
    assert_allclose(found["CL"] / math.radians(0.1), 3.185, atol=0.01)


def test_warren_12():
    # Mason, "Applied Computational Aerodynamics" class notes, ch. 6: CLα 2.743, CMα −3.10 about the
    # apex on S/b = 1. Recomputed: 2.750 and −3.107 extrapolated.
    half = math.sqrt(2.0)
    wing = [{"y": 0.0, "chord": 1.5}, {"y": half, "x": 1.35355 * half, "chord": 0.5}]
    found = totals(wing, 0.1, reference_chord=1.0)
    alpha = math.radians(0.1)
    assert_allclose(found["reference_area"], 2.0 * half, rtol=1e-12)
    assert_allclose(found["CL"] / alpha, 2.743, rtol=bar("warren_12", "slope"))
    assert_allclose(found["C_pitch"] / alpha, -3.10, rtol=bar("warren_12", "moment"))
    # Control: the mean aerodynamic chord 1.0833 as reference misses the published moment.
    assert abs(totals(wing, 0.1)["C_pitch"] / alpha / -3.10 - 1.0) > 0.05


@pytest.mark.parametrize(
    ("aspect", "slope", "centre"),
    [(4, 3.6121, 0.2319), (6, 4.2146, 0.2388), (8, 4.5861, 0.2420), (12, 5.0217, 0.2450)],
)
def test_rectangular_lifting_surfaces(aspect, slope, centre):
    # Flat rectangular wings, two independent extrapolated lattices (computed).
    wing = [{"y": 0.0, "chord": 1.0}, {"y": 0.5 * aspect, "chord": 1.0}]
    found = totals(wing, 0.1)
    assert_allclose(found["CL"] / math.radians(0.1), slope, rtol=1e-3)
    assert_allclose(-found["C_pitch"] / found["CL"], centre, atol=5e-4)
    plain = totals(wing, 0.1, model={"spacing": "uniform", "spanwise": 40})
    assert_allclose(plain["CL"] / math.radians(0.1), slope, rtol=0.01)


@pytest.mark.parametrize(
    ("aspect", "helmbold"), [(4, 3.88322), (6, 4.52866), (8, 4.90576), (12, 5.32266)]
)
def test_helmbold_lies_above_the_lattice(aspect, helmbold):
    # Helmbold's formula as in Anderson, "Aircraft Performance and Design", eq. 2.18a (read there;
    # evaluated for a0 = 2π). A lattice gives 0.93 to 0.985 of it (computed, two digits).
    ratio = 2.0 / aspect
    assert_allclose(2.0 * math.pi / (math.sqrt(1.0 + ratio**2) + ratio), helmbold, rtol=2e-6)
    wing = [{"y": 0.0, "chord": 1.0}, {"y": 0.5 * aspect, "chord": 1.0}]
    slope = totals(wing, 0.1)["CL"] / math.radians(0.1)
    assert 0.925 < slope / helmbold < 0.985


@pytest.mark.parametrize(
    ("aspect", "taper", "sweep", "mach", "formula"),
    [
        (5.0, 1.0, 45.0, 0.0, 3.3605),
        (8.0, 1.0, 0.0, 0.0, 4.9058),
        (8.0, 1.0, 0.0, 0.5, 5.4571),
        (8.0, 1.0, 25.0, 0.6, 5.1964),
    ],
)
def test_sweep_and_mach_trend(aspect, taper, sweep, mach, formula):
    # USAF DATCOM 4.1.3.2 (Polhamus' form), memory; lattices agree within 8 %.
    half = 0.25 * aspect * (1.0 + taper)
    tip = half * math.tan(math.radians(sweep))
    wing = [{"y": 0.0, "chord": 1.0}, {"y": half, "x": tip, "chord": taper}]
    found = totals(wing, 0.1, flow={"mach": mach}, compressible=True)
    assert_allclose(found["CL"] / math.radians(0.1), formula, rtol=0.08)


@pytest.mark.parametrize(("alpha", "lift"), [(2.1, 0.121), (4.2, 0.238), (6.3, 0.350)])
def test_measured_swept_wing(alpha, lift):
    # Weber & Brebner (1958), ARC R&M 2882, Tables 3-4: A = 5, 45°, RAE 101 12 %, no twist; memory.
    assert_allclose(totals(swept(), alpha)["CL"], lift, rtol=bar("swept_wing_measured"))


@pytest.mark.parametrize(
    ("height", "factor"),
    [(0.10, 0.5158), (0.15, 0.6295), (0.20, 0.7095), (0.25, 0.7678), (0.50, 0.9065), (1.0, 0.9713)],
)
def test_ground_effect_on_induced_drag(height, factor):
    # 1 − σ of exact elliptic images at the same lift (computed; Wieselsberger, NACA TM 77, 1922,
    # fits it within 0.0012 for 0.05 ≤ h/b ≤ 0.25, recomputed). Far field, elliptic wing.
    aspect = 8.0
    free = totals(elliptic(aspect), 2.0)
    near = totals(elliptic(aspect), 2.0, flow={"ground_height": height * aspect})
    ratio = (near["CD_induced_farfield"] / near["CL"] ** 2) / (
        free["CD_induced_farfield"] / free["CL"] ** 2
    )
    assert_allclose(ratio, factor, atol=bar("ground_effect"))
    if height <= 0.25:
        fit = 1.0 - (1.0 - 1.32 * height) / (1.05 + 7.4 * height)
        assert_allclose(ratio, fit, atol=0.01)
    assert near["CL"] > free["CL"]


@pytest.mark.parametrize("mach", [0.3, 0.6])
@pytest.mark.parametrize("sweep", [0.0, 30.0])
def test_goethert_rule(mach, sweep):
    # Göthert (1940): the wing with y' = βy and tan Λ' = tan Λ/β has CLα' with CLα(M) = CLα'/β
    # (rule from memory, values computed here on both sides).
    beta = math.sqrt(1.0 - mach**2)
    half = 3.0
    tip = half * math.tan(math.radians(sweep))
    wing = [{"y": 0.0, "chord": 1.0}, {"y": half, "x": tip, "chord": 0.6}]
    thin = [{"y": 0.0, "chord": 1.0}, {"y": beta * half, "x": tip, "chord": 0.6}]
    fast = totals(wing, 0.1, flow={"mach": mach}, compressible=True)
    slow = totals(thin, 0.1)
    for key in ("CL", "C_pitch", "CD_induced", "CD_induced_farfield"):
        assert_allclose(fast[key], slow[key] / beta, rtol=1e-10)
    # Control: 1/β on the three-dimensional slope is wrong.
    incompressible = totals(wing, 0.1)
    assert fast["CL"] < 0.99 * incompressible["CL"] / beta
    # Switched off, Mach changes nothing.
    off = totals(wing, 0.1, flow={"mach": mach})
    assert_allclose(off["CL"], incompressible["CL"], rtol=1e-14)


def test_compressibility_limits():
    # Very slender wings feel no Mach number, very long ones all of 1/β (same rule).
    def slope(aspect, mach):
        wing = [{"y": 0.0, "chord": 1.0}, {"y": 0.5 * aspect, "chord": 1.0}]
        return totals(wing, 0.1, flow={"mach": mach}, compressible=True)["CL"]

    beta = 0.8
    assert_allclose(slope(0.1, 0.6), slope(0.1, 0.0), rtol=5e-3)
    ratio = slope(200.0, 0.6) / slope(200.0, 0.0)
    assert_allclose(ratio, 1.0 / beta, rtol=5e-3)
