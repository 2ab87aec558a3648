"""Isolated propellers against wind-tunnel data, one section table for all, not tuned.

Brandt, Deters, Ananda, Dantsker & Selig, UIUC Propeller Database, University of Illinois at
Urbana-Champaign; tests described by Brandt & Selig (2011), AIAA 2011-1255.
"""

import importlib.util
import sys
from pathlib import Path

import pytest

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
    assert ct <= 0.012
    assert cp <= 0.010
    assert zero_thrust <= 0.05
    assert result.within


def test_best_efficiency_and_static_thrust(compared):
    _, results = compared
    for c in results:
        measured = (c.measured[1:, 0] * c.measured[1:, 1] / c.measured[1:, 2]).max()
        computed = (c.measured[1:, 0] * c.computed[1:, 0] / c.computed[1:, 1]).max()
        assert abs(computed - measured) < 0.07
        assert abs(c.computed[0, 0] / c.measured[0, 1] - 1.0) < 0.10
        # known weakness: static power is 15 to 36 % low, worst where the blade stalls
        assert -0.40 < c.computed[0, 1] / c.measured[0, 2] - 1.0 < 0.0


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
