"""The monotone cubic and the stalled plate beyond the data."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.interpolate import PchipInterpolator

from blownwing.airfoil.extension import extended, monotone_slopes, monotone_values
from blownwing.airfoil.section import ALPHA_GRID, read_section
from blownwing.errors import InputError

HEADER = "# source: a test\n# moment: -0.05\nreynolds,alpha_deg,cl,cd,cm\n"

points = st.lists(
    st.tuples(st.floats(0.01, 3.0), st.floats(-2.0, 2.0)), min_size=2, max_size=12
).map(lambda rows: (np.cumsum([r[0] for r in rows]), np.round([r[1] for r in rows], 6)))


@given(points)
def test_monotone_cubic_against_scipy(xy):
    # scipy.interpolate.PchipInterpolator, a general-purpose reference of the same method.
    x, y = xy
    at = np.linspace(x[0], x[-1], 57)
    reference = PchipInterpolator(x, y)
    assert_allclose(monotone_values(x, y, at), reference(at), rtol=1e-9, atol=1e-9)
    assert_allclose(monotone_slopes(x, y), reference.derivative()(x), rtol=1e-6, atol=1e-6)


@given(points)
def test_no_overshoot(xy):
    x, y = xy
    at = np.linspace(x[0], x[-1], 101)
    values = monotone_values(x, y, at)
    i = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
    assert np.all(values <= np.maximum(y[i], y[i + 1]) + 1e-12)
    assert np.all(values >= np.minimum(y[i], y[i + 1]) - 1e-12)


@given(
    low=st.floats(-75.0, -1.0),
    width=st.floats(4.0, 60.0),
    slope=st.floats(0.05, 0.2),
    zero=st.floats(-20.0, 20.0),
    drag=st.floats(0.004, 0.8),
)
def test_any_data_continue_without_a_jump(low, width, slope, zero, drag):
    # whatever a flap makes of a section: data may even end before zero incidence
    alpha = np.radians(np.linspace(low, min(low + width, 75.0), 30))
    cl = 1.5 * np.tanh(np.degrees(slope) * (alpha - math.radians(zero)) / 1.5)
    row = np.array([cl, np.full(30, drag), np.full(30, -0.1)])
    values = extended(alpha, row, ALPHA_GRID)
    assert np.all(np.isfinite(values)) and np.all(values[1] > 0.0)
    assert np.abs(values[:, 4:] - values[:, :-4]).max() < 0.16  # over half a degree
    assert_allclose(values[:, 0], values[:, -1], atol=1e-9)


def test_broadside_and_reversed_plate():
    # Viterna & Corrigan (1982), NASA CP-2230: cd = 1.11 + 0.018 AR at 90 deg, no lift there.
    alpha = np.radians(np.linspace(-14.0, 18.0, 33))
    row = np.array([6.0 * alpha, np.full(33, 0.01), np.zeros(33)])
    values = extended(alpha, row, ALPHA_GRID)
    for broadside in (720, 2160):
        assert_allclose(values[:2, broadside], [0.0, 1.29], atol=1e-12)
    # the plate's lift of a fully stalled section at 45 deg: 0.645 and the rest of the attached flow
    assert 0.6 < values[0, 1800] < 1.2
    assert_allclose(values[1, [0, -1]], 0.02, rtol=1e-9)  # edge on, from behind


def row_text(rows):
    return HEADER + "\n".join(f"1e6,{a},{cl},{cd},{cm}" for a, cl, cd, cm in rows) + "\n"


def test_unmeasured_readings_are_estimated(tmp_path):
    path = tmp_path / "gaps.csv"
    rows = [(a, 0.1 * a, "0.01" if abs(a) <= 6 else "", "") for a in range(-10, 11)]
    rows += [(12, 1.0, "", ""), (14, 0.9, "", "-0.2")]
    path.write_text(row_text(rows), encoding="utf-8")
    table = read_section(path)
    at = {a: 1440 + 8 * a for a in (0, 8, 12, 14)}
    # no lift lost: drag and moment stay; lost: cd = last + 2 sin²α times the lost share
    assert_allclose(table.cd[0, [at[0], at[8]]], 0.01, atol=1e-9)
    assert_allclose(table.cm[0, [at[0], at[8]]], -0.05, atol=1e-9)
    lost = 1.0 - 1.0 / 1.2
    assert_allclose(table.cd[0, at[12]], 0.01 + lost * 2 * math.sin(math.radians(12)) ** 2)
    assert_allclose(table.cm[0, at[12]], -0.05 * (1 - lost) - 0.25 * lost * 1.0)
    assert_allclose(table.cm[0, at[14]], -0.2)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (row_text([(a, 0.1 * a, "", "0") for a in (-10, 0, 10)]), "found no drag"),
        (
            row_text([(a, 0.1 * a, "0.01", "") for a in (-10, 0, 10)]).replace(
                "# moment: -0.05\n", ""
            ),
            "rows without cm",
        ),
        (row_text([(a, 0.1 * a, "0.01", "") for a in (-10, 0, 10)]).replace("-0.05", "x"), "cm"),
        (row_text([(a, 0, "0.01", "0") for a in (-100, 0, 10)]), "end within 80 deg"),
        (row_text([(a, "", "0.01", "0") for a in (-10, 0, 10)]), "line 4: found"),
    ],
)
def test_what_may_be_left_out(tmp_path, text, words):
    path = tmp_path / "bad.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=words):
        read_section(path)


def test_data_round_the_whole_circle_stand_as_they_are(tmp_path):
    path = tmp_path / "full.csv"
    rows = [(a, f"{math.sin(math.radians(2 * a)):.6f}", 0.5, 0) for a in range(-180, 181, 5)]
    path.write_text(row_text(rows), encoding="utf-8")
    table = read_section(path)
    assert_allclose(table.cl[0, ::40], np.sin(2.0 * ALPHA_GRID[::40]), atol=1e-6)
    assert_allclose(table.data_range, [[-math.pi, math.pi]])
