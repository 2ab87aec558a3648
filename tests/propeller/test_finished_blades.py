"""Finished blades: smooth, within their bounds, as good as the bare design, on their task."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from blownwing.airfoil.library import section_for
from blownwing.case.air import air_at
from blownwing.errors import InputError, SolveError
from blownwing.propeller.design import minimum_loss_design, valued_design
from blownwing.propeller.finish import finished, finished_high_lift, stations_text
from blownwing.propeller.rotor import axial_inflow, build_rotor
from blownwing.propeller.task import DesignTask
from blownwing.propeller.trim import trim_rotor
from blownwing.study.shape.blade import worth_of

SECTION = section_for("cambered_4412.csv", Path(__file__).parents[2] / "shared" / "sections")
TASK = DesignTask(
    diameter=0.8, hub_ratio=0.18, blades=5, omega=5000.0 * math.pi / 30.0, airspeed=28.0,
    air=air_at(), section=SECTION, section_name="cambered_4412.csv", thrust=250.0, lift=0.7,
    chord_least=0.02, chord_most=0.3,
)  # fmt: skip
OTHERS = {
    "approach": TASK,
    "cruise": replace(
        TASK, diameter=1.8, blades=2, omega=230.0, airspeed=65.0, thrust=700.0, hub_ratio=0.15
    ),
    "by power": replace(TASK, thrust=None, power=9000.0, blades=3),
    "best lift over drag": replace(TASK, lift=None, thrust=180.0),
}


def check_shape(blade, task):
    """Bounds, one crest, no growth of chord or angle at the tip; on a fine grid."""
    chord, x = blade.chord / task.radius, blade.r / task.radius
    least = task.least_chord(blade.r) / task.radius
    assert np.all(chord >= least - 1e-5) and np.all(chord <= task.chord_most + 1e-5)
    slope = np.diff(chord) / np.diff(x)
    assert np.max(np.abs(slope)) <= task.chord_slope + 0.01
    assert np.all(slope[x[1:] > 0.91] <= 1e-4)
    turns = np.diff(np.sign(slope[np.abs(slope) > 1e-3]))
    assert np.count_nonzero(turns) <= 1
    assert np.all(np.diff(blade.twist) < 1e-6)


@pytest.mark.parametrize("name", OTHERS)
def test_finishing_keeps_task_and_power(name):
    task = OTHERS[name]
    for bare in (minimum_loss_design(task), valued_design(task, worth_of(0.12, 0.1))):
        made = finished(bare)
        aim = made.thrust / task.thrust if task.thrust else made.power / task.power
        assert_allclose(aim, 1.0, rtol=1e-6)
        # what a smooth outline with a root and a tip costs: under half a per cent of the power
        # that the bare blade needs for it, by blade elements too
        rotor = build_rotor(bare.blade("bare"), task.diameter, task.blades, 60)
        quantity = "thrust" if task.thrust else "power"
        _, turned, loads = trim_rotor(
            rotor, task.air, axial_inflow(rotor, task.airspeed),
            float(task.thrust or task.power), quantity, "pitch", 0.0, omega=task.omega,
        )  # fmt: skip
        assert made.power / made.thrust <= 1.005 * loads.power / loads.thrust
        assert abs(math.degrees(turned)) < 0.05
        check_shape(made, task)


def test_the_even_stream_that_can_be_built():
    # a third of the minimum-loss blade's unevenness, as the bare loading has it, is out of reach
    least = finished(minimum_loss_design(TASK))
    even = finished_high_lift(TASK, 0.6 * least.unevenness)
    assert even.unevenness <= 0.605 * least.unevenness
    assert 0.97 * least.efficiency < even.efficiency < least.efficiency
    check_shape(even, TASK)
    with pytest.raises(SolveError, match=r"reach(es)? .*% at best"):
        finished_high_lift(TASK, 0.3 * least.unevenness)


def test_bounds_on_slope_tip_and_thickness_are_kept():
    task = replace(TASK, chord_slope=0.25, chord_least=0.03, thickness_ratio=0.12,
                   root_thickness=6e-3, tip_thickness=2e-3)  # fmt: skip
    made = finished(valued_design(task, worth_of(0.12, 0.1)))
    check_shape(made, task)
    thickness = 0.12 * made.chord
    assert thickness[0] >= 6e-3 - 1e-6 and thickness[-1] >= 2e-3 - 1e-6
    assert np.max(np.abs(np.diff(made.chord) / np.diff(made.r))) <= 0.26
    # the control: without the bounds the blade breaks them
    free = finished(valued_design(TASK, worth_of(0.12, 0.1)))
    assert np.max(np.abs(np.diff(free.chord) / np.diff(free.r))) > 0.3
    assert 0.12 * free.chord[-1] < 2e-3
    rows = [line for line in stations_text(made).splitlines() if line[0].isdigit()]
    last = [float(word) for word in rows[-1].split(",")]
    assert last[5] == pytest.approx(0.12 * last[2], abs=2e-3)


def test_bounds_that_exclude_each_other_name_their_keys():
    thick = {"thickness_ratio": 0.12, "root_thickness": 0.03}
    with pytest.raises(InputError, match=r"root_thickness of 30 mm needs a chord of 0\.625 R"):
        replace(TASK, **thick)
    with pytest.raises(InputError, match=r"propeller\.thickness_ratio beside limits\."):
        replace(TASK, root_thickness=0.003)
    with pytest.raises(InputError, match=r"section thickness of 1\.2 chords"):
        replace(TASK, thickness_ratio=1.2)
    with pytest.raises(InputError, match="chord slope of 0"):
        replace(TASK, chord_slope=0.0)
