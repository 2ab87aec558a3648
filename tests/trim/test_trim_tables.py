"""Trims whose sections follow tables: the tail stalls.

Mechanics: weight carried, moments gone, in an ordinary solve too. That a stalled tail no longer
balances what a linear one does needs no source.
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from trim_scenes import FIN, TAIL, aircraft

from blownwing.case.trim import GRAVITY
from blownwing.coupling import solve
from blownwing.errors import SolveError
from blownwing.trim.balance import trimmed
from blownwing.trim.control import limits_at, nearest, widened
from blownwing.trim.derivatives import derivatives

TABLES = {"model.sections": "tables"}
SECTION = [{**station, "airfoil": "naca0012"} for station in TAIL["stations"]]
PITCH = {**TAIL, "stations": SECTION}
YAW = {**FIN, "stations": [{**station, "airfoil": "naca0012"} for station in FIN["stations"]]}


def tabled(surfaces=(PITCH,), **more):
    return aircraft(surfaces=surfaces, **more).replace(**TABLES)


@pytest.fixture(scope="module")
def found():
    return trimmed(tabled())


def test_forces_and_moments_vanish(found):
    """To 1e-8 of weight and of weight times chord, and in a solve afresh to 3e-4."""
    assert np.max(np.abs(found.residual)) < 1e-8
    totals = solve(found.case).totals
    unit = totals["reference_dynamic_pressure"] * totals["reference_area"]
    assert_allclose(totals["lift"] + totals["CL_from_thrust"] * unit, 250.0 * GRAVITY, rtol=3e-4)
    arm = totals["C_pitch"] * unit * totals["reference_chord"] + 0.3 * totals["lift"]
    assert abs(arm) < 0.05 * unit  # moved to the centre of gravity; thrust and drag have small arms


def test_the_start_changes_nothing(found):
    other = [{"name": "alpha", "start": 9.0}, {"name": "elevator", "start": -8.0},
             {"name": "throttle", "start": 2.0}]  # fmt: skip
    again = trimmed(tabled(unknowns=other))
    assert_allclose(again.values, found.values, atol=3e-3)


def test_a_real_elevator_turns_further_than_a_linear_one(found):
    """Viscous flow leaves 0.9 of a plain flap's effect (the flap law of `airfoil/flaps.py`)."""
    linear = trimmed(aircraft(surfaces=(PITCH,)))
    moved = found.named["elevator"] - linear.named["elevator"]
    assert moved * np.sign(linear.named["elevator"]) > 0.0


def test_derivatives_are_those_of_another_step(found, monkeypatch):
    from blownwing.trim import derivatives as beside

    known = derivatives(found)
    monkeypatch.setattr(beside, "_STEPS", {"alpha": 0.05, "beta": 0.05})
    monkeypatch.setattr(beside, "_SETTING", 0.1)
    again = derivatives(found)
    for name in ("alpha", "elevator"):
        for index in (0, 4):  # the tables are cubics in pieces of half a degree
            assert_allclose(again.by[name][index], known.by[name][index], rtol=2e-3)


def test_a_stalled_tail_ends_the_trim_and_is_named():
    """With the centre of gravity far ahead a linear tail that turns as a whole holds the nose."""
    tail = {"name": "tail.incidence", "least": -30.0, "most": 30.0}
    ahead = {"centre_of_gravity": (-2.4, 0.0, 0.0),
             "unknowns": [{"name": "alpha"}, tail, {"name": "throttle"}]}  # fmt: skip
    assert trimmed(aircraft(surfaces=(PITCH,), **ahead)).named["tail.incidence"] < -20.0
    with pytest.raises(SolveError, match="sections of the tail are beyond their stall"):
        trimmed(tabled(**ahead))


def test_the_way_to_the_stall_is_a_limit(found):
    limits = {item.name: item for item in limits_at(found, found.case)}
    own = limits["section stall of the tail"]
    assert (own.least, own.most) == (-1.0, 1.0) and 0.0 < own.share < 1.0
    ahead = tabled(centre_of_gravity=(-0.3, 0.0, 0.0))
    loaded = limits_at(trimmed(widened(ahead)), ahead)
    assert nearest(loaded).share > own.share


def test_a_fin_stalls_in_sideslip():
    slip = {"flow": {"beta": 4.0}}
    unknowns = [{"name": n} for n in ("alpha", "elevator", "throttle", "aileron", "rudder", "bank")]
    state = trimmed(tabled((PITCH, YAW), unknowns=unknowns, **slip))
    assert np.max(np.abs(state.residual)) < 1e-8
    assert "section stall of the fin" in [item.name for item in limits_at(state, state.case)]


def test_what_runs_out_is_held_where_that_is_asked():
    """The control stays at its limit, discs and streams are in balance, what is left is told."""
    one = [{"name": "elevator", "least": -2.0, "most": 2.0}]
    case = tabled(unknowns=one, equations=["pitch"], centre_of_gravity=(0.0, 0.0, 0.0))
    state = trimmed(case, held=True)
    assert state.named["elevator"] == -2.0
    moment = solve(state.case).totals["C_pitch"]
    assert state.residual[4] < -1e-3 and np.isfinite(moment)
    free = trimmed(case.replace(**{"trim.unknowns": [{"name": "elevator"}]}), held=True)
    assert abs(free.residual[4]) < 1e-8 and free.named["elevator"] < -2.0
