"""Placement searches against exhaustive sweeps and momentum theory."""

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from study_scenes import CASES, case_tables, fixed_lattice

from blownwing import Case, InputError, read_case, solve
from blownwing.study.model import PlacementSearch
from blownwing.study.place.confirmation import PlacementCheck, confirmed_placement
from blownwing.study.place.search import best_placement


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


@pytest.mark.slow
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
    case = Case.from_tables(tables)
    found = best_placement(case, search)
    assert_allclose(found.after["a.thrust"], found.after["b.thrust"], rtol=0.01)
    check = confirmed_placement(case.replace(**{"propellers.b.thrust": 300.0}), search, found)
    assert_allclose(check.before, check.after, rtol=1e-4)  # even before, and its split is kept
    assert math.isfinite(found.spread)


def test_bounds_that_hold_are_named():
    case = Case.from_tables(case_tables())
    found = best_placement(
        case, problem(("propellers.all.diameter", 0.6, 0.9), objective="power")
    )  # at given thrust the larger disc takes less power: momentum theory, as above
    assert found.active == ("propellers.all.diameter",)
    assert_allclose(found.edits["propellers.all.diameter"], 0.9)


def tip_search(low, high, seed, **model):
    """Best place along y of the outer pair for least drag at the same lift."""
    case = Case.from_tables(case_tables(**model))
    search = problem(
        ("propellers.outer.position.y", low, high), objective="drag", lift=2600.0, seed=seed
    )
    return case, search, best_placement(case, search)


@pytest.mark.slow
def test_a_place_along_the_span_is_the_same_from_any_start_and_on_two_lattices():
    # a strip is half a diameter wide on the coarser lattice: there the drag ripples by per cents
    found = [tip_search(3.0, 4.3, seed, spanwise=n)[2] for n, seed in ((10, 1), (10, 5), (20, 1))]
    places = [one.edits["propellers.outer.position.y"] for one in found]
    assert 3.2 < min(places) < max(places) < 4.2
    assert np.ptp(places) < 0.05 * 0.8, places  # of the diameter
    assert max(one.places for one in found) * 1.3 < 0.05 * 0.8


def test_slopes_over_short_steps_do_not_find_that_place():
    case = Case.from_tables(case_tables(spanwise=10))
    run = fixed_lattice(case)

    def drag(y):
        found = run({"propellers.outer.position.y": float(y)})
        return found["drag"] / found["lift"] ** 2

    y = np.linspace(3.0, 4.2, 41)
    values = np.array([drag(one) for one in y])
    falls = np.diff(values) < 0.0
    assert np.count_nonzero(falls[1:] != falls[:-1]) > 3  # every turn stops a search by slopes


def test_a_search_with_slipstream_edges_and_its_gain_on_a_finer_lattice():
    model = {"jet_edge": True, "jet_around": 10, "jet_rings": 8, "jet_layers": 1}
    case, search, found = tip_search(3.0, 4.3, 1, spanwise=14, **model)
    check = confirmed_placement(case, search, found)
    assert found.following and check.gain > 0.01
    assert_allclose(check.finer, check.gain, rtol=0.1)
    for values in (found.before, found.after):
        assert_allclose(values["lift"], 2600.0, rtol=1e-5)
    # and the case that was found, solved on its own
    totals = solve(case.replace(**found.edits)).totals
    assert_allclose(totals["drag"], found.after["drag"], rtol=1e-6)


def test_a_gain_of_the_grid_alone_is_seen():
    check = PlacementCheck(before=100.0, after=98.0, gain=0.03, finer=0.02)
    assert check.differs
    assert not replace(check, finer=0.0299).differs


@pytest.mark.slow
@pytest.mark.parametrize("edge", [False, True])
def test_the_outermost_of_eight_along_the_span(edge):
    places, gains = [], []
    for strips in (20, 40):
        case = read_case(CASES / "short_field_eight.toml")
        model = {"model.chordwise": 4, "model.spanwise": strips, "model.jet_edge": edge}
        case = case.replace(**model)
        search = problem(("propellers.fourth.position.y", 5.0, 6.2), objective="drag", lift=5300.0)
        found = best_placement(case, search)
        places.append(found.edits["propellers.fourth.position.y"])
        check = confirmed_placement(case, search, found)
        gains.append((check.gain, check.finer))
        assert found.places * 1.2 < 0.03 * 0.9
        assert not check.differs
    print(f"edges {edge}: y = {places} m, gains {gains}")
    assert np.ptp(places) < 0.03 * 0.9


def test_wrong_problems_are_refused():
    case = Case.from_tables(case_tables())
    with pytest.raises(InputError, match=r"placement\.objective"):
        best_placement(case, problem(("flow.alpha", 1.0, 2.0), objective="noise"))
    with pytest.raises(InputError, match=r"placement\.parameters"):
        best_placement(case, problem(("propellers.middle.position.y", 1.0, 2.0)))
    with pytest.raises(InputError, match="given by its thrust"):
        wrong = case.replace(**{"propellers.all.rpm": 4000.0})
        best_placement(wrong, problem(("flow.alpha", 1.0, 2.0), drag_trim=True))
