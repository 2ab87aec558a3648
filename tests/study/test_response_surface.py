"""Quadratics fitted over boxes: exact on a quadratic, at rest on a ripple that misleads slopes."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import minimize

from blownwing import SolveError
from blownwing.study.place.surface import surface_minimum

AT = np.array([0.62, 0.31])


def rippled(x):
    """A bowl with a ripple of a hundredth, five of them across the last box."""
    return float(np.sum((x - AT) ** 2) + 0.005 * np.sin(2.0 * np.pi * 50.0 * x[0]))


def searched(function, start, least=0.05, seed=1):
    return surface_minimum(
        function, np.asarray(start), np.full(len(start), least), np.random.default_rng(seed)
    )


def test_a_quadratic_is_met_exactly():
    matrix = np.array([[2.0, 0.7], [0.7, 1.0]])
    end = searched(lambda x: float((x - AT) @ matrix @ (x - AT)) + 3.0, [0.1, 0.9])
    assert_allclose(end.x, AT, atol=1e-6)
    assert_allclose(end.value, 3.0, atol=1e-9)


def test_a_bound_holds():
    end = searched(lambda x: float((x[0] - 1.5) ** 2), [0.5])
    assert end.x[0] == 1.0


@pytest.mark.parametrize("start", [[0.5, 0.5], [0.1, 0.9], [0.9, 0.1]])
@pytest.mark.parametrize("seed", [1, 2])
def test_ripples_are_averaged(start, seed):
    assert_allclose(searched(rippled, start, 0.1, seed).x, AT, atol=0.04)


def test_short_differences_stop_on_a_ripple():
    ends = [
        minimize(rippled, start, bounds=[(0.0, 1.0)] * 2, method="L-BFGS-B").x
        for start in ([0.5, 0.5], [0.1, 0.9], [0.9, 0.1])
    ]
    assert max(abs(end[0] - AT[0]) for end in ends) > 0.1


def test_a_bottom_that_is_flat_beside_its_ripples_ends_the_search():
    count = 0

    def noise(x):
        nonlocal count
        count += 1
        return 1.0 + 1e-3 * float(np.sin(1e5 * x[0] + 3e4 * x[1]))

    end = searched(noise, [0.5, 0.5])
    assert_allclose(end.value, 1.0, atol=2e-3)
    assert count < 300


def test_places_without_a_value_are_left_out():
    end = searched(lambda x: None if x[0] > 0.5 else float((x[0] - 0.45) ** 2), [0.2])
    assert_allclose(end.x, [0.45], atol=1e-3)
    with pytest.raises(SolveError, match="too few cases"):
        searched(lambda x: None, [0.2])
