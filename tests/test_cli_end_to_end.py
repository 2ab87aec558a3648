"""From a case file to a result, a summary, figures and tables, with nothing replaced."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

import blownwing

SMALL = """\
title = "Small wing with a pair of ideal discs"
[flow]
airspeed = 30.0
alpha = {alpha}
[wing]
symmetric = true
[[wing.stations]]
y = 0.0
chord = 1.0
[[wing.stations]]
y = 4.0
chord = 1.0
[[propellers]]
name = "inner"
kind = "disc"
position = [-0.8, 2.0, 0.0]
diameter = 1.2
mirror = true
thrust = 200.0
[model]
chordwise = 3
spanwise = 12
"""


def solve(folder: Path, alpha: str, *options: str) -> subprocess.CompletedProcess[str]:
    (folder / "small.toml").write_text(SMALL.format(alpha=alpha))
    return subprocess.run(
        [sys.executable, "-W", "error", "-m", "blownwing.cli", "solve", "small.toml", *options],
        cwd=folder,
        env={**os.environ, "NO_COLOR": "1", "COLUMNS": "80"},
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )


def test_a_small_case(tmp_path: Path) -> None:
    done = solve(tmp_path, "4.0", "--figures", "--csv")
    assert (done.returncode, done.stderr) == (0, "")
    solution = blownwing.load(tmp_path / "small.h5")
    totals = solution.totals
    assert totals["CL"] > totals["CL_unblown"] > 0.2
    assert_allclose(totals["thrust"], 400.0, rtol=1e-6)
    assert f"CL {totals['CL']:.4f} blown, {totals['CL_unblown']:.4f} unblown" in done.stdout
    assert len(done.stdout.splitlines()) < 40
    # The strips carry the lift: cl c summed over the width is CL S.
    strips = solution.strips
    carried = np.sum(strips["cl"] * strips["chord"] * strips["width"])
    assert_allclose(carried, totals["CL"] * totals["reference_area"], rtol=1e-6)
    figures = {p.stem for p in (tmp_path / "small_figures").iterdir()}
    assert {"plan_view", "span_loading", "slipstream", "convergence"} <= figures
    assert (tmp_path / "small_strips.csv").exists()


def test_a_polar_is_its_angles_one_by_one(tmp_path: Path) -> None:
    assert solve(tmp_path, "[2.0, 6.0]", "-o", "polar.h5").returncode == 0
    polar = blownwing.load(tmp_path / "polar.h5")
    assert polar.alphas == (2.0, 6.0)
    for index, alpha in enumerate(("2.0", "6.0")):
        assert solve(tmp_path, alpha, "-o", "one.h5").returncode == 0
        one = blownwing.load(tmp_path / "one.h5")
        for name in ("CL", "CL_unblown", "CD_induced", "lift", "power"):
            here = polar.at(index).totals[name]
            assert_allclose(here, one.totals[name], rtol=2e-4, err_msg=name)


CASES = sorted((Path(__file__).parents[1] / "cases").glob("*.toml"))


@pytest.mark.parametrize("path", CASES, ids=[path.stem for path in CASES])
def test_every_shipped_case_reads(path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "blownwing.cli", "check", str(path)],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")


def test_there_are_cases() -> None:
    assert len(CASES) >= 4
