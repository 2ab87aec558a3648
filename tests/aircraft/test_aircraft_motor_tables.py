"""An aircraft whose motors are known by tables: the limit of constant efficiency, and its ends."""

import math
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from aircraft_scene import scene
from numpy.testing import assert_allclose

from blownwing.aircraft.configuration import configured
from blownwing.aircraft.cruise import cruise_state
from blownwing.aircraft.drive import check_motor_tables, drawn_power, take_off_energy
from blownwing.aircraft.performance import evaluated
from blownwing.aircraft.power import solo_states
from blownwing.aircraft.tables import built_table
from blownwing.errors import InputError, SolveError
from blownwing.propeller.motor import Motor, motor_state

ROOT = Path(__file__).parents[2]
TABLE = str(ROOT / "shared" / "performance" / "high_lift_5.csv")
PROPELLERS = [
    {"name": name, "kind": "measured", "table": TABLE, "blades": 5, "position": [-0.6, y, 0.0],
     "diameter": 1.2, "spin": "inboard_up", "mirror": True, "thrust": 300.0}
    for name, y in (("in", 1.5), ("out", 3.5))
]  # fmt: skip
CONSTANT = {"power": 40000.0, "rpm": 3600.0, "efficiency": 0.94, "controller_efficiency": 0.98,
            "gear_efficiency": 0.97}  # fmt: skip


# a roll to 25 m/s and what follows, as the mission reads it; its shafts take 1 MJ
RUN = SimpleNamespace(
    roll=SimpleNamespace(time=10.0, ground_work=1e4), rotation=25.0, lift_off=25.0, distance=200.0,
    airborne=SimpleNamespace(time=5.0), energy=1e6,
    track=np.stack([np.linspace(0.0, 10.0, 50), np.linspace(0.0, 25.0, 50), np.zeros(50)]),
    history=np.array([[0.0, 12.0, 25.0], [0.0] * 3, [0.0] * 3, [5e4, 6e4, 7e4]]),
)  # fmt: skip


def by_table(path, gear=2.0):
    return {k: v for k, v in CONSTANT.items() if k != "efficiency"} | {
        "table": str(path), "gear": gear,
    }  # fmt: skip


def aircraft(motor):
    return scene(**{"propellers": PROPELLERS, "aircraft.motors": [motor]})


def written(path, efficiency, speeds=(500.0, 3000.0, 9000.0), torques=(0.5, 20.0, 300.0)):
    rows = "".join(f"{n},{q},{efficiency(n, q)!r}\n" for n in speeds for q in torques)
    path.write_text("# source: t\nspeed [1/min],torque [N m],efficiency\n" + rows, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def level(tmp_path_factory):
    """A constant motor's aircraft, and the same by a table of that efficiency; both in cruise."""
    path = written(tmp_path_factory.mktemp("drive") / "flat.csv", lambda n, q: 0.94)
    cases = aircraft(CONSTANT), aircraft(by_table(path))
    return cases, [configured(case, "cruise") for case in cases]


def test_a_table_of_constant_efficiency_draws_as_much(level):
    constant, table = (
        drawn_power(case, phase, 52.0, 0.5, 20000.0) for case, phase in zip(*level, strict=True)
    )
    assert_allclose(constant, 20000.0 / (0.94 * 0.98 * 0.97), rtol=1e-12)
    assert_allclose(table, constant, rtol=1e-9)
    # and at nothing drawn, nothing
    assert drawn_power(level[0][1], level[1][1], 52.0, 0.0, 0.0) == 0.0


@pytest.mark.slow
def test_a_table_of_constant_efficiency_flies_as_far(level):
    cases, phases = level
    built = built_table(cases[0], phases[0], [45.0, 48.0], (0.0, 0.5, 1.0), samples=0)
    constant, table = (cruise_state(case, built, 47.0) for case in cases)
    assert_allclose(table.battery_power, constant.battery_power, rtol=1e-9)
    assert_allclose(table.range, constant.range, rtol=1e-9)
    spent = [take_off_energy(case, built.configuration, RUN) for case in cases]
    assert_allclose(spent[1], spent[0], rtol=1e-9)


def test_the_motors_speed_and_torque_are_those_behind_the_gear(tmp_path, level):
    _, phases = level
    motor = Motor(constant=30.0, resistance=0.02, no_load_current=4.0)

    def efficiency(rpm, torque):
        return float(motor_state(motor, torque, rpm * math.pi / 30.0).efficiency)

    path = written(tmp_path / "motor.csv", efficiency)
    case = aircraft(by_table(path))
    found = drawn_power(case, phases[0], 52.0, 0.5, 20000.0)
    # two alike motors, 10 kW each; speeds of the propellers alone at half the thrust of 40 kW
    states = solo_states(case, phases[0], 52.0, 0.5)
    assert set(states) == {"out", "out_port"}
    rate = 2.0 * states["out"].omega
    state = motor_state(motor, 10000.0 / 0.97 / rate, rate)
    assert_allclose(found, 2.0 * float(state.electrical_power) / 0.98, rtol=1e-9)


def test_beyond_the_table_is_said_with_key_and_propeller(tmp_path, level):
    _, phases = level
    short = written(tmp_path / "short.csv", lambda n, q: 0.9, torques=(0.5, 2.0, 5.0))
    with pytest.raises(
        SolveError, match=r"aircraft\.motors\[0\]\.table: propeller out at 52\.0 m/s and 10 kW: a"
    ):
        drawn_power(aircraft(by_table(short)), phases[0], 52.0, 0.5, 20000.0)


def test_files_and_discs_are_checked_before_anything_is_solved(tmp_path):
    flat = written(tmp_path / "flat.csv", lambda n, q: 0.94)
    case = aircraft(by_table(flat))
    assert [p for k, p in case.files() if k == ("aircraft", "motors", 0, "table")] == [flat]
    with pytest.raises(InputError, match=r"aircraft\.motors\[0\]\.table: .*no such file"):
        evaluated(aircraft(by_table(tmp_path / "none.csv")))
    with pytest.raises(InputError, match="found in, an ideal disc, which has no rotor speed"):
        check_motor_tables(scene(**{"aircraft.motors": [by_table(flat)]}))


@pytest.mark.parametrize(
    ("motor", "message"),
    [
        ({"power": 1e4}, r"aircraft\.motors\[0\]\.efficiency: .* accepted is efficiency or table"),
        (CONSTANT | {"table": "a.csv"}, r"motors\[0\]\.table: found \"a.csv\" beside efficiency"),
        (CONSTANT | {"gear": 2.0}, r"motors\[0\]\.gear: found 2; accepted only with table"),
    ],
)
def test_contradictory_motors_are_refused(motor, message):
    with pytest.raises(InputError, match=message):
        aircraft(motor)
