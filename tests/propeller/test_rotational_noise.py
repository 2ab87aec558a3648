"""Gutin's tones against evaluated values, and their trends."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from blownwing.errors import InputError
from blownwing.propeller.noise import ToneSource, gutin_tones

ARGUMENTS = {
    "thrust": 1500.0,
    "power": 60e3,
    "omega": 2400.0 * math.pi / 30.0,
    "blades": 2,
    "diameter": 2.0,
    "speed_of_sound": 340.0,
    "distance": 50.0,
    "angle": math.radians(90.0),
}


def tones_of(speed_of_sound, distance, angle, **source):
    return gutin_tones(ToneSource(**source), speed_of_sound, distance, angle)


@pytest.mark.parametrize(
    ("degrees", "pressures", "levels"),
    [
        # Gutin (1936), NACA TM 1195, his formula evaluated independently (its engineering form in
        # Hubbard, NACA TN 2968, has the same constants); no worked example was found in print
        (90.0, (0.260845, 0.205563, 0.137266), (82.31, 80.24, 76.73)),
        (105.0, (0.434082, 0.322899), (86.73, 84.16)),
    ],
)
def test_values(degrees, pressures, levels):
    tones = tones_of(**(ARGUMENTS | {"angle": math.radians(degrees)}))
    assert_allclose(tones.pressure[: len(pressures)], pressures, rtol=1e-4)
    assert_allclose(tones.level[: len(levels)], levels, atol=0.05)
    assert_allclose(tones.frequency[:3], [80.0, 160.0, 240.0])
    total = 20.0 * math.log10(math.sqrt(np.sum(tones.pressure**2)) / 20e-6)
    assert_allclose(tones.overall, total)


def test_distance_and_axis():
    near, far = (tones_of(**(ARGUMENTS | {"distance": s})) for s in (50.0, 100.0))
    assert_allclose(near.level - far.level, 20.0 * math.log10(2.0))
    assert tones_of(**(ARGUMENTS | {"angle": 0.0})).overall == -200.0
    # louder behind the disc than ahead of it: thrust and torque add there
    ahead, behind = (
        tones_of(**(ARGUMENTS | {"angle": math.radians(a)})).overall for a in (60.0, 120.0)
    )
    assert behind > ahead + 3.0


def test_more_blades_and_slower_tips_are_quieter():
    two, five = (tones_of(**(ARGUMENTS | {"blades": b})).overall for b in (2, 5))
    assert five < two - 5.0
    slow = tones_of(**(ARGUMENTS | {"omega": 0.8 * ARGUMENTS["omega"]})).overall
    assert slow < two


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"distance": 5.0}, "far field"),
        ({"omega": 400.0}, "supersonic"),
        ({"omega": 0.0}, "above 0"),
        ({"blades": 0}, "1 blade"),
        ({"thrust": math.inf}, "finite"),
    ],
)
def test_outside_the_formula_s_limits_is_refused(change, words):
    with pytest.raises(InputError, match=words):
        tones_of(**(ARGUMENTS | change))
