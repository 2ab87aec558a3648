"""Failed propellers, held; the smallest control speed. Mechanics checked against hand sums."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from trim_scenes import FIN, LONGITUDINAL, TAIL, aircraft

from blownwing.errors import InputError, SolveError
from blownwing.trim.balance import trimmed
from blownwing.trim.control import control_speed
from blownwing.trim.failure import held_by_controls, with_failures

BLADE = {
    "name": "p", "position": [-0.6, 1.5, 0.05], "diameter": 0.8, "blades": 4,
    "blade": "shared/blades/tunnel_4.csv", "spin": "inboard_up", "mirror": True, "thrust": 90.0,
}  # fmt: skip


def failed(state="stopped", propellers=None, **more):
    case = aircraft(surfaces=(TAIL, FIN), **({"propellers": propellers} if propellers else {}))
    return held_by_controls(with_failures(case.replace(**more), {"p_port": state}))


def test_yaw_of_the_running_propeller_is_the_rudders():
    """Thrust times its arm, less what the fin in no sideslip and the ailerons give: the rudder's.

    By hand: yawing moment of the propellers about the centre of gravity, T y.
    """
    found = trimmed(failed())
    assert np.max(np.abs(found.residual)) < 1e-8
    thrust = found.point.states[0].thrust
    assert_allclose(-found.net.propellers[1][2], -thrust * 1.5, rtol=2e-3)
    assert found.named["rudder"] > 1.0  # the dead side is port: nose back to starboard
    assert 0.0 < found.named["bank"] <= 5.0  # towards the running propeller


def test_a_failure_on_the_other_side_is_mirrored():
    case = aircraft(surfaces=(TAIL, FIN))
    port, starboard = (
        trimmed(held_by_controls(with_failures(case, {name: "stopped"}))).named
        for name in ("p_port", "p")
    )
    for name in ("rudder", "aileron", "bank"):
        assert_allclose(starboard[name], -port[name], rtol=2e-3, err_msg=name)
    for name in ("alpha", "elevator", "throttle"):
        assert_allclose(starboard[name], port[name], rtol=2e-3, err_msg=name)


def test_blades_drag_most_when_they_windmill_and_least_feathered(monkeypatch, request):
    monkeypatch.chdir(request.config.rootpath)
    found = {
        state: trimmed(failed(state, propellers=[BLADE]))
        for state in ("windmilling", "stopped", "feathered")
    }
    thrust = {
        state: one.point.states[-1].thrust if one.point.model.discs.placed[-1].name == "p_port"
        else one.point.states[0].thrust
        for state, one in found.items()
    }  # fmt: skip
    assert thrust["feathered"] > thrust["stopped"]
    assert thrust["feathered"] > thrust["windmilling"]
    assert all(value < 0.0 for value in thrust.values())
    assert found["feathered"].named["throttle"] < found["stopped"].named["throttle"]


@pytest.mark.slow
def test_smallest_control_speed_names_what_runs_out():
    case = aircraft(surfaces=(TAIL, FIN)).replace(**{"propellers.0.thrust": 300.0})
    found = control_speed(case, {"p_port": "stopped"})
    assert "ran out at its limit" in found.runs_out
    assert np.max(np.abs(found.state.residual)) < 1e-8
    assert 0.0 < found.state.path.bank <= 5.0  # towards the running propeller
    more = control_speed(case.replace(**{"propellers.0.thrust": 400.0}), {"p_port": "stopped"})
    assert more.speed > found.speed


def test_what_cannot_be_held_or_named_is_one_sentence():
    case = aircraft(surfaces=(TAIL, FIN))
    with pytest.raises(InputError, match='found "q"'):
        with_failures(case, {"q": "stopped"})
    with pytest.raises(InputError, match="leave one that runs"):
        with_failures(case, {"p": "stopped", "p_port": "stopped"})
    with pytest.raises(InputError, match='found "broken"'):
        with_failures(case, {"p": "broken"})
    with pytest.raises(InputError, match="nothing yaws"):
        held_by_controls(aircraft())
    weak = aircraft((*LONGITUDINAL, {"name": "rudder", "most": 2.0}), (TAIL, FIN))
    with pytest.raises(SolveError, match="rudder ran out at its limit of 2 deg, and yaw"):
        trimmed(held_by_controls(with_failures(weak, {"p_port": "stopped"})))
