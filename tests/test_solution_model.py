"""A Solution accepts what the table lists, finite and in shape, and nothing else."""

from __future__ import annotations

import pickle
from dataclasses import FrozenInstanceError, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from report.sample import polar, single

from blownwing.errors import SolveError
from blownwing.solution import Solution, stacked


def changed(solution: Solution, kind: str, **values: object) -> Solution:
    return replace(solution, **{kind: {**getattr(solution, kind), **values}})


def test_arrays_are_copied_and_read_only() -> None:
    chord = np.ones(64)
    solution = changed(single(), "strips", chord=chord)
    chord[:] = 7.0
    assert solution.strips["chord"][0] == 1.0
    with pytest.raises(ValueError, match="read-only"):
        solution.strips["chord"][0] = 2.0
    with pytest.raises(TypeError):
        solution.totals["CL"] = 2.0  # type: ignore[index]
    with pytest.raises(FrozenInstanceError):
        solution.title = "other"  # type: ignore[misc]


def test_unknown_variable_is_refused() -> None:
    with pytest.raises(ValueError, match=r"totals: unknown variable 'lifft'"):
        changed(single(), "totals", lifft=1.0)


@pytest.mark.parametrize(
    ("kind", "name"),
    [("totals", "lift"), ("strips", "chord"), ("convergence", "residual")],
)
def test_required_variable_may_not_be_missing(kind: str, name: str) -> None:
    solution = single()
    values = {k: v for k, v in getattr(solution, kind).items() if k != name}
    with pytest.raises(ValueError, match=f"'{name}' is missing"):
        replace(solution, **{kind: values})


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_what_is_not_finite_is_refused_by_name(bad: float) -> None:
    with pytest.raises(SolveError, match="totals/CL is not finite"):
        changed(single(), "totals", CL=bad)
    cl = single().strips["cl"].copy()
    cl[5] = bad
    with pytest.raises(SolveError, match=r"strips/cl is not finite in 1 of 64 .* index 5"):
        changed(single(), "strips", cl=cl)


def test_shapes_are_checked() -> None:
    with pytest.raises(ValueError, match=r"strips/cl has the shape \(3,\), expected \(64,\)"):
        changed(single(), "strips", cl=np.zeros(3))
    with pytest.raises(ValueError, match=r"totals/CL has the shape \(1,\)"):
        changed(single(), "totals", CL=np.zeros(1))
    with pytest.raises(ValueError, match=r"totals/CL has the shape \(\), expected \(3,\)"):
        changed(polar(), "totals", CL=0.5)


def test_radial_loads_need_their_radius() -> None:
    with pytest.raises(ValueError, match="propellers/disc/dT_dr needs its coordinate 'r'"):
        replace(
            single(),
            propellers={"disc": {"thrust": 1.0, "power": 1.0, "dT_dr": np.ones(3)}},
        )


@pytest.mark.parametrize("name", ["a/b", "", "..", "a b"])
def test_propeller_names_are_plain(name: str) -> None:
    with pytest.raises(ValueError, match="letters, digits"):
        replace(single(), propellers={name: {"thrust": 1.0, "power": 1.0}})


def test_polar_needs_one_history_per_angle() -> None:
    solution = polar()
    with pytest.raises(ValueError, match="alpha_00, alpha_01, alpha_02"):
        replace(solution, convergence={"alpha_00": solution.convergence["alpha_00"]})


def test_stacking_and_picking_are_inverse() -> None:
    parts = [single(a, iterations=5 + i) for i, a in enumerate((-2.0, 1.0))]
    joined = stacked(parts)
    assert joined.polar and joined.alphas == (-2.0, 1.0)
    assert joined.strips["cl"].shape == (2, 64)
    assert joined.strips["chord"].shape == (64,)
    assert [len(h["residual"]) for h in joined.histories] == [5, 6]
    for i, part in enumerate(parts):
        assert joined.at(i) == replace(part, created=joined.created)
    assert joined.at(-1) == joined.at(1)
    with pytest.raises(IndexError):
        joined.at(2)


def test_stacking_refuses_what_does_not_match() -> None:
    with pytest.raises(ValueError, match="at least one"):
        stacked([])
    with pytest.raises(ValueError, match="single angle"):
        stacked([polar()])
    with pytest.raises(ValueError, match="different names"):
        stacked([single(), single(places={"inner": 1.2})])
    with pytest.raises(ValueError, match="strips/chord differs"):
        stacked([single(), changed(single(), "strips", chord=np.ones(64))])
    totals = {k: v for k, v in single().totals.items() if k != "CY"}
    # What one angle does not have (the span efficiency at zero lift, say) a polar leaves out.
    joined = stacked([single(), replace(single(), totals=totals)])
    assert "CY" not in joined.totals and "CL" in joined.totals


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 63), st.sampled_from(["cl", "circulation", "downwash"]))
def test_equality_sees_every_value(index: int, name: str) -> None:
    solution = replace(single(), created="then")
    values = solution.strips[name].copy()
    assert changed(solution, "strips", **{name: values}) == solution
    values[index] = np.nextafter(values[index], np.inf)
    assert changed(solution, "strips", **{name: values}) != solution


def test_pickles_for_other_processes() -> None:
    for solution in (single(), polar()):
        again = pickle.loads(pickle.dumps(solution))
        assert again == solution
        assert not again.strips["cl"].flags.writeable
