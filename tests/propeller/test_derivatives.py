"""Propeller derivatives against closed forms, formulae beside them, and the command that prints."""

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from rotors import AIR, blade_of, linear_section
from typer.testing import CliRunner

from blownwing import load, read_case, solve
from blownwing.case.air import air_at
from blownwing.cli import app
from blownwing.errors import InputError
from blownwing.propeller.blade import read_blade
from blownwing.propeller.derivatives import derivatives
from blownwing.propeller.noise import ToneSource, gutin_tones
from blownwing.propeller.rotor import (
    axial_inflow,
    azimuth_loads,
    azimuths,
    build_rotor,
    solve_rotor,
)
from blownwing.report.propeller_states import off_design
from blownwing.solution.tables import export_csv

ROOT = Path(__file__).parents[2]
BLADES = ROOT / "shared" / "blades"


def exact_rotor():
    """Three blades, c/R 0.12 from 0.2 R, cl = 0.5 everywhere at J = 0.8, no drag."""
    x = np.linspace(0.2, 1.0, 801)
    twist = np.arctan(0.8 / (math.pi * x)) + 0.5 / (2.0 * math.pi)
    blade = blade_of(x, 0.12, twist, linear_section(drag=1e-12))
    return build_rotor(blade, 1.0, 3, 200, tip_loss=False, hub_loss=False)


def test_without_induction_they_are_the_quasi_steady_integrals():
    # exact integrals without induction, evaluated independently: C_N 0.144561 and C_M 0.116482 per
    # rad on qA and qAD; the moment of down-going blades turns a clockwise propeller's nose left
    omega, speed = 40.0 * math.pi, 16.0  # n = 20/s, D = 1 m, J = 0.8
    found = derivatives(exact_rotor(), AIR, speed, omega, 0.0, induction=False)
    assert_allclose(found.normal_incidence, 0.144561, rtol=1e-3)
    assert_allclose(found.yaw_incidence, -0.116482, rtol=1e-3)
    assert_allclose(found.loading, 0.313633, rtol=1e-3)
    assert_allclose([found.side_incidence, found.pitch_incidence], 0.0, atol=1e-5)
    # pitch damping: (B/2) ∫ r² dT/dV dr, dT/dV = ½ρc U (V cl − a0 U)/W per blade and radius
    r = np.linspace(0.1, 0.5, 20001)
    along = omega * r
    slope = 0.03 * AIR.density * along * (0.5 * speed - 2.0 * math.pi * along)
    slope /= np.hypot(along, speed)
    moment = 1.5 * np.trapezoid(r**2 * slope, r) * speed / 0.5
    unit = 0.5 * AIR.density * speed**2 * 0.25 * math.pi
    assert_allclose(found.pitch_rate, moment / unit, rtol=1e-3)
    assert found.pitch_rate < 0.0
    assert_allclose([found.normal_rate, found.yaw_rate], 0.0, atol=1e-5)


def test_normal_force_stands_near_ribners_fin():
    # Ribner (1945), NACA TR 820: few narrow blades within 15 %; de Young's level is not confirmed
    rotor = build_rotor(read_blade(BLADES / "cruise_3.csv"), 2.0, 3)
    found = derivatives(rotor, air_at(), 70.0, 1900.0 * math.pi / 30.0, 0.0)
    assert found.normal_incidence == pytest.approx(found.ribner, rel=0.15)
    assert 1.0 < found.de_young / found.ribner < 1.6
    with pytest.raises(InputError, match="found 0 m/s; accepted is above 0"):
        derivatives(rotor, air_at(), 0.0, 100.0, 0.0)


