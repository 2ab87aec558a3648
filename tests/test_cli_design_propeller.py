"""`blownwing design-propeller`, from the specification to files, figures and the comparison."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from typer.testing import CliRunner

from blownwing.cli import app
from blownwing.propeller.blade import read_blade
from blownwing.propeller.loading import unevenness
from blownwing.propeller.rotor import axial_inflow, build_rotor, solve_rotor
from blownwing.propeller.specification import design_task, read_specification
from blownwing.solution.map_files import load_map

SPEC = Path(__file__).parents[1] / "cases" / "propellers" / "short_field.toml"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The demonstration's blades, on half of its wing for speed."""
    folder = tmp_path_factory.mktemp("design") / "out"
    text = SPEC.read_text().replace("../../shared", str(SPEC.parents[2] / "shared"))
    text = text.replace("span = 4.0", "span = 2.0").replace("propellers = 2", "propellers = 1")
    path = folder.with_name("half.toml")
    path.write_text(text)
    result = CliRunner().invoke(app, ["design-propeller", str(path), "-o", str(folder)])
    assert result.exit_code == 0, result.output
    return folder, result.stdout


@pytest.mark.slow
def test_the_high_lift_blade_beats_minimum_loss_in_the_demonstration(tmp_path: Path) -> None:
    # the bar: better in the measure that it is made for; computed, on this wing
    result = CliRunner().invoke(app, ["design-propeller", str(SPEC), "-o", str(tmp_path / "o")])
    least, high = row(result.stdout, "lift gained per kilowatt, N/kW")
    print(f"{high} against {least} N/kW")
    assert high > least


def row(text: str, label: str) -> list[float]:
    """Both numbers of the row that starts with a label."""
    line = next(line for line in text.splitlines() if line.strip().startswith(label))
    return [float(value) for value in re.findall(r"[-+]?\d+\.\d+", line.split(label)[1])[-2:]]


def test_files_are_there(made: tuple[Path, str]) -> None:
    folder, text = made
    expected = {
        f"{k}{end}"
        for k in ("minimum_loss", "high_lift")
        for end in (".csv", "_stations.csv", "_map.h5")
    }
    expected |= {"blades.png", "loading.png", "map_minimum_loss.png", "map_high_lift.png"}
    expected |= {"motor.png"}
    assert {path.name for path in folder.iterdir()} == expected
    assert "not for flight clearance" in " ".join(text.split())
    assert max(map(len, text.split("Written:")[0].splitlines())) <= 80


def test_blade_files_do_what_was_asked(made: tuple[Path, str]) -> None:
    # thrust within 0.5 %, power and unevenness as printed, read back from the files
    folder, text = made
    spec = read_specification(SPEC)
    task = design_task(spec, SPEC.parent, folder)
    spreads, powers = [], []
    for kind in ("minimum_loss", "high_lift"):
        rotor = build_rotor(read_blade(folder / f"{kind}.csv"), task.diameter, task.blades, 40)
        inflow = axial_inflow(rotor, task.airspeed)
        loads = solve_rotor(rotor, task.air, task.omega, 0.0, "clockwise", inflow)
        assert_allclose(loads.thrust, 250.0, rtol=5e-3)
        spreads.append(unevenness(loads.axial_induced, rotor.r, rotor.edges))
        powers.append(1e-3 * loads.power)
    assert_allclose(row(text, "Shaft power by blade elements, kW"), powers, atol=2e-3)
    assert_allclose(
        row(text, "Unevenness of the axial velocity, %"), 100.0 * np.array(spreads), atol=0.02
    )


def test_map_files_hold_the_design_point(made: tuple[Path, str]) -> None:
    folder, text = made
    for k, kind in enumerate(("minimum_loss", "high_lift")):
        table = load_map(folder / f"{kind}_map.h5")
        turns = table.omega / (2.0 * np.pi)
        ct, cp = table.coefficients(28.0 / (turns * 0.8), 0.0)
        thrust = ct * table.density * turns**2 * 0.8**4
        assert_allclose(thrust, row(text, "Thrust by blade elements, N")[k], rtol=5e-3)
        power = cp * table.density * turns**3 * 0.8**5
        assert_allclose(1e-3 * power, row(text, "Shaft power by blade elements, kW")[k], rtol=5e-3)


def test_comparison_on_the_wing(made: tuple[Path, str]) -> None:
    _, text = made
    gain, power = row(text, "lift gained by blowing, N"), row(text, "shaft power of all, kW")
    assert_allclose(row(text, "thrust of all propellers, N"), 2 * 250.0, rtol=1e-6)
    assert_allclose(row(text, "lift gained per kilowatt, N/kW"), np.divide(gain, power), rtol=2e-3)
    assert min(gain) > 0.0
    unblown = row(text, "On the wing: lift unblown, N")
    assert unblown[0] == unblown[1]


