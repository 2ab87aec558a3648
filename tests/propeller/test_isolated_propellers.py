"""Isolated propellers against wind-tunnel data, one section table for all, not tuned.

Brandt, Deters, Ananda, Dantsker & Selig, UIUC Propeller Database, University of Illinois at
Urbana-Champaign; tests described by Brandt & Selig (2011), AIAA 2011-1255.
"""

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest

from blownwing.validation.claims import bar

FOLDER = Path(__file__).parents[2] / "validation" / "isolated_propellers"


@pytest.fixture(scope="module")
def compared():
    spec = importlib.util.spec_from_file_location("isolated_propellers", FOLDER / "compare.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    yield module, module.comparison()
    del sys.modules[spec.name]


@pytest.mark.parametrize("name", ["apce_10x7", "apce_10x5", "apce_17x12", "da4002_9x6.75"])
def test_thrust_and_power_from_j_04_up(compared, name):
    module, results = compared
    result = next(c for c in results if c.name == name)
    print(module.table([result]))
    ct, cp, zero_thrust = result.errors
    assert ct <= bar("isolated_propellers", "CT")
    assert cp <= bar("isolated_propellers", "CP")
    assert zero_thrust <= bar("isolated_propellers", "zero-thrust J")
    assert result.within


def test_best_efficiency_and_static_thrust(compared):
    _, results = compared
    for c in results:
        measured = (c.measured[1:, 0] * c.measured[1:, 1] / c.measured[1:, 2]).max()
        computed = (c.measured[1:, 0] * c.computed[1:, 0] / c.computed[1:, 1]).max()
        assert abs(computed - measured) < bar("best_efficiency")
        assert abs(c.computed[0, 0] / c.measured[0, 1] - 1.0) < bar("propellers_at_rest", "thrust")
        # known weakness: static power is 15 to 36 % low, worst where the blade stalls
        assert -bar("propellers_at_rest", "power") < c.computed[0, 1] / c.measured[0, 2] - 1.0 < 0.0


def test_mean_errors_and_static_thrust(compared):
    # mean |error| of CT and CP at most 6 % of their largest value from J = 0.2 to zero thrust, and
    # static CT within 10 %, for at least three of the four; the fourth is the one with a section
    # unlike the others' (see the comparison's README)
    module, results = compared
    print(module.second_table(results, module.reynolds_trend()))
    met = [c.name for c in results if c.within_means]
    assert len(met) >= 3
    for c in results:
        assert max(c.mean_errors) <= bar("general_section", "CT")
        assert abs(c.static_thrust_error) <= 0.10


def test_efficiency_rises_with_reynolds_number_as_measured(compared):
    module, _ = compared
    for points in module.reynolds_trend().values():
        assert np.all(np.diff(points[:, 0]) > 0.0)
        measured, computed = points[-1, 1:] - points[0, 1:]
        assert measured > 0.02
        assert computed > 0.0
        assert 0.3 < computed / measured < 2.0


def test_a_wrong_section_would_be_caught(compared):
    # the bars bite: three degrees less camber puts the zero-thrust J and CT out of them
    module, results = compared
    moved = results[0].computed - [0.02, 0.0]
    wrong = module.Comparison(
        results[0].name, results[0].rpm, results[0].measured, moved, results[0].zero_thrust
    )
    assert not wrong.within


def test_figure_is_drawn(compared, tmp_path):
    module, results = compared
    module.draw(results[:1], tmp_path / "figure.png")
    assert (tmp_path / "figure.png").stat().st_size > 10_000
