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
    trefftz_drag: float  # N
    downwash: Array  # (columns,) m/s, half the Trefftz-plane value, positive down


def lattice_loads(
    system: WingSystem,
    gamma: Array,
    onset: Array,
    induced: Array,
    density: float,
    drag_direction: Array,
    point: Array,
) -> WingLoads:
    """Loads of circulations gamma (panels,) in an onset flow.

    onset: (3, panels) onset velocity averaged over each bound segment, m/s; induced: (3, panels)
    velocity of the lattice there; drag_direction: unit vector of the free stream; point: moment
    reference. Source: Katz & Plotkin 2001, Low-Speed Aerodynamics, section 12.1 (near field) and
    8.2 (Trefftz plane, after Munk 1921, NACA Report 121).
    """
    lattice = system.lattice
    force = density * gamma * np.cross(onset + induced, lattice.bound, axis=0)
    onset_force = density * gamma * np.cross(onset, lattice.bound, axis=0)
    moment = np.cross(lattice.bound_point - point[:, None], force, axis=0)
    strips = force.reshape(3, lattice.rows, lattice.columns).sum(axis=1)
    total, turn = _both_halves(lattice, force.sum(axis=1), moment.sum(axis=1))
    onset_total, _ = _both_halves(lattice, onset_force.sum(axis=1), np.zeros(3))
    circ = gamma.reshape(lattice.rows, lattice.columns).sum(axis=0)
    wash = trefftz_downwash(system, circ)
    trefftz = 0.5 * density * float(np.sum(circ * wash * lattice.width))
    # The wake lies along x, so this part of the force does; its share along the stream counts.
    trefftz *= (2.0 if lattice.symmetric else 1.0) * float(drag_direction[0])
    return WingLoads(
        force=total,
        moment=turn,
        strip_force=strips,
        strip_circulation=circ,
        farfield_drag=float(onset_total @ drag_direction) + trefftz,
        trefftz_drag=trefftz,
        downwash=0.5 * wash,
    )


def trefftz_downwash(system: WingSystem, circ: Array) -> Array:
    """Normal velocity (columns,) [m/s], positive down, in the Trefftz plane at the strips' points.

    circ: (columns,) strip circulations. Trailing lines leave the strips' trailing-edge corners.
    """
    lattice = system.lattice
    flow = 2.0 * half_trailing(system, circ, lattice.fraction)
    return np.asarray(flow[0] * np.sin(lattice.dihedral) - flow[1] * np.cos(lattice.dihedral))


def _both_halves(lattice: Lattice, force: Array, moment: Array) -> tuple[Array, Array]:
    if not lattice.symmetric:
        return force, moment
    return force * np.array([2.0, 0.0, 2.0]), moment * np.array([0.0, 2.0, 0.0])
