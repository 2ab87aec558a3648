"""Tones of several propellers: sums with phase against what waves do."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from blownwing.errors import InputError
from blownwing.propeller.array_noise import Source, array_levels, complex_tones
from blownwing.propeller.noise import gutin_tones, levels

SOUND = 340.3
ONE = Source(500.0, 25e3, 250.0, 2, 1.4, (0.0, 0.0, 0.0), (-1.0, 0.0, 0.0))
ABEAM = (10.0, 60.0, -80.0)


def test_one_source_is_gutin_s():
    way = np.array(ABEAM)
    angle = math.acos(-way[0] / np.linalg.norm(way))
    tones = gutin_tones(ONE, SOUND, float(np.linalg.norm(way)), angle)
    found = array_levels([ONE], ABEAM, SOUND)
    assert_allclose(
        [found.given, found.incoherent, found.worst, found.best], tones.overall, rtol=1e-12
    )


def test_two_blades_a_quarter_turn_apart_cancel():
    """B = 2: a quarter turn is half a period of the first tone (superposition of waves)."""
    pair = [ONE, replace(ONE, phase=0.5 * math.pi)]
    tones = np.abs(complex_tones(pair, ABEAM, SOUND).sum(axis=0))
    alone = np.abs(complex_tones([ONE], ABEAM, SOUND)[0])
    assert np.all(tones[0::2] < 1e-12 * alone[0])  # odd harmonics
    assert_allclose(tones[1::2], 2.0 * alone[1::2], rtol=1e-9)  # even ones are in step


def test_in_step_and_without_phase():
    """n equal sources in one place: 20 log n in step, 10 log n without phase (algebra)."""
    found = array_levels([ONE] * 3, ABEAM, SOUND)
    alone = array_levels([ONE], ABEAM, SOUND).given
    assert_allclose(found.given, alone + 20.0 * math.log10(3.0), rtol=1e-9)
    assert_allclose(found.worst, found.given, rtol=1e-9)
    assert_allclose(found.incoherent, alone + 10.0 * math.log10(3.0), rtol=1e-9)
    # evenly apart two of three tones vanish, the third is in step: no better for equal sources
    evenly = [replace(ONE, phase=i * math.pi / 3.0) for i in range(3)]
    third = np.abs(complex_tones(evenly, ABEAM, SOUND).sum(axis=0))
    assert np.all(np.delete(third, [2, 5, 8]) < 1e-12 * third[2])
    assert found.best <= array_levels(evenly, ABEAM, SOUND).given + 1e-9


def test_against_a_signal_in_time():
    """The sum of cosines at the observer, sampled over a turn: mean square by Parseval."""
    sources = [
        replace(ONE, position=(0.0, y, 0.1 * y), phase=0.3 * y, sense=1 if y > 0 else -1)
        for y in (-3.0, -1.0, 2.0)
    ]
    pressures = complex_tones(sources, ABEAM, SOUND)
    turn = np.linspace(0.0, 2.0 * math.pi, 4096, endpoint=False)  # Ω t
    order = 2 * np.arange(1, pressures.shape[1] + 1)
    signal = np.sqrt(2.0) * np.real(pressures.sum(axis=0) @ np.exp(1j * np.outer(order, turn)))
    level = float(levels(float(np.sqrt(np.mean(signal**2)))))
    assert_allclose(array_levels(sources, ABEAM, SOUND).given, level, rtol=1e-9)


def test_a_mirrored_pair_is_in_step_on_the_plane_of_symmetry():
    """Equal ways, opposite senses, mirrored blades: twice the pressure (symmetry)."""
    right = replace(ONE, position=(0.0, 3.0, 0.0), phase=0.7)
    left = replace(right, position=(0.0, -3.0, 0.0), sense=-1, phase=-0.7)
    found = array_levels([right, left], (20.0, 0.0, -90.0), SOUND)
    alone = array_levels([right], (20.0, 0.0, -90.0), SOUND).given
    assert_allclose(found.given, alone + 20.0 * math.log10(2.0), rtol=1e-9)


def test_other_speeds_keep_no_phase():
    """Tones of different frequency add their powers (orthogonality over time)."""
    other = replace(ONE, omega=260.0)
    found = array_levels([ONE, other], ABEAM, SOUND)
    assert_allclose([found.given, found.worst, found.best], found.incoherent, rtol=1e-12)


@settings(max_examples=20, deadline=None)
@given(st.lists(st.floats(0.0, 6.2), min_size=2, max_size=6), st.floats(-40.0, 40.0))
def test_the_band_holds_every_phase(phases, aside):
    sources = [
        replace(ONE, position=(0.0, 1.5 * i, 0.0), phase=phase) for i, phase in enumerate(phases)
    ]
    found = array_levels(sources, (15.0, aside, -70.0), SOUND)
    assert found.best - 1e-6 <= found.given <= found.worst + 1e-6
    assert found.best <= found.incoherent <= found.worst


def test_refusals():
    with pytest.raises(InputError, match="no sources"):
        array_levels([], ABEAM, SOUND)
    with pytest.raises(InputError, match="far field"):
        array_levels([ONE], (0.0, 1.0, 0.0), SOUND)
