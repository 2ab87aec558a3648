"""Coupled solves in limits with known answers: no thrust, mirrored, folded, weak, wide jets."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scenes import blade, disc, scene

from blownwing import solve

COEFFICIENTS = ("CL", "CD_induced", "CD_induced_farfield", "C_pitch", "CD")


def close(one, other, rtol, names=COEFFICIENTS):
    for name in names:
        assert_allclose(one.totals[name], other.totals[name], rtol=rtol, atol=rtol * 1e-2)


@pytest.mark.parametrize("z", [0.0, 0.3])
def test_a_disc_without_thrust_is_no_disc(z):
    found = solve(scene([disc(thrust=0.0, z=z), disc(y=3.2, name="other", thrust=0.0)]))
    for name in ("CL", "CD_induced", "CD_induced_farfield", "C_pitch"):
        clean = f"{name}_unblown" if name in ("CL", "CD_induced", "C_pitch") else name
        clean = "CD_induced_farfield_unblown" if name == "CD_induced_farfield" else clean
        assert_allclose(found.totals[name], found.totals[clean], rtol=1e-12)
    assert_allclose(found.strips["cl"], found.strips["cl_unblown"], rtol=1e-12)
    assert_allclose(found.strips["speed_ratio"], 1.0, rtol=1e-12)
    assert found.totals["thrust"] == 0.0
    # Control: some thrust changes the lift.
    blown = solve(scene([disc(thrust=50.0, z=z), disc(y=3.2, name="other", thrust=0.0)]))
    assert blown.totals["CL"] > 1.001 * blown.totals["CL_unblown"]


def test_a_stopped_propeller_leaves_the_wing_alone():
    # At rest blades make no slipstream in blade-element momentum theory's terms, only drag.
    found = solve(scene([blade(rpm=0.0)]))
    assert_allclose(found.totals["CL"], found.totals["CL_unblown"], rtol=1e-12)
    assert found.totals["thrust"] < 0.0 and found.totals["power"] == 0.0


@pytest.mark.parametrize("spin", ["inboard_up", "outboard_up"])
def test_starboard_and_port_are_mirror_images(spin):
    # Mirroring turns clockwise into counterclockwise, which is what inboard_up does by itself.
    star = solve(scene([blade(mirror=False, spin=spin)]))
    port = solve(scene([blade(y=-2.0, mirror=False, spin=spin)]))
    for name in ("circulation", "cl", "cd_induced", "speed_ratio", "slipstream_swirl", "downwash"):
        assert_allclose(star.strips[name], port.strips[name][::-1], rtol=1e-9, atol=1e-11)
    for name in ("CL", "CD_induced", "C_pitch"):
        assert_allclose(star.totals[name], port.totals[name], rtol=1e-9)
    for name in ("C_roll", "C_yaw"):
        assert_allclose(star.totals[name], -port.totals[name], rtol=1e-9)
        assert abs(star.totals[name]) > 1e-5
    for name in ("thrust", "power", "normal_force", "pitching_moment"):
        assert_allclose(star.propellers["prop"][name], port.propellers["prop"][name], rtol=1e-9)
    assert_allclose(
        star.propellers["prop"]["side_force"], -port.propellers["prop"]["side_force"], rtol=1e-7
    )
    assert star.propellers["prop"]["rotation"] == -port.propellers["prop"]["rotation"]


def test_the_same_spin_on_the_other_side_is_no_mirror_image():
    star = solve(scene([blade(mirror=False, spin="clockwise")]))
    port = solve(scene([blade(y=-2.0, mirror=False, spin="clockwise")]))
    assert np.max(np.abs(star.strips["cl"] - port.strips["cl"][::-1])) > 0.01
    # Spins reversed on both sides mirror exactly.
    pair = solve(scene([blade(spin="clockwise", twin_spin="clockwise", rpm=3500.0)]))
    turned = {"spin": "counterclockwise", "twin_spin": "counterclockwise"}
    other = solve(scene([blade(**turned, rpm=3500.0)]))
    assert_allclose(pair.strips["cl"], other.strips["cl"][::-1], rtol=1e-9, atol=1e-11)
    assert_allclose(pair.totals["C_roll"], -other.totals["C_roll"], rtol=1e-9)


@pytest.mark.parametrize("propeller", [disc(thrust=120.0), blade(), blade(y=4.0, thrust=150.0)])
def test_folded_and_whole_span_agree(propeller):
    """A roll rate of next to nothing forbids folding and changes nothing else."""
    half, whole = scene([propeller]), scene([propeller], flow={"roll_rate": 1e-12})
    assert half.is_symmetric and not whole.is_symmetric
    folded, full = solve(half), solve(whole)
    close(folded, full, 1e-8)
    assert_allclose(folded.strips["y"], full.strips["y"], atol=1e-12)
    for name in ("cl", "cd_induced", "slipstream_axial", "slipstream_swirl", "downwash"):
        assert_allclose(folded.strips[name], full.strips[name], rtol=1e-8, atol=1e-8)
    for name in ("CY", "C_roll", "C_yaw"):
        assert abs(full.totals[name]) < 1e-9
    assert list(folded.propellers) == list(full.propellers)
    for name, one in folded.propellers.items():
        for key, value in one.items():
            assert_allclose(full.propellers[name][key], value, rtol=1e-6, atol=1e-6)


def test_weak_discs_superpose():
    # In the limit of small thrust the lift of two discs is the sum of each one's.
    def gain(inner, outer):
        pair = [disc(y=1.5, thrust=inner), disc(y=3.0, name="outer", thrust=outer)]
        totals = solve(scene(pair)).totals
        return totals["CL"] - totals["CL_unblown"]

    error, slope = [], []
    for thrust in (40.0, 20.0, 10.0):
        one, two, both = gain(thrust, 0.0), gain(0.0, thrust), gain(thrust, thrust)
        error.append(abs(both - one - two) / both)
        slope.append(one / thrust)
        assert one > 0.0 and two > 0.0
    # Each disc pulls air to the other and bends the flow there: an effect of second order.
    assert error[0] > error[1] > error[2] and error[0] < 1e-3
    assert_allclose(error[2] / error[0], 0.25, rtol=0.5)
    # Lift per thrust tends to a limit: its change halves with the thrust.
    change = np.abs(np.diff(slope))
    assert_allclose(change[1] / change[0], 0.5, atol=0.05)


@pytest.mark.parametrize("ratio", [1.25, 2.0])
def test_a_wing_wholly_inside_a_wide_jet(ratio):
    # Lift × μ² with the axis along the free stream, × μ² (1 − ε/α) along the chord, with ε/α =
    # μ(μ − 1)/(μ² + 1) as the inflow factor of Ribner 1945, NACA Report 820, implies.
    alpha = 1.0
    wide = {"y": 0.0, "thrust": None, "mirror": False, "diameter": 60.0, "x": -300.0}
    along_stream = solve(scene([disc(**wide, speed_ratio=ratio, incidence=-alpha)], alpha))
    along_chord = solve(scene([disc(**wide, speed_ratio=ratio)], alpha))
    clean = along_stream.totals["lift_unblown"]
    assert_allclose(along_stream.totals["lift"] / clean, ratio**2, rtol=1e-9)
    assert_allclose(along_stream.totals["CD_induced"], ratio**2 * along_stream.totals[
        "CD_induced_unblown"], rtol=1e-9)  # fmt: skip
    assert np.all(along_stream.strips["speed_ratio"] > ratio - 1e-9)
    held = 1.0 - ratio * (ratio - 1.0) / (ratio**2 + 1.0)
    assert_allclose(along_chord.totals["lift"] / clean, ratio**2 * held, rtol=5e-3)


def test_a_tube_above_the_wing_blows_nothing():
    found = solve(scene([disc(thrust=150.0, z=1.2)]))
    assert not np.any(found.strips["slipstream_axial"])
    low, high = found.slipstreams["disc"]["immersion"][[0, -1]]
    assert low > 2.0 and high > 1.0
    # Only the inflow outside the tube acts, a few per cent at most.
    assert 0.0 < abs(found.totals["CL"] / found.totals["CL_unblown"] - 1.0) < 0.05


def test_ground_under_a_blown_wing():
    near = solve(scene([disc(thrust=100.0)], flow={"ground_height": 1.5}))
    far = solve(scene([disc(thrust=100.0)], flow={"ground_height": 1e4}))
    free = solve(scene([disc(thrust=100.0)]))
    assert near.totals["CL"] > 1.01 * free.totals["CL"]
    close(far, free, 1e-5, ("CL", "CD_induced_farfield", "C_pitch"))


def test_net_force_is_thrust_less_drag():
    found = solve(scene([disc(thrust=100.0)], alpha=6.0)).totals
    expected = found["thrust"] * math.cos(math.radians(6.0)) - found["drag"]
    assert_allclose(found["net_axial_force"], expected, rtol=1e-10)
    assert_allclose(
        found["drag"], found["CD"] * found["reference_dynamic_pressure"] * 8.0, rtol=1e-12
    )
    lift = found["thrust"] * math.sin(math.radians(6.0))
    assert_allclose(
        found["CL_from_thrust"] * found["reference_dynamic_pressure"] * 8.0, lift, rtol=1e-10
    )
