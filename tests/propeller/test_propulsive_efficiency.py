"""Efficiency as work along the flight path over shaft work: never above 1, absent where none."""

from pathlib import Path

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from blownwing import Case, solve
from blownwing.propeller.unit import propulsive_efficiency


@given(force=st.floats(-1e4, 1e4), speed=st.floats(0.0, 200.0), power=st.floats(-1e6, 1e6))
def test_it_is_between_nothing_and_one_or_absent(force, speed, power):
    found = propulsive_efficiency(force, speed, power)
    assert found is None or 0.0 <= found <= 1.0
    if found is not None:
        assert_allclose(found * power, force * speed)


ROOT = Path(__file__).parents[2]


def scene(rpm, incidence=0.0, airspeed=30.0):
    blade = "shared/blades/tunnel_4.csv"
    return Case.from_tables(
        {
            "flow": {"airspeed": airspeed, "alpha": 2.0},
            "wing": {"stations": [{"y": 0.0, "chord": 1.0}, {"y": 4.0, "chord": 1.0}]},
            "propellers": [
                {"name": "p", "position": [-0.8, 2.0, 0.0], "diameter": 0.8, "blades": 4,
                 "blade": blade, "spin": "inboard_up", "mirror": True, "rpm": rpm,
                 "incidence": incidence},
            ],
            "model": {"jet_edge": False, "chordwise": 2, "spanwise": 10},
        },
        ROOT,
    )  # fmt: skip


def test_windmilling_and_stopped_propellers_have_none():
    for rpm in (0.0, 1200.0):
        found = solve(scene(rpm))
        assert found.totals["thrust"] < 0.0
        assert "efficiency" not in found.totals and "efficiency" not in found.propellers["p"]
    assert 0.3 < solve(scene(3500.0)).totals["efficiency"] < 1.0
    assert solve(scene(3500.0, airspeed=0.0)).totals["efficiency"] == 0.0


def test_at_large_inflow_angles_the_force_in_the_disc_counts():
    tilted = solve(scene(3500.0, incidence=40.0))
    values = tilted.propellers["p"]
    by_thrust = values["thrust"] * 30.0 / values["power"]
    assert values["efficiency"] < min(by_thrust, 1.0)
    assert np.isfinite(values["efficiency"])
