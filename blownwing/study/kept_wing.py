"""A wing's answers to any onset flow as dense matrices, kept for all cases that share the wing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blownwing.airfoil.discrete import lattice_line
from blownwing.case.model import Case
from blownwing.coupling.parts import Flow
from blownwing.geometry.lattice import build_lattice
from blownwing.wing.loads import WingLoads, lattice_loads, trefftz_downwash
from blownwing.wing.nearfield import bound_velocity
from blownwing.wing.normals import panel_normals, panel_slopes
from blownwing.wing.profile import section_thickness
from blownwing.wing.system import Frame, WingSystem, circulation, factored_system

Array = NDArray[np.float64]

_BLOCK = 64  # unit circulations that are evaluated together


@dataclass(frozen=True)
class KeptWing:
    """A lattice and what follows from it alone; read-only."""

    system: WingSystem
    inverse: Array  # (panels, panels), from normal onset velocities to −Γ
    on_bound: Array  # (3 panels, panels), from Γ to mean velocities on the bound segments
    wash: Array  # (columns, columns), from strip circulations to Trefftz downwash
    edge: Array  # (2, 3, panels + columns) ends of bound segments and strip quarter-chord lines
    thickness: Array  # (columns,) of the strips' sections
    zero_lift: Array  # (columns,) rad, of the lattice's plane section
    unblown: dict[Any, WingLoads]  # by undisturbed flow, filled as flows come

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

    def loads_unblown(self, case: Case, flow: Flow) -> WingLoads:
        """Loads without slipstreams."""
        key = (case.flow, case.wing.reference_point)
        if key not in self.unblown:
            while len(self.unblown) >= 64:
                del self.unblown[next(iter(self.unblown))]
            lattice = self.system.lattice
            normal = np.sum(flow.onset(lattice.collocation) * self.system.normals, axis=0)
            gamma = self.gamma(normal)
            self.unblown[key] = self.loads(flow, gamma, flow.onset(lattice.bound_point))
        return self.unblown[key]


def wing_key(case: Case) -> tuple[Any, ...]:
    """What two cases must share to share a `KeptWing`."""
    options = case.model
    mach = case.mach if options.compressibility else 0.0
    height = case.flow.ground_height
    ground = None if height is None else case.wing.reference_point[2] - height
    return (
        case.wing, case.folder, options.chordwise, options.spanwise, options.spacing,
        case.is_symmetric, mach, ground,
    )  # fmt: skip


def kept_wing(case: Case) -> KeptWing:
    """Assemble everything that the wing alone decides."""
    wing, options = case.wing, case.model
    *_, mach, ground = wing_key(case)
    whole = not case.is_symmetric
    lattice = build_lattice(wing, options.chordwise, options.spanwise, options.spacing, whole=whole)
    slopes = panel_slopes(wing, lattice, case.folder)
    _, zero_lift = lattice_line(lattice.row_edges, slopes)
    normals = panel_normals(lattice, slopes)
    system = factored_system(lattice, normals, Frame(float(np.sqrt(1.0 - mach * mach))), ground)
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
    return KeptWing(
        system=system,
        inverse=inverse,
        on_bound=on_bound.reshape(3 * panels, panels),
        wash=np.ascontiguousarray(wash),
        edge=np.stack(ends),
        thickness=thickness,
        zero_lift=zero_lift,
        unblown={},
    )
