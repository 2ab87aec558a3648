"""Lift per span V·Γ is continuous across a slipstream's edge, Γ itself jumps by μ.

Koning 1935, in Durand, "Aerodynamic Theory" IV, division M: pressure continuity on the edge.
"""

import numpy as np
import pytest
from edge_scenes import plate
from numpy.testing import assert_allclose

AROUND = (12, 24, 48)  # panels around half the tube


def sides(wing, ratio):
    """Γ/V just inside and just outside the edge, from lines through the three nearest strips."""
    lattice = wing.lattice
    strength = wing.strip_strengths(ratio)
    y = lattice.edge_y[:-1] + lattice.fraction * lattice.width - wing.radius
    first = int(np.sum(y < 0.0))
    inside, outside = slice(first - 3, first), slice(first, first + 3)
    fits = [np.polyfit(y[part], strength[part], 1)[1] for part in (inside, outside)]
    return ratio * fits[0], fits[1]


@pytest.mark.parametrize(
    ("radius", "ratio"), [(0.5, 1.5), pytest.param(0.5, 2.0, marks=pytest.mark.slow), (1.0, 2.0)]
)
def test_lift_per_span_is_continuous_across_the_edge(radius, ratio):
    gap = []
    for around in AROUND:
        wing = plate(4.0, radius, 20, 40, rows=3, tube=(around, 24))
        inside, outside = sides(wing, ratio)
        gap.append(ratio * inside / outside - 1.0)
    print(f"R/c {radius}, μ {ratio}: V·Γ inside over outside less one {np.round(gap, 4)} with "
          f"{AROUND} panels around half the tube")  # fmt: skip
    # The panel next to the wing has one value of D, so a gap goes with its width: 3 to 13 % with
    # 12 panels around half a tube. It halves with the width …
    assert_allclose([gap[0] / gap[1], gap[1] / gap[2]], 2.1, rtol=0.1)
    # … and vanishes with it.
    assert abs(2.0 * gap[2] - gap[1]) < 0.01
    # Γ itself jumps by the speed ratio.
    assert_allclose(outside / inside, ratio, rtol=1.1 * gap[2])
    assert outside / inside > 1.1


def test_nothing_jumps_without_contrast():
    inside, outside = sides(plate(4.0, 0.5, 8, 16), 1.0)
    assert_allclose(inside, outside, rtol=1e-3)
