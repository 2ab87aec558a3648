"""Designed blades: they do what they were designed for, within limits, and evenly if asked."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from blownwing.airfoil.library import section_for
from blownwing.airfoil.packed import coefficients
from blownwing.case.air import air_at
from blownwing.errors import InputError, SolveError
from blownwing.propeller.blade import blade_text, read_blade
from blownwing.propeller.design import (
    high_lift_design,
    minimum_loss_design,
    section_states,
)
from blownwing.propeller.loading import Annuli, annulus_flow, even_loading, swirl_limit, unevenness
from blownwing.propeller.rotor import axial_inflow, build_rotor, solve_rotor
from blownwing.propeller.task import DesignTask

SECTION = section_for("cambered_4412.csv", Path(__file__).parents[2] / "shared" / "sections")
TASK = DesignTask(
    diameter=0.8,
    hub_ratio=0.18,
    blades=5,
    omega=5000.0 * math.pi / 30.0,
    airspeed=28.0,
    air=air_at(),
    section=SECTION,
    section_name="cambered_4412.csv",
    thrust=250.0,
    lift=0.7,
)
OTHERS = {
    "few blades, cruise": replace(
        TASK, diameter=1.8, blades=2, omega=230.0, airspeed=65.0, thrust=700.0, hub_ratio=0.15
    ),
    "by power": replace(TASK, thrust=None, power=9000.0, blades=3),
    "best lift over drag": replace(TASK, lift=None, thrust=180.0),
    "thin air": replace(TASK, air=air_at(3000.0), thrust=150.0, airspeed=40.0),
    "slow and heavy": replace(TASK, airspeed=12.0, blades=6, lift=0.9, chord_most=0.3),
}


def analysed(design, n=40):
    task = design.task
    rotor = build_rotor(design.blade("trial"), task.diameter, task.blades, n)
    inflow = axial_inflow(rotor, task.airspeed)
    return rotor, solve_rotor(rotor, task.air, task.omega, 0.0, "clockwise", inflow)


@pytest.mark.parametrize("task", [TASK, *OTHERS.values()], ids=["approach", *OTHERS])
def test_round_trip_of_minimum_loss_blades(task):
    design = minimum_loss_design(task)
    aim = design.thrust / task.thrust if task.thrust else design.power / task.power
    assert_allclose(aim, 1.0, rtol=1e-9)
    _, loads = analysed(design)
    assert_allclose(loads.thrust, design.thrust, rtol=5e-3)
    assert_allclose(loads.power, design.power, rtol=5e-3)


@pytest.mark.parametrize("task", [TASK, OTHERS["by power"], OTHERS["best lift over drag"]])
def test_round_trip_and_evenness_of_high_lift_blades(task):
    least = minimum_loss_design(task)
    even = high_lift_design(task, 0.32 * least.unevenness)
    aim = even.thrust / task.thrust if task.thrust else even.power / task.power
    assert_allclose(aim, 1.0, rtol=1e-8)
    values = []
    for design in (least, even):
        rotor, loads = analysed(design)
        assert_allclose(loads.thrust, design.thrust, rtol=5e-3)
        assert_allclose(loads.power, design.power, rtol=5e-3)
        values.append(unevenness(loads.axial_induced, rotor.r, rotor.edges))
    assert values[1] <= values[0] / 3.0
    # evenness has its price, and it is a few per cent
    assert 0.95 * least.efficiency < even.efficiency < least.efficiency


def test_the_variational_loading_without_evenness_is_of_least_loss():
    # two unrelated methods, Betz's condition and a direct search, agree on the least power
    design = minimum_loss_design(TASK)
    free = high_lift_design(TASK, 1.0)
    assert_allclose(free.power, design.power, rtol=5e-3)
    inner = (free.r > 0.12) & (free.r < 0.36)
    chord = np.interp(free.r, design.r, design.chord)
    assert_allclose(free.chord[inner], chord[inner], rtol=0.10)


def test_more_evenness_costs_more_power():
    levels = minimum_loss_design(TASK).unevenness * np.array([0.8, 0.6, 0.4, 0.3])
    powers = [high_lift_design(TASK, level).power for level in levels]
    assert np.all(np.diff(powers) > 0.0)


def test_no_loading_near_the_even_one_is_as_even_for_less_power():
    edges = np.linspace(0.08, 0.4, 25)
    annuli = Annuli(edges, 0.08, 5, 520.0, 28.0, 1.225)
    glide = np.full(24, 0.02)
    best = even_loading(annuli, glide, 0.08, thrust=250.0)
    rng = np.random.default_rng(3)
    tried = 0
    for _ in range(400):
        u = best.axial * (1.0 + 0.02 * rng.normal(size=24))
        u = np.minimum(u, 0.9 * swirl_limit(annuli, glide))
        other = annulus_flow(annuli, u, glide)
        u *= 1.0 + (250.0 - other.total_thrust) / 350.0
        other = annulus_flow(annuli, u, glide)
        if unevenness(other.loss * u, annuli.r, edges) > 0.08 or other.total_thrust < 249.9:
            continue
        tried += 1
        assert other.total_power > best.total_power * (1.0 - 4e-4)
    assert tried >= 5


def test_annulus_flow_closes_momentum_and_forces():
    edges = np.linspace(0.08, 0.4, 25)
    annuli = Annuli(edges, 0.08, 4, 500.0, 20.0, 1.1)
    glide = np.full(24, 0.03)
    u = np.full(24, 5.0)
    flow = annulus_flow(annuli, u, glide)
    through, along = 20.0 + u, 500.0 * annuli.r - flow.tangential
    assert_allclose(np.tan(flow.phi), through / along)
    assert_allclose(flow.tangential, u * np.tan(flow.phi + math.atan(0.03)), rtol=1e-9)
    # blade forces from c·cl equal the annulus's thrust and torque
    pressure = 0.5 * 1.1 * (through**2 + along**2) * flow.chord_lift * 4 * annuli.dr
    thrust = pressure * (np.cos(flow.phi) - 0.03 * np.sin(flow.phi))
    torque = pressure * (np.sin(flow.phi) + 0.03 * np.cos(flow.phi)) * annuli.r
    assert_allclose(thrust, flow.thrust, rtol=1e-9)
    assert_allclose(torque * 500.0, flow.power, rtol=1e-9)


def test_unevenness_of_simple_profiles():
    r = np.linspace(0.0, 1.0, 4001)
    assert unevenness(np.full(4001, 3.0), r) < 1e-12
    # w = r² over a disc: mean 1/2, variance 1/3 − 1/4, so 1/√3
    assert_allclose(unevenness(r**2, r), 1.0 / math.sqrt(3.0), rtol=1e-4)
    edges = np.array([0.0, math.sqrt(0.5), 1.0])  # two rings of equal area, 1 and 3
    assert_allclose(unevenness(np.array([1.0, 3.0]), edges[1:], edges), 0.5)


def test_limits_on_chord_and_lift_are_kept():
    task = replace(TASK, blades=4, chord_most=0.08, lift=0.6, lift_limit=1.1)
    design = minimum_loss_design(task)
    assert_allclose(design.chord.max(), 0.08 * 0.4, rtol=1e-9)
    held = design.chord > 0.0799 * 0.4
    assert 0.65 < design.lift[held].max() <= 1.1
    assert design.chord.min() >= 0.01 * 0.4 * (1 - 1e-12)
    _, loads = analysed(design)
    assert_allclose(loads.thrust, 250.0, rtol=5e-3)
    even = high_lift_design(replace(TASK, chord_most=0.15), 0.09)
    assert even.chord.max() <= 0.15 * 0.4 * (1 + 1e-9)
    assert even.lift.max() <= 1.0 * (1 + 1e-9)


@pytest.mark.parametrize(
    ("change", "error", "words"),
    [
        ({"tip_mach": 0.5}, InputError, "tip reaches Mach 0.621.*rpm"),
        ({"hub_ratio": 0.9}, InputError, "hub ratio"),
        ({"thrust": None}, InputError, "one of thrust and power"),
        ({"power": 10.0}, InputError, "one of thrust and power"),
        ({"lift": 1.2}, InputError, "lift coefficient 1.2"),
        ({"chord_least": 0.5}, InputError, "chord limits"),
        ({"blades": 0}, InputError, "0 blades"),
        ({"diameter": math.nan}, InputError, "diameter"),
    ],
)
def test_contradictory_tasks_are_refused(change, error, words):
    with pytest.raises(error, match=words):
        replace(TASK, **change)


def test_tasks_that_cannot_be_met_say_why():
    with pytest.raises(SolveError, match=r"section cl of .* allow more chord"):
        minimum_loss_design(replace(TASK, chord_most=0.03, lift_limit=0.8))
    with pytest.raises(SolveError, match=r"reach .* at best"):
        high_lift_design(TASK, 0.005)
    with pytest.raises(InputError, match="airspeed above 0"):
        minimum_loss_design(replace(TASK, airspeed=0.0))
    with pytest.raises(SolveError, match=r"has at most"):
        minimum_loss_design(replace(TASK, lift=2.5, lift_limit=3.0))


def test_a_static_high_lift_blade():
    # the even loading needs no airspeed: hover is an ordinary point
    design = high_lift_design(replace(TASK, airspeed=0.0, thrust=200.0), 0.12)
    _, loads = analysed(design)
    assert_allclose(loads.thrust, 200.0, rtol=5e-3)
    assert design.efficiency == 0.0
    # figure of merit against momentum theory's ideal power for the annulus of the blades
    area = math.pi * 0.16 * (1.0 - 0.18**2)
    ideal = 200.0 * math.sqrt(200.0 / (2.0 * 1.225 * area))
    assert 0.6 < ideal / loads.power < 0.9


def test_section_states_invert_the_table():
    lift = np.array([0.2, 0.7, 1.1])
    reynolds, mach = np.array([3e5, 5e5, 8e5]), np.array([0.2, 0.4, 0.5])
    alpha, drag = section_states(SECTION, lift, reynolds, mach)
    for i in range(3):
        cl, cd, _ = coefficients(SECTION, alpha[i], reynolds[i], mach[i])
        assert_allclose((cl, cd), (lift[i], drag[i]), atol=2e-4)


def test_blade_file_reads_back(tmp_path):
    design = minimum_loss_design(replace(TASK, section_name="naca4412"))
    blade = design.blade("least")
    path = tmp_path / "least.csv"
    path.write_text(blade_text(blade, ["a comment"]), encoding="utf-8")
    back = read_blade(path)
    assert back.source == blade.source
    assert_allclose(back.chord, blade.chord, atol=1e-6)
    assert_allclose(back.twist, blade.twist, atol=1e-6)
    assert_allclose(back.radius, blade.radius, atol=1e-6)
