"""Shaft power as a wing's shape moves it: by the drag that thrust carries, by flow at the discs.

In given slipstreams the propellers feel the wing through the velocities it induces at their discs,
and their thrust follows its drag. About a balance in which they carry the drag, power is

    P = P₀ + c (drag − drag₀) + Σ w·(u − u₀),  c = P_f / X_f,  w = P_u − c X_u,

with P power and X net upstream force of all propellers, f a factor on their thrusts and u the
induced velocities at the discs' samples. The slopes are central differences of the propellers'
own solution, trimmed; the rest follows from the wing's adjoint.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.coupling.parts import Discs, Flow
from blownwing.coupling.rotors import Rotors, disc_samples
from blownwing.coupling.setup import sample_owners
from blownwing.errors import InputError
from blownwing.propeller.unit import Unit, UnitState
from blownwing.slipstream.streams import Streams, added_velocity, met_by_discs, prepared_lines

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Induced = Callable[[Array, Ints, float, float], Array]

_EXACT = 1e-10  # tolerance of the discs
_TRIMS = 2  # Newton steps of their thrusts beside the balance
_STEP = 3e-3  # of the fastest flow and of the thrust, for differences


@dataclass(frozen=True)
class Propulsion:
    """Discs in a balance: what they feel, and their loads; read-only."""

    flow: Flow
    discs: Discs
    states: tuple[UnitState, ...]
    wing: Array  # (3, samples) velocity that wing and tubes induce, case axes, m/s
    others: Array  # (3, samples) velocity of the neighbours' slipstreams, case axes, m/s
    streams: Streams
    leg_core: float  # m, of the lattice's legs at the discs
    tube_core: float  # m, of the tubes there

    @property
    def samples(self) -> Array:
        """(3, samples) m."""
        return disc_samples(self.discs)

    @property
    def power(self) -> float:
        """Shaft power of all propellers, W."""
        return sum(self.states[k].power for k in self.discs.source)

    @property
    def axial(self) -> float:
        """Upstream force of all propellers along the flight path, N."""
        return sum(
            _axial(self.flow, self.states[k], flip)
            for k, flip in zip(self.discs.source, self.discs.mirrored, strict=True)
        )


@dataclass(frozen=True)
class PowerModel:
    """Power about a balance; read-only."""

    power: float  # W, there
    drag: float  # N, there
    price: float  # W/N
    samples: Array  # (3, samples) m
    owner: Ints  # (samples,) disc of each
    velocity: Array  # (3, samples) that wing and tubes induce there, case axes, m/s
    weights: Array  # (3, samples) W per m/s
    leg_core: float
    tube_core: float

    def value(self, drag: float, velocity: Array) -> float:
        """Power, W, at another drag [N] and velocity (3, samples) [m/s]."""
        change = float(np.sum(self.weights * (velocity - self.velocity)))
        return self.power + self.price * (drag - self.drag) + change


def propulsion(
    flow: Flow,
    discs: Discs,
    streams: Streams,
    leg_core: float,
    induced: Induced,
    turning: NDArray[np.bool_] | None,
) -> Propulsion:
    """The discs of a balance in the flow of a wing and of their neighbours' slipstreams.

    Args:
        flow, discs, streams: of the balance.
        leg_core: m, of the lattice's legs at the discs.
        turning: (discs,) whose streams have no tube that turns the flow; None for all.
        induced: from points (3, n), their discs (n,) and the cores of legs and tubes [m] to
            velocities (3, n).

    Raises:
        SolveError: a thrust that is not reached.
    """
    samples = disc_samples(discs)
    owner = sample_owners(discs)
    lines = prepared_lines(streams, samples, samples, owner, turning=turning)
    others = added_velocity(streams, lines).velocity
    core = 0.2 * min(unit.placed.radius for unit in discs.units)
    wing = induced(samples, owner, leg_core, core)
    met = met_by_discs(streams, owner, flow.onset(samples), others + wing)
    rotors = Rotors(flow, discs, _EXACT)
    states = rotors.states(rotors.start(met, None))
    return Propulsion(flow, discs, states, wing, others, streams, leg_core, core)


def power_model(found: Propulsion, drag: float) -> PowerModel:
    """Slopes of power about a balance.

    Args:
        found: its discs. drag: N, which they carry.

    Raises:
        SolveError: a thrust near the balance that is not reached.
    """
    flow, discs, owner = found.flow, found.discs, sample_owners(found.discs)
    induced, onset = found.others + found.wing, flow.onset(found.samples)
    at_rest = met_by_discs(found.streams, owner, onset, induced)
    known = Rotors(flow, discs, _EXACT).start(at_rest, None)

    def values(units: tuple[Unit, ...], change: Array) -> Array:
        """Power and axial force (2, units), each with its twin's."""
        rotors = Rotors(flow, replace(discs, units=units), _EXACT)
        x = met_by_discs(found.streams, owner, onset, induced + change)
        loaded = known
        for _ in range(_TRIMS):
            loaded = rotors.start(x, rotors.near(loaded, x))
        states, result = rotors.states(loaded), np.zeros((2, len(units)))
        for k, mirrored in zip(discs.source, discs.mirrored, strict=True):
            result[:, k] += states[k].power, _axial(flow, states[k], mirrored)
        return result

    more, less = (tuple(_pushed(u, f) for u in discs.units) for f in (1.0 + _STEP, 1.0 - _STEP))
    still = np.zeros_like(induced)
    by_factor = np.sum(values(more, still) - values(less, still), axis=1)
    price = float(by_factor[0] / by_factor[1])
    # units do not feel each other here, so that one place of all of them is moved at a time
    step = _STEP * max(flow.airspeed, *(float(np.max(s.axial)) for s in found.states))
    weights = np.zeros((3, len(discs.units), induced.shape[1] // len(discs.units)))
    for c, place in np.ndindex(3, weights.shape[2]):
        change = np.zeros_like(weights)
        change[c, :, place] = step
        change = change.reshape(induced.shape)
        rise = values(discs.units, change) - values(discs.units, -change)
        weights[c, :, place] = (rise[0] - price * rise[1]) / (2.0 * step)
    return PowerModel(
        power=found.power,
        drag=drag,
        price=price,
        samples=found.samples,
        owner=owner,
        velocity=found.wing,
        weights=weights.reshape(induced.shape),
        leg_core=found.leg_core,
        tube_core=found.tube_core,
    )


def _axial(flow: Flow, state: UnitState, mirrored: bool) -> float:
    force = state.force * np.array([1.0, -1.0 if mirrored else 1.0, 1.0])
    return -float(flow.direction @ force)


def _pushed(unit: Unit, factor: float) -> Unit:
    """The unit with its wanted thrust times a factor."""
    item = unit.placed.definition
    changed = item.model_copy(update={"thrust": factor * (item.thrust or 0.0)})
    return replace(unit, placed=replace(unit.placed, definition=changed))


def pushed(case: Case, factor: float) -> Case:
    """The case with all its thrusts times a factor.

    Raises:
        InputError: a propeller that is not given by its thrust.
    """
    if not case.propellers or any(item.thrust is None for item in case.propellers):
        raise InputError(
            'optimize.objective: found "power"; accepted where every propeller is given by its '
            "thrust"
        )
    items = tuple(
        item.model_copy(update={"thrust": factor * (item.thrust or 0.0)})
        for item in case.propellers
    )
    return case.model_copy(update={"propellers": items})
