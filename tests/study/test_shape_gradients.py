"""Adjoint gradients of lift, drag, bending moment and area against central differences."""

import time

import numpy as np
import pytest
from numpy.testing import assert_allclose
from study_scenes import case_tables

from blownwing import Case, solve
from blownwing.study.shape.balance import Balancer
from blownwing.study.shape.evaluation import evaluated
from blownwing.study.shape.model import Setting
from blownwing.study.shape.stations import refined_stations, shaped

EDGES = {"spanwise": 10, "jet_edge": True, "jet_around": 10, "jet_rings": 8, "jet_layers": 2}
NAMES = ("lift", "induced", "profile", "bending", "area")


def wing_case(stations, model, thrust=120.0, **flow):
    """A swept, tapered, twisted wing behind two pairs of propellers, on many stations."""
    tables = case_tables(chordwise=3, compressibility=True, **model)
    tables["wing"]["stations"] = [
        {"y": 0.0, "chord": 1.2, "twist": 2.0, "airfoil": "naca2412"},
        {"y": 4.0, "chord": 0.7, "twist": -1.0, "x": 0.5, "z": 0.2, "airfoil": "naca2412"},
    ]
    for propeller in tables["propellers"]:
        propeller["thrust"] = thrust
    tables["flow"] |= {"airspeed": 60.0, **flow}
    case = Case.from_tables(tables)
    return case.model_copy(update={"wing": refined_stations(case.wing, stations)})


def setting(stations=9, **flow):
    return Balancer()(wing_case(stations, {"spanwise": 14}, **flow))


def edged(stations=9, **flow):
    """The same with slipstream edges of speed ratio 1.17."""
    return Balancer()(wing_case(stations, EDGES, 400.0, **flow))


def distributions(wing):
    twist = np.radians([s.twist for s in wing.stations])
    return twist, np.array([s.chord for s in wing.stations])


def differences(here, kind, step=2e-4):
    """Fourth-order central differences of all quantities by every station."""
    twist, chord = distributions(here.case.wing)
    columns = []
    for k in range(twist.size):
        unit = step * np.eye(twist.size)[k]
        values = []
        for n in (-2, -1, 1, 2):
            t = twist + n * unit if kind == "by_twist" else twist
            c = chord + n * unit if kind == "by_chord" else chord
            shape = evaluated(here, shaped(here.case.wing, t, c), ())
            values.append([getattr(shape, name).value for name in NAMES])
        columns.append(np.dot([1.0, -8.0, 8.0, -1.0], values) / (12.0 * step))
    return dict(zip(NAMES, np.transpose(columns), strict=True))


def compared(here, kind, step):
    shape, differenced = evaluated(here, here.case.wing), differences(here, kind, step)
    for name, wanted in differenced.items():
        found = getattr(getattr(shape, name), kind)
        if kind == "by_twist" and name in ("profile", "area"):
            assert not found.any()
            continue
        # sideslip: the root moment of a whole wing is small, its slopes cancel
        assert_allclose(found, wanted, rtol=1e-5, atol=1e-7 * np.abs(wanted).max(), err_msg=name)


FLOWS = [{}, {"ground_height": 2.5}, {"beta": 4.0}, {"pitch_rate": 20.0}]


@pytest.mark.parametrize("flow", FLOWS)
@pytest.mark.parametrize("kind", ["by_twist", "by_chord"])
def test_gradients_agree_with_central_differences_on_every_variable(flow, kind):
    compared(setting(**flow), kind, 2e-4)


@pytest.mark.parametrize("flow", FLOWS)
@pytest.mark.parametrize("kind", ["by_twist", "by_chord"])
def test_gradients_with_slipstream_edges_agree_with_central_differences(flow, kind):
    # By chord a line crosses kinks of the streams' piecewise linear profiles: differences over
    # longer steps are off by the jump of the slope, 2e-4 at a step of 2e-4 m; at 1e-5 m rounding
    # errors scatter them by 2e-5 of the root moment's slope in sideslip, where most of it cancels.
    here = edged(**flow)
    assert here.edges.flow.ratio.max() > 1.15 and np.any(here.edges.flow.contrast)
    compared(here, kind, 4e-5 if kind == "by_chord" else 2e-4)


