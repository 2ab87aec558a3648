"""Motors known by a table: exact limits, ends, messages, what an aircraft makes of them."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from blownwing.errors import InputError, SolveError
from blownwing.propeller.motor import Motor, efficiency_map, motor_state
from blownwing.propeller.motor_table import (
    GearedTable,
    read_motor_table,
    table_map,
    table_state,
)

MOTOR = Motor(constant=55.0, resistance=0.035, no_load_current=3.0)
SPEEDS = (1500.0, 2200.0, 4000.0, 6500.0)
TORQUES = (1.0, 2.5, 7.0, 20.0, 31.0)


def text_of(motor=MOTOR, speeds=SPEEDS, torques=TORQUES):
    lines = ["# source: a test", "speed [1/min],torque [N m],efficiency"]
    for speed in speeds:
        for torque in torques:
            eta = float(motor_state(motor, torque, speed * math.pi / 30.0).efficiency)
            lines.append(f"{speed},{torque},{eta!r}")
    return "\n".join(lines) + "\n"


def table(folder, text, name="motor.csv"):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return read_motor_table(path)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return table(tmp_path_factory.mktemp("motor"), text_of())


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.floats(1500.0, 6500.0), st.floats(1.0, 31.0))
def test_a_table_of_the_constant_motor_gives_its_answers_back(made, speed, torque):
    # exact: losses (i0 + Q Kv)² R + i0 Ω/Kv (Drela 2007, First-Order DC Electric Motor Model) are a
    # parabola in torque and a line in speed
    exact = motor_state(MOTOR, torque, speed * math.pi / 30.0)
    assert_allclose(made.drawn(speed, torque), float(exact.electrical_power), rtol=1e-10)
    assert_allclose(made.efficiency(speed, torque), float(exact.efficiency), rtol=1e-10)


def test_constant_efficiency_comes_back_on_three_rows(tmp_path):
    rows = "".join(f"{n},{q},91\n" for n in (10.0, 300.0) for q in (0.5, 4.0, 9.0))
    found = table(tmp_path, "# source: t\nspeed [rad/s],torque [N m],efficiency [%]\n" + rows)
    assert found.efficiency(1234.0, 3.3) == pytest.approx(0.91, rel=1e-12)


def test_linear_interpolation_of_the_efficiency_would_be_worse(made):
    # the control: what is interpolated matters where rows are few
    exact = float(motor_state(MOTOR, 4.5, 3000.0 * math.pi / 30.0).efficiency)
    corners = [
        float(motor_state(MOTOR, q, n * math.pi / 30.0).efficiency)
        for n in (2200.0, 4000.0)
        for q in (2.5, 7.0)
    ]
    share, along = (3000.0 - 2200.0) / 1800.0, (4.5 - 2.5) / 4.5
    plain = (1 - share) * ((1 - along) * corners[0] + along * corners[1]) + share * (
        (1 - along) * corners[2] + along * corners[3]
    )
    assert abs(plain - exact) > 1e-3 > 1e6 * abs(made.efficiency(3000.0, 4.5) - exact)


def test_the_table_ends_where_its_rows_end(made):
    with pytest.raises(SolveError, match=r"1400 1/min lies beyond .* from 1500 to 6500 1/min"):
        made.loss(1400.0, 5.0)
    with pytest.raises(SolveError, match=r"32 N m at 2000 1/min lies beyond .* up to 31 N m"):
        made.loss(2000.0, 32.0)
    # below the first row the loss is held: with less torque it can only be less
    assert made.loss(2200.0, 0.0) == pytest.approx(made.loss(2200.0, 1.0))
    idle = motor_state(MOTOR, 0.0, 2200.0 * math.pi / 30.0)
    assert float(idle.electrical_power) < made.drawn(2200.0, 0.0)


def test_units_and_columns_in_any_order(tmp_path):
    turned = ["# source: t", "efficiency [%],torque [lbf ft],speed [rad/s]"]
    for speed in (100.0, 400.0):
        turned += [f"{eta},{q},{speed}" for q, eta in ((1, 70.0), (4, 85.0), (9, 88.0))]
    found = table(tmp_path, "\n".join(turned) + "\n")
    assert_allclose(found.speeds, np.array([100.0, 400.0]) * 30.0 / math.pi)
    assert found.torques[0][0] == pytest.approx(1.3558179483)  # N m in a pound-foot, exact by units
    assert found.efficiency(100.0 * 30.0 / math.pi, 4 * 1.3558179483) == pytest.approx(0.85)


BASE = text_of()
MALFORMED = {
    "no source": (BASE.split("\n", 1)[1], "found no line"),
    "column": (BASE.replace("efficiency", "eta"), 'line 2: found column "eta"; accepted are sp'),
    "unit": (BASE.replace("[N m]", "[kg]"), 'line 2: found unit "kg" of torque; accepted are N m'),
    "twice": (BASE.replace("torque [N m]", "speed"), "line 2: found column speed twice"),
    "missing": (BASE.replace(",efficiency", ""), "line 2: found no column efficiency"),
    "percent": (BASE.replace("0.9", "90."), r"an efficiency of 90.*efficiency \[%\]"),
    "words": (BASE + "6500,x,1\n", 'line 23: found "6500,x,1"; accepted are 3 finite numbers'),
    "order": (BASE + "6000,1,0.9\n", "line 23: found 6000 1/min after 6500"),
    "repeat": (BASE + "6500,31,0.9\n", "line 23: found 31 N m after 31 at 6500 1/min"),
    "zero": (BASE + "6500,0,0.9\n", "line 23: found 6500 1/min and 0 N m; accepted are above 0"),
    "gain": (BASE + "6500,40,0.999\n", "found a loss of .* less than the .* at the torque before"),
    "few speeds": (text_of(speeds=(2000.0,)), "found 1 speeds; accepted are 2"),
    "few torques": (text_of(torques=(1.0, 2.0)), "found 2 torques at 1500 1/min; accepted are 3"),
    "empty": ("# source: t\n", "found 0 speeds"),
}


@pytest.mark.parametrize("name", MALFORMED)
def test_what_cannot_be_is_refused_with_its_line(tmp_path, name):
    text, message = MALFORMED[name]
    with pytest.raises(InputError, match=message) as refused:
        table(tmp_path, text)
    assert "\n" not in str(refused.value)


def test_a_missing_file_is_one_sentence(tmp_path):
    with pytest.raises(InputError, match="there is no such file"):
        read_motor_table(tmp_path / "none.csv")


def test_a_gear_and_the_map_for_drawing(made):
    drive = GearedTable(made, 2.0)
    found = table_state(drive, 20.0, 150.0)  # the motor: 10 N m at 300 rad/s
    exact = motor_state(Motor(55.0, 0.035, 3.0, gear=2.0), 20.0, 150.0)
    assert float(found.electrical_power) == pytest.approx(float(exact.electrical_power))
    assert found.current is None
    torque, omega = np.array([0.5, 5.0, 60.0, 70.0]), np.array([50.0, 150.0, 300.0])
    values = table_map(drive, torque, omega)
    inside = np.isfinite(values)
    assert inside.tolist() == [[False] * 3, [False, True, True], [False, True, True], [False] * 3]
    exact = efficiency_map(Motor(55.0, 0.035, 3.0, gear=2.0), torque, omega)
    assert_allclose(values[inside], exact[inside], rtol=1e-9)
