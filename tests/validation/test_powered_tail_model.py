"""The measured model with a powered tail (Delft University of Technology, course measurements).

Bars were set before the comparison.
"""

import importlib.util
from pathlib import Path

import pytest

from blownwing.validation.claims import bar

ENTRY = Path(__file__).parents[2] / "validation" / "powered_tail_model" / "entry.py"


@pytest.fixture(scope="module")
def entry():
    spec = importlib.util.spec_from_file_location("powered_tail_model", ENTRY)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def found(entry):
    return entry.states()


def test_slopes_of_lift_and_moment_meet_the_measurement(entry, found):
    ratios = entry.ratios(found)
    assert abs(ratios["dCL/dα, power on over stopped, −5 to 7°"] - 1.039) <= bar(
        "powered_tail", "dCL/dα"
    )
    assert abs(ratios["dCM/dα, power on over stopped, −5 to 7°"] - 1.14) <= bar(
        "powered_tail", "dCM/dα"
    )


def test_elevator_effectiveness_meets_the_measurement(entry, found):
    ratios = entry.ratios(found)
    mean = ratios["elevator effectiveness, power on over stopped, mean of three incidences"]
    assert abs(mean - 1.20) <= bar("elevator")


def test_without_the_drag_of_stopped_propellers_the_elevators_gain_is_low(entry):
    """The control: the tail of the stopped model stands in the wake of its propellers."""
    ratios = entry.ratios(entry.states(made=entry.without_drag))
    mean = ratios["elevator effectiveness, power on over stopped, mean of three incidences"]
    assert abs(mean - 1.20) > bar("elevator")


def test_without_the_propellers_normal_force_the_lift_slope_is_low(entry, found):
    """The control: a part left out moves the answer by more than the band of the measurement."""
    less = entry.ratios(found, entry.PARTS[:1])
    assert abs(less["dCL/dα, power on over stopped, −5 to 7°"] - 1.039) > bar(
        "powered_tail", "dCL/dα"
    )
