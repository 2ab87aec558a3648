"""Curves and maps of blades and of measured tables, as the command writes them."""

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from rotors import AIR
from typer.testing import CliRunner

from blownwing.cli import app
from blownwing.errors import InputError
from blownwing.propeller.blade import read_blade
from blownwing.propeller.curves import blade_curves, table_curves, table_map
from blownwing.propeller.measured import MeasuredRotor
from blownwing.propeller.performance import read_performance
from blownwing.propeller.rotor import axial_inflow, build_rotor, coefficients, solve_rotor
from blownwing.solution.map_files import load_map

ROOT = Path(__file__).parents[2]
BLADE = ROOT / "shared" / "blades" / "high_lift_5.csv"
ROTOR = build_rotor(read_blade(BLADE), 0.8, 5)
OMEGA = 366.0


def measured(folder, text):
    path = folder / "table.csv"
    path.write_text(text, encoding="utf-8")
    return MeasuredRotor(read_performance(path), 0.4, 0.072, 5, None)


def by_angle(angles=(15, 20, 25, 30), end=1.0):
    """Straight lines in J and angle: what cubics give back exactly."""
    lines = ["# source: a test", "J,CT,CP,pitch [deg]"]
    for angle in angles:
        for j in np.linspace(0.0, end, 6):
            lines.append(f"{j},{0.1 + 0.002 * angle - 0.1 * j},{0.1 + 0.004 * angle},{angle}")
    return "\n".join(lines) + "\n"


def test_curves_of_blades_are_the_solvers_and_end_behind_no_thrust():
    (curve,) = blade_curves(ROTOR, AIR, OMEGA, [3.0])
    assert curve.rpm == pytest.approx(OMEGA * 30.0 / math.pi)
    assert curve.thrust[0] > 0.0 > curve.thrust[-1] > -0.05
    speed = float(curve.advance[20]) * OMEGA / (2.0 * math.pi) * 0.8
    inflow = axial_inflow(ROTOR, speed)
    loads = solve_rotor(ROTOR, AIR, OMEGA, math.radians(3.0), "clockwise", inflow)
    wanted = coefficients(ROTOR, AIR, loads, speed)
    assert_allclose((curve.thrust[20], curve.power[20]), (wanted.thrust, wanted.power), rtol=1e-9)
    assert curve.efficiency[20] == pytest.approx(wanted.efficiency)
    with pytest.raises(InputError, match="above 0"):
        blade_curves(ROTOR, AIR, 0.0, [0.0])


def test_a_tables_curves_are_its_rows(tmp_path):
    # rows of da4002_9x6.75 (two blades) at 5030 rpm: Brandt & Selig (2011), AIAA 2011-1255
    rows = ((0.250515, 0.119574, 0.074178), (0.374369, 0.102531, 0.070558),
            (0.500784, 0.082563, 0.064268), (0.659234, 0.052166, 0.049923))  # fmt: skip
    text = "# source: t\nJ,CT,CP,rpm\n" + "".join(f"{j},{t},{p},5030\n" for j, t, p in rows)
    prop = measured(tmp_path, text)
    for omega in (None, 5030.0 * math.pi / 30.0):
        (curve,) = table_curves(prop, AIR, omega)
        assert curve.rpm == pytest.approx(5030.0)
        assert curve.pitch is None
        assert (curve.advance[0], curve.advance[-1]) == pytest.approx((0.250515, 0.659234))
        for j, ct, cp in rows:
            assert np.interp(j, curve.advance, curve.thrust) == pytest.approx(ct, rel=2e-3)
            assert np.interp(j, curve.advance, curve.power) == pytest.approx(cp, rel=2e-3)
    # η = J CT/CP of the last row: 0.688859 as printed there
    assert curve.efficiency[-1] == pytest.approx(0.688859, abs=1e-4)


def test_a_table_with_blade_angles_has_a_map(tmp_path):
    prop = measured(tmp_path, by_angle())
    assert [curve.pitch for curve in table_curves(prop, AIR, None)] == [15, 20, 25, 30]
    found = table_map(prop, AIR, 300.0)
    assert_allclose(np.degrees(found.pitch), (15, 20, 25, 30))
    ct, cp = found.coefficients(0.37, math.radians(21.7))
    assert ct == pytest.approx(0.1 + 0.002 * 21.7 - 0.037, abs=1e-9)
    assert cp == pytest.approx(0.1 + 0.004 * 21.7, abs=1e-9)
    assert max(*found.thrust_error, *found.power_error) < 1e-9
    assert table_map(measured(tmp_path, by_angle((15, 20, 25))), AIR, 300.0) is None


def test_reynolds_numbers_need_a_rotor_speed(tmp_path):
    text = "# source: t\n# chord: 0.2\nJ,CT,CP,reynolds\n"
    for level in (1e5, 4e5):
        text += "".join(f"{j},{0.1 - 0.05 * j},0.07,{level}\n" for j in (0, 0.2, 0.4, 0.6))
    prop = measured(tmp_path, text)
    with pytest.raises(InputError, match="a rotor speed is needed"):
        table_curves(prop, AIR, None)
    (curve,) = table_curves(prop, AIR, 300.0)
    assert curve.thrust[0] == pytest.approx(0.1)


def run(*words):
    return CliRunner().invoke(app, ["propeller-map", *map(str, words)])


def test_the_command_on_a_measured_case(tmp_path):
    folder = tmp_path / "out"
    result = run(ROOT / "cases" / "eight_measured.toml", "-o", folder)
    assert result.exit_code == 0, result.output
    assert {p.name for p in folder.iterdir()} == {"first_curves.csv", "first_curves.png"}
    words = " ".join(result.stdout.split())
    assert "first, second, third, fourth: from ../shared/performance/high_lift_5.csv" in words
    assert "not for flight clearance" in words
    assert "constructed table" not in words  # there are no sections
    assert max(map(len, result.stdout.split("Written:")[0].splitlines())) <= 80
    with (folder / "first_curves.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 3 * 61
    assert float(rows[0]["CT [1]"]) == pytest.approx(0.2832, abs=1e-4)


def test_the_command_on_blades(tmp_path):
    folder = tmp_path / "out"
    case = ROOT / "cases" / "twin_tip.toml"
    result = run(case, "-o", folder, "--rpm", 1800, "--format", "svg")
    assert result.exit_code == 0, result.output
    assert {p.name for p in folder.iterdir()} == {
        "tip_curves.csv", "tip_curves.svg", "tip_map.h5",
    }  # fmt: skip
    assert "constructed table" in " ".join(result.stdout.split())
    made = load_map(folder / "tip_map.h5")
    assert made.omega == pytest.approx(1800.0 * math.pi / 30.0)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--name", "none"), '--name: found "none"; accepted are tip'),
        (("--rpm", "0"), "--rpm: found 0; accepted is above 0"),
    ],
)
def test_bad_options_are_one_sentence(tmp_path, words, message):
    result = run(ROOT / "cases" / "twin_tip.toml", "-o", tmp_path / "out", *words)
    assert result.exit_code == 2
    assert message in result.stderr
    assert not (tmp_path / "out").exists()
