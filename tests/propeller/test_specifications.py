"""Specifications of propellers to design: what is read, and what is refused with file and line."""

import math
from pathlib import Path

import pytest
from numpy.testing import assert_allclose

from blownwing.errors import InputError
from blownwing.propeller.motor_table import table_state
from blownwing.propeller.specification import design_task, read_specification
from blownwing.report.propeller_comparison import found_files

SPECS = Path(__file__).parents[2] / "cases" / "propellers"
GOOD = """title = "trial"
[point]
airspeed = "60 kt"
thrust = "50 lbf"
[propeller]
diameter = "30 in"
blades = 4
rpm = 4000
section = "naca4412"
[wing]
span = 3.0
chord = 0.6
ahead = 0.3
"""


def written(tmp_path, text):
    path = tmp_path / "trial.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("path", sorted(SPECS.glob("*.toml")), ids=lambda p: p.stem)
def test_shared_specifications_read(path, tmp_path):
    spec = read_specification(path)
    task = design_task(spec, path.parent, tmp_path)
    assert task.section.cl.shape[0] > 1
    assert (tmp_path / task.section_name).is_file()  # found again from the folder of the blade
    assert task.thrust or task.power


def test_units_and_defaults(tmp_path):
    path = written(tmp_path, GOOD)
    spec = read_specification(path)
    task = design_task(spec, tmp_path, tmp_path)
    assert_allclose(task.airspeed, 60.0 * 1852.0 / 3600.0)
    assert_allclose(task.diameter, 0.762)
    assert_allclose(task.thrust, 50.0 * 4.4482216152605)
    assert_allclose(task.omega, 4000.0 * math.pi / 30.0)
    assert (task.section_name, task.lift, task.tip_mach) == ("naca4412", None, 0.7)
    assert spec.drive() is None
    motor = read_specification(
        written(tmp_path, GOOD + "[motor]\nconstant = 50\nresistance = 0.1\nno_load_current = 2\n")
    ).drive()
    assert (motor.constant, motor.gear) == (50.0, 1.0)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("blades = 4", "blades = 0", "line 7: propeller.blades: found 0"),
        ("blades = 4", "blade = 4", 'unknown key .did you mean "blades"'),
        ("rpm = 4000", 'rpm = "fast"', "propeller.rpm: found"),
        ('thrust = "50 lbf"', "", "exactly one of thrust and power"),
        ('thrust = "50 lbf"', "thrust = 1\npower = 1", "exactly one of thrust and power"),
        ('thrust = "50 lbf"', "thrust = -1", "point.thrust: found"),
        ('airspeed = "60 kt"', "airspeed = 0", "point.airspeed: found 0"),
        ('diameter = "30 in"', "diameter = nan", "propeller.diameter"),
        ("span = 3.0", "", "wing.span: this key is missing"),
        ("[wing]", "[wing", "not valid TOML"),
        ("ahead = 0.3", "ahead = 0.3\n[map]\npitch_from = 5\npitch_to = 2", "map.pitch_to"),
        ("ahead = 0.3", "ahead = 0.3\n[high_lift]\nevenness = 2", "high_lift.evenness"),
        ("ahead = 0.3", "ahead = 0.3\n[motor]\nconstant = 2", "motor.resistance: this key is"),
    ],
)
def test_bad_specifications(tmp_path, old, new, words):
    assert old in GOOD
    with pytest.raises(InputError, match=words) as caught:
        read_specification(written(tmp_path, GOOD.replace(old, new)))
    assert "trial.toml" in str(caught.value)


def test_bad_sections_and_contradictions(tmp_path):
    spec = read_specification(written(tmp_path, GOOD.replace("naca4412", "none.csv")))
    with pytest.raises(InputError, match=r"none\.csv"):
        design_task(spec, tmp_path, tmp_path)
    fast = read_specification(written(tmp_path, GOOD.replace("rpm = 4000", "rpm = 9000")))
    with pytest.raises(InputError, match="tip reaches Mach"):
        design_task(fast, tmp_path, tmp_path)
    with pytest.raises(InputError, match="no such file"):
        read_specification(tmp_path / "absent.toml")


def test_a_motor_by_its_table(tmp_path):
    text = (SPECS / "short_field.toml").read_text(encoding="utf-8")
    start = text.index("[motor]")
    by_table = text[:start] + '[motor]\ntable = "motor.csv"\ngear = 2.0\n'
    path = tmp_path / "by_table.toml"
    path.write_text(by_table, encoding="utf-8")
    spec = found_files(read_specification(path), tmp_path)
    with pytest.raises(InputError, match=r"motor\.table: .*no such file"):
        spec.drive()
    rows = "".join(f"{n},{q},0.9\n" for n in (1000, 20000) for q in (0.1, 20, 90))
    (tmp_path / "motor.csv").write_text(
        "# source: t\nspeed,torque,efficiency\n" + rows, encoding="utf-8"
    )
    drive = spec.drive()
    assert drive.gear == 2.0
    assert float(table_state(drive, 20.0, 500.0).electrical_power) == pytest.approx(1e4 / 0.9)
    path.write_text(by_table + "resistance = 0.1\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"motor\.resistance: found 0\.1; not accepted with table"):
        read_specification(path)
    path.write_text(text[:start] + "[motor]\nconstant = 50.0\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"motor\.resistance: this key is missing, needed without"):
        read_specification(path)
