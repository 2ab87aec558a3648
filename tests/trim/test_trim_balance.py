"""Balance of forces and moments, and derivatives beside it.

Equations of steady flight: common practice of flight mechanics, no source. What is checked against
the outside is checked as mechanics: weight carried, moments gone, limits named.
"""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from trim_scenes import FIN, LONGITUDINAL, TAIL, WING, aircraft

from blownwing.case.model import Case
from blownwing.case.trim import GRAVITY
from blownwing.coupling import solve
from blownwing.errors import InputError, SolveError
from blownwing.trim import derivatives as beside
from blownwing.trim.balance import trimmed
from blownwing.trim.derivatives import derivatives
from blownwing.trim.solution import over_airspeeds, trimmed_solution

RUDDER = ({"name": "alpha"}, {"name": "elevator"}, {"name": "throttle"}, {"name": "aileron"},
          {"name": "rudder"}, {"name": "bank"})  # fmt: skip


@pytest.fixture(scope="module")
def found():
    return trimmed(aircraft())


def test_forces_and_moments_vanish(found):
    """To 1e-8 of weight and of weight times chord."""
    assert np.max(np.abs(found.residual)) < 1e-8
    assert set(found.named) == {"alpha", "elevator", "throttle"}


def test_the_trimmed_case_solved_afresh_carries_the_weight(found):
    """The balance holds for an ordinary solve of the case that it returns, laid anew."""
    totals = solve(found.case).totals
    pressure = totals["reference_dynamic_pressure"] * totals["reference_area"]
    lift = totals["lift"] + totals["CL_from_thrust"] * pressure
    assert_allclose(lift, 250.0 * GRAVITY, rtol=3e-4)
    rest = totals["net_axial_force"] - 0.1 * totals["reference_dynamic_pressure"]
    assert abs(rest) < 3e-4 * 250.0 * GRAVITY


def test_a_start_elsewhere_leads_to_the_same_balance(found):
    starts = {"alpha": 8.0, "elevator": 5.0, "throttle": 2.0}
    other = [{**item, "start": starts[item["name"]]} for item in LONGITUDINAL]
    again = trimmed(aircraft(other))
    assert_allclose(again.values, found.values, atol=3e-3)


def test_a_climb_needs_thrust_by_the_weight(found):
    climb = trimmed(aircraft(path_angle=3.0))
    along = [(one.point.flow.direction, one.net) for one in (found, climb)]
    pull = [-axis @ net.propellers[0] for axis, net in along]
    drag = [axis @ net.surfaces[0] for axis, net in along]
    weight = 250.0 * GRAVITY * np.sin(np.radians(3.0))
    assert_allclose(pull[1] - pull[0], weight + drag[1] - drag[0], rtol=1e-6)


def test_without_throttle_the_path_is_what_the_thrust_gives():
    unknowns = ({"name": "alpha"}, {"name": "elevator"}, {"name": "path_angle"})
    glide = trimmed(aircraft(unknowns, propellers=()))
    assert glide.path.climb < -2.0
    assert np.max(np.abs(glide.residual)) < 1e-8


def test_level_turn_with_fin_and_ailerons():
    turn = trimmed(aircraft((*RUDDER[:5], {"name": "beta"}), (TAIL, FIN), load_factor=1.2))
    assert np.max(np.abs(turn.residual)) < 1e-8
    straight = trimmed(aircraft((*RUDDER[:5], {"name": "beta"}), (TAIL, FIN)))
    assert turn.named["alpha"] > straight.named["alpha"] + 1.0
    assert abs(straight.named["rudder"]) < 1e-6


def test_sideslip_is_held_by_rudder_and_bank():
    slip = trimmed(aircraft(RUDDER, (TAIL, FIN), flow={"beta": 4.0}))
    assert np.max(np.abs(slip.residual)) < 1e-8
    assert slip.named["bank"] > 0.3  # into the wind
    assert slip.named["rudder"] < -1.0  # nose held off it


def test_differential_thrust_balances_yaw():
    group = {"name": "port_engine", "propellers": ["p_port"]}
    other = {"name": "starboard_engine", "propellers": ["p"]}
    unknowns = ({"name": "alpha"}, {"name": "elevator"}, group, {"name": "aileron"}, other,
                {"name": "bank"})  # fmt: skip
    slip = trimmed(aircraft(unknowns, (TAIL, FIN), flow={"beta": 1.5}))
    assert np.max(np.abs(slip.residual)) < 1e-8
    # wind from starboard turns the nose there: starboard thrust holds it
    assert slip.named["starboard_engine"] > slip.named["port_engine"]
    assert len(slip.case.propellers) == 2  # the twin is written out


@pytest.fixture(scope="module")
def known(found):
    return derivatives(found)


def test_neutral_point_is_where_the_moment_does_not_answer(found, known):
    """Centre of gravity moved there: dCm/dCL by differences of another step vanishes to 1e-5.

    With that the neutral point of the derivatives is that of finite differences, over the chord.
    """
    there = (known.neutral_point, 0.0, 0.0)
    moved = found.trim.model_copy(update={"centre_of_gravity": there})
    state = beside._Beside(_with_trim(found, moved), whole=False)
    here = found.case.alphas[0]
    up, down = (state._coefficients("flow.alpha", here + s * 0.04) for s in (1.0, -1.0))
    slope = (up[4] - down[4]) / (up[0] - down[0])
    assert abs(slope) < 1e-5
    chord = found.case.wing.chord
    assert_allclose(known.neutral_point, 0.3 + known.static_margin * chord, rtol=1e-12)


def _with_trim(found, trim):
    return replace(found, trim=trim)


