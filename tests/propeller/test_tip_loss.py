"""Tip loss: Prandtl's factor against Goldstein's circulation, and the choice between them.

Goldstein (1929), "On the vortex theory of screw propellers", Proc. R. Soc. A 123, 440-465: values
computed by two independent methods, not digits of a published table.
"""

import importlib.util
import math
import sys
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from blownwing.kernels import blade as kernel

FOLDER = Path(__file__).parents[2] / "validation" / "tip_loss"


@pytest.fixture(scope="module")
def compared():
    spec = importlib.util.spec_from_file_location("tip_loss", FOLDER / "compare.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    yield module
    sys.modules.pop("tip_loss")
    sys.modules.pop("isolated_propellers_for_tip_loss", None)


def test_goldstein_s_limits(compared):
    radii, tables = compared.goldstein()
    for k, lam in enumerate(tables[2][0]):
        free = radii**2 / (radii**2 + lam**2)  # infinitely many blades
        rows = [tables[blades][1][k] for blades in (2, 3, 4, 6)]
        # outboard more blades carry more, towards that limit; none beats it there
        for fewer, more in pairwise(rows):
            assert np.all((more > fewer)[radii >= 0.6])
        assert np.all((rows[-1] < free)[radii >= 0.6])
    # mass coefficient κ = 2∫G x dx, Theodorsen: B = 3, λ = 0.2: 0.6995, the same computations
    value = 2.0 * np.trapezoid(np.append(tables[3][1][1], 0.0) * np.append(radii, 1.0), np.append(
        radii, 1.0))  # fmt: skip
    assert_allclose(value, 0.6995, rtol=0.04)  # eleven radii from 0.2 only


@pytest.mark.parametrize(
    ("blades", "lam", "x", "prandtl", "ratio"),
    [
        (2, 0.2, 0.8, 0.7201, 0.6718),
        (3, 0.2, 0.9, 0.6593, 0.6322),
        (3, 1.0 / 3.0, 0.75, 0.6700, 0.6144),
    ],
)
def test_prandtl_is_4_to_9_per_cent_above(compared, blades, lam, x, prandtl, ratio):
    radii, tables = compared.goldstein()
    value = compared.prandtl(blades, lam, np.array([x]))[0]
    sine = lam / math.sqrt(1.0 + lam**2)
    own, _ = kernel.loss_factor(sine, 0.5 * blades * (1.0 - x), math.inf)
    assert_allclose(own, value, rtol=1e-12)  # the solver's factor, with the tip's angle
    assert_allclose(value * x**2 / (x**2 + lam**2), prandtl, atol=6e-5)
    pitches, rows = tables[blades]
    row = rows[int(np.argmin(np.abs(pitches - lam)))]
    exact = float(row[int(np.argmin(np.abs(radii - x)))])
    assert_allclose(exact, ratio, atol=5e-4)
    assert 1.03 < prandtl / exact < 1.10


def test_goldstein_s_factor_does_not_reduce_the_measured_errors(compared):
    # why Prandtl's stays: three of the four measured propellers get worse
    errors = compared.measured_errors()
    worse = [name for name, e in errors.items() if e[1].sum() > e[0].sum()]
    assert len(worse) == 3


def test_figure_of_tip_loss_is_drawn(compared, tmp_path):
    compared.draw(tmp_path / "figure.png")
    assert (tmp_path / "figure.png").stat().st_size > 10_000
