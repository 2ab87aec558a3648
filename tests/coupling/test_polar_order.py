"""A polar is its incidences one by one, in any order: nothing depends on what was solved before."""

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from blownwing import read_case, solve
from blownwing.coupling import incidences
from blownwing.coupling.near import Left, points_at

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
    before = points_at(other, left)
    for alpha in alphas:
        before(alpha)
    beside, alone = points_at(case, beside=left), points_at(case)
    passes = []
    for alpha in alphas:
        found, one = beside(alpha), alone(alpha)
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