@pytest.mark.parametrize("spin", ["clockwise", "counterclockwise"])
def test_blades_on_their_way_make_up_the_rotor(spin):
    rotor = build_rotor(read_blade(BLADES / "cruise_3.csv"), 2.0, 3)
    air, omega = air_at(), 180.0
    inflow = axial_inflow(rotor, 50.0, math.radians(6.0), 24)
    whole = solve_rotor(rotor, air, omega, 0.0, spin, inflow)
    thrust, torque, flap = azimuth_loads(rotor, air, omega, 0.0, spin, inflow)
    assert_allclose([3 * thrust.mean(), 3 * torque.mean()], [whole.thrust, whole.torque], rtol=1e-9)
    # the hub's moment is the first harmonic of the blades' flap moments (thrust at the top pushes
    # the nose down), and the down-going blade of a nose-up disc carries most: at 90 deg
    psi = azimuths(24)
    assert_allclose(whole.moment_right, -3 * np.mean(flap * np.cos(psi)), atol=1e-6 * flap.max())
    assert math.degrees(psi[np.argmax(thrust)]) == pytest.approx(90.0, abs=16.0)
    first = 2.0 * np.mean(thrust * np.sin(psi))
    assert np.ptp(thrust) == pytest.approx(2.0 * first, rel=0.05)  # once per revolution


def test_azimuth_loads_are_stored_and_tabled(tmp_path):
    case = read_case(ROOT / "cases" / "twin_conventional.toml")
    result = solve(case.replace(**{"model.spanwise": 16, "model.chordwise": 2}))
    values = result.propellers["engine"]
    assert 3 * np.mean(values["blade_thrust"]) == pytest.approx(values["thrust"], rel=1e-9)
    assert np.ptp(values["blade_thrust"]) > 0.05 * np.mean(values["blade_thrust"])
    result.save(tmp_path / "a.h5")
    again = load(tmp_path / "a.h5").propellers["engine_port"]
    assert_allclose(again["blade_flap_moment"], values["blade_flap_moment"], rtol=1e-12)
    names = {path.name for path in export_csv(result, tmp_path / "a")}
    assert "a_propeller_engine_azimuth.csv" in names
    lines = (tmp_path / "a_propeller_engine_azimuth.csv").read_text().splitlines()
    assert lines[0].startswith("azimuth [deg],blade_thrust [N],blade_torque [N m]")
    assert len(lines) == 13


def run(*words):
    return CliRunner().invoke(app, ["propeller-states", *map(str, words)])


def test_states_of_blades_and_of_their_table(tmp_path):
    # the table was computed from these blades: what it holds agrees, what it does not is said
    rows = {}
    for case in ("short_field_eight", "eight_measured"):
        path = tmp_path / f"{case}.csv"
        result = run(ROOT / "cases" / f"{case}.toml", "--name", "first", "-o", path)
        assert result.exit_code == 0, result.output
        assert max(map(len, result.stdout.split("Written:")[0].splitlines())) <= 80
        with path.open(encoding="utf-8") as file:
            rows[case] = {row["state"]: row for row in csv.DictReader(file)}
    blades, table = rows["short_field_eight"], rows["eight_measured"]
    for state in ("driven", "windmilling"):
        for key, close in (("rpm [1/min]", 0.005), ("drag [N]", 0.03)):
            assert float(table[state][key]) == pytest.approx(float(blades[state][key]), rel=close)
    assert table["stopped"]["remark"] == "a table over J does not hold it"
    drag = {state: float(row["drag [N]"]) for state, row in blades.items()}
    # Hartman, NACA TR 464, abstract: feathering greatly reduces the drag of a locked propeller
    assert 0.0 < drag["feathered"] < 0.2 * drag["stopped"]
    assert abs(float(blades["feathered"]["torque [N m]"])) < 1e-3
    assert float(blades["windmilling"]["power [W]"]) == pytest.approx(0.0, abs=1e-3)
    first = (tmp_path / "short_field_eight_derivatives.csv").read_text().splitlines()
    assert first[0].startswith("propeller,normal_incidence [1],side_incidence [1]")
    assert not (tmp_path / "eight_measured_derivatives.csv").exists()


