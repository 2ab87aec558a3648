"""Slipstream edges in limits with known answers: none, wide, open jet, lifting line."""

import numpy as np
import pytest
from edge_scenes import COARSE, blade, jet, plate, scene
from koning_line import loaded_line
from numpy.testing import assert_allclose

from blownwing import solve

NAMES = ("CL", "CD_induced", "CD_induced_farfield", "C_pitch")


def unblown(name):
    return "CD_induced_farfield_unblown" if name == "CD_induced_farfield" else f"{name}_unblown"


def test_a_jet_at_free_stream_speed_changes_nothing():
    jets = [jet(0.5, 1.0, y=2.5), jet(0.4, 1.0, name="middle"), jet(0.3, 1.0, y=1.2, name="inner")]
    found = solve(scene(jets, alpha=4.0))
    for name in NAMES:
        assert_allclose(found.totals[name], found.totals[unblown(name)], rtol=1e-10)
    assert_allclose(found.strips["cl"], found.strips["cl_unblown"], rtol=1e-10)
    # Control: a tenth of a per cent more speed shows.
    jets[0] = jet(0.5, 1.001, y=2.5)
    assert solve(scene(jets, alpha=4.0)).totals["CL"] > (1.0 + 1e-5) * found.totals["CL"]


def test_a_stopped_propeller_and_a_disc_without_thrust_change_nothing():
    for propeller in (blade(rpm=0.0), jet(y=2.0, thrust=0.0)):
        found = solve(scene([propeller], alpha=4.0, model=COARSE))
        for name in NAMES:
            assert_allclose(found.totals[name], found.totals[unblown(name)], rtol=1e-10)


@pytest.mark.parametrize("ratio", [1.25, 2.0])
def test_a_wing_wholly_inside_a_wide_jet_from_far_upstream(ratio):
    # Lift on the jet's dynamic pressure, × μ². What is left falls with R⁻².
    error = []
    for radius in (20.0, 40.0):
        wide = jet(radius, ratio, ahead=2.0, along=3.0, nozzle=True)
        totals = solve(scene([wide], alpha=3.0, model=COARSE)).totals
        lift = totals["lift"] / totals["lift_unblown"]
        assert_allclose(lift, ratio**2, rtol=0.01)
        drag = totals["CD_induced"] / totals["CD_induced_unblown"]
        assert_allclose(drag, ratio**2, rtol=0.01)
        error.append(lift / ratio**2 - 1.0)
    assert_allclose(error[0] / error[1], 4.0, rtol=0.2)


def open_jet_factor(aspect, size):
    """δ of Δα = δ (S/C) CL; size: span over jet diameter."""
    radius = 0.5 * aspect / size
    wing = plate(0.5 * aspect, radius, 0, 16, rows=6, ahead=2.0 * radius)
    width = wing.lattice.width
    free, jet_bound = (
        2.0 * np.sum(wing.strip_strengths(m) * width) / width.sum() for m in (1.0, np.inf)
    )
    section = np.pi * wing.radius**2
    return (jet_bound / free - 1.0) / jet_bound * section / aspect


@pytest.mark.parametrize("aspect", [4.0, 8.0])
def test_open_jet_wind_tunnel(aspect):
    # Small wing in a circular open jet: δ = −0.125 (Glauert 1933, ARC R&M 1566); finite spans come
    # out larger, −0.1250 (1 + 3/16 ξ⁴) for an elliptic lifting line of ξ = span/diameter.
    factor = np.array([open_jet_factor(aspect, size) for size in (0.4, 0.2, 0.1)])
    assert np.all(np.diff(np.abs(factor)) < 0.0)
    assert np.all(factor < -0.125)
    # The rest is of first order in c/R: two sizes extrapolate to the classical value.
    assert_allclose(2.0 * factor[2] - factor[1], -0.125, rtol=0.01)
    assert_allclose(factor[2], -0.125, rtol=0.03)


@pytest.mark.parametrize("ratio", [1.25, 1.5, 2.0])
def test_the_lattice_tends_to_the_lifting_line_with_images(ratio):
    # R/b = 0.15; the chord shrinks against R as A grows. Lifting line with the edge images of
    # Koning 1935 (A = 6: CLα = 7.137, 5.798, 5.170 at μ = 2, 1.5, 1.25, checked beside).
    slope, gain, plain = [], [], []
    for aspect in (12.0, 24.0, 48.0):
        wing = plate(0.5 * aspect, 0.15 * aspect, 10, 20, rows=4, ahead=0.3 * aspect)
        clean = loaded_line(aspect, 0.15, 1.0)[2]
        line = loaded_line(aspect, 0.15, ratio)[2]
        slope.append(wing.lift_slope(ratio) / line)
        gain.append(wing.increment(ratio) / (line / clean - 1.0))
        plain.append(loaded_line(aspect, 0.15, ratio, images=False)[2] / clean - 1.0)
        plain[-1] /= line / clean - 1.0
    assert slope[0] < slope[1] < slope[2] < 1.0 and gain[0] < gain[1] < gain[2] < 1.0
    # To first order in c/R: lift from the two larger chords, increment from the two smaller.
    assert_allclose(2.0 * slope[1] - slope[0], 1.0, rtol=0.02)
    assert_allclose(2.0 * gain[2] - gain[1], 1.0, rtol=0.02)
    # Control: the lifting line without images has another increment.
    assert min(plain) > 1.05


def test_lift_is_continuous_down_to_rest():
    # Beside a jet fifty times as fast the outer air counts as at rest.
    wing = {"stations": [{"y": y, "chord": 1.0, "twist": 4.0} for y in (0.0, 4.0)]}
    speeds = (0.0, 0.001, 0.05, 0.2, 0.3)
    lift = [
        solve(
            scene([jet(0.4, y=2.0, thrust=100.0)], 0.0, wing=wing).replace(**{"flow.airspeed": v})
        ).totals["lift"]
        for v in speeds
    ]
    assert_allclose(lift, lift[0], rtol=0.02)
    assert lift[0] > 0.0