def flapped(jet_edge):
    """A wing with a flap between the edges of a jet of the airspeed: one lattice either way."""
    model = {"spanwise": 16, "jet_around": 10, "jet_rings": 8, "jet_edge": jet_edge}
    tables = case_tables(chordwise=3, **model)
    tables["wing"]["flaps"] = [
        {"from": 0.375, "to": 0.625, "chord_fraction": 0.3, "deflection": 8.0, "kind": "plain"}
    ]
    tables["propellers"] = [
        {"name": "jet", "kind": "disc", "position": [-1.0, 2.0, 0.0], "diameter": 1.0,
         "speed_ratio": 1.0, "mirror": True, "incidence": -5.0}
    ]  # fmt: skip
    case = Case.from_tables(tables)
    wing = refined_stations(case.wing, 9)
    return Balancer()(case.model_copy(update={"wing": wing}))


def test_edges_of_a_jet_at_the_airspeed_change_nothing():
    with_edges, without = flapped(True), flapped(False)
    assert with_edges.edges.flow.contrast.size and without.edges is None
    found = evaluated(with_edges, with_edges.case.wing)
    wanted = evaluated(without, without.case.wing)
    for name in NAMES:
        one, other = getattr(found, name), getattr(wanted, name)
        assert_allclose(one.value, other.value, rtol=1e-10, err_msg=name)
        for kind in ("by_twist", "by_chord"):
            a, b = getattr(one, kind), getattr(other, kind)
            assert_allclose(a, b, rtol=1e-10, atol=1e-10 * np.abs(b).max(), err_msg=name)


def test_the_comparison_would_see_a_wrong_gradient():
    here = setting()
    found = evaluated(here, here.case.wing).induced.by_chord
    wanted = differences(here, "by_chord")["lift"]
    assert np.abs(found / wanted - 1.0).max() > 0.1


def test_values_are_those_of_the_coupling_on_a_bare_wing():
    tables = case_tables(chordwise=4, spanwise=16)
    tables["propellers"] = []
    case = Case.from_tables(tables)
    case = case.model_copy(update={"wing": refined_stations(case.wing, 20)})
    shape = evaluated(Balancer()(case), case.wing, ())
    totals = solve(case).totals
    unit = totals["reference_dynamic_pressure"] * totals["reference_area"]
    assert_allclose(shape.lift.value, totals["lift"], rtol=1e-3)
    assert_allclose(shape.induced.value, totals["CD_induced_farfield"] * unit, rtol=1e-3)
    assert_allclose(shape.profile.value, totals["CD_profile"] * unit, rtol=1e-9)


def test_values_behind_propellers_are_those_of_the_coupling_with_edges():
    here = edged()
    shape, totals = evaluated(here, here.case.wing, ()), solve(here.case).totals
    unit = totals["reference_dynamic_pressure"] * totals["reference_area"]
    # the coupling's lift counts what wing and tubes do to each other along x, of second order; its
    # tubes lie where they were laid last, up to 2 % of the radius from those of its balance
    assert_allclose(shape.lift.value, totals["lift"], rtol=3e-3)
    assert_allclose(shape.induced.value, totals["CD_induced_farfield"] * unit, rtol=1e-3)
    assert_allclose(shape.profile.value, totals["CD_profile"] * unit, rtol=1e-3)
    superposed = evaluated(Setting(here.case, here.flow, here.streams), here.case.wing, ())
    assert abs(superposed.lift.value / totals["lift"] - 1.0) > 0.01


def powered(stations):
    """With edges and shaft power, thrusts carrying the drag."""
    return Balancer(trim=True)(wing_case(stations, EDGES, 400.0))


@pytest.mark.parametrize("made", [setting, edged, powered])
def test_all_gradients_cost_less_than_three_coupled_solves_for_any_number_of_stations(made):
    times = {}
    for stations in (9, 60):
        here = made(stations)
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
    print(f"{made.__name__}: coupled solves for a wing and its gradients, by stations: {times}")
    assert max(times.values()) < 3.0, times
