"""Adjoint gradients of lift, drag, bending moment and area against central differences."""

import time

import numpy as np
import pytest
from numpy.testing import assert_allclose
from study_scenes import case_tables

from blownwing import Case, solve
from blownwing.study.fixed import balanced
from blownwing.study.kept_wing import kept_wing
from blownwing.study.rotors import DiscBank
from blownwing.study.shape import Setting, evaluated, refined_stations, shaped

NAMES = ("lift", "induced", "profile", "bending", "area")


def setting(stations=9, **flow):
    tables = case_tables(chordwise=3, spanwise=14, compressibility=True)
    tables["wing"]["stations"] = [
        {"y": 0.0, "chord": 1.2, "twist": 2.0, "airfoil": "naca2412"},
        {"y": 4.0, "chord": 0.7, "twist": -1.0, "x": 0.5, "z": 0.2, "airfoil": "naca2412"},
    ]
    tables["flow"] |= {"airspeed": 60.0, **flow}
    case = Case.from_tables(tables)
    case = case.model_copy(update={"wing": refined_stations(case.wing, stations)})
    state = balanced(case, kept_wing(case), DiscBank(), None)
    return Setting(case, state.flow, state.streams)


def distributions(wing):
    twist = np.radians([s.twist for s in wing.stations])
    return twist, np.array([s.chord for s in wing.stations])


def differences(here, name, kind):
    """Fourth-order central differences by every station."""
    twist, chord = distributions(here.case.wing)
    result, step = [], 2e-4
    for k in range(twist.size):
        unit = step * np.eye(twist.size)[k]
        values = []
        for n in (-2, -1, 1, 2):
            t = twist + n * unit if kind == "by_twist" else twist
            c = chord + n * unit if kind == "by_chord" else chord
            shape = evaluated(here, shaped(here.case.wing, t, c), gradients=False)
            values.append(getattr(shape, name).value)
        result.append(np.dot([1.0, -8.0, 8.0, -1.0], values) / (12.0 * step))
    return np.array(result)


@pytest.mark.parametrize("flow", [{}, {"ground_height": 2.5}, {"beta": 4.0}])
@pytest.mark.parametrize("kind", ["by_twist", "by_chord"])
def test_gradients_agree_with_central_differences_on_every_variable(flow, kind):
    here = setting(**flow)
    shape = evaluated(here, here.case.wing)
    for name in NAMES:
        found, wanted = getattr(getattr(shape, name), kind), differences(here, name, kind)
        if kind == "by_twist" and name in ("profile", "area"):
            assert not found.any()
            continue
        # sideslip: the root moment of a whole wing is small, its slopes cancel
        assert_allclose(found, wanted, rtol=1e-5, atol=1e-7 * np.abs(wanted).max(), err_msg=name)


def test_the_comparison_would_see_a_wrong_gradient():
    here = setting()
    found = evaluated(here, here.case.wing).induced.by_chord
    wanted = differences(here, "lift", "by_chord")
    assert np.abs(found / wanted - 1.0).max() > 0.1


def test_values_are_those_of_the_coupling_on_a_bare_wing():
    tables = case_tables(chordwise=4, spanwise=16)
    tables["propellers"] = []
    case = Case.from_tables(tables)
    case = case.model_copy(update={"wing": refined_stations(case.wing, 20)})
    state = balanced(case, kept_wing(case), DiscBank(), None)
    shape = evaluated(Setting(case, state.flow, None), case.wing, gradients=False)
    totals = solve(case).totals
    unit = totals["reference_dynamic_pressure"] * totals["reference_area"]
    assert_allclose(shape.lift.value, totals["lift"], rtol=1e-3)
    assert_allclose(shape.induced.value, totals["CD_induced_farfield"] * unit, rtol=1e-3)
    assert_allclose(shape.profile.value, totals["CD_profile"] * unit, rtol=1e-9)


def test_all_gradients_cost_less_than_three_coupled_solves_for_any_number_of_stations():
    times = {}
    for stations in (9, 60):
        here = setting(stations)
        evaluated(here, here.case.wing)  # warm
        solve(here.case)
        runs = []
        for _ in range(5):
            start = time.process_time()
            evaluated(here, here.case.wing)
            middle = time.process_time()
            solve(here.case)
            runs.append((middle - start) / (time.process_time() - middle))
        times[stations] = min(runs)
    assert max(times.values()) < 3.0, times
