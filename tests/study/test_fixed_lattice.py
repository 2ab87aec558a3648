"""Cases on a kept lattice give what the full coupling gives on the same lattice."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from study_scenes import case_tables, fixed_lattice

from blownwing import Case, InputError, solve
from blownwing.coupling import balance, setup
from blownwing.study.scalars import of_solution

EDITS = {
    "as it is": {},
    "placed elsewhere": {"propellers.inner.position": [-0.8, 1.0, 0.1]},
    "spin": {"propellers.outer.spin": "outboard_up"},
    "more thrust": {"propellers.all.thrust": 260.0},
    "rpm": {"propellers.all.rpm": 4100.0},
    "pitch": {"propellers.all.trim": "pitch", "propellers.all.rpm": 4100.0},
    "power": {"propellers.inner.power": 3000.0},
    "size": {"propellers.outer.diameter": 0.7},
    "tilted": {"propellers.inner.incidence": 5.0, "propellers.inner.toe": 2.0},
    "incidence": {"flow.alpha": 8.0},
    "sideslip": {"flow.beta": 4.0},
    "twist": {"wing.stations.1.twist": -3.0},
    "ground": {"flow.ground_height": 2.0},
}


def base():
    return Case.from_tables(case_tables(tolerance=1e-10))


@pytest.fixture
def same_lattice(monkeypatch):
    """Let the full coupling leave the strips where the wing alone puts them."""
    monkeypatch.setattr(setup, "_crossings", lambda case, streams: np.zeros(0))
    monkeypatch.setattr(balance, "edge_drift", lambda *_: 0.0)


@pytest.fixture(scope="module")
def kept():
    return fixed_lattice(base())


@pytest.mark.parametrize("name", EDITS)
def test_kept_lattice_agrees_with_the_full_coupling(name, kept, same_lattice):
    # the full coupling is tested against published values; here the two ways must agree
    edits = EDITS[name]
    full = of_solution(solve(base().replace(**edits)))
    found = kept(edits)
    assert set(found) == set(full)
    for key, value in full.items():
        scale = 1.0 if abs(value) < 1.0 else abs(value)
        assert_allclose(found[key], value, rtol=2e-8, atol=2e-9 * scale, err_msg=key)


def test_the_comparison_would_see_a_difference(kept, same_lattice):
    full = of_solution(solve(base().replace(**EDITS["spin"])))
    assert abs(kept({})["CD_induced"] / full["CD_induced"] - 1.0) > 1e-3


def test_discs_and_bare_wings_run_too(same_lattice):
    tables = case_tables(tolerance=1e-10)
    tables["propellers"] = [
        {"name": "jet", "kind": "disc", "position": [-0.6, 2.0, 0.0], "diameter": 0.8,
         "mirror": True, "thrust": 150.0},
    ]  # fmt: skip
    case = Case.from_tables(tables)
    run, edits = fixed_lattice(case), {"propellers.jet.position.y": 1.7}
    full = of_solution(solve(case.replace(**edits)))
    for key, value in run(edits).items():
        assert_allclose(value, full[key], rtol=2e-8, atol=2e-9, err_msg=key)
    coarse = solve(case.replace(**{"model.radial": 7})).totals["CL"]
    assert_allclose(run({"model.radial": 7})["CL"], coarse, rtol=2e-8)
    bare = Case.from_tables({**tables, "propellers": []})
    full = of_solution(solve(bare.replace(**{"flow.alpha": 3.0})))
    for key, value in fixed_lattice(bare)({"flow.alpha": 3.0}).items():
        assert_allclose(value, full[key], rtol=1e-10, atol=1e-12, err_msg=key)


def test_a_result_does_not_depend_on_what_ran_before():
    edits = list(EDITS.values())
    there = {str(e): fixed_lattice(base())(e) for e in edits}
    run = fixed_lattice(base())
    for e in reversed(edits):
        assert run(e) == there[str(e)]  # bit for bit


def test_jets_with_edges_take_the_other_way():
    assert fixed_lattice(base().replace(**{"model.jet_edge": True})) is None
    with pytest.raises(InputError, match="following"):
        fixed_lattice(base())({"model.jet_edge": True})


@pytest.mark.parametrize("name", EDITS)
def test_a_coarse_tolerance_costs_no_more_than_itself(name, kept):
    # The same fixed point for any tolerance. Small side and normal forces are judged by the thrust.
    tolerance = 1e-5
    found = fixed_lattice(base().replace(**{"model.tolerance": tolerance}))(EDITS[name])
    for key, value in kept(EDITS[name]).items():
        scale = 0.1 * found["thrust"] if key.endswith("force") else max(abs(value), 1e-2)
        assert abs(found[key] - value) < 3.0 * tolerance * scale, key


def test_other_samples_than_the_base_case_has(kept, same_lattice):
    # states of the base case do not fit; the fixed point starts from nothing
    for edits in ({"model.azimuth": 16}, {"model.radial": 12}):
        full = of_solution(solve(base().replace(**edits)))
        for key, value in kept(edits).items():
            assert_allclose(value, full[key], rtol=2e-8, atol=2e-9 * max(1.0, abs(value)))


def test_wings_are_kept_and_let_go():
    twists = [{"wing.stations.1.twist": float(-k)} for k in range(7)]
    run = fixed_lattice(base())
    first = [run(edits) for edits in twists]
    assert [run(edits) for edits in reversed(twists)] == first[::-1]
    assert len({values["CL"] for values in first}) == len(twists)


def test_a_control_set_between_cases_moves_both_wings(same_lattice):
    # the blown wing and the one without slipstreams, whose loads are kept from case to case
    tables = case_tables(tolerance=1e-10)
    tables["wing"]["controls"] = [{"name": "flap", "from": 0.2, "to": 0.7, "chord_fraction": 0.25}]
    tables["controls"] = {"flap": 0.0}
    case = Case.from_tables(tables)
    run = fixed_lattice(case)
    straight = run({})
    for angle in (6.0, -4.0):
        full = of_solution(solve(case.replace(**{"controls.flap": angle})))
        found = run({"controls.flap": angle})
        for key in ("CL", "CL_unblown", "CD_induced", "C_pitch", "power"):
            assert_allclose(found[key], full[key], rtol=2e-8, atol=2e-9, err_msg=key)
        assert abs(found["CL_unblown"] - straight["CL_unblown"]) > 0.05
    assert run({}) == straight
