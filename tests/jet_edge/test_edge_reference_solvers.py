"""The two test-only solvers against computed and classical values, before they judge the lattice.

Values without a published source were computed independently of this project and carried over:
they are exact for the linear problem, not measured.
"""

import math

import numpy as np
import pytest
from koning_line import loaded_line
from numpy.testing import assert_allclose
from plane_jet import lift_factor


@pytest.mark.parametrize(
    ("radius_ratio", "ratio", "with_images", "speed_only"),
    [
        (0.10, 2.0, 6.0443, 7.2200),
        (0.15, 2.0, 7.1371, 8.7028),
        (0.15, 1.5, 5.7985, 6.3467),
        (0.15, 1.25, 5.1697, 5.3711),
    ],
)
def test_lifting_line_through_a_circular_jet(radius_ratio, ratio, with_images, speed_only):
    # Rectangular wing A = 6, 2π sections, jet on the centre line (independent computation with
    # the images of Koning 1935, 200 strips).
    assert_allclose(loaded_line(6.0, radius_ratio, ratio)[2], with_images, rtol=2e-4)
    assert_allclose(loaded_line(6.0, radius_ratio, ratio, images=False)[2], speed_only, rtol=2e-4)


@pytest.mark.parametrize(
    ("diameter_ratio", "slower", "with_images", "speed_only"),
    [(0.20, 0.8, 1.0896, 1.1227), (0.35, 0.8, 1.1676, 1.2169), (0.35, 0.6, 1.4541, 1.6597)],
)
def test_lift_gain_of_a_central_jet(diameter_ratio, slower, with_images, speed_only):
    # L/L0, A = 6 (two independent computations agreed to five digits on the first row).
    clean = loaded_line(6.0, 0.1, 1.0)[2]
    for images, expected in ((True, with_images), (False, speed_only)):
        found = loaded_line(6.0, 0.5 * diameter_ratio, 1.0 / slower, images)[2] / clean
        assert_allclose(found, expected, rtol=7e-4)


def test_lifting_line_carries_lift_across_the_edge():
    edges, circulation, _ = loaded_line(6.0, 0.15, 2.0)
    first = int(np.flatnonzero(np.isclose(edges, 0.9))[0])
    assert_allclose(2.0 * circulation[first - 1], circulation[first], rtol=2e-3)


@pytest.mark.parametrize(
    ("chord_over_height", "ratio", "expected"),
    [
        (chord, ratio, value)
        for chord, row in (
            (0.25, (0.97829, 0.98711, 0.99299)),
            (0.5, (0.92333, 0.95393, 0.97474)),
            (1.0, (0.78847, 0.86853, 0.92620)),
            (2.0, (0.605841, 0.741331, 0.848821)),
        )
        for ratio, value in zip((2.0, 1.5, 1.25), row, strict=True)
    ],
)
def test_plane_jet_with_doublet_edges(chord_over_height, ratio, expected):
    # K of a plate midway in a co-flowing plane jet: series of images λⁿ at n H, 120 vortices
    # (independent computation). The doublet sheets have to give the same.
    assert_allclose(lift_factor(chord_over_height, ratio), expected, rtol=5e-4)
    assert lift_factor(chord_over_height, 1.0) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("chord_over_height", [0.5, 1.0, 2.0])
def test_plane_jet_in_nearly_still_air(chord_over_height):
    # Exact: K = tanh(k)/k, k = πc/2H, 0.583877 at c = H (the unstaggered cascade, Weinig 1935,
    # "Die Strömung um die Schaufeln von Turbomaschinen", memory; re-derived by an image row).
    k = 0.5 * math.pi * chord_over_height
    if chord_over_height == 1.0:
        assert_allclose(math.tanh(k) / k, 0.583877, atol=5e-7)
    error = [lift_factor(chord_over_height, mu) / (math.tanh(k) / k) - 1.0 for mu in (10.0, 100.0)]
    assert abs(error[1]) < 1e-3 < 0.1 * error[0] + 1e-3
    assert abs(error[1]) < 0.2 * error[0]


def test_a_thin_plane_jet_gives_no_augmentation():
    # K → 1/μ² as H → 0, slowly: 0.2944 at c/H = 30 and 0.2666 at 100 for μ = 2 (computed, image
    # series).
    found = [lift_factor(c, 2.0, vortices=200, panels=800) for c in (30.0, 100.0)]
    assert_allclose(found, [0.2944, 0.2666], rtol=0.02)
    assert 0.25 < found[1] < found[0]
