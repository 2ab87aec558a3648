"""Force and moment of everything on the aircraft: surfaces, friction, propellers, the rest."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.case.trim import EQUATIONS, GRAVITY, Trim
from blownwing.coupling.by_surface import both_halves, section_friction
from blownwing.coupling.model import Model, WingState
from blownwing.coupling.parts import Discs, Flow
from blownwing.coupling.response import near_velocities
from blownwing.propeller.unit import UnitState
from blownwing.slipstream.streams import AddedVelocity
from blownwing.trim.body import body_forces
from blownwing.wing.loads import cross, lattice_loads

Array = NDArray[np.float64]


class Net(NamedTuple):
    """Force [N] and moment [N m] about the flow's point (3,), case axes; of surfaces and in all."""

    force: Array
    moment: Array
    surfaces: Array  # (2, 3) force and moment of the lattice and its friction
    propellers: Array  # (2, 3)
    tubes: Array  # (3, panels) the tubes' part of the velocities on the bound segments, m/s


def net_force(
    case: Case,
    flow: Flow,
    model: Model,
    wing: WingState,
    states: Sequence[UnitState],
    bound: AddedVelocity,
    quarter: AddedVelocity,
    drag_area: float,
    known: Array | None = None,
) -> Net:
    """Everything that the air does to the aircraft.

    bound, quarter: what the streams add along bound segments and at the strips' quarter chords;
    drag_area: of all but the surfaces, m², acting at the flow's point; known: the tubes' part of
    the induced velocities of a state near by, which serves until the balance is close.
    """
    system, lattice = model.system, model.system.lattice
    onset, induced, tubes = near_velocities(model, flow, wing, bound, known)
    place = (flow.air.density, flow.wind, flow.point)
    none = np.zeros(lattice.columns)
    loads = lattice_loads(system, wing.strength, wing.ratio, onset, induced, none, *place)
    speed = np.linalg.norm(flow.onset(lattice.quarter) + quarter.velocity, axis=0)
    friction = section_friction(case, flow, model, wing, speed)
    pull = friction.drag * lattice.width * lattice.share * flow.direction[:, None]
    turn = cross(lattice.drawn_quarter - flow.point[:, None], pull) + friction.moment
    drag = both_halves(pull.sum(axis=1), lattice)
    turned = both_halves(turn.sum(axis=1), lattice, about=True)
    own = np.stack((loads.force + drag, loads.moment + turned))
    thrust = propeller_forces(model.discs, states, flow.point)
    pressure = 0.5 * flow.air.density * flow.airspeed**2
    rest = np.stack((pressure * drag_area * flow.direction, np.zeros(3)))
    if case.fuselage is not None:
        rest += body_forces(case.fuselage, case.wing, case.surfaces, flow, model, wing)
    total = own + thrust + rest
    return Net(total[0], total[1], own, thrust, tubes)


def propeller_forces(discs: Discs, states: Sequence[UnitState], point: Array) -> Array:
    """Force and moment (2, 3) [N, N m] of all propellers about a point (3,) [m], case axes.

    Moments: of the forces, at the hubs by uneven inflow, and of the torque, which the aircraft
    feels against the way the propeller turns.
    """
    total = np.zeros((2, 3))
    for i, placed in enumerate(discs.placed):
        unit, state = discs.units[discs.source[i]], states[discs.source[i]]
        turn = np.zeros(3)
        if state.loads is not None:
            turn += state.loads.moment_right * unit.axes[1] + state.loads.moment_up * unit.axes[2]
        if state.shaft is not None:
            turn += unit.placed.rotation * state.shaft.torque * unit.axes[0]
        force = state.force
        if discs.mirrored[i]:
            force = force * np.array([1.0, -1.0, 1.0])
            turn = turn * np.array([-1.0, 1.0, -1.0])
        arm = np.array(placed.position) - point
        total += np.stack((force, cross(arm, force) + turn))
    return total


