"""Steady turns and pull-ups: rates, the bank, and the moments of the aircraft's own inertia.

Sources: kinematics and dynamics of a rigid body; the scalar equations as in Etkin & Reid 1996,
"Dynamics of Flight", chapter 4 (steady rotation, from memory).
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from trim_scenes import FIN, TAIL, aircraft

from blownwing.case.trim import GRAVITY, Trim
from blownwing.errors import InputError
from blownwing.trim.balance import trimmed
from blownwing.trim.forces import Path, gyroscopic_moment, turn_bank, turning_rates

SPEED = 30.0
TURNING = tuple({"name": n} for n in ("alpha", "elevator", "throttle", "aileron", "rudder", "beta"))
INERTIA = (400.0, 300.0, 650.0)


def trim(load_factor, **more):
    return Trim.model_validate(
        {"mass": 250.0, "centre_of_gravity": [0.3, 0.0, 0.0], "unknowns": [{"name": "alpha"}],
         "load_factor": load_factor, **more}
    )  # fmt: skip


def level(climb=0.0):
    return Path(climb, 0.0, 0.0)


def test_load_factor_one_turns_nothing():
    assert turning_rates(trim(1.0), SPEED, level(), 5.0) == (0.0, 0.0, 0.0)
    assert_allclose(turning_rates(trim(1.0 + 1e-12), SPEED, level(), 5.0), 0.0, atol=1e-3)
    assert turn_bank(trim(1.0)) == 0.0


@pytest.mark.parametrize("n", [1.05, 1.5, 3.0])
def test_pitch_rate_of_a_level_turn(n):
    """q = g/V (n − 1/n); the whole rate is g √(n² − 1)/V whatever the incidence."""
    for alpha in (0.0, 9.0):
        rates = np.radians(turning_rates(trim(n), SPEED, level(), alpha))
        assert_allclose(rates[1], GRAVITY / SPEED * (n - 1.0 / n), rtol=1e-12)
        assert_allclose(np.linalg.norm(rates), GRAVITY / SPEED * np.sqrt(n * n - 1.0), rtol=1e-12)
    assert_allclose(np.cos(np.radians(turn_bank(trim(n)))), 1.0 / n, rtol=1e-12)


@pytest.mark.parametrize("climb", [-8.0, 12.0])
def test_a_climbing_turn_turns_about_the_vertical(climb):
    """The rate's component along a path at γ is −ω sin γ, and its size does not know of it."""
    rates = np.radians(turning_rates(trim(1.5), SPEED, level(climb), 6.0))
    turn = GRAVITY / SPEED * np.tan(np.arccos(1.0 / 1.5))
    assert_allclose(np.linalg.norm(rates), turn, rtol=1e-12)
    a = np.radians(6.0)  # the path, body axes
    along = rates[0] * np.cos(a) + rates[2] * np.sin(a)
    assert_allclose(along, -turn * np.sin(np.radians(climb)), rtol=1e-12)


def test_a_pull_up_curves_the_path():
    """V q is the acceleration across the path: lift n W cos γ less the weight's W cos γ."""
    pull = trim(1.4, manoeuvre="pull_up")
    rate = np.radians(turning_rates(pull, SPEED, level(20.0), 3.0)[1])
    assert_allclose(SPEED * rate, 0.4 * GRAVITY * np.cos(np.radians(20.0)), rtol=1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_the_moment_is_that_of_point_masses(seed):
    """Σ r × m ω × (ω × r) over masses whose moments and products of inertia are summed by hand."""
    rng = np.random.default_rng(seed)
    mass, places, rates = rng.uniform(1, 5, 6), rng.normal(size=(6, 3)), rng.normal(size=3)
    x, y, z = places.T
    moments = [np.sum(mass * (a * a + b * b)) for a, b in ((y, z), (x, z), (x, y))]
    products = [np.sum(mass * a * b) for a, b in ((x, y), (x, z), (y, z))]
    given = trim(1.0, inertia=moments, products_of_inertia=products)
    pull = np.cross(rates, np.cross(rates, places))
    wanted = np.sum(np.cross(places, mass[:, None] * pull), axis=0)
    assert_allclose(gyroscopic_moment(given, rates), wanted, rtol=1e-10, atol=1e-12)


def test_scalar_equations_of_a_symmetric_aircraft():
    p, q, r = 0.1, 0.25, 0.4
    given = trim(1.0, inertia=INERTIA, products_of_inertia=(0.0, 30.0, 0.0))
    wanted = [
        (INERTIA[2] - INERTIA[1]) * q * r - 30.0 * p * q,
        (INERTIA[0] - INERTIA[2]) * r * p + 30.0 * (p * p - r * r),
        (INERTIA[1] - INERTIA[0]) * p * q + 30.0 * q * r,
    ]
    found = gyroscopic_moment(given, np.array([p, q, r]))
    assert_allclose(found, wanted, rtol=1e-12)
    assert abs(found @ np.array([p, q, r])) < 1e-12  # it does no work
    assert np.all(gyroscopic_moment(trim(1.0), np.array([p, q, r])) == 0.0)


def turn(**more):
    return trimmed(aircraft(TURNING, (TAIL, FIN), **more))


def test_inertia_leaves_level_flight_alone():
    plain, heavy = turn(), turn(inertia=INERTIA)
    assert_allclose(heavy.values, plain.values, atol=1e-9)


def test_a_turn_balances_the_moments_of_its_inertia():
    """What surfaces and propellers give is ω × (I ω), to 1e-8 of weight times chord."""
    plain, heavy = (turn(load_factor=1.3, **more) for more in ({}, {"inertia": INERTIA}))
    assert np.max(np.abs(heavy.residual)) < 1e-8
    flow = heavy.case.flow
    rates = np.radians([flow.roll_rate, flow.pitch_rate, flow.yaw_rate])
    moment = heavy.net.moment * np.array([-1.0, 1.0, -1.0])
    assert_allclose(moment, gyroscopic_moment(heavy.trim, rates), atol=1e-7 * heavy.trim.weight)
    assert abs(moment[0]) > 1.0  # a control that could fail: N m to be held by the ailerons
    assert abs(heavy.named["aileron"] - plain.named["aileron"]) > 1e-3
    assert_allclose(heavy.path.bank, np.degrees(np.arccos(1.0 / 1.3)), rtol=1e-12)


@pytest.mark.parametrize(
    ("more", "words"),
    [({"inertia": [100.0, 100.0, 500.0]}, "at most the sum of the other two"),
     ({"inertia": [100.0, 0.0, 100.0]}, "above 0"),
     ({"products_of_inertia": [0.0, 5.0, 0.0]}, "inertia"),
     ({"inertia": [9.0, 9.0, 9.0], "products_of_inertia": [0.0, 50.0, 0.0]}, "no body has")],
)  # fmt: skip
def test_inertia_that_no_body_has_is_one_sentence(more, words):
    with pytest.raises(InputError, match=words) as caught:
        aircraft(**more)
    assert "\n" not in str(caught.value)
