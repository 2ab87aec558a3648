"""A polar is its incidences one by one, in any order: nothing depends on what was solved before."""

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from blownwing import read_case, solve
from blownwing.coupling import incidences

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


def test_any_incidence_of_a_case():
    case = read_case(CASES / "twin_tip.toml").replace(**COARSE)
    at = incidences(case)
    for alpha in (5.0, -1.0, 2.5):
        alone = solve(case.replace(**{"flow.alpha": alpha})).totals
        assert_allclose(at(alpha).totals["CL"], alone["CL"], rtol=2e-4)
        assert at(alpha).totals["alpha"] == alpha