def test_friction_slows_a_measured_windmill_as_it_does_blades(tmp_path):
    speeds = []
    for case in ("short_field_eight", "eight_measured"):
        path = tmp_path / f"{case}.csv"
        words = ("--name", "first", "--friction", 0.5, "-o", path)
        assert run(ROOT / "cases" / f"{case}.toml", *words).exit_code == 0
        with path.open(encoding="utf-8") as file:
            row = {row["state"]: row for row in csv.DictReader(file)}["windmilling"]
        assert float(row["torque [N m]"]) == pytest.approx(-0.5, rel=1e-6)
        speeds.append(float(row["rpm [1/min]"]))
    assert speeds[1] == pytest.approx(speeds[0], rel=0.005)
    assert speeds[0] < 1955.0  # 1958 without friction


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--name", "nobody"), '--name: found "nobody"; accepted are first, second'),
        (("--airspeed", "0"), "found 0 m/s and a friction of 0 N m"),
        (("-o", "table.txt"), "a table's name ends in .csv"),
    ],
)
def test_bad_options_are_refused(words, message):
    result = run(ROOT / "cases" / "short_field_eight.toml", *words)
    assert result.exit_code == 2
    assert message in result.output


def test_a_folded_propeller_drags_by_its_own_area(tmp_path):
    text = (ROOT / "cases" / "short_field_eight.toml").read_text(encoding="utf-8")
    text = text.replace("../shared", str(ROOT / "shared"))
    text = text.replace("thrust = 350.0 ", "folded_drag_area = 0.004\nthrust = 350.0 ", 1)
    path = tmp_path / "case.toml"
    path.write_text(text, encoding="utf-8")
    assert run(path, "--name", "first", "-o", tmp_path / "t.csv").exit_code == 0
    with (tmp_path / "t.csv").open(encoding="utf-8") as file:
        folded = {row["state"]: row for row in csv.DictReader(file)}["folded"]
    assert float(folded["drag [N]"]) == pytest.approx(0.004 * 0.5 * 1.225 * 900.0, rel=1e-4)


def test_driven_states_say_battery_power_and_noise(tmp_path):
    # an aircraft's motor stands between shaft and battery; Gutin's tones need thrust and power only
    case = read_case(ROOT / "cases" / "aircraft_eight.toml")
    found = off_design(case, ("first",), 30.0, 0.0)
    driven, windmilling = found.states[0], found.states[1]
    motor = case.aircraft.motors[0]
    assert driven.battery == pytest.approx(driven.power / motor.chain)
    air = case.air
    tones = gutin_tones(ToneSource(-driven.drag, driven.power, driven.rpm * np.pi / 30.0, 5, 1.1),
                        air.speed_of_sound, 50.0, np.radians(105.0))  # fmt: skip
    assert driven.noise == pytest.approx(tones.overall)
    assert not np.isfinite(windmilling.battery)
    # a table of the same efficiency all over, written for a gear of 2
    table = tmp_path / "flat.csv"
    rows = "".join(f"{n},{q},{motor.efficiency}\n" for n in (500, 20000) for q in (0.1, 50, 400))
    table.write_text("# source: t\nspeed,torque,efficiency\n" + rows, encoding="utf-8")
    edits = {"aircraft.motors.0.efficiency": None, "aircraft.motors.0.table": str(table)}
    by_table = off_design(case.replace(**edits), ("first",), 30.0, 0.0).states[0]
    assert by_table.battery == pytest.approx(driven.battery, rel=1e-9)
    measured = off_design(read_case(ROOT / "cases" / "eight_measured.toml"), ("first",), 30.0, 0.0)
    # a table has no blades' shape, but Gutin's formula asks for none
    state = measured.states[0]
    again = gutin_tones(ToneSource(-state.drag, state.power, state.rpm * np.pi / 30.0, 5, 0.9),
                        air.speed_of_sound, 50.0, np.radians(105.0))  # fmt: skip
    assert state.noise == pytest.approx(again.overall)
