"""The command line for high lift: targets, largest lift and stall speeds, and what is refused."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from numpy.testing import assert_allclose
from typer.testing import CliRunner, Result

import blownwing
from blownwing.cli import app

CASE = """
title = "small wing in two jets"
[flow]
airspeed = 30.0
alpha = 4.0
[wing]
[[wing.stations]]
y = 0.0
chord = 1.0
airfoil = "naca2412"
[[wing.stations]]
y = 4.0
chord = 1.0
twist = -1.0
airfoil = "naca2412"
[[propellers]]
name = "jet"
kind = "disc"
position = [-0.6, 1.8, 0.0]
diameter = 0.9
mirror = true
thrust = 150.0
[model]
sections = "tables"
jet_edge = false
chordwise = 1
spanwise = 10
radial = 6
azimuth = 6
"""


@pytest.fixture
def case(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "wing.toml"
    path.write_text(CASE)
    return path


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, ["solve", *(str(a) for a in arguments)])


def refused(result: Result, code: int) -> str:
    assert result.exit_code == code, result.output
    assert result.stderr.startswith("blownwing: ") and result.stderr.count("\n") == 1
    assert "Traceback" not in result.stderr
    return result.stderr


@pytest.mark.parametrize("target", ["CL=0.8", "lift=3500", "weight=3600"])
def test_target(case: Path, target: str) -> None:
    result = run(case, "--target", target)
    assert result.exit_code == 0, result.output
    found = blownwing.load("wing.h5").totals
    name, value = target.split("=")
    both = found["lift"] * (1.0 + found["CL_from_thrust"] / found["CL"])
    reached = both if name == "weight" else found[name]
    assert_allclose(reached, float(value), rtol=1e-5)


def test_peak_with_stall_speeds(case: Path) -> None:
    result = run(case, "--peak", "--weight", "6200")
    assert result.exit_code == 0, result.output
    text = " ".join(result.stdout.split())
    rows = {
        name: [float(v) for v in re.search(rf"\b{name}((?: [\d.]+)+) %", text).group(1).split()]  # type: ignore[union-attr]  # a missing row fails the test by itself
        for name in ("blown", "unblown")
    }
    wing, thrust, both, alpha, place = rows["blown"]
    assert wing > rows["unblown"][0] > 1.0
    assert thrust > 0.0 and rows["unblown"][1] == 0.0
    assert_allclose(wing + thrust, both, atol=0.0011)
    assert 10.0 < alpha < 30.0 and 0.0 <= place <= 100.0
    # What the file holds is the blown peak, with the thrust that the case gives.
    found = blownwing.load("wing.h5").totals
    assert_allclose(found["CL"], wing, atol=6e-4)
    assert_allclose(found["thrust"], 300.0, rtol=1e-6)
    gain = float(re.search(r"largest lift by ([\d.]+) %", text).group(1))  # type: ignore[union-attr]  # as above
    assert_allclose(gain, 100.0 * (wing / rows["unblown"][0] - 1.0), atol=0.2)
    speeds = [float(v) for v in re.findall(r"Stall speed \w+: ([\d.]+) m/s", text)]
    assert len(speeds) == 2 and 15.0 < speeds[0] < speeds[1] < 40.0
    assert "How far to trust this: section tables" in text and "not for flight clearance" in text


def test_peak_of_a_wing_without_propellers(case: Path) -> None:
    bare = CASE[: CASE.index("[[propellers]]")] + CASE[CASE.index("[model]") :]
    case.write_text(bare)
    result = run(case, "--peak")
    assert result.exit_code == 0, result.output
    assert "unblown" in result.stdout and "\nblown " not in result.stdout
    assert "Blowing raises" not in result.stdout


@pytest.mark.parametrize(
    ("arguments", "fragment"),
    [
        (["--target", "CL"], 'found "CL"; accepted is CL=, lift= or weight= and a number'),
        (["--target", "CL=high"], 'found "CL=high"'),
        (["--target", "CD=0.1"], 'found "CD"; accepted are CL, lift, weight'),
        (["--target", "CL=1", "--peak"], "leave one out"),
        (["--weight", "5000"], "applies with --peak"),
        (["--peak", "--weight", "-3"], "found -3 N"),
        (["--peak", "--weight", "nan"], "found nan N"),
    ],
)
def test_wrong_arguments(case: Path, arguments: list[str], fragment: str) -> None:
    assert fragment in refused(run(case, *arguments), 2)
    assert not Path("wing.h5").exists()


@pytest.mark.parametrize("value", ["nan", "inf"])
def test_targets_that_are_not_finite(case: Path, value: str) -> None:
    sentence = refused(run(case, "--target", f"CL={value}"), 2)
    assert f"found CL of {value}; accepted is a finite number" in sentence


def test_what_cannot_be_reached(case: Path) -> None:
    sentence = refused(run(case, "--target", "CL=9"), 1)
    assert "CL of 9 is not reached" in sentence and "nearest found is" in sentence
    assert not Path("wing.h5").exists()


def test_linear_sections_have_no_peak(case: Path) -> None:
    case.write_text(CASE.replace('sections = "tables"', 'sections = "linear"'))
    assert 'found "linear"' in refused(run(case, "--peak"), 2)


def test_a_polar_is_not_a_target(case: Path) -> None:
    # A list of incidences gives no single one; the search starts at the first.
    case.write_text(CASE.replace("alpha = 4.0", "alpha = [4.0, 6.0]"))
    assert run(case, "--target", "CL=0.8").exit_code == 0
    assert_allclose(blownwing.load("wing.h5").totals["CL"], 0.8, rtol=1e-5)
