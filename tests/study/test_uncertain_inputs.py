"""Main effects against the analytic values of a test function, and an uncertain study."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.stats import qmc
from study_scenes import parameter, written

from blownwing import SolveError
from blownwing.study.reader import read_study
from blownwing.study.sweep.run import Options, run_sweep
from blownwing.study.sweep.uncertainty import main_effects, total_effects


def ishigami(x, a=7.0, b=0.1):
    return np.sin(x[:, 0]) + a * np.sin(x[:, 1]) ** 2 + b * x[:, 2] ** 4 * np.sin(x[:, 0])


def test_main_effects_of_the_ishigami_function():
    # Ishigami & Homma 1990, "An importance quantification technique in uncertainty analysis for
    # computer models"; a = 7, b = 0.1: variances V1 = (1 + b pi^4/5)^2/2, V2 = a^2/8, V3 = 0 of
    # V = a^2/8 + b pi^4/5 + b^2 pi^8/18 + 1/2 (worked out here from the definition)
    total = 49 / 8 + 0.1 * math.pi**4 / 5 + 0.01 * math.pi**8 / 18 + 0.5
    exact = [0.5 * (1 + 0.1 * math.pi**4 / 5) ** 2 / total, 49 / 8 / total, 0.0]
    assert_allclose(exact, [0.3139, 0.4424, 0.0], atol=5e-5)
    points = qmc.Sobol(6, rng=np.random.default_rng(3)).random(4096)
    points = math.pi * (2.0 * points - 1.0)
    first, second = points[:, :3], points[:, 3:]
    mixed = []
    for k in range(3):
        one = first.copy()
        one[:, k] = second[:, k]
        mixed.append(ishigami(one))
    values = ishigami(first), ishigami(second), np.stack(mixed)
    found, errors = main_effects(*values)
    assert_allclose(found, exact, atol=0.02)
    # the error of a plain random sample; Sobol points do better
    assert np.all(np.abs(found - exact) < 2.0 * errors) and np.all(errors < 0.05)
    # V13 = 8 b² π⁸/225 is the only interaction (worked out here from the definition)
    both = 8.0 * 0.01 * math.pi**8 / 225.0 / total
    assert_allclose(total_effects(*values), np.add(exact, [both, 0.0, both]), atol=0.02)


def test_an_uncertain_study_reports_mean_deviation_and_effects(tmp_path):
    # lift of an unblown wing is linear in alpha and nearly in twist: the spread follows by hand
    sweep = 'method = "uncertainty"\nsamples = 64\nseed = 5\n'
    sweep += parameter("flow.alpha", mean=4.0, deviation=0.5)
    sweep += parameter("flow.airspeed", **{"from": 29.9, "to": 30.1})
    study = read_study(written(tmp_path, sweep, edits="propellers = []"))
    table = run_sweep(study, tmp_path / "out.h5", Options(workers=1))
    assert table.solved.size == 64 * 4
    summary = table.summary["CL"]
    alpha, cl = table.parameters["flow.alpha"], table.results["CL"]
    slope = np.polyfit(alpha, cl, 1)[0]
    assert_allclose(
        summary["mean"], np.interp(4.0, np.sort(alpha), cl[np.argsort(alpha)]), rtol=2e-3
    )
    assert_allclose(summary["standard_deviation"], slope * 0.5, rtol=0.03)
    assert summary["effect flow.alpha"] > 0.95
    assert abs(summary["effect flow.airspeed"]) < 0.05
    assert summary["total flow.alpha"] > 0.95 and 0.0 < summary["band flow.alpha"] < 0.3


def test_failed_samples_make_no_statistics(tmp_path):
    sweep = 'method = "uncertainty"\nsamples = 4\n'
    sweep += parameter("propellers.all.thrust", **{"from": 100.0, "to": 1e6})
    study = read_study(written(tmp_path, sweep))
    with pytest.raises(SolveError, match="biased"):
        run_sweep(study, tmp_path / "out.h5", Options(workers=1))
    assert not (tmp_path / "out.h5").exists()