class Path(NamedTuple):
    """How the aircraft flies: angles in deg, acceleration along the path in m/s²."""

    climb: float
    bank: float
    acceleration: float


def residuals(trim: Trim, flow: Flow, net: Net, path: Path, chord: float) -> Array:
    """Unbalanced parts (6,) in the order of `EQUATIONS`: forces over weight, moments over W c.

    Axes of the wind: against the flight, lift, starboard; moments about x forward, y starboard, z
    down, as C_roll, C_pitch and C_yaw have them. In a manoeuvre the lift carries the load factor
    and a turn is flown without side force; moments balance those of the aircraft's own inertia.
    chord: c, the reference chord, m.
    """
    drag, side, lift = (float(axis @ net.force) for axis in flow.wind)
    climb, bank = np.radians(path.climb), np.radians(path.bank)
    weight = trim.weight
    wanted, slip = np.cos(climb) * np.cos(bank), np.cos(climb) * np.sin(bank)
    if trim.load_factor != 1.0:
        wanted, slip = np.cos(climb) * trim.load_factor, 0.0
    forward = np.array([-1.0, 1.0, -1.0])  # from axes of the case to x forward, z down
    roll, pitch, yaw = net.moment * forward - gyroscopic_moment(trim, flow.rotation * forward)
    return np.array(
        [
            drag / weight + np.sin(climb) + path.acceleration / GRAVITY,
            lift / weight - wanted,
            side / weight + slip,
            roll / (weight * chord),
            pitch / (weight * chord),
            yaw / (weight * chord),
        ]
    )


def gyroscopic_moment(trim: Trim, rates: Array) -> Array:
    """ω × (I ω) (3,) [N m] that a steady rotation asks for, x forward, y starboard, z down.

    rates: (3,) of roll, pitch and yaw, rad/s. Source: Euler's equations of a rigid body, as in
    Etkin & Reid 1996, "Dynamics of Flight", chapter 4, from memory.
    """
    if trim.inertia is None:
        return np.zeros(3)
    xy, xz, yz = trim.products_of_inertia
    apart = np.array([[0.0, xy, xz], [xy, 0.0, yz], [xz, yz, 0.0]])
    return np.cross(rates, (np.diag(trim.inertia) - apart) @ rates)


def turn_bank(trim: Trim) -> float:
    """Bank [deg] of a coordinated turn, cos φ = 1/n; 0 of a pull-up."""
    if trim.manoeuvre == "pull_up" or trim.load_factor == 1.0:
        return 0.0
    return float(np.degrees(np.arccos(1.0 / trim.load_factor)))


def turning_rates(
    trim: Trim, airspeed: float, path: Path, alpha: float
) -> tuple[float, float, float]:
    """Rates of roll, pitch and yaw [deg/s] that go with the load factor.

    A turn: ω = g tan φ/V about the vertical, cos φ = 1/n, so that q = g/V (n − 1/n) where it is
    level; a pull-up: q = g cos γ (n − 1)/V. airspeed: V, m/s; path: γ; alpha: incidence, deg.
    Source: common practice of flight mechanics, no source.
    """
    climb, bank, a = np.radians(path.climb), np.radians(turn_bank(trim)), np.radians(alpha)
    if trim.manoeuvre == "pull_up":
        rate = GRAVITY * np.cos(climb) * (trim.load_factor - 1.0) / airspeed
        return 0.0, float(np.degrees(rate)), 0.0
    turn = np.degrees(GRAVITY * np.tan(bank) / airspeed)
    along = -turn * np.sin(climb)  # the path
    pitch, yaw = turn * np.cos(climb) * np.sin(bank), turn * np.cos(climb) * np.cos(bank)
    # about the body's axes, which stand alpha above the path
    roll, yaw = along * np.cos(a) - yaw * np.sin(a), yaw * np.cos(a) + along * np.sin(a)
    return float(roll), float(pitch), float(yaw)


def picked(names: Sequence[str]) -> list[int]:
    """Places of equations among the residuals."""
    return [EQUATIONS.index(name) for name in names]
