"""The band of a trim by the height of the streams at the tail: limits, and what it is made of.

A sensitivity of our own: no outside value, but what it must be where streams do not matter and
where the trims at its ends are made by hand.
"""

import pytest
from numpy.testing import assert_allclose
from trim_scenes import DISC, TAIL, aircraft

from blownwing.trim.balance import trimmed
from blownwing.trim.band import stream_band
from blownwing.trim.derivatives import derivatives

INNER = {**DISC, "position": [-0.6, 0.9, 0.05]}


@pytest.fixture(scope="module")
def found():
    return trimmed(aircraft(propellers=(INNER,)))


@pytest.fixture(scope="module")
def band(found):
    return stream_band(found, margin=True)


def test_its_ends_are_trims_with_the_streams_given(found, band):
    height = band.heights["tail"]
    assert 0.01 < height < 1.0
    for sign in (1.0, -1.0):
        surfaces = ({**TAIL, "stream_rise": sign * height},)
        there = trimmed(aircraft(surfaces=surfaces, propellers=(INNER,)))
        for name, (least, most) in band.values.items():
            assert least - 3e-3 <= there.named[name] <= most + 3e-3, name
            assert min(abs(there.named[name] - end) for end in (least, most)) < 3e-3 or (
                least < there.named[name] < most
            )
    least, most = band.values["elevator"]
    assert least < found.named["elevator"] + 1e-9 and most - least > 0.05


def test_the_margin_is_that_of_the_derivatives(found, band):
    least, most = band.static_margin
    slack = 1e-12  # both ends are worked out apart from it
    assert least - slack <= derivatives(found).static_margin <= most + slack


def test_a_tail_above_everything_has_none_to_speak_of():
    high = {**TAIL, "stations": [{**s, "z": 60.0} for s in TAIL["stations"]]}
    state = trimmed(aircraft(surfaces=(high,), propellers=(INNER,), centre_of_gravity=(0.3, 0, 0)))
    band = stream_band(state, margin=False)
    assert band is None or all(most - least < 0.02 for least, most in band.values.values())


def test_without_propellers_there_is_none():
    unknowns = ({"name": "alpha"}, {"name": "elevator"})
    assert stream_band(trimmed(aircraft(unknowns, propellers=())), margin=True) is None


def test_a_disc_of_the_tails_own_leaves_it_out():
    own = {**DISC, "name": "rear", "position": [3.4, 0.6, 0.5], "diameter": 0.5, "thrust": 20.0}
    state = trimmed(aircraft(propellers=(DISC, own)))
    assert stream_band(state, margin=False) is None


def test_it_is_relative_to_the_drives_that_were_asked_for(found, band):
    """A throttle's band holds the throttle: no drive is scaled twice."""
    least, most = band.values["throttle"]
    assert least <= found.named["throttle"] <= most
    assert_allclose(most, least, rtol=0.1)
