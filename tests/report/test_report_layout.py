"""Geometry of the figures and the words for spins, against the axes' definition."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from sample import CASE, PROPELLER, single

from blownwing.case.reader import parse_case
from blownwing.report.layout import blown_bands, case_of, discs_of, outline_of, spin_words
from blownwing.solution import Solution


def test_outline_is_mirrored_without_a_double_root() -> None:
    y, lead, trail = outline_of(parse_case(CASE))
    assert_allclose(y, [-6, 0, 6])
    assert_allclose(lead, [0.1, 0, 0.1])
    assert_allclose(trail, [1.0, 1.2, 1.0], rtol=1e-12)


def test_outline_of_a_whole_span_is_as_written() -> None:
    text = CASE.replace("symmetric = true", "symmetric = false").replace("y = 0.0", "y = -1.0")
    assert_allclose(outline_of(parse_case(text))[0], [-1, 6])


def test_twist_shortens_the_plan_view() -> None:
    text = CASE.replace("chord = 1.2", "chord = 1.2\ntwist = 60.0")
    assert_allclose(outline_of(parse_case(text))[2][1], 0.6, rtol=1e-12)


@pytest.mark.parametrize(
    ("rotation", "y", "words"),
    [
        # Clockwise from behind: the blade at the top moves to starboard, so it rises on its port
        # side, which is inboard for a starboard propeller.
        (1, 2.0, "inboard up"),
        (1, -2.0, "outboard up"),
        (-1, 2.0, "outboard up"),
        (-1, -2.0, "inboard up"),
        (1, 0.0, "clockwise"),
        (-1, 0.0, "counterclockwise"),
        (0, 2.0, "none"),
    ],
)
def test_spin_words(rotation: int, y: float, words: str) -> None:
    assert spin_words(rotation, y) == words


@pytest.mark.parametrize("spin", ["inboard_up", "outboard_up"])
def test_words_of_a_mirrored_pair_are_those_of_the_case(spin: str) -> None:
    case = parse_case(CASE + PROPELLER.format(name="one", y=2.0, spin=spin))
    discs = discs_of(case)
    assert [d.y for d in discs] == [-2.0, 2.0]
    assert {d.spin for d in discs} == {spin.replace("_", " ")}
    assert discs[0].rotation == -discs[1].rotation


def test_case_of_a_solution_is_its_case(one: Solution) -> None:
    assert case_of(one) == parse_case(one.case_toml, Path(), "sample")


def test_bands_are_the_blown_strips(one: Solution) -> None:
    bands = blown_bands(one)
    assert len(bands) == 8
    y = one.strips["y"]
    blown = one.strips["slipstream_axial"] > 0
    inside = np.any([(low < y) & (y < high) for low, high in bands], axis=0)
    np.testing.assert_array_equal(inside, blown)
    width = one.strips["width"]
    assert_allclose(sum(high - low for low, high in bands), width[blown].sum(), rtol=1e-12)


def test_no_bands_without_slipstreams(one: Solution) -> None:
    still = {**one.strips, "slipstream_axial": np.zeros(64)}
    assert blown_bands(replace(one, strips=still)) == []
    strips = {k: v for k, v in one.strips.items() if not k.startswith("slipstream")}
    assert blown_bands(replace(one, strips=strips)) == []


def test_faint_inflow_outside_is_not_blown() -> None:
    solution = single()
    strips = {**solution.strips, "slipstream_axial": solution.strips["slipstream_axial"] + 0.05}
    assert len(blown_bands(replace(solution, strips=strips))) == 8