def test_derivatives_do_not_depend_on_the_step(found, known, monkeypatch):
    monkeypatch.setattr(beside, "_STEPS", {"alpha": 0.05, "beta": 0.05})
    monkeypatch.setattr(beside, "_RATE", 1e-3)
    monkeypatch.setattr(beside, "_SETTING", 0.1)
    again = derivatives(found)
    for name in ("alpha", "pitch_rate", "elevator"):
        for index in (0, 4):
            assert_allclose(again.by[name][index], known.by[name][index], rtol=1e-5)
    assert_allclose(again.neutral_point, known.neutral_point, rtol=1e-5)


def test_elevator_per_g_is_that_of_trimmed_pull_ups(known):
    two = LONGITUDINAL[:2]
    level, pull = (trimmed(aircraft(two, manoeuvre="pull_up", load_factor=n)) for n in (1.0, 1.05))
    name, rate = known.control_per_g
    assert name == "elevator"
    found_rate = (pull.named["elevator"] - level.named["elevator"]) / 0.05
    assert_allclose(found_rate, rate, rtol=0.02)


def test_signs_of_the_lateral_derivatives():
    case = aircraft(surfaces=(TAIL, FIN))
    answers = derivatives(trimmed(case), lateral=True)
    assert answers.of("C_yaw", "beta") > 0.0  # the fin keeps the nose in the wind
    assert answers.of("C_roll", "beta") < 0.0  # dihedral and a high fin
    assert answers.of("C_roll", "roll_rate") < -0.3 and answers.of("C_yaw", "yaw_rate") < 0.0
    assert answers.of("C_pitch", "pitch_rate") < -5.0
    assert answers.of("C_roll", "aileron") < 0.0 and answers.of("C_yaw", "rudder") > 0.0
    assert_allclose(answers.of("C_yaw", "drive.p"), -answers.of("C_yaw", "drive.p_port"), rtol=1e-3)


def test_trims_over_airspeed_and_their_solution():
    found = over_airspeeds(aircraft(airspeeds=[28.0, 32.0]))
    assert [one.case.flow.airspeed for one in found] == [28.0, 32.0]
    assert found[0].named["alpha"] > found[1].named["alpha"]
    solution = trimmed_solution(aircraft(), lateral=False)
    assert solution.balance["elevator"]["least"] == -30.0
    assert solution.totals["static_margin"] > 0.1
    assert {"alpha", "pitch_rate", "elevator", "drive"} <= set(solution.derivatives)


def test_a_trim_that_starts_from_another_airspeed_has_its_own_mach_number():
    glide = aircraft(LONGITUDINAL[:2], propellers=(), equations=["normal", "pitch"])
    fast = glide.replace(**{"flow.airspeed": 110.0})
    alone, after = trimmed(fast), trimmed(fast, trimmed(glide))
    assert_allclose(after.values, alone.values, rtol=1e-6)
    slow = trimmed(fast.replace(**{"model.compressibility": False}))
    assert abs(slow.named["alpha"] - alone.named["alpha"]) > 0.02  # deg, what Mach 0.32 makes


def test_a_stored_trim_reads_back(tmp_path):
    from blownwing.solution.storage import load

    solution = trimmed_solution(aircraft(), lateral=False)
    assert load(solution.save(tmp_path / "trim.h5")) == solution


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"unknowns": (*LONGITUDINAL[:2], {"name": "elevator", "least": -1.0})}, "second time"),
        ({"unknowns": ({"name": "elevater"},)}, 'did you mean "elevator"'),
        ({"unknowns": (*LONGITUDINAL, {"name": "tail.incidence"})}, "found 4"),
        ({"equations": ["normal", "pitch"]}, "one unknown for each equation"),
    ],
)
def test_unknowns_that_cannot_work_are_one_sentence(change, words):
    with pytest.raises(InputError, match=words) as caught:
        trimmed(aircraft(**change))
    assert "\n" not in str(caught.value)


def test_too_few_unknowns_for_a_case_with_sides():
    with pytest.raises(InputError, match="not symmetric"):
        trimmed(aircraft(flow={"beta": 2.0}))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"unknowns": ({"name": "alpha"}, {"name": "elevator", "least": -0.5, "most": 0.5},
                       {"name": "throttle"})}, "elevator ran out at its limit of -0.5 deg"),
        ({"unknowns": ({"name": "alpha", "most": 3.0}, *LONGITUDINAL[1:])}, "alpha ran out"),
        ({"unknowns": (*LONGITUDINAL[:2], {"name": "throttle", "most": 0.5})}, "throttle ran out"),
    ],
)  # fmt: skip
def test_what_runs_out_is_named(change, words):
    with pytest.raises(SolveError, match=words):
        trimmed(aircraft(**change))


def test_a_case_without_a_trim_is_told_so():
    case = Case.from_tables({"flow": {"airspeed": 30.0}, "wing": WING})
    with pytest.raises(InputError, match="trim: this table is missing"):
        trimmed(case)


@pytest.mark.slow
def test_derivatives_about_all_axes_and_by_drives_are_exact_to_their_bar(monkeypatch):
    """Half the steps, all of them: no coefficient moves by more than 1e-5 of its row's largest."""
    state = trimmed(aircraft(LONGITUDINAL, (TAIL, FIN)))
    known = derivatives(state, True)
    monkeypatch.setattr(beside, "_STEPS", {"alpha": 0.05, "beta": 0.05})
    monkeypatch.setattr(beside, "_RATE", 1e-3)
    monkeypatch.setattr(beside, "_SETTING", 0.1)
    monkeypatch.setattr(beside, "_DRIVE", 0.005)
    again = derivatives(state, True)
    for name, row in known.by.items():
        scale = float(np.max(np.abs(row)))
        assert_allclose(again.by[name], row, atol=1e-5 * scale, rtol=0.0, err_msg=name)
