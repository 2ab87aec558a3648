"""Similarity and symmetry that hold for any case: size, speed, density, mirror, sums."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from blownwing import Case, solve

PROFILE = settings(max_examples=12, deadline=None, derandomize=True)
COEFFICIENTS = ("CL", "CL_unblown", "CD_induced", "CD_induced_farfield", "C_pitch")


def disc_case(size=1.0, speed=1.0, density=1.2, alpha=5.0, loading=0.6, place=0.5, port=False):
    """A tapered cambered wing with one disc; thrust by Tc = T/(qA), lengths × size, V × speed."""
    radius, v = 0.4 * size, 30.0 * speed
    thrust = loading * 0.5 * density * v * v * np.pi * radius**2
    side = -1.0 if port else 1.0
    return Case.from_tables(
        {
            "flow": {"airspeed": v, "alpha": alpha, "density": density},
            "wing": {
                "reference_point": [0.25 * size, 0.0, 0.0],
                "stations": [
                    {"y": 0.0, "chord": size, "airfoil": "naca2412"},
                    {"y": 4.0 * size, "x": 0.5 * size, "z": 0.2 * size, "chord": 0.7 * size},
                ],
            },
            "propellers": [
                {
                    "name": "disc",
                    "kind": "disc",
                    "position": [-0.7 * size, side * 4.0 * place * size, 0.1 * size],
                    "diameter": 2.0 * radius,
                    "thrust": thrust,
                }
            ],
            "model": {
                "compressibility": False,
                "jet_edge": False,
                "chordwise": 3,
                "spanwise": 10,
                "tolerance": 1e-12,
            },
        }
    )


@PROFILE
@given(
    size=st.floats(0.05, 20.0),
    speed=st.floats(0.1, 6.0),
    density=st.floats(0.1, 5.0),
    loading=st.floats(0.0, 8.0),
)
def test_coefficients_do_not_depend_on_size_speed_or_density(size, speed, density, loading):
    # Potential flow and momentum theory have no scale of their own.
    small = solve(disc_case(loading=loading))
    large = solve(disc_case(size=size, speed=speed, density=density, loading=loading))
    for name in COEFFICIENTS:
        assert_allclose(large.totals[name], small.totals[name], rtol=1e-10, atol=1e-12)
    assert_allclose(large.strips["cl"], small.strips["cl"], rtol=1e-9, atol=1e-11)
    efficiency = [one.totals.get("efficiency", 0.0) for one in (large, small)]
    assert_allclose(*efficiency, rtol=1e-10, atol=1e-12)
    factor = density / 1.2 * (size * speed) ** 2
    assert_allclose(large.totals["lift"], factor * small.totals["lift"], rtol=1e-10)


@PROFILE
@given(alpha=st.floats(-6.0, 10.0), loading=st.floats(0.0, 5.0), place=st.floats(0.1, 1.0))
def test_mirrored_cases_have_mirrored_results(alpha, loading, place):
    star = solve(disc_case(alpha=alpha, loading=loading, place=place))
    port = solve(disc_case(alpha=alpha, loading=loading, place=place, port=True))
    for name in COEFFICIENTS:
        assert_allclose(star.totals[name], port.totals[name], rtol=1e-9, atol=1e-11)
    for name in ("CY", "C_roll", "C_yaw"):
        assert_allclose(star.totals[name], -port.totals[name], rtol=1e-8, atol=1e-11)
    assert_allclose(star.strips["cl"], port.strips["cl"][::-1], rtol=1e-8, atol=1e-11)


@PROFILE
@given(loading=st.floats(0.05, 5.0), more=st.floats(1.2, 3.0), place=st.floats(0.2, 0.9))
def test_more_thrust_means_more_lift(loading, more, place):
    # A jet along the chord of a wing at incidence adds speed and so lift.
    weak = solve(disc_case(loading=loading, place=place)).totals
    strong = solve(disc_case(loading=more * loading, place=place)).totals
    assert strong["CL"] > weak["CL"] > weak["CL_unblown"]
    assert strong["efficiency"] < weak["efficiency"] < 1.0


@PROFILE
@given(alpha=st.floats(-8.0, 8.0), taper=st.floats(0.3, 1.0), sweep=st.floats(-0.5, 0.8))
def test_unblown_lift_is_linear_in_the_sine_of_incidence(alpha, taper, sweep):
    def lift(angle):
        wing = [{"y": 0.0, "chord": 1.0}, {"y": 3.0, "x": 3.0 * sweep, "chord": taper}]
        case = Case.from_tables(
            {
                "flow": {"airspeed": 20.0, "alpha": angle},
                "wing": {"stations": wing},
                "model": {"compressibility": False, "chordwise": 2, "spanwise": 6},
            }
        )
        return solve(case)

    found, unit = lift(alpha), lift(1.0)
    ratio = np.sin(np.radians(alpha)) / np.sin(np.radians(1.0))
    assert_allclose(found.strips["circulation"], ratio * unit.strips["circulation"], atol=1e-10)
    assert found.totals["CD_induced_farfield"] >= 0.0
