"""A wing's answers to any onset flow as dense matrices, kept for all cases that share the wing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blownwing.airfoil.discrete import lattice_line
from blownwing.case.model import Case
from blownwing.case.parts import Wing
from blownwing.coupling.parts import Flow, ground_level, wing_frame
from blownwing.geometry.lattice import Lattice, build_lattice
from blownwing.wing.loads import WingLoads, cross, lattice_loads, trefftz_downwash
from blownwing.wing.nearfield import bound_velocity
from blownwing.wing.normals import panel_normals, panel_slopes
from blownwing.wing.profile import section_thickness
from blownwing.wing.system import WingSystem, circulation, factored_system

Array = NDArray[np.float64]

_BLOCK = 64  # unit circulations that are evaluated together


@dataclass(frozen=True)
class Clean:
    """A wing in an undisturbed flow."""

    normal: Array  # (panels,) onset velocity along the normals, m/s
    bound: Array  # (3, panels) onset velocity on the bound segments, m/s
    quarter: Array  # (3, columns) the same at the strips' quarter-chord points
    loads: WingLoads


@dataclass(frozen=True)
class KeptWing:
    """A lattice and what follows from it alone; read-only."""

    system: WingSystem
    inverse: Array  # (panels, panels), from normal onset velocities to −Γ
    on_bound: Array  # (3 panels, panels), from Γ to mean velocities on the bound segments
    wash: Array  # (columns, columns), from strip circulations to Trefftz downwash
    outer: Array  # (6, 3 panels), see `_outer_sums`
    on_force: Array  # (k panels, panels), from Γ to forces on bound segments over density and Γ
    sides: NDArray[np.int64]  # (k,) their components: x and z where one half stands for both
    arms: Array  # (4, panels) ones, then the arms of the bound segments about the reference point
    edge: Array  # (2, 3, panels + columns) ends of bound segments and strip quarter-chord lines
    quarter: Array  # (2, n) y and x of the quarter-chord line over the whole span
    thickness: Array  # (columns,) of the strips' sections
    zero_lift: Array  # (columns,) rad, of the lattice's plane section
    clean: dict[Any, Clean]  # by undisturbed flow, filled as flows come

    def gamma(self, normal_onset: Array) -> Array:
        """Circulations (panels,) that cancel the normal onset velocity (panels,)."""
        return np.asarray(-(self.inverse @ normal_onset))

    def loads(self, flow: Flow, gamma: Array, onset: Array) -> WingLoads:
        """Loads at circulations (panels,) in an onset flow (3, panels) on the bound segments."""
        lattice = self.system.lattice
        induced = (self.on_bound @ gamma).reshape(3, -1)
        strips = gamma.reshape(lattice.rows, lattice.columns).sum(axis=0)
        ones = np.ones(lattice.columns)
        place = (flow.air.density, flow.wind, flow.point)
        return lattice_loads(self.system, gamma, ones, onset, induced, self.wash @ strips, *place)

    def total_loads(self, flow: Flow, gamma: Array, onset: Array) -> WingLoads:
        """As `loads`, without the forces of single strips, which are left empty."""
        lattice = self.system.lattice
        strips = gamma.reshape(lattice.rows, lattice.columns).sum(axis=0)
        wash, wind, density = self.wash @ strips, flow.wind, flow.air.density
        outer = density * (self.outer @ (onset * gamma).ravel())
        # what the lattice exerts on itself turns with the stream, see `lattice_loads`
        force = (self.on_force @ gamma).reshape(-1, gamma.size) * gamma
        inner = density * (self.arms @ force.T) @ wind[self.sides]
        twist = inner[1:]
        turn = np.array(
            (twist[1, 2] - twist[2, 1], twist[2, 0] - twist[0, 2], twist[0, 1] - twist[1, 0])
        )
        force, moment, trefftz = outer[:3] + inner[0], outer[3:] + turn, strips * wash
        work, far = outer[:3], 0.5 * density * float(trefftz @ lattice.width)
        if lattice.symmetric:
            both = np.array([2.0, 0.0, 2.0])
            force, moment = force * both, moment * (2.0 - both)
            work, far = work * both, 2.0 * far
        return WingLoads(
            force=force,
            moment=moment,
            strip_force=np.zeros((3, 0)),
            strip_circulation=strips,
            farfield_drag=float(work @ wind[0]) + far,
            downwash=0.5 * wash,
        )

    def quarter_x(self, y: Array) -> Array:
        """x of the quarter-chord line at spanwise y, m."""
        return np.interp(y, *self.quarter)

    def without_streams(self, case: Case, flow: Flow) -> Clean:
        """What the undisturbed flow of a case does to the wing."""
        key = (case.flow, case.wing.reference_point)
        if key not in self.clean:
            while len(self.clean) >= 64:
                del self.clean[next(iter(self.clean))]
            lattice = self.system.lattice
            normal = np.sum(flow.onset(lattice.collocation) * self.system.normals, axis=0)
            gamma, onset = self.gamma(normal), flow.onset(lattice.bound_point)
            loads = self.loads(flow, gamma, onset)
            self.clean[key] = Clean(normal, onset, flow.onset(lattice.quarter), loads)
        return self.clean[key]


def wing_key(case: Case) -> tuple[Any, ...]:
    """What two cases must share to share a `KeptWing`."""
    options = case.model
    return (
        case.wing, case.folder, options.chordwise, options.spanwise, options.spacing,
        case.is_symmetric, case.wing_mach, ground_level(case),
    )  # fmt: skip


def kept_wing(case: Case) -> KeptWing:
    """Assemble everything that the wing alone decides."""
    wing, options = case.wing, case.model
    whole = not case.is_symmetric
    lattice = build_lattice(wing, options.chordwise, options.spanwise, options.spacing, whole=whole)
    slopes = panel_slopes(wing, lattice, case.folder)
    _, zero_lift = lattice_line(lattice.row_edges, slopes)
    normals = panel_normals(lattice, slopes)
    system = factored_system(lattice, normals, wing_frame(case), ground_level(case))
    panels, columns = lattice.panels, lattice.columns
    inverse = np.ascontiguousarray(-circulation(system, np.eye(panels)))
    on_bound = np.empty((3, panels, panels))
    unit = np.eye(panels)
    for first in range(0, panels, _BLOCK):
        block = bound_velocity(system, unit[first : first + _BLOCK])
        on_bound[:, :, first : first + _BLOCK] = np.moveaxis(block, 0, 2)
    wash = np.stack([trefftz_downwash(system, row) for row in np.eye(columns)], axis=1)
    nodes = lattice.nodes.reshape(3, lattice.rows, columns + 1)
    quarter = np.stack((lattice.edge_x + 0.25 * lattice.edge_chord, lattice.edge_y, lattice.edge_z))
    ends = [
        np.concatenate((nodes[:, :, part].reshape(3, -1), quarter[:, part]), axis=1)
        for part in (slice(None, -1), slice(1, None))
    ]
    ratios = [section_thickness(station.airfoil) for station in wing.stations]
    thickness = np.interp(lattice.station, np.arange(len(ratios)), ratios)
    point = np.array(wing.reference_point)
    sides = np.array([0, 2] if lattice.symmetric else [0, 1, 2])
    return KeptWing(
        system=system,
        inverse=inverse,
        on_bound=on_bound.reshape(3 * panels, panels),
        wash=np.ascontiguousarray(wash),
        outer=_outer_sums(lattice, point),
        on_force=np.einsum("ckp,kpq->cpq", _forces(lattice.bound)[sides], on_bound).reshape(
            -1, panels
        ),
        sides=sides,
        arms=np.concatenate((np.ones((1, panels)), lattice.bound_point - point[:, None])),
        edge=np.stack(ends),
        quarter=_quarter_line(wing),
        thickness=thickness,
        zero_lift=zero_lift,
        clean={},
    )


def _quarter_line(wing: Wing) -> Array:
    y, x = np.array([(s.y, s.x + 0.25 * s.chord) for s in wing.stations]).T
    if wing.symmetric:
        y, x = np.concatenate((-y[:0:-1], y)), np.concatenate((x[:0:-1], x))
    return np.stack((y, x))


def _forces(vector: Array) -> Array:
    """(3, 3, panels) force per unit circulation, density and velocity component on vectors."""
    along = np.eye(3)[:, :, None] * np.ones(vector.shape[1])
    return np.stack([cross(unit, vector) for unit in along], axis=1)


def _outer_sums(lattice: Lattice, point: Array) -> Array:
    """(6, 3 panels) from circulation times onset velocity to force and moment over density.

    Kutta–Joukowski on the bound segments and on the legs from there to the trailing edge, as in
    `wing.loads.lattice_loads`.
    """
    nodes = lattice.nodes.reshape(3, lattice.rows, -1)
    ends = np.broadcast_to(lattice.edge_x + lattice.edge_chord, nodes.shape[1:])
    segments = [(lattice.bound, lattice.bound_point)]
    for sign, columns in ((-1.0, slice(0, -1)), (1.0, slice(1, None))):
        length = (ends - nodes[0])[:, columns].ravel()
        middle = nodes[:, :, columns].reshape(3, -1).copy()
        middle[0] += 0.5 * length
        segments.append((sign * np.stack((length, 0.0 * length, 0.0 * length)), middle))
    sums = np.zeros((6, 3, lattice.panels))
    for vector, place in segments:
        force = _forces(vector)
        arm = (place - point[:, None])[:, None]
        sums[:3] += force
        sums[3:] += cross(arm, force)
    return sums.reshape(6, -1)
