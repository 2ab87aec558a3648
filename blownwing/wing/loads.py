"""Forces and moments on the lattice: Kutta–Joukowski near the wing, Trefftz plane far behind it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blownwing.geometry.lattice import Lattice
from blownwing.wing.nearfield import half_trailing
from blownwing.wing.system import WingSystem

Array = NDArray[np.float64]


@dataclass(frozen=True)
class WingLoads:
    """Forces of the whole wing (both halves when the lattice is folded) and of its strips."""

    force: Array  # (3,) N, case axes
    moment: Array  # (3,) N m about the reference point, case axes
    strip_force: Array  # (3, columns) N, of the lattice's own strips
    strip_circulation: Array  # (columns,) m²/s
    farfield_drag: float  # N: Trefftz part and the work of the bound vortices on the onset flow
    downwash: Array  # (columns,) m/s, half the Trefftz-plane value, positive down
    strip_moment: Array | None = None  # (3, columns) N m; None where only sums are kept


def lattice_loads(
    system: WingSystem,
    strength: Array,
    ratio: Array,
    onset: Array,
    induced: Array,
    wash: Array,
    density: float,
    wind: Array,
    point: Array,
) -> WingLoads:
    """Loads of a lattice in streams of different speed.

    strength: (panels,) g = Γ/m, m²/s; ratio: (columns,) m, the local stream's speed over the
    reference speed (1 without slipstream edges); onset, induced: (3, panels) velocities over m on
    the bound segments, m/s; wash: (columns,) downwash over m in the Trefftz plane, m/s; density:
    kg/m³; wind: (3, 3) rows drag, side and lift directions; point: (3,) moment reference, m.

    The linear problem has lattice and wake along the stream; forces that the lattice exerts on
    itself are therefore turned with the stream, or a velocity along the wake would turn up as drag.
    Sources: Katz & Plotkin 2001, Low-Speed Aerodynamics, section 12.1 (near field); Munk 1921,
    NACA Report 121 (far field).
    """
    lattice = system.lattice
    weight = density * np.tile(ratio * ratio, lattice.rows) * strength
    outer = weight * cross(onset, lattice.bound)
    inner = wind.T @ (weight * cross(induced, lattice.bound))
    legs, leg_moment = _leg_forces(system, weight, onset, point)
    force = outer + inner
    arm = lattice.bound_point - point[:, None]
    if np.any(lattice.rise):  # forces act where the surface is drawn
        arm[2] += np.tile(lattice.rise, lattice.rows)
    moment = cross(arm, force)
    strips = force.reshape(3, lattice.rows, lattice.columns).sum(axis=1) + legs
    turns = moment.reshape(3, lattice.rows, lattice.columns).sum(axis=1) + leg_moment
    total, turn = _both_halves(lattice, strips.sum(axis=1), turns.sum(axis=1))
    work, _ = _both_halves(lattice, outer.sum(axis=1) + legs.sum(axis=1), np.zeros(3))
    circ = lattice.by_strip(strength)
    trefftz = 0.5 * density * float(np.sum(ratio * ratio * circ * wash * lattice.width))
    trefftz *= 2.0 if lattice.symmetric else 1.0
    return WingLoads(
        force=total,
        moment=turn,
        strip_force=strips,
        strip_circulation=ratio * circ,
        farfield_drag=float(work @ wind[0]) + trefftz,
        downwash=0.5 * ratio * wash,
        strip_moment=turns,
    )


def _leg_forces(
    system: WingSystem, weight: Array, onset: Array, point: Array
) -> tuple[Array, Array]:
    """Forces and moments (3, columns) of the onset flow on the legs from bound line to edge.

    weight: (panels,) density times circulation, times m² in a stream. Each panel's two legs run
    along x over the wing; the flow across them (sideslip, yaw rate) lifts one and presses the
    other, and each is counted to its own panel's strip.
    """
    lattice = system.lattice
    nodes = lattice.nodes.reshape(3, lattice.rows, -1)
    length = lattice.edge_x + lattice.edge_chord - nodes[0]
    arm = nodes - point[:, None, None]
    arm[0] += 0.5 * length
    weights = weight.reshape(lattice.rows, -1)
    left, right = -weights * length[:, :-1], weights * length[:, 1:]
    push, turn = left + right, left * arm[:, :, :-1] + right * arm[:, :, 1:]
    if np.any(lattice.rise):
        turn[2] += push * lattice.rise
    _, side, up = onset.reshape(3, *weights.shape)
    force = np.stack((np.zeros_like(push), push * up, -push * side)).sum(axis=1)
    moment = np.stack((-side * turn[1] - up * turn[2], side * turn[0], up * turn[0]))
    return force, moment.sum(axis=1)


def trefftz_downwash(system: WingSystem, circ: Array, extra: Array | None = None) -> Array:
    """Normal velocity (columns,) [m/s], positive down, in the Trefftz plane at the strips' points.

    circ: (columns,) strip circulations, m²/s; extra: (2, columns) half velocity of other lines
    there, m/s. Trailing lines leave the strips' trailing-edge corners.
    """
    lattice = system.lattice
    half = half_trailing(system, circ, lattice.fraction)
    if extra is not None:
        half = half + extra
    bank = lattice.dihedral
    return np.asarray(2.0 * (half[0] * np.sin(bank) - half[1] * np.cos(bank)))


def cross(a: Array, b: Array) -> Array:
    """Cross product of vectors a and b (3, …); numpy's own moves axes about, which costs more."""
    return np.stack(
        (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])
    )


def _both_halves(lattice: Lattice, force: Array, moment: Array) -> tuple[Array, Array]:
    if not lattice.symmetric:
        return force, moment
    return force * np.array([2.0, 0.0, 2.0]), moment * np.array([0.0, 2.0, 0.0])
