"""Slipstreams of ideal discs against momentum theory, through the whole solve."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from blownwing import Case, solve
from blownwing.validation.claims import bar

SPEED, DENSITY, DIAMETER = 30.0, 1.2, 1.0
AREA = 0.25 * math.pi * DIAMETER**2


def disc_solution(loading, speed=SPEED, x=-1e4, **flow):
    """A disc of Tc = T/(qA) far ahead of a small wing: undisturbed."""
    thrust = loading * 0.5 * DENSITY * SPEED**2 * AREA
    return solve(
        Case.from_tables(
            {
                "flow": {"airspeed": speed, "density": DENSITY, **flow},
                "wing": {"stations": [{"y": 0.0, "chord": 1.0}, {"y": 3.0, "chord": 1.0}]},
                "propellers": [
                    {
                        "name": "disc",
                        "kind": "disc",
                        "position": [x, 500.0, 0.0],
                        "diameter": DIAMETER,
                        "thrust": thrust,
                    }
                ],
                "model": {"jet_edge": False, "chordwise": 1, "spanwise": 2},
            }
        )
    )


@pytest.mark.parametrize(
    ("loading", "speed_ratio", "radius_ratio"),
    [
        # Vj/V = √(1 + Tc), Rj/R = √((1 + a)/(1 + 2a)), a = (Vj/V − 1)/2 (Rankine-Froude momentum
        # theory, computed). A table entry of 0.95311 at Tc = 0.5 is a misprint: the formula gives
        # 0.95302, and agrees with the other entries.
        (0.5, 1.224744871, 0.953020614),
        (1.0, 1.414213562, 0.923879533),
        (3.0, 2.0, 0.866025404),
        (8.0, 3.0, 0.816496581),
    ],
)
def test_momentum_theory_far_downstream(loading, speed_ratio, radius_ratio):
    a = 0.5 * (math.sqrt(1.0 + loading) - 1.0)
    assert_allclose(speed_ratio, math.sqrt(1.0 + loading), rtol=1e-9)
    assert_allclose(radius_ratio, math.sqrt((1.0 + a) / (1.0 + 2.0 * a)), rtol=1e-9)
    found = disc_solution(loading)
    propeller, tube = found.propellers["disc"], found.slipstreams["disc"]
    induced = propeller["axial_induced"]
    assert_allclose(induced, SPEED * a, rtol=bar("ideal_disc"))
    assert_allclose(found.totals["efficiency"], 2.0 / (1.0 + speed_ratio), rtol=1e-6)
    # Development along the tube: increment vi (1 + x/√(x² + R²)) (McCormick 1967, Aerodynamics of
    # V/STOL Flight, ch. 4, memory; exact on the axis of a uniform vortex tube by integration).
    s = tube["x"] / (0.5 * DIAMETER)
    growth = 1.0 + s / np.sqrt(1.0 + s * s)
    assert_allclose(tube["speed_ratio"], 1.0 + a * growth, rtol=bar("ideal_disc"))
    assert_allclose(
        tube["radius"], 0.5 * DIAMETER * np.sqrt((1.0 + a) / (1.0 + a * growth)), rtol=1e-6
    )
    # Ten radii behind, all but (R/x)²/2 of the growth has happened.
    assert_allclose(tube["speed_ratio"][-1], speed_ratio, rtol=2e-3)
    # Control: the momentum of the far wake, ρ A (V + vi) 2 vi, is the thrust.
    thrust = DENSITY * AREA * SPEED * (1.0 + a) * 2.0 * a * SPEED
    assert_allclose(propeller["thrust"], thrust, rtol=1e-6)


@pytest.mark.parametrize(
    ("distance", "growth"), [(0.0, 1.0), (0.5, 1.44721), (1.0, 1.70711), (2.0, 1.89443)]
)
def test_development_with_distance(distance, growth):
    # Same law at four distances, computed values to five digits.
    found = disc_solution(1.0)
    tube = found.slipstreams["disc"]
    induced = 0.5 * (math.sqrt(2.0) - 1.0)
    at = np.flatnonzero(np.isclose(tube["x"], distance * 0.5 * DIAMETER))
    assert at.size == 1
    assert_allclose((tube["speed_ratio"][at] - 1.0) / induced, growth, atol=6e-6)


def test_static_disc():
    # At rest: vi = √(T/2ρA), P = T vi, far radius R/√2 (momentum theory).
    found = disc_solution(1.0, speed=0.0)
    thrust = 0.5 * DENSITY * SPEED**2 * AREA
    induced = math.sqrt(thrust / (2.0 * DENSITY * AREA))
    assert_allclose(found.propellers["disc"]["axial_induced"], induced, rtol=1e-6)
    assert_allclose(found.totals["power"], thrust * induced, rtol=1e-6)
    tube = found.slipstreams["disc"]
    s = tube["x"] / (0.5 * DIAMETER)
    assert_allclose(
        tube["radius"] / (0.5 * DIAMETER), 1.0 / np.sqrt(1.0 + s / np.sqrt(1.0 + s * s)), rtol=1e-6
    )
    assert_allclose(tube["radius"][-1] / (0.5 * DIAMETER), math.sqrt(0.5), rtol=2e-3)
    assert "speed_ratio" not in tube  # nothing to divide by


def test_dynamic_pressure_of_the_slipstream():
    # q''/q = 1 + Tc (the basis of the coefficients of Kuhn & Draper 1956, NACA Report 1263;
    # computed): the far slipstream's dynamic pressure.
    for loading in (0.25, 4.0):
        tube = disc_solution(loading).slipstreams["disc"]
        induced = tube["speed_ratio"][0] - 1.0
        assert_allclose((1.0 + 2.0 * induced) ** 2, 1.0 + loading, rtol=1e-6)
