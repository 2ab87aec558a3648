"""Mirror, scale, folding and the two ways to find drag, with slipstream edges."""

import numpy as np
import pytest
from edge_scenes import COARSE, blade, jet, scene
from numpy.testing import assert_allclose

from blownwing import Case, solve
from blownwing.case.parts import ModelOptions

NAMES = ("CL", "CD_induced", "CD_induced_farfield", "C_pitch")
EXACT = {**COARSE, "tolerance": 1e-12}


@pytest.mark.parametrize(
    "one", [jet(0.5, 1.5, y=2.0, along=3.0), jet(0.4, 2.0, y=3.9), blade(2.4, spin="outboard_up")]
)
def test_mirrored_cases_have_mirrored_results(one):
    one = {**one, "mirror": False}
    x, y, z = one["position"]
    star = solve(scene([one], 5.0, model=EXACT))
    port = solve(scene([{**one, "position": [x, -y, z]}], 5.0, model=EXACT))
    for name in ("lift", "drag", "CL", "CD_induced", "CD_induced_farfield", "C_pitch"):
        assert_allclose(star.totals[name], port.totals[name], rtol=1e-8)
    for name in ("side_force", "CY", "C_roll", "C_yaw"):
        assert_allclose(star.totals[name], -port.totals[name], rtol=1e-8, atol=1e-9)
    assert_allclose(star.strips["cl"], port.strips["cl"][::-1], rtol=1e-8, atol=1e-10)
    assert abs(star.totals["C_roll"]) > 1e-4


@pytest.mark.parametrize(
    "one", [jet(0.5, 1.5, y=2.0, along=3.0), jet(0.5, 2.0, along=5.0), blade(4.0)]
)
def test_folded_and_whole_span_agree(one):
    """A roll rate of next to nothing forbids folding and changes nothing else.

    Tubes on the plane of symmetry have twice as many panels when they are folded; they are the
    same panels where the wing cuts them in the middle.
    """
    half = scene([one], 5.0, model=EXACT)
    around = ModelOptions().jet_around * (2 if one["position"][1] == 0.0 else 1)
    whole = scene([one], 5.0, model={**EXACT, "jet_around": around}, roll_rate=1e-12)
    assert half.is_symmetric and not whole.is_symmetric
    folded, full = solve(half), solve(whole)
    # A half tube's arc has a polynomial of its own, of half the degree.
    close = 1e-7 if one["position"][1] else 3e-4
    for name in NAMES:
        assert_allclose(folded.totals[name], full.totals[name], rtol=close)
    assert_allclose(folded.strips["cl"], full.strips["cl"], rtol=close, atol=1e-9)
    for name in ("CY", "C_roll", "C_yaw"):
        assert abs(full.totals[name]) < 1e-8


def scaled(size, speed):
    """A swept cambered wing with a disc of given Tc; lengths × size, speeds × speed."""
    v = 30.0 * speed
    thrust = 0.8 * 0.5 * 1.2 * v * v * np.pi * (0.4 * size) ** 2
    return Case.from_tables(
        {
            "flow": {"airspeed": v, "alpha": 5.0, "density": 1.2},
            "wing": {
                "stations": [
                    {"y": 0.0, "chord": size, "airfoil": "naca2412"},
                    {"y": 4.0 * size, "x": 0.5 * size, "z": 0.2 * size, "chord": 0.7 * size},
                ],
            },
            "propellers": [
                {
                    "name": "disc",
                    "kind": "disc",
                    "position": [-0.7 * size, 2.0 * size, 0.1 * size],
                    "diameter": 0.8 * size,
                    "thrust": thrust,
                    "mirror": True,
                }
            ],
            "model": {"compressibility": False, **EXACT},
        }
    )


@pytest.mark.parametrize(("size", "speed"), [(3.0, 1.0), (1.0, 2.0), (0.1, 0.5)])
def test_coefficients_do_not_depend_on_size_or_speed(size, speed):
    small, large = solve(scaled(1.0, 1.0)), solve(scaled(size, speed))
    for name in NAMES:
        assert_allclose(large.totals[name], small.totals[name], rtol=1e-10)
    factor = (size * speed) ** 2
    assert_allclose(large.totals["lift"], factor * small.totals["lift"], rtol=1e-10)
    # Control: the disc does something.
    assert small.totals["CL"] > 1.01 * small.totals["CL_unblown"]


@pytest.mark.parametrize("ratio", [pytest.param(1.25, marks=pytest.mark.slow), 2.0])
@pytest.mark.parametrize(("radius", "y"), [(0.25, 2.0), (0.5, 2.0), (1.0, 0.0), (0.5, 3.9)])
@pytest.mark.parametrize("along", [0.0, 5.0])
def test_induced_drag_near_and_far(radius, y, ratio, along):
    # Trefftz plane with the tubes' far ends (Munk 1921, NACA Report 121, for the wake).
    found = solve(scene([jet(radius, ratio, y=y, along=along)], 5.0)).totals
    assert_allclose(found["CD_induced"], found["CD_induced_farfield"], rtol=0.03)
    if along and radius >= 0.5:
        assert found["CD_induced"] > 1.02 * found["CD_induced_unblown"]
