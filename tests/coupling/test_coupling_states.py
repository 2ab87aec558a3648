"""Operating states: at rest, hovering, windmilling, trimmed, polars, and a solve that must fail."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scenes import CASES, blade, disc, scene

from blownwing import SolveError, read_case, solve


def test_static_lift_of_a_twisted_wing():
    # At V = 0 everything goes with the jet's speed: lift ∝ thrust (vi² ∝ T), power ∝ T^1.5.
    one = solve(scene([disc(thrust=100.0)], twist=5.0, flow={"airspeed": 0.0}))
    two = solve(scene([disc(thrust=400.0)], twist=5.0, flow={"airspeed": 0.0}))
    assert one.totals["lift"] > 0.0 and "CL" not in one.totals
    assert_allclose(two.totals["lift"] / one.totals["lift"], 4.0, rtol=1e-9)
    assert_allclose(two.totals["power"] / one.totals["power"], 8.0, rtol=1e-9)
    # The wing cannot turn more than the jets' momentum.
    assert one.totals["lift"] < one.totals["thrust"]


def test_static_jet_along_the_chord_of_a_flat_wing_lifts_nothing():
    flat = solve(scene([disc(thrust=150.0)], flow={"airspeed": 0.0}))
    assert_allclose(flat.totals["lift"], 0.0, atol=1e-9)
    # A disc that leans nose up blows on the wing's upper side.
    leaning = solve(scene([disc(thrust=150.0, incidence=5.0)], flow={"airspeed": 0.0}))
    assert leaning.totals["lift"] < 0.0


def test_nothing_moves():
    still = solve(scene([disc(thrust=0.0)], flow={"airspeed": 0.0}))
    assert still.totals["lift"] == 0.0 and still.totals["power"] == 0.0


def test_hovering_propellers_blow_the_wing():
    found = solve(scene([blade(rpm=3500.0)], twist=4.0, flow={"airspeed": 0.0}))
    prop = found.propellers["prop"]
    assert prop["J"] == 0.0 and prop["thrust"] > 0.0 and prop["efficiency"] == 0.0
    assert found.totals["lift"] > 0.0
    # Ideal power bounds the shaft power: figure of merit below one.
    ideal = prop["thrust"] ** 1.5 / math.sqrt(2.0 * 1.225 * math.pi * 0.4**2)
    assert 0.3 < ideal / prop["power"] < 1.0


def test_windmilling_propellers_slow_the_wing():
    found = solve(scene([blade(rpm=1500.0)]))
    prop = found.propellers["prop"]
    assert prop["thrust"] < 0.0 and prop["power"] < 0.0
    assert found.totals["CL"] < found.totals["CL_unblown"]
    assert "efficiency" not in found.totals
    tube = found.slipstreams["prop"]
    assert tube["radius"][-1] > tube["radius"][0] and tube["speed_ratio"][-1] < 1.0


@pytest.mark.parametrize(
    "propeller",
    [{"thrust": 150.0}, {"power": 6000.0}, {"thrust": 150.0, "trim": "pitch", "rpm": 3000.0}],
)
def test_trimmed_propellers_meet_their_target(propeller):
    found = solve(scene([blade(**propeller)]))
    prop = found.propellers["prop"]
    for name in ("thrust", "power"):
        if name in propeller:
            assert_allclose(prop[name], propeller[name], rtol=1e-6)
    if "rpm" in propeller:
        assert_allclose(prop["rpm"], propeller["rpm"], rtol=1e-12)
    # The same operating point set by what the trim found.
    fixed = solve(scene([blade(rpm=prop["rpm"], pitch=prop["pitch"])]))
    assert_allclose(fixed.propellers["prop"]["thrust"], prop["thrust"], rtol=1e-6)
    assert_allclose(fixed.totals["CL"], found.totals["CL"], rtol=1e-6)


def test_the_wing_feels_and_is_felt():
    # Upwash ahead of a lifting wing tilts the discs' inflow; a disc far ahead is not touched.
    near = solve(scene([blade()])).propellers["prop"]
    alone = solve(scene([{**blade(), "position": [-400.0, 2.0, 0.0]}])).propellers["prop"]
    assert near["inflow_angle"] > alone["inflow_angle"] + 0.3
    # A disc in free air meets the mean of what comes and of what leaves across its axis: Ribner
    # 1945, NACA Report 820, f(a)/(1 + a), from memory.
    a = np.sum(alone["axial_induced"] * alone["r"]) / np.sum(alone["r"]) / alone["inflow"]
    far = 1.0 + 2.0 * a
    factor = 0.5 * (1.0 + far * (1.0 + far) / (1.0 + far * far))
    assert_allclose(alone["inflow_angle"], 5.0 * factor, rtol=0.01)
    assert near["normal_force"] > alone["normal_force"] > 0.0


def test_history_ends_below_the_tolerance():
    found = solve(scene([blade()], model={"tolerance": 1e-10}))
    history = found.convergence
    assert history["residual"][-1] <= 1e-10 < history["residual"][0]
    assert_allclose(history["iteration"], np.arange(1, history["iteration"].size + 1))
    assert_allclose(history["thrust"][-1], found.totals["thrust"], rtol=1e-9)
    loose = solve(scene([blade()], model={"tolerance": 1e-4}))
    assert loose.convergence["iteration"].size < history["iteration"].size
    assert_allclose(loose.totals["CL"], found.totals["CL"], rtol=1e-3)


def test_an_unconverged_solve_has_no_result():
    with pytest.raises(SolveError, match=r"did not converge.*1 iterations.*max_iterations"):
        solve(scene([blade()], model={"max_iterations": 1}))


def test_an_unreachable_thrust_names_the_propeller():
    with pytest.raises(SolveError, match="propeller prop"):
        solve(scene([blade(thrust=5e6)]))


def test_a_polar_equals_single_solves():
    model = {"spanwise": 10}
    polar = solve(scene([], alpha=[-2.0, 3.0, 8.0], model=model))
    for i, alpha in enumerate(polar.alphas):
        single = solve(scene([], alpha=alpha, model=model))
        for name in ("CL", "CD_induced", "CD_induced_farfield", "C_pitch", "CD"):
            assert_allclose(polar.totals[name][i], single.totals[name], rtol=1e-8)
        assert_allclose(polar.strips["cl"][i], single.strips["cl"], rtol=1e-8, atol=1e-12)


def finite_leaves(values):
    for value in values.values():
        if hasattr(value, "items"):
            yield from finite_leaves(value)
        else:
            yield np.all(np.isfinite(value))


@pytest.mark.parametrize("path", sorted(CASES.glob("*.toml")), ids=lambda path: path.stem)
def test_shipped_cases_solve(path):
    case = read_case(path)
    found = solve(case)
    for group in (found.totals, found.strips, found.propellers, found.slipstreams):
        assert all(finite_leaves(group))
    assert found.convergence["residual"][-1] <= case.model.tolerance
    if case.flow.airspeed == 0.0:  # hover: no coefficients
        assert found.totals["thrust"] > 0.0 and "CL" not in found.totals
        return
    assert found.totals["CL"] > found.totals["CL_unblown"] > 0.0
    assert 0.3 < found.totals["efficiency"] < 1.0
    wanted = [p.definition.thrust for p in case.propeller_list()]
    if all(t is not None for t in wanted):
        assert_allclose(found.totals["thrust"], sum(wanted), rtol=1e-6)
    assert abs(found.totals["induced_drag_discrepancy"]) < 0.01
