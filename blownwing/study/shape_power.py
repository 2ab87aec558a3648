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
from blownwing.coupling.setup import by_unit, disc_samples, sample_owners, unit_states
from blownwing.errors import InputError
from blownwing.propeller.unit import Unit, UnitState, unit_state
from blownwing.slipstream.streams import Streams, added_velocity, met_by_discs, prepared_lines

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Induced = Callable[[Array, Ints, float, float], Array]

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
    states = unit_states(flow, discs, by_unit(discs, met), None)
    return Propulsion(flow, discs, states, wing, others, streams, leg_core, core)


def power_model(found: Propulsion, drag: float) -> PowerModel:
    """Slopes of power about a balance.

    Args:
        found: its discs. drag: N, which they carry.

    Raises:
        SolveError: a thrust near the balance that is not reached.
    """
    flow, discs = found.flow, found.discs
    count, owners = found.samples.shape[1] // len(discs.units), sample_owners(discs)
    by_factor, by_velocity = np.zeros(2), np.zeros((2, 3, found.samples.shape[1]))
    speed = max(flow.airspeed, *(float(np.max(s.axial)) for s in found.states))
    for k, unit in enumerate(discs.units):
        part = slice(k * count, (k + 1) * count)
        induced = (found.others + found.wing)[:, part]
        sides = [m for s, m in zip(discs.source, discs.mirrored, strict=True) if s == k]
        owner = owners[part]

        def met(velocity: Array, unit: Unit = unit, owner: Ints = owner) -> Array:
            onset = flow.onset(unit.samples)
            added = met_by_discs(found.streams, owner, onset.reshape(3, -1), velocity)
            return onset + added.reshape(onset.shape)

        slopes = _unit_slopes(flow, unit, found.states[k], induced, sides, met, _STEP * speed)
        by_factor += slopes[0]
        by_velocity[:, :, part] = slopes[1]
    price = float(by_factor[0] / by_factor[1])
    return PowerModel(
        power=found.power,
        drag=drag,
        price=price,
        samples=found.samples,
        owner=owners,
        velocity=found.wing,
        weights=by_velocity[0] - price * by_velocity[1],
        leg_core=found.leg_core,
        tube_core=found.tube_core,
    )


def _unit_slopes(
    flow: Flow,
    unit: Unit,
    state: UnitState,
    induced: Array,
    sides: list[bool],
    met: Callable[[Array], Array],
    step: float,
) -> tuple[Array, Array]:
    """Slopes of power and axial force, one unit and its twin: by f (2,), by u (2, 3, samples)."""

    def values(one: Unit, velocity: Array) -> Array:
        found = unit_state(one, flow.air, flow.airspeed, met(velocity), state)
        axial = sum(_axial(flow, found, mirrored) for mirrored in sides)
        return np.array([len(sides) * found.power, axial])

    by_factor = (values(_pushed(unit, 1.0 + _STEP), induced)
                 - values(_pushed(unit, 1.0 - _STEP), induced)) / (2.0 * _STEP)  # fmt: skip
    by_velocity = np.zeros((2, *induced.shape))
    for place in np.ndindex(*induced.shape):
        ahead, behind = induced.copy(), induced.copy()
        ahead[place] += step
        behind[place] -= step
        rise = values(unit, ahead) - values(unit, behind)
        by_velocity[(slice(None), *place)] = rise / (2.0 * step)
    return by_factor, by_velocity


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
