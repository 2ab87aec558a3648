"""The actuator disc against momentum theory's numbers (tolerance 1e-6 unless rounded tables)."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from blownwing.errors import InputError
from blownwing.propeller.disc import disc_loads, disc_thrust

DENSITY = 1.225


def disc_at(loading, speed=40.0, diameter=1.7):
    """Disc of a given Tc = T/qA."""
    thrust = loading * 0.5 * DENSITY * speed**2 * 0.25 * math.pi * diameter**2
    return disc_loads(thrust, diameter, speed, DENSITY), speed, diameter


@pytest.mark.parametrize(
    ("loading", "efficiency"),
    [
        # η = 2/(1 + √(1 + Tc)): Glauert (1935) in Durand IV, division L, evaluated.
        (0.1, 0.976177),
        (0.25, 0.944272),
        (0.5, 0.898979),
        (1.0, 0.828427),
        (2.0, 0.732051),
        (4.0, 0.618034),
        (8.0, 0.500000),
    ],
)
def test_ideal_efficiency(loading, efficiency):
    disc, speed, _ = disc_at(loading)
    assert_allclose(disc.efficiency, efficiency, atol=6e-7)
    assert_allclose(disc.thrust * speed / disc.power, efficiency, atol=6e-7)


@pytest.mark.parametrize(
    ("loading", "speed_ratio", "radius_ratio"),
    [
        # Vj/V = √(1 + Tc) and Rj/R = √((1 + a)/(1 + 2a)): same source, evaluated.
        (0.5, 1.22474, 0.95302),
        (1.0, 1.41421, 0.92388),
        (3.0, 2.0, 0.86603),
        (8.0, 3.0, 0.81650),
    ],
)
def test_slipstream_far_downstream(loading, speed_ratio, radius_ratio):
    disc, speed, diameter = disc_at(loading)
    assert_allclose(disc.far_velocity / speed, speed_ratio, atol=5e-6)
    assert_allclose(disc.far_radius / (0.5 * diameter), radius_ratio, atol=5e-6)
    assert_allclose(disc.far_velocity / speed, math.sqrt(1.0 + loading), rtol=1e-12)


def test_worked_example():
    # V = 50 m/s, T = 1000 N, D = 2 m and the static case, formulae evaluated independently.
    disc = disc_loads(1000.0, 2.0, 50.0, DENSITY)
    assert_allclose(disc.induced_velocity, 2.47585, atol=6e-6)
    assert_allclose(disc.far_velocity, 54.9517, atol=6e-5)
    assert_allclose(disc.efficiency, 0.952819, atol=6e-7)
    assert_allclose(disc.far_radius, 0.977213, atol=6e-7)
    static = disc_loads(1000.0, 2.0, 0.0, DENSITY)
    assert_allclose(static.induced_velocity, 11.39835, atol=6e-6)
    assert_allclose(static.power, 11398.35, atol=6e-3)
    assert_allclose(static.far_radius, math.sqrt(0.5), rtol=1e-12)
    assert static.efficiency == 0.0


def test_a_light_disc_keeps_its_digits():
    disc = disc_loads(1e-9, 2.0, 50.0, DENSITY)
    assert_allclose(disc.induced_velocity, 1e-9 / (2.0 * DENSITY * math.pi * 50.0), rtol=1e-9)
    nothing = disc_loads(0.0, 2.0, 0.0, DENSITY)
    assert (nothing.power, nothing.far_velocity, nothing.far_radius) == (0.0, 0.0, 1.0)


@settings(max_examples=80, deadline=None, derandomize=True)
@given(st.floats(-0.95, 50.0), st.floats(0.5, 200.0), st.floats(0.1, 20.0))
def test_momentum_and_energy_close(loading, speed, diameter):
    disc, _, _ = disc_at(loading, speed, diameter)
    area = 0.25 * math.pi * diameter**2
    flow = DENSITY * area * (speed + disc.induced_velocity)
    assert_allclose(flow * 2.0 * disc.induced_velocity, disc.thrust, rtol=1e-9, atol=1e-9)
    energy = 0.5 * flow * (disc.far_velocity**2 - speed**2)
    assert_allclose(energy, disc.power, rtol=1e-9, atol=1e-6)
    far = DENSITY * math.pi * disc.far_radius**2 * disc.far_velocity
    assert_allclose(far, flow, rtol=1e-9)
    ratio = disc.far_velocity / speed
    assert_allclose(
        disc_thrust(ratio, diameter, speed, DENSITY),
        disc.thrust,
        rtol=1e-6,
        atol=1e-9 * area * speed**2,
    )


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((-5000.0, 2.0, 30.0, 1.2), "to rest"),
        ((-1.0, 2.0, 0.0, 1.2), "to rest"),
        ((10.0, 0.0, 30.0, 1.2), "diameter 0"),
        ((10.0, 1.0, -3.0, 1.2), "speed -3"),
        ((math.nan, 1.0, 3.0, 1.2), "finite"),
    ],
)
def test_impossible_discs_are_refused(arguments, words):
    with pytest.raises(InputError, match=words):
        disc_loads(*arguments)
    with pytest.raises(InputError, match="speed ratio"):
        disc_thrust(-1.0, 1.0, 1.0, 1.0)
