"""The program against free vortex rings, a non-linear model of its own under validation/.

The rings' numbers are computed, not measured; `validation/free_rings/README.md` says how sure they
are and what disagrees (induced drag; between two streams at μ = 2; at and just ahead of the disc).
"""

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from blownwing.validation.claims import bar

FOLDER = Path(__file__).parents[2] / "validation" / "free_rings"


def module(name):
    sys.path.insert(0, str(FOLDER))
    try:
        spec = importlib.util.spec_from_file_location(f"free_rings_{name}", FOLDER / f"{name}.py")
        made = importlib.util.module_from_spec(spec)
        sys.modules[spec.name] = made
        spec.loader.exec_module(made)
        return made
    finally:
        sys.path.remove(str(FOLDER))


@pytest.fixture(scope="module")
def compare():
    return module("compare")


@pytest.mark.parametrize(
    ("size", "ahead"),
    [(0.5, 0.5), (0.5, 1.5), (1.0, 0.5), (1.0, 2.5)],
)
def test_lift_and_load_behind_one_disc(compare, size, ahead):
    allowed = bar("free_rings", f"gain at R/c {size:g}")
    found = compare.program(size, ahead)
    gain, wanted = compare.gains(found)[0], compare.rings_gains(size, ahead)[0]
    print(f"R/c {size}, {ahead} c ahead: {gain:.4f} against {wanted:.4f}")
    assert_allclose(gain, wanted, rtol=allowed)
    # The control: without the edge it is out of the band.
    plain = compare.gains(compare.program(size, ahead, jet_edge=False))[0]
    assert abs(plain / wanted - 1.0) > allowed
    # Loads inside, away from the edge, where the rings' cores blur it.
    y, _, blown, _ = compare.loads(size, ahead)
    far = size * np.sqrt(2.5 / 3.0)
    inside = np.abs(y) < 0.75 * far
    ours = np.interp(y[inside], found.strips["y"], found.strips["cl"])
    gap = ours / blown[inside] - 1.0
    assert abs(np.mean(gap)) < bar("free_rings", "loads") and np.max(np.abs(gap)) < 0.04


@pytest.mark.parametrize("ratio", [1.1, 1.5, 2.0])
def test_direction_inside_an_inclined_stream(compare, ratio):
    # Bar 3 %, from a radius behind the disc on; at μ = 3 the rings are 4 % off the formula at 4 R.
    angle = compare.rings(f"inclined mu {ratio:g}", "flow angle inside over alpha")
    formula = 1.0 - ratio * (ratio - 1.0) / (ratio**2 + 1.0)
    for place in ("x = 1 R", "x = 2 R", "x = 4 R"):
        assert_allclose(angle[place], formula, rtol=0.03)
    vector_sum = 1.0 / ratio
    assert abs(angle["x = 2 R"] / vector_sum - 1.0) > 0.03


def test_a_pair_of_inclined_discs(compare):
    one = compare.rings("pair mu 1.5", "flow angle inside over alpha")
    two = compare.rings("pair mu 1.5, tubes of the far radius", "flow angle inside over alpha")
    for place, value in one.items():
        assert_allclose(two[place], value, atol=0.03)


@pytest.mark.slow
def test_the_stored_numbers_are_what_the_rings_give(compare):
    # The coarse level of one inclined disc, settled again; and marched on from there it stays.
    sys.path.insert(0, str(FOLDER))
    try:
        import rings

        import cases
    finally:
        sys.path.remove(str(FOLDER))
    flow = rings.settle(cases.base(1.5, alpha=cases.ALPHA), damping=0.3)
    stored = compare.rings("inclined mu 1.5 @coarse", "flow angle inside over alpha")
    found = cases.angles(flow, cases.STATIONS) / cases.ALPHA
    assert_allclose(found, list(stored.values()), atol=1e-4)
    later = cases.angles(rings.march(flow, 15), cases.STATIONS) / cases.ALPHA
    assert_allclose(later, found, atol=2e-4)
