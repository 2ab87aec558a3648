"""Polynomial chaos against variances worked out by hand and against SciPy's Sobol indices."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.stats import norm, qmc, sobol_indices, uniform
from study_scenes import parameter, written

from blownwing.errors import InputError, SolveError
from blownwing.study.reader import read_study
from blownwing.study.sweep.expansion import expanded, least_samples
from blownwing.study.sweep.run import Options, run_sweep


def points(count, inputs, seed=1):
    return 2.0 * qmc.Sobol(inputs, rng=np.random.default_rng(seed)).random(count) - 1.0


def test_a_product_s_indices_are_those_worked_out_by_hand():
    """f = (1 + a x)(1 + b y), uniform on -1..1: V = (1 + a²/3)(1 + b²/3) − 1, Vx = a²/3, and the
    rest is interaction (worked out here from the definition)."""
    a, b = 0.6, 0.9
    x = points(16, 2)
    found = expanded(x, (False, False), (1.0 + a * x[:, 0]) * (1.0 + b * x[:, 1]))
    va, vb = a * a / 3.0, b * b / 3.0
    total = (1.0 + va) * (1.0 + vb) - 1.0
    assert_allclose(found.mean, 1.0, rtol=1e-12)
    assert_allclose(found.deviation, total**0.5, rtol=1e-12)
    assert_allclose(found.effects, [va / total, vb / total], rtol=1e-11)
    both = va * vb / total
    assert_allclose(found.totals, [va / total + both, vb / total + both], rtol=1e-11)
    assert found.error < 1e-20 and np.all(found.band < 1e-9)
    assert_allclose(found.swings[0], [1.0 - 0.9 * a, 1.0 + 0.9 * a], rtol=1e-12)


def smooth(x):
    return np.exp(0.4 * x[0]) + 0.8 * x[0] * x[1] + 0.3 * x[2] ** 2


def test_normal_and_uniform_inputs_as_scipy_s_indices():
    """scipy.stats.sobol_indices (Saltelli 2010) on 2^15 points, an estimator of another kind."""
    laws = [uniform(-1.0, 2.0), norm(), norm()]
    wanted = sobol_indices(func=smooth, n=2**15, dists=laws, rng=np.random.default_rng(2))
    unit = qmc.Sobol(3, rng=np.random.default_rng(4)).random(64)
    x = np.stack([2.0 * unit[:, 0] - 1.0, norm.ppf(unit[:, 1]), norm.ppf(unit[:, 2])], axis=1)
    found = expanded(x, (False, True, True), smooth(x.T))
    assert_allclose(found.effects, wanted.first_order, atol=0.01)
    assert_allclose(found.totals, wanted.total_order, atol=0.01)
    assert found.error < 1e-3


def test_what_is_unexplained_and_the_bands_shrink_with_cases():
    """A jump is no polynomial: its error stays in sight; bands go as 1/√n at one degree."""

    def jump(x):
        return np.where(x[:, 0] > 0.3, 1.0, 0.0) + 0.1 * x[:, 1]

    few, many = (expanded(points(n, 2), (False, False), jump(points(n, 2))) for n in (64, 1024))
    assert many.error > 0.1
    assert many.band[1] < 0.5 * few.band[1]
    control = expanded(points(256, 2), (False, False), points(256, 2)[:, 0])
    assert control.error < 1e-20


def test_an_expansion_study(tmp_path):
    """Lift is linear in incidence: the spread follows from its slope by hand."""
    sweep = f'method = "expansion"\nsamples = {2 * least_samples(1) * 2}\n'
    sweep += parameter("flow.alpha", mean=4.0, deviation=0.5)
    sweep += parameter("propellers.all.thrust", **{"from": 119.0, "to": 121.0})
    table = run_sweep(read_study(written(tmp_path, sweep)), tmp_path / "o.h5", Options(workers=1))
    assert table.solved.size == 16
    alpha, cl = table.parameters["flow.alpha"], table.results["CL"]
    slope = np.polyfit(alpha, cl, 1)[0]
    summary = table.summary["CL"]
    assert_allclose(summary["standard_deviation"], 0.5 * slope, rtol=0.02)
    assert summary["effect flow.alpha"] > 0.99 and summary["unexplained"] < 1e-3
    swing = summary["high flow.alpha"] - summary["low flow.alpha"]
    assert_allclose(swing, 2.0 * 1.645 * 0.5 * slope, rtol=0.02)


def test_too_few_samples_and_failures(tmp_path):
    sweep = 'method = "expansion"\nsamples = 2\n' + parameter("flow.alpha", mean=4.0, deviation=0.5)
    with pytest.raises(InputError, match="accepted is at least 4"):
        read_study(written(tmp_path, sweep))
    sweep = 'method = "expansion"\nsamples = 8\n'
    sweep += parameter("propellers.all.thrust", **{"from": 100.0, "to": 1e6})
    study = read_study(written(tmp_path, sweep))
    with pytest.raises(SolveError, match="biased"):
        run_sweep(study, tmp_path / "out.h5", Options(workers=1))
