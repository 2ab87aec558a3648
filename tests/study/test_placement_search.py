"""Placement searches against exhaustive sweeps and momentum theory."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from study_scenes import case_tables

from blownwing import Case, InputError
from blownwing.study.fixed import fixed_lattice
from blownwing.study.model import PlacementSearch
from blownwing.study.placement import best_placement


def problem(*parameters, **more):
    tables = [{"key": key, "from": low, "to": high} for key, low, high in parameters]
    return PlacementSearch.model_validate({"parameters": tables, "starts": 2, **more})


def test_the_optimum_of_one_variable_is_that_of_a_fine_sweep():
    case = Case.from_tables(case_tables())
    search = problem(("propellers.outer.incidence", -12.0, 12.0), objective="power", best="least")
    found = best_placement(case, search)
    run = fixed_lattice(case)
    values = [
        run({"propellers.outer.incidence": float(angle)})["power"]
        for angle in np.linspace(-12.0, 12.0, 49)
    ]
    assert found.after["power"] <= min(values) * (1.0 + 1e-7)
    assert max(values) > min(values) * (1.0 + 1e-4)


def test_lift_and_drag_trim_are_held_and_power_falls():
    case = Case.from_tables(case_tables())
    lift = fixed_lattice(case)({})["lift"]
    search = problem(
        ("propellers.all.diameter", 0.7, 0.9), ("propellers.all.position.x", -0.9, -0.5),
        lift=lift, drag_trim=True,
    )  # fmt: skip
    found = best_placement(case, search)
    for values in (found.before, found.after):
        assert_allclose(values["lift"], lift, rtol=1e-4)
        assert abs(values["net_axial_force"]) < 1e-4 * values["drag"]
    assert found.after["power"] < found.before["power"]


def test_equal_discs_far_from_the_wing_share_the_thrust_evenly():
    # momentum theory (Glauert 1935): T^(3/2) is convex, so equal discs share a thrust equally;
    # here one disc's thrust is free and the other's is what is left of a given net force
    tables = case_tables(spanwise=6)
    tables["propellers"] = [
        {"name": name, "kind": "disc", "position": [-30.0, y, 12.0], "diameter": 0.8,
         "mirror": True, "thrust": 100.0}
        for name, y in (("a", 1.0), ("b", 40.0))
    ]  # fmt: skip
    search = problem(("propellers.a.thrust", 20.0, 400.0), drag_trim=True)
    found = best_placement(Case.from_tables(tables), search)
    assert_allclose(found.after["a.thrust"], found.after["b.thrust"], rtol=0.01)
    assert math.isfinite(found.spread)


def test_bounds_that_hold_are_named():
    case = Case.from_tables(case_tables())
    found = best_placement(
        case, problem(("propellers.all.diameter", 0.6, 0.9), objective="power")
    )  # at given thrust the larger disc takes less power: momentum theory, as above
    assert found.active == ("propellers.all.diameter",)
    assert_allclose(found.edits["propellers.all.diameter"], 0.9)


def test_wrong_problems_are_refused():
    case = Case.from_tables(case_tables())
    with pytest.raises(InputError, match=r"placement\.objective"):
        best_placement(case, problem(("flow.alpha", 1.0, 2.0), objective="noise"))
    with pytest.raises(InputError, match="jet_edge"):
        best_placement(case.replace(**{"model.jet_edge": True}), problem(("flow.alpha", 1.0, 2.0)))
    with pytest.raises(InputError, match="given by its thrust"):
        wrong = case.replace(**{"propellers.all.rpm": 4000.0})
        best_placement(wrong, problem(("flow.alpha", 1.0, 2.0), drag_trim=True))
