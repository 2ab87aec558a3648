"""Observed order of convergence of the lattice."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from planforms import elliptic, grid, rectangle, totals


def lift_slopes(stations, grids, **more):
    return np.array(
        [totals(stations, 0.1, model=grid(*g), **more)["CL"] / math.radians(0.1) for g in grids]
    )


def observed_order(values):
    """Order from three values on grids refined twice by two (Richardson)."""
    return math.log2(abs((values[1] - values[0]) / (values[2] - values[1])))


def test_cosine_strips_converge_with_second_order():
    # Middle-angle points make the span direction of second order or better; rows are fixed.
    values = lift_slopes(rectangle(6.0), [(4, 6), (4, 12), (4, 24)])
    assert observed_order(values) > 1.9
    assert abs(values[2] - values[1]) < 1e-3


def test_uniform_strips_converge_with_first_order():
    # The tip's square-root loading leaves a first-order error on equal strips; slope within 0.1.
    values = lift_slopes(rectangle(6.0), [(4, n, "uniform") for n in (8, 16, 32)])
    assert_allclose(observed_order(values), 1.0, atol=0.1)
    assert values[0] > values[1] > values[2]  # from above


def test_cosine_and_uniform_lattices_meet():
    cosine = lift_slopes(rectangle(6.0), [(6, 24)])[0]
    uniform = lift_slopes(rectangle(6.0), [(6, 16, "uniform"), (6, 32, "uniform")])
    extrapolated = 2.0 * uniform[1] - uniform[0]
    assert_allclose(extrapolated, cosine, rtol=1e-3)


def test_rows_converge():
    values = lift_slopes(rectangle(4.0), [(2, 16), (4, 16), (8, 16)])
    assert observed_order(values) > 0.9
    assert abs(values[2] / values[1] - 1.0) < 2e-3


@pytest.mark.parametrize("count", [41, 81])
def test_the_number_of_stations_of_a_curved_planform_hardly_matters(count):
    found = totals(elliptic(8.0, count), 2.0)
    reference = totals(elliptic(8.0, 161), 2.0)
    assert_allclose(found["CL"], reference["CL"], rtol=1e-3)
    assert_allclose(
        found["span_efficiency_unblown"], reference["span_efficiency_unblown"], atol=1e-3
    )
