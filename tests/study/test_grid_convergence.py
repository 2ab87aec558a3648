"""Grid convergence: manufactured and published values, and a real wing."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from study_scenes import case_tables

from blownwing import Case, InputError
from blownwing.study.convergence import (
    estimated,
    export_convergence,
    grid_convergence,
    observed_order,
)


@given(
    order=st.floats(0.6, 5.0),
    ratios=st.tuples(st.floats(1.3, 2.5), st.floats(1.3, 2.5)),
    limit=st.floats(0.1, 5.0),
    error=st.floats(-0.09, 0.09).filter(lambda e: abs(e) > 1e-3),
)
def test_a_manufactured_order_is_found(order, ratios, limit, error):
    sizes = np.array([ratios[0] * ratios[1], ratios[1], 1.0])
    values = limit + error * (sizes / sizes[0]) ** order
    found = estimated("q", values, ratios)
    if found.steady:
        return
    assert_allclose(found.order, order, rtol=1e-5)
    assert found.capped == (found.order > 2.0)
    # the bands hold the limit, with the factor of safety to spare
    bands = [found.index[0] * values[1], found.index[1] * values[2]]
    wanted = [1.25 * abs(values[1] - limit), 1.25 * abs(values[2] - limit)]
    if not found.capped:
        assert_allclose(found.extrapolated, limit, rtol=1e-6)
        assert_allclose(bands, wanted, rtol=1e-4)
    else:  # an order that the method cannot have makes no band narrower
        assert bands[0] >= (1.0 - 1e-6) * wanted[0] and bands[1] >= (1.0 - 1e-6) * wanted[1]


def test_a_published_worked_example():
    # J. W. Slater, NASA Glenn Research Center, "Examining Spatial (Grid) Convergence", worked
    # example of a pressure recovery, Fs = 1.25 (figures from memory): order 1.786170, value at
    # zero spacing 0.97130, index of the fine grid 0.103083 %
    found = estimated("recovery", (0.96178, 0.96854, 0.97050), (2.0, 2.0))
    assert_allclose(found.order, 1.786170, atol=1e-6)
    assert_allclose(found.extrapolated, 0.97130, atol=5e-6)
    assert_allclose(found.index[1], 0.00103083, atol=1e-8)


@pytest.mark.parametrize("values", [(1.0, 1.2, 1.1), (1.0, 1.1, 1.3), (1.0, 1.0, 1.1)])
def test_values_without_an_order_get_a_wide_band(values):
    found = estimated("q", values, (2.0, 2.0))
    assert found.order is None and found.extrapolated is None
    fine = max(3.0 * abs(values[2] - values[1]), max(values) - min(values))
    assert_allclose(found.index[1], fine / values[2])
    assert_allclose(found.index[0], (fine + abs(values[2] - values[1])) / values[1])


def test_a_small_first_change_makes_no_narrow_band():
    # Coarse and middle lattice happen to agree: the fine one is 0.63 % away, and in the band.
    values = (0.031004, 0.030998, 0.031194)
    found = estimated("CD", values, (2.0, 2.0))
    assert found.order is None
    for index, value in zip(found.index, values[1:], strict=True):
        assert all(abs(other - value) <= index * value for other in values)


def test_a_given_quantity_is_steady():
    assert estimated("thrust", (100.0, 100.0, 100.0 + 1e-9), (2.0, 2.0)).steady


def test_growing_changes_have_no_order():
    assert observed_order(1.0, 2.0, (2.0, 2.0)) is None


def test_a_bare_wing_converges_at_least_linearly(tmp_path):
    tables = case_tables(chordwise=4, spanwise=12)
    tables["propellers"] = []
    found, middle = grid_convergence(Case.from_tables(tables))
    assert found.panels == (2 * 2 * 6, 4 * 2 * 12, 8 * 2 * 24)
    by_name = {item.name: item for item in found.estimates}
    lift = by_name["CL"]
    assert lift.values[1] == middle.totals["CL"]
    assert lift.order is None or lift.order > 0.8
    assert lift.index[1] < lift.index[0] < 0.01
    finer = Case.from_tables(tables).replace(**{"model.chordwise": 16, "model.spanwise": 96})
    from blownwing import solve

    fine = solve(finer).totals["CL"]
    assert abs(fine / lift.values[1] - 1.0) < lift.index[0]  # the band holds a much finer lattice
    path = export_convergence(found, tmp_path / "c.csv")
    assert path.read_text().splitlines()[1].startswith("CL,")


def test_blown_thrust_given_is_steady_and_power_is_not_lost():
    found, _ = grid_convergence(Case.from_tables(case_tables()))
    by_name = {item.name: item for item in found.estimates}
    assert by_name["thrust"].steady
    assert by_name["CL"].index[0] < 0.2 and by_name["power"].index[0] < 0.01


def test_what_cannot_be_studied_is_refused():
    with pytest.raises(InputError, match="even number"):
        grid_convergence(Case.from_tables(case_tables(chordwise=3)))
    polar = Case.from_tables(case_tables()).replace(**{"flow.alpha": [1.0, 2.0]})
    with pytest.raises(InputError, match="2 angles"):
        grid_convergence(polar)