def test_bad_input_ends_with_2_and_leaves_nothing(tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text(SPEC.read_text().replace("blades = 5", "blades = -5"))
    for arguments in ([str(bad)], [str(tmp_path / "none.toml")], [str(SPEC), "-o", "/none/at/all"]):
        result = CliRunner().invoke(app, ["design-propeller", *arguments])
        assert result.exit_code == 2
        assert result.stderr.count("\n") == 1
        assert result.stderr.startswith("blownwing: ")
    assert {path.name for path in tmp_path.iterdir()} == {"bad.toml"}


def test_what_cannot_be_designed_ends_with_1(tmp_path: Path) -> None:
    text = SPEC.read_text().replace("chord_most = 0.3", "chord_most = 0.03")
    text = re.sub(r"(root|tip)_thickness = .*", "", text)
    text = text.replace("../../shared", str(SPEC.parents[2] / "shared"))
    path = tmp_path / "thin.toml"
    path.write_text(text)
    result = CliRunner().invoke(app, ["design-propeller", str(path), "-o", str(tmp_path / "out")])
    assert result.exit_code == 1
    assert "allow more chord" in result.stderr
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("kind", ["minimum_loss", "high_lift"])
def test_the_tip_can_be_built_and_its_table_says_how(made: tuple[Path, str], kind: str) -> None:
    folder, _ = made
    blade = read_blade(folder / f"{kind}.csv")
    slope = np.diff(blade.chord) / np.diff(blade.radius)
    assert np.max(np.abs(slope)) < 0.81  # limits.chord_slope
    assert np.all(slope[blade.radius[1:] > 0.91] < 1e-3)  # no spike
    turns = np.diff(np.sign(slope[np.abs(slope) > 5e-3]))
    assert np.count_nonzero(turns) <= 1  # one crest at most
    assert np.all(np.diff(blade.twist) < 1e-5)  # no upturn
    # limits.chord_least, and 1 mm of a section of 12 %, whichever is more
    assert blade.chord[-1] >= 1e-3 / 0.12 / 0.4 - 1e-5
    lines = (folder / f"{kind}_stations.csv").read_text(encoding="utf-8").splitlines()
    head = "radius [mm],r/R [1],chord [mm],blade angle [deg],pitch [mm],thickness [mm]"
    assert head in lines
    rows = np.array([[float(w) for w in x.split(",")] for x in lines if x[0].isdigit()])
    assert_allclose(rows[:, 0], 400.0 * rows[:, 1], atol=0.01)
    assert_allclose(rows[:, 2], 400.0 * np.interp(rows[:, 1], blade.radius, blade.chord), atol=0.02)
    angle = np.degrees(np.interp(rows[:, 1], blade.radius, blade.twist))
    assert_allclose(rows[:, 3], angle, atol=0.01)
    assert_allclose(rows[:, 4], 2 * np.pi * rows[:, 0] * np.tan(np.radians(angle)), rtol=2e-3)
    assert_allclose(rows[:, 5], 0.12 * rows[:, 2], atol=2e-3)
    assert rows[0, 5] >= 4.0 and rows[-1, 5] >= 1.0


def test_the_comparison_says_which_blade_is_better(made: tuple[Path, str]) -> None:
    _, text = made
    least, high = row(text, "lift gained per kilowatt, N/kW")
    words = " ".join(text.split())
    assert high > least  # the measure that it is made for
    assert "does not gain more lift" not in words
    assert f"({high:.3f} against {least:.3f} N/kW" in words


def test_what_is_finished_is_written_when_the_second_blade_cannot_be(tmp_path: Path) -> None:
    text = SPEC.read_text().replace("[map]", "[high_lift]\nevenness = 0.2\n\n[map]")
    text = text.replace("span = 4.0", "span = 2.0").replace("propellers = 2", "propellers = 1")
    path = tmp_path / "even.toml"
    path.write_text(text.replace("../../shared", str(SPEC.parents[2] / "shared")))
    result = CliRunner().invoke(app, ["design-propeller", str(path), "-o", str(tmp_path / "out")])
    assert result.exit_code == 1
    assert "high_lift.evenness: found 0.2" in result.stderr
    assert "at best" in result.stderr
    names = {item.name for item in (tmp_path / "out").iterdir()}
    assert {"minimum_loss.csv", "minimum_loss_map.h5", "blades.png"} <= names
    assert not any(name.startswith("high_lift") for name in names)
