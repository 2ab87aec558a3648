"""The search for the blade of most lift per power, where the answer is known."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from blownwing.airfoil.library import section_for
from blownwing.case.air import air_at
from blownwing.errors import SolveError
from blownwing.propeller.design import minimum_loss_design, valued_design
from blownwing.propeller.rotor import axial_inflow, build_rotor, solve_rotor
from blownwing.propeller.task import DesignTask
from blownwing.study.shape.blade import best_lift_blade, worth_of
from blownwing.validation.claims import bar

SECTION = section_for("cambered_4412.csv", Path(__file__).parents[2] / "shared" / "sections")
TASK = DesignTask(
    diameter=0.8, hub_ratio=0.18, blades=5, omega=5000.0 * math.pi / 30.0, airspeed=28.0,
    air=air_at(), section=SECTION, section_name="cambered_4412.csv", thrust=250.0, lift=0.7,
    chord_least=0.02, chord_most=0.3,
)  # fmt: skip


def thrust_along(design):
    rotor = build_rotor(design.blade("trial"), TASK.diameter, TASK.blades, 40)
    loads = solve_rotor(
        rotor, TASK.air, TASK.omega, 0.0, "clockwise", axial_inflow(rotor, TASK.airspeed)
    )
    return rotor.r / TASK.radius, loads.dT_dr * np.diff(rotor.edges), loads.power


def linear_gain(level, slope):
    """A wing that gains `level` N per N of thrust, more of it inboard by `slope`."""

    def measure(design):
        x, thrust, power = thrust_along(design)
        return float(np.sum(thrust * level * (1.0 + slope * (1.0 - 2.0 * x * x)))) / power

    return measure


def test_a_linear_gain_has_the_worth_that_theory_gives():
    # J = ΔL/P at a thrust: δP = (P/ΔL) Σ l δT + λ δT, so that the worth's slope over its level is
    # (P/ΔL) l₁/p with the price p = dP/dT of thrust: calculus of variations
    level, slope = 0.25, 0.3
    measure = linear_gain(level, slope)
    found = best_lift_blade(TASK, measure)
    even = measure(valued_design(TASK, worth_of(0.0, 0.0)))
    x, thrust, power = thrust_along(found.design)
    gain = float(np.sum(thrust * level * (1.0 + slope * (1.0 - 2.0 * x * x))))
    more = valued_design(replace(TASK, thrust=252.0), worth_of(*found.worth))
    price = (more.power - valued_design(TASK, worth_of(*found.worth)).power) / 2.0
    # of the common price λ the gain of the level itself is a part: it moves no load
    theory = power / gain * level * slope / price
    print(f"worth {found.worth}, theory {theory:.3f}; {found.measure / even - 1.0:+.2%}")
    assert found.measure > even
    assert found.worth[0] == pytest.approx(theory, rel=bar("high_lift_blade"))
    assert abs(found.worth[1]) < 0.07


def test_where_all_radii_gain_alike_least_loss_is_best():
    measure = linear_gain(0.25, 0.0)
    found = best_lift_blade(TASK, measure)
    assert abs(found.worth[0]) < 0.05
    assert abs(found.worth[1]) < 0.08
    # and it is the blade of the other method, Betz's condition, to a tenth of a per cent
    assert found.measure == pytest.approx(measure(minimum_loss_design(TASK)), rel=2e-3)


def test_worth_is_one_in_the_mean_over_the_disc():
    s = (np.arange(2000) + 0.5) / 2000
    values = worth_of(0.3, -0.2)(np.sqrt(s))
    assert values.mean() == pytest.approx(1.0, abs=1e-6)
    assert values[0] > values[-1]


def test_when_nothing_can_be_designed_the_reason_is_kept():
    with pytest.raises(SolveError, match=r"cannot be reached at .* limits\.chord_most"):
        best_lift_blade(replace(TASK, chord_most=0.03), lambda design: 1.0)

    def broken(design):
        raise SolveError("the wing has no answer")

    with pytest.raises(SolveError, match="the wing has no answer"):
        best_lift_blade(TASK, broken)
