"""Shaft power by a wing's shape: slopes against differences, momentum theory, least drag."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import brentq
from study_scenes import case_tables
from test_shape_gradients import EDGES, distributions, wing_case

from blownwing import Case, InputError, solve
from blownwing.coupling.discs import placed_discs
from blownwing.propeller.disc import disc_loads
from blownwing.study.model import ShapeSearch
from blownwing.study.place.confirmation import confirmed
from blownwing.study.shape.balance import Balancer
from blownwing.study.shape.evaluation import Evaluation, evaluated
from blownwing.study.shape.power import propulsion, pushed
from blownwing.study.shape.search import searched
from blownwing.study.shape.stations import shaped


def trimmed(model, **flow):
    return Balancer(trim=True)(wing_case(9, model, 400.0, **flow))


def moved(here, twist, chord):
    base = distributions(here.case.wing)
    return shaped(here.case.wing, base[0] + twist, base[1] + chord)


@pytest.mark.parametrize(
    ("model", "flow"),
    [({"spanwise": 14}, {}), ({"spanwise": 14}, {"beta": 4.0}), (EDGES, {"ground_height": 2.5})],
)
def test_gradients_of_power_agree_with_central_differences_on_every_variable(model, flow):
    here = trimmed(model, **flow)
    found = evaluated(here, here.case.wing, ("power",)).power
    none = np.zeros(9)
    # by chord over a short step: see test_shape_gradients
    for kind, step in (("by_twist", 2e-4), ("by_chord", 1e-5)):
        for k in range(9):
            values = []
            for n in (-2, -1, 1, 2):
                move = n * step * np.eye(9)[k]
                wing = moved(here, *((move, none) if kind == "by_twist" else (none, move)))
                values.append(evaluated(here, wing, ()).power.value)
            wanted = np.dot([1.0, -8.0, 8.0, -1.0], values) / (12.0 * step)
            scale = np.abs(getattr(found, kind)).max()
            assert_allclose(getattr(found, kind)[k], wanted, rtol=1e-5, atol=1e-7 * scale)


def resolved(here, wing):
    """Power of propellers solved anew in the same slipstreams, thrusts carrying a wing's drag."""
    one = Evaluation(here, wing)
    drag = one.shape(()).drag

    def discs(factor):
        case = pushed(here.case, factor)
        made = placed_discs(case)
        return propulsion(
            here.flow, made, here.streams, one.leg_core, one.disc_velocity,
            None if here.edges is None else here.edges.turning,
        )  # fmt: skip

    factor = brentq(lambda f: discs(f).axial - drag, 0.8, 1.2, xtol=1e-12)
    return discs(factor).power


@pytest.mark.parametrize("model", [{"spanwise": 14}, EDGES])
def test_the_slopes_are_those_of_propellers_solved_anew(model):
    here = trimmed(model)
    rng = np.random.default_rng(2)
    twist, chord = 1e-3 * rng.standard_normal(9), 2e-3 * rng.standard_normal(9)
    power = evaluated(here, here.case.wing, ("power",)).power
    assert_allclose(resolved(here, here.case.wing), power.value, rtol=1e-7)
    blind = replace(here, power=replace(here.power, weights=np.zeros_like(here.power.weights)))
    drag = evaluated(blind, here.case.wing, ("power",)).power
    # twist that leaves the drag alone: what is left is the wing's flow at the discs
    level = twist - (drag.by_twist @ twist) / drag.by_twist.sum()
    for move, tolerance in (((twist, chord), 5e-4), ((level, np.zeros(9)), 0.02)):
        back = [-one for one in move]
        rise = resolved(here, moved(here, *move)) - resolved(here, moved(here, *back))
        wanted = 2.0 * (power.by_twist @ move[0] + power.by_chord @ move[1])
        # propellers in steps of 0.3 %, section tables piecewise linear
        assert_allclose(rise, wanted, rtol=tolerance)
    assert abs(drag.by_twist @ level) < 1e-6 * abs(power.by_twist @ level)


def far_discs():
    tables = case_tables(chordwise=2, spanwise=16)
    tables["propellers"] = [
        {"name": "far", "kind": "disc", "position": [-40.0, 1.0, 15.0], "diameter": 1.2,
         "mirror": True, "thrust": 40.0, "incidence": -5.0}
    ]  # fmt: skip
    return Case.from_tables(tables)


def test_far_from_the_wing_power_follows_drag_as_momentum_theory_has_it():
    # Glauert 1935, "Airplane Propellers": P = T (V + vi), vi = −V/2 + √(V²/4 + T/2ρA)
    case = far_discs()
    here = Balancer(trim=True)(case)
    thrust, step = here.case.propellers[0].thrust, 1e-3
    ideal = [
        disc_loads(thrust * f, 1.2, 30.0, case.air.density).power
        for f in (1.0, 1.0 - step, 1.0 + step)
    ]
    assert_allclose(here.power.power, 2.0 * ideal[0], rtol=2e-3)  # a trace of the wing's flow
    assert_allclose(here.power.price, (ideal[2] - ideal[1]) / (2.0 * step * thrust), rtol=2e-3)
    assert_allclose(2.0 * thrust, here.power.drag, rtol=2e-3)


def test_least_power_far_from_the_propellers_is_least_drag():
    case = far_discs()
    options = {"starts": 1, "controls": 6, "lift": 2000.0}
    power = searched(case, ShapeSearch(objective="power", **options))
    drag = searched(case, ShapeSearch(objective="drag", **options))
    assert_allclose(power.shape_after.drag, drag.shape_after.drag, rtol=1e-4)
    for one, other in zip(power.after.wing.stations, drag.after.wing.stations, strict=True):
        assert_allclose(one.twist, other.twist, atol=0.05)


@pytest.mark.slow
def test_a_search_for_power_holds_lift_and_trim_and_its_gain_is_confirmed():
    tables = case_tables(chordwise=2, spanwise=8, azimuth=6, radial=10)
    tables["flow"]["airspeed"] = 50.0
    case = Case.from_tables(tables)
    problem = ShapeSearch(objective="power", controls=4, starts=2, lift=7000.0)
    result = searched(case, problem)
    assert 0.001 < result.gain < 0.1 and result.spread < 1e-4
    shape = result.shape_after
    assert_allclose(shape.lift.value, 7000.0, rtol=1e-6)
    totals = solve(result.after).totals
    assert_allclose(totals["power"], result.objective[1], rtol=5e-3)
    assert abs(totals["net_axial_force"]) < 0.02 * totals["drag"]
    finer, coupled = confirmed(result, "power").gains
    assert_allclose(finer, result.gain, rtol=0.1)
    assert coupled > 0.5 * result.gain


@pytest.mark.parametrize("propellers", [[], [{"rpm": 3000.0}]])
def test_power_needs_propellers_given_by_their_thrust(propellers):
    tables = case_tables()
    model = {k: v for k, v in tables["propellers"][0].items() if k != "thrust"}
    tables["propellers"] = [model | item for item in propellers]
    with pytest.raises(InputError, match=r"optimize\.objective"):
        searched(Case.from_tables(tables), ShapeSearch(objective="power", starts=1))
