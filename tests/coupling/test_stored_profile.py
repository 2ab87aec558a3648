"""The slipstream along the span, on a fine grid: what strips are the means of; halves of wholes."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from blownwing import InputError, Solution, read_case, solve

CASES = Path(__file__).parents[2] / "cases"
QUICK = {"model.chordwise": 2, "model.spanwise": 16, "model.jet_around": 16, "model.jet_rings": 8}


@pytest.fixture(scope="module")
def half() -> Solution:
    return solve(read_case(CASES / "tunnel_half_model.toml").replace(**QUICK))


def test_strips_are_means_of_the_profile(half: Solution) -> None:
    fine, strips = half.profile, half.strips
    assert fine["y"].size > 100 and np.all(np.diff(fine["y"]) > 0.0)
    compared = 0
    for k in range(strips["y"].size):
        low, high = strips["y"][k] + np.array([-0.5, 0.5]) * strips["width"][k]
        (low_end, high_end) = (
            half.slipstreams["tractor"]["span_from"],
            half.slipstreams["tractor"]["span_to"],
        )
        if low < low_end - 1e-6 or high > high_end + 1e-6:
            continue
        y = np.linspace(low, high, 201)[1:-1]
        axial = np.interp(y, fine["y"], fine["axial"]).mean()
        # the strip takes three Gauss points of a curved profile
        assert_allclose(axial, strips["slipstream_axial"][k], atol=0.06 * fine["axial"].max())
        compared += 1
    assert compared >= 4


def test_the_profile_is_symmetric_and_still_outside(half: Solution) -> None:
    fine = half.profile
    assert_allclose(fine["y"], -fine["y"][::-1], atol=0)
    for name in ("axial", "swirl"):
        assert_allclose(fine[name], fine[name][::-1], atol=0)
    stream = half.slipstreams["tractor"]
    outside = (np.abs(fine["y"]) < stream["span_from"] - 1e-6) | (
        np.abs(fine["y"]) > stream["span_to"] + 1e-6
    )
    assert np.all(fine["axial"][outside] == 0.0) and fine["axial"].max() > 1.0


def test_half_values_are_half_of_the_whole(half: Solution) -> None:
    totals = half.totals
    for name in ("lift", "drag", "thrust", "power", "net_axial_force"):
        assert totals[f"half_{name}"] == 0.5 * totals[name]
    one = half.propellers["tractor"]["thrust"]
    assert_allclose(totals["half_thrust"], one)


def test_a_half_model_needs_its_image() -> None:
    case = read_case(CASES / "tunnel_half_model.toml")
    with pytest.raises(InputError, match="half_model: found true in a case whose halves differ"):
        case.replace(**{"flow.beta": 3.0})
    whole = solve(case.replace(**QUICK, **{"wing.half_model": False}))
    assert "half_lift" not in whole.totals
