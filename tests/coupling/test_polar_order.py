"""A polar is its incidences one by one, in any order: nothing depends on what was solved before."""

import sys
from functools import partial
from pathlib import Path

import numba
import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from blownwing import read_case, solve
from blownwing.coupling import incidences
from blownwing.coupling.near import Left, several_at
from blownwing.errors import SolveError
from blownwing.kernels import threads

CASES = Path(__file__).parents[2] / "cases"
ORDERS = ([0.0, 6.0, 12.0], [12.0, 6.0, 0.0], [3.0, 12.0, 0.0, 6.0])
COARSE = {"model.chordwise": 4, "model.jet_around": 16, "model.jet_rings": 14}


@pytest.mark.parametrize("edge", [True, False])
@pytest.mark.parametrize("sections", ["linear", "tables"])
def test_a_polar_equals_single_solves_in_any_order(edge, sections):
    case = read_case(CASES / "short_field_eight.toml")
    case = case.replace(**COARSE, **{"model.jet_edge": edge, "model.sections": sections})
    alone = {a: solve(case.replace(**{"flow.alpha": a})).totals for a in (0.0, 6.0, 12.0)}
    for order in ORDERS:
        polar = solve(case.replace(**{"flow.alpha": order})).totals
        for index, alpha in enumerate(order):
            if alpha in alone:
                # Strip edges lie within 0.2 % of a radius of each other; velocities that jump at
                # them, added without edges, leave more in the drag.
                for name, close in (("CL", 2e-4), ("CD_induced", 2e-4 if edge else 2e-3)):
                    found, one = polar[name][index], alone[alpha][name]
                    assert_allclose(found, one, rtol=close, atol=2e-5, err_msg=f"{name} {order}")
        assert np.max(polar["edge_drift"]) < 0.02


@pytest.mark.parametrize("sections", ["linear", "tables"])
def test_what_another_speed_left_changes_no_state_and_saves_passes(sections):
    case = read_case(CASES / "short_field_eight.toml")
    other = case.replace(**COARSE, **{"model.sections": sections})
    case = other.replace(**{"flow.airspeed": 28.0})
    alphas, left = (2.0, 9.0), Left(other, [])
    before, beside, alone = (
        several_at(at, lambda _, point: point, *given)
        for at, given in ((other, (left,)), (case, (None, left)), (case, ()))
    )
    before(alphas)
    passes = []
    for alpha in alphas:
        found, one = beside((alpha,))[0], alone((alpha,))[0]
        # tubes may come to rest elsewhere by 0.02 % of a radius
        close = 1e-4 * np.linalg.norm(one.loads.force)
        assert_allclose(found.loads.force, one.loads.force, rtol=0.0, atol=close)
        passes.append([len(point.history["residual"]) for point in (found, one)])
    saved = np.diff(passes, axis=1)
    assert np.all(saved >= 0) and np.any(saved > 0)


def test_any_incidence_of_a_case():
    case = read_case(CASES / "twin_tip.toml").replace(**COARSE)
    at = incidences(case)
    for alpha in (5.0, -1.0, 2.5):
        alone = solve(case.replace(**{"flow.alpha": alpha})).totals
        assert_allclose(at(alpha).totals["CL"], alone["CL"], rtol=2e-4)
        assert at(alpha).totals["alpha"] == alpha


def test_a_polar_does_not_depend_on_cores(monkeypatch):
    case = read_case(CASES / "twin_tip.toml").replace(**COARSE)
    case = case.replace(**{"flow.alpha": [-2.0, 0.0, 3.0, 5.0, 8.0]})
    found = []
    before, turn = numba.get_num_threads(), sys.getswitchinterval()
    try:
        numba.set_num_threads(numba.config.NUMBA_NUM_THREADS)
        for free in (False, True):
            monkeypatch.setattr(threads, "cores_free", lambda free=free: free)
            found.append(solve(case).totals)
            assert numba.get_num_threads() == numba.config.NUMBA_NUM_THREADS
    finally:
        numba.set_num_threads(before)
    assert sys.getswitchinterval() == turn
    for name, values in found[0].items():
        assert_array_equal(found[1][name], values, err_msg=name)


def test_what_fails_beside_others_is_said_for_the_first_that_fails(monkeypatch):
    monkeypatch.setattr(threads, "cores_free", lambda: True)

    def fails(text):
        raise SolveError(text)

    calls = [lambda: 1, partial(fails, "second"), partial(fails, "third")]
    with pytest.raises(SolveError, match="second"):
        threads.together(calls)
    assert threads.together([lambda: 1, lambda: 2, lambda: 3]) == [1, 2, 3]
