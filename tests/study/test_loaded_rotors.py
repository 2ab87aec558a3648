"""Rotors of a case: evaluated together, and to first order near a known state."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from study_scenes import case_tables

from blownwing import Case
from blownwing.coupling.discs import placed_discs
from blownwing.coupling.parts import undisturbed
from blownwing.coupling.rotors import Rotors
from blownwing.coupling.setup import stream_source
from blownwing.kernels import blade as kernel
from blownwing.propeller.rotor import azimuths
from blownwing.propeller.unit import unit_state

TOLERANCE = 1e-10
EDITS = {
    "thrust": {},
    "speed": {"propellers.all.rpm": 4000.0},
    "power by pitch": {
        "propellers.all.power": 4000.0,
        "propellers.all.trim": "pitch",
        "propellers.all.rpm": 4000.0,
    },
    "unlike": {"propellers.outer.diameter": 0.6, "propellers.outer.blades": 3},
}


def rotors_of(edits, **flow):
    case = Case.from_tables(case_tables()).replace(**edits, **flow)
    return Rotors(undisturbed(case, case.alphas[0]), placed_discs(case), TOLERANCE)


def disturbance(rotors, size, seed=1):
    """Induced velocities (3, n), m/s, smooth over each disc: a mean and its slopes."""
    rng = np.random.default_rng(seed)
    units = len(rotors.units)
    place = rotors.samples.reshape(3, units, -1)
    place = place - place.mean(axis=2, keepdims=True)
    slopes = rng.uniform(-1.0, 1.0, (units, 3, 3))
    mean = rng.uniform(-1.0, 1.0, (3, units, 1))
    return size * (mean + np.einsum("ucd,duk->cuk", slopes, place)).reshape(3, -1)


def measured(rotors):
    x = disturbance(rotors, 1.0, seed=5)
    return rotors.measured(rotors.start(x, None)), x


@pytest.mark.parametrize("name", EDITS)
def test_together_as_one_by_one(name):
    # `unit_state` is what the full coupling uses, with its guaranteed search for the trim
    rotors = rotors_of(EDITS[name])
    loaded, x = measured(rotors)
    velocity = (rotors.flow.onset(rotors.samples) + x).reshape(3, len(rotors.units), -1)
    for k, (unit, found) in enumerate(zip(rotors.units, rotors.states(loaded), strict=True)):
        local = velocity[:, k].reshape(unit.samples.shape)
        alone = unit_state(unit, rotors.flow.air, rotors.flow.airspeed, local, None)
        assert_allclose(found.thrust, alone.thrust, rtol=1e-9)
        assert_allclose(found.power, alone.power, rtol=1e-9)
        assert_allclose(found.axial, alone.axial, rtol=1e-8)
        assert_allclose(found.swirl, alone.swirl, rtol=1e-8)
        assert_allclose(found.force, alone.force, atol=1e-8 * alone.thrust)
        assert_allclose(found.inflow, alone.inflow, rtol=1e-12)


@pytest.mark.parametrize("name", EDITS)
def test_near_a_known_state_the_error_is_of_second_order(name):
    # Limit: what the first-order state misses falls with the square of the change, what a state
    # that is simply kept misses (the control) with the change itself. Section tables are linear
    # between their points, and the few elements that pass one miss more than a hundredth.
    rotors = rotors_of(EDITS[name])
    known, x = measured(rotors)
    missed = {"first order": [], "kept": []}
    for size in (1.0, 0.1):
        there = x + disturbance(rotors, size)
        ahead = rotors.near(known, there)
        truth = rotors.at(there, ahead)
        kept = known._replace(settings=ahead.settings)
        for key, state in (("first order", ahead), ("kept", kept)):
            missed[key].append(
                [
                    np.mean(np.abs(state.axial - truth.axial)),
                    np.mean(np.abs(state.swirl - truth.swirl)),
                    np.mean(np.abs(state.angles - truth.angles)),
                    np.mean(np.abs(state.values - truth.values)),
                ]
            )
    first, kept = np.array(missed["first order"]), np.array(missed["kept"])
    if name == "speed":  # nothing is wanted there
        assert np.all(first[:, 3] == 0.0)
        first, kept = first[:, :3], kept[:, :3]
    assert np.all(first[1] < 0.05 * first[0])
    assert np.all(first[:, :3] < 0.1 * kept[:, :3])
    assert np.all(kept[1, :3] > 0.05 * kept[0, :3])


def test_results_are_given_one_step_on():
    # A state with an error of the trim: the result meets the target to second order, and the
    # blade elements at its rotor speed agree. Without the step they would be off by the error.
    rotors = rotors_of({})
    known, x = measured(rotors)
    off = rotors.at(x, known._replace(settings=1.001 * known.settings))
    error = rotors.trim_error(off)
    assert error > 3e-4
    for unit, state in zip(rotors.units, rotors.states(off), strict=True):
        wanted = unit.placed.definition.thrust
        assert_allclose(state.thrust, wanted, rtol=1e-12)
    omega = np.array([state.omega for state in rotors.states(off)])
    truth = rotors.at(x, off._replace(settings=omega))
    power = truth.sums[:, -1, kernel.SUM_TORQUE] * omega
    for k, state in enumerate(rotors.states(off)):
        assert_allclose(state.thrust, truth.values[k], rtol=0.02 * error)
        assert_allclose(state.power, power[k], rtol=0.02 * error)
        assert_allclose(state.axial, truth.axial[k], rtol=0.1 * error)
    assert np.all(np.abs(off.values / truth.values - 1.0) > 3.0 * error)  # the control


def streams_of(case, flow, discs, states):
    """Slipstreams from the states of one unit after the other."""
    shape = discs.packed.weights.shape
    axial = np.array([state.axial for state in states]).reshape(shape)
    swirl = np.array([state.swirl for state in states]).reshape(shape)
    shafts = [state.shaft for state in states]
    inplane = [(0.0, 0.0) if s is None else (s.force_right, s.force_up) for s in shafts]
    return stream_source(case, flow, discs)(axial, swirl, np.array(inplane).reshape(-1, 2))


def test_streams_are_what_their_units_do():
    # the kernel against plain sums disc by disc, from the states of the units
    edits = {"propellers.inner.incidence": 4.0, "propellers.all.mirror": True}
    case = Case.from_tables(case_tables()).replace(**edits)
    discs, flow = placed_discs(case), undisturbed(case, case.alphas[0])
    rotors = Rotors(flow, discs, TOLERANCE)
    loaded, _ = measured(rotors)
    states = rotors.states(loaded)
    found = stream_source(case, flow, discs)(*rotors.blown(loaded))
    again = streams_of(case, flow, discs, states)
    for name, value in found._asdict().items():
        assert_allclose(getattr(again, name), value, rtol=1e-12, atol=1e-12, err_msg=name)
    for d, placed in enumerate(discs.placed):
        unit, state = discs.units[discs.source[d]], states[discs.source[d]]
        flip = np.array([1.0, -1.0 if discs.mirrored[d] else 1.0, 1.0])
        axis, force = np.array(placed.axis), state.force * flip
        assert_allclose(found.axial[d], state.axial)
        assert_allclose(found.swirl[d], flip[1] * state.swirl)
        assert_allclose(found.mean[d], np.sum(unit.weights * state.axial))
        along = axis @ flow.free_stream
        through = flow.air.density * np.pi * placed.radius**2 * (along + found.mean[d])
        assert_allclose(found.cross[d], flow.free_stream - along * axis, atol=1e-12)
        push = -(force - (force @ axis) * axis) / through
        assert_allclose(found.push[d], push, rtol=1e-9, atol=1e-12)
    assert discs.mirrored.count(True) == 2 and np.max(np.abs(found.push)) > 0.01
    assert np.ptp(found.courses[:, 2]) > 0.01  # tilted discs send their streams elsewhere


def test_the_guess_leaves_no_trace():
    rotors = rotors_of({})
    known, x = measured(rotors)
    cold = rotors.at(x, known._replace(angles=0.0 * known.angles))
    for start in (known.angles, known.angles + 0.05, -known.angles):
        warm = rotors.at(x, known._replace(angles=start))
        assert_allclose(warm.values, cold.values, rtol=1e-10)
        assert_allclose(warm.radial[:, :2], cold.radial[:, :2], rtol=1e-9)


def test_a_rotor_that_turns_the_other_way_is_the_mirror_image():
    rotors, other = rotors_of({}), rotors_of({"propellers.all.spin": "outboard_up"})
    known, x = measured(rotors)
    turned = known.turned([-1.0, -1.0])
    # the same disturbance mirrored at each disc: the k-th azimuths of the two are mirror images
    assert_allclose(azimuths(12)[::-1], 2.0 * np.pi - azimuths(12))
    x = x.copy()
    x[1] *= -1.0
    truth = other.at(x, turned)
    assert_allclose(truth.onset, turned.onset, atol=1e-12)
    assert_allclose(truth.values, turned.values, rtol=1e-9)
    assert_allclose(truth.swirl, turned.swirl, rtol=1e-7)
    ahead = other.near(turned, x + disturbance(other, 0.01))
    assert_allclose(ahead.swirl, other.at(x + disturbance(other, 0.01), ahead).swirl, rtol=1e-5)
