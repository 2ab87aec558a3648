"""The wing with the edges of its slipstreams: one block system in circulations and tube doublets.

With ψ = φ/m, m the local stream's speed over the reference speed, slope and pressure continuity on
a slipstream's edge become: ∂ψ/∂n continuous and m² ψ continuous. The edge is then a sheet of
doublets D = ψ_outside − ψ_inside = 2κ ψ_mean, κ = (μ² − 1)/(μ² + 1) with μ the speed ratio across
it, and the wing meets a uniform stream with unknown g = Γ/m. The conditions at the edge are from
Koning 1935, "Influence of the propeller on other parts of the airplane structure", in Durand,
Aerodynamic Theory IV; Glauert 1933, ARC R&M 1566 uses them for tunnel jets.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from blownwing.errors import SolveError
from blownwing.geometry.tube import Tubes
from blownwing.kernels import jet
from blownwing.wing.nearfield import GAUSS, core_radius, half_lines, trailing_corners
from blownwing.wing.system import DirectSolver, WingSystem, circulation

if TYPE_CHECKING:
    from blownwing.wing.compressed import Compressed
    from blownwing.wing.iterative import Each, IterativeSolver, RingForm

Array = NDArray[np.float64]

WING_SHARE = 0.1  # a wing's circulations magnify its residual more than tubes do theirs
_RESTART = 60


@dataclass(frozen=True)
class EdgeSystem:
    """Influence of tubes and wing on each other; depends on geometry only.

    Compressed where the wing's own influence is.
    """

    system: WingSystem
    tubes: Tubes
    nodes: Array  # (3, nodes) of the tubes, system frame
    on_wing: Array | Compressed  # (panels, tube panels), normal velocity at unit D
    wing_on_tube: Array | RingForm  # (tube panels, panels), potential at unit g
    on_tube: Array | Compressed  # (tube panels, tube panels), potential at unit D


def edge_system(
    system: WingSystem, tubes: Tubes, on_tube: Array | Compressed | None = None
) -> EdgeSystem:
    """Assemble the influence of tubes on wing, wing on tubes and tubes on tubes.

    on_tube: that of the tubes on each other, where another wing's system knows it already.
    """
    frame, lattice = system.frame, system.lattice
    nodes = frame.points(tubes.nodes)
    middles = frame.points(tubes.middles)
    points = frame.points(lattice.collocation)
    normals = frame.normals(system.normals)
    count = tubes.panels
    if count and not system.direct:
        return _compressed_edge(system, tubes, nodes, middles, on_tube)
    on_wing = np.empty((lattice.panels, count))
    wing_on_tube = np.empty((count, lattice.panels))
    images = system.images
    if on_tube is None:
        on_tube = np.empty((count, count))
        if count:
            own = np.arange(count)
            jet.panel_potential(*middles, own, *nodes, tubes.around, images, on_tube)
    if count:
        jet.panel_normal(*points, *normals, *nodes, tubes.around, images, on_wing)
        jet.horseshoe_potential(*middles, *system.nodes, lattice.columns, images, wing_on_tube)
    return EdgeSystem(system, tubes, nodes, on_wing, wing_on_tube, on_tube)


def _compressed_edge(
    system: WingSystem,
    tubes: Tubes,
    nodes: Array,
    middles: Array,
    on_tube: Array | Compressed | None,
) -> EdgeSystem:
    from blownwing.wing.compressed import compressed, rings, targets_at
    from blownwing.wing.iterative import ring_form

    lattice, images = system.lattice, system.images
    length = float(lattice.chord.mean())
    place = nodes.reshape(3, -1, tubes.rings + 1, tubes.around + 1)
    # a panel of strength D is a vortex ring of circulation −D about its outward normal
    ahead, behind = place[:, :, :-1], place[:, :, 1:]
    ring = (ahead[..., :-1], behind[..., :-1], behind[..., 1:], ahead[..., 1:])
    sheet = rings(np.stack([corner.reshape(3, -1) for corner in ring]))
    points = system.frame.points(lattice.collocation)
    wing, tube = targets_at(points, system.frame.normals(system.normals)), targets_at(middles)
    if on_tube is None:
        on_tube = compressed(tube, sheet, images, length, np.arange(tubes.panels))
    return EdgeSystem(
        system,
        tubes,
        nodes,
        compressed(wing, sheet, images, length),
        ring_form(tube, lattice, system.nodes, images, length),
        on_tube,
    )


def blown_circulation(
    edge: EdgeSystem,
    normal_onset: Array,
    contrast: Array,
    start: Array,
    tolerance: float,
    guess: Array | None = None,
) -> tuple[Array, Array]:
    """Circulations g (panels,) and doublet strengths D (tube panels,).

    normal_onset: (panels,) onset of the uniform stream, m/s; contrast: (tube panels,) κ; start: a
    first guess of D; tolerance: relative, on D; guess: (panels,) a first guess of g, for a
    compressed system, whose residual falls WING_SHARE lower. Raises SolveError when the iteration
    stalls.
    """
    # Imported here: it costs a tenth of a second, which a wing without edges need not wait for.
    from scipy.sparse.linalg import LinearOperator, gmres

    if not np.any(contrast):
        bare = circulation(edge.system, normal_onset, guess, WING_SHARE * tolerance)
        return bare, np.zeros_like(contrast)
    if not isinstance(edge.system.solver, DirectSolver):
        solver = edge.system.solver
        return _iterated_together(
            edge, solver, normal_onset, contrast, start, guess, WING_SHARE * tolerance
        )
    bare = circulation(edge.system, normal_onset)

    def response(doublets: Array) -> Array:
        wing = circulation(edge.system, edge.on_wing @ doublets)
        mean = edge.on_tube @ doublets + edge.wing_on_tube @ wing
        return np.asarray(doublets - 2.0 * contrast * mean)

    right = 2.0 * contrast * (edge.wing_on_tube @ bare)
    size = contrast.size
    operator = LinearOperator((size, size), matvec=response, dtype=np.float64)
    doublets, info = gmres(
        operator, right, x0=start, rtol=tolerance, atol=0.0, restart=_RESTART, maxiter=5
    )
    if info != 0:
        raise SolveError(
            "the slipstream edges did not converge (model.jet_around, model.jet_rings)"
        )
    return bare + circulation(edge.system, edge.on_wing @ doublets), doublets


def _iterated_together(
    edge: EdgeSystem,
    solver: IterativeSolver,
    normal_onset: Array,
    contrast: Array,
    start: Array,
    guess: Array | None,
    tolerance: float,
) -> tuple[Array, Array]:
    """The same from one iteration in g and D: the wing alone takes many steps by itself."""
    from blownwing.wing.iterative import iterated, workers

    panels, length = normal_onset.size, float(edge.system.lattice.chord.mean())

    def product(both: Array) -> Array:
        g, doublets = both[:panels], both[panels:]
        mean = edge.on_tube @ doublets + edge.wing_on_tube @ g
        slope = solver.matrix @ g + edge.on_wing @ doublets
        return np.concatenate((slope, (doublets - 2.0 * contrast * mean) / length))

    def precondition(both: Array, each: Each) -> Array:
        wing = solver.precondition(both[:panels], each)
        return np.concatenate((wing, length * both[panels:]))

    right = np.concatenate((-normal_onset, np.zeros_like(contrast)))
    first = None if guess is None else np.concatenate((guess, start))
    with workers() as each:
        name = "wing's and slipstreams'"
        ready = partial(precondition, each=each)
        found = iterated(product, ready, right, first, tolerance, name)
    return found[:panels], found[panels:]


def tube_velocity(edge: EdgeSystem, points: Array, doublets: Array, core: float) -> Array:
    """Velocity (3, n) of the tubes over m at points (3, n), both in the system's frame.

    doublets: (tube panels,) D; core: vortex core radius, m.
    """
    ring, axial = segment_strengths(edge.tubes, doublets)
    out = np.empty_like(points)
    jet.tube_velocity(
        *points, *edge.nodes, edge.tubes.around, edge.system.images, ring, axial, core, out
    )
    return out


def segment_strengths(tubes: Tubes, doublets: Array) -> tuple[Array, Array]:
    """Circulations (nodes,) of the segments to the next node of the ring and to the next ring."""
    strength = doublets.reshape(-1, tubes.rings, tubes.around)
    shape = (strength.shape[0], tubes.rings + 1, tubes.around + 1)
    ring, axial = np.zeros(shape), np.zeros(shape)
    ring[:, :-1, :-1] -= strength
    ring[:, 1:, :-1] += strength
    axial[:, :-1, :-1] += strength
    axial[:, :-1, 1:] -= strength
    return ring.reshape(-1), axial.reshape(-1)


def panel_sums(tubes: Tubes, ring: Array, axial: Array) -> Array:
    """The transpose of `segment_strengths`: from values (nodes,) of segments to panels."""
    shape = (-1, tubes.rings + 1, tubes.around + 1)
    ring, axial = ring.reshape(shape), axial.reshape(shape)
    along = ring[:, 1:, :-1] - ring[:, :-1, :-1]
    return np.asarray(along + axial[:, :-1, :-1] - axial[:, :-1, 1:]).ravel()


def far_lines(edge: EdgeSystem, circ: Array, contrast: Array) -> tuple[Array, Array, Array]:
    """Line vortices (n,) of the tubes in the Trefftz plane, their strength over m, y and z.

    circ: (columns,) strip sums of g; contrast: (tube panels,) κ. Wake and tubes make a plane
    problem there, with the same condition D = 2κ ψ_mean on the tubes' last ring.
    """
    tubes, system = edge.tubes, edge.system
    if tubes.panels == 0 or not np.any(contrast):
        return np.zeros(0), np.zeros(0), np.zeros(0)
    count = tubes.panels // (tubes.rings * tubes.around)
    shape = (3, count, tubes.rings + 1, tubes.around + 1)
    y, z = edge.nodes.reshape(shape)[1:, :, -1, :]
    middle_y = (0.5 * (y[:, 1:] + y[:, :-1])).ravel()
    middle_z = (0.5 * (z[:, 1:] + z[:, :-1])).ravel()
    kappa = contrast.reshape(count, tubes.rings, tubes.around)[:, -1, :].ravel()
    wake_y, wake_z = trailing_corners(system)
    wake = np.zeros((middle_y.size, circ.size))
    mutual = np.zeros((middle_y.size, middle_y.size))
    for sy, sz, offset in system.images:
        at_y, at_z = sy * middle_y, sz * middle_z + offset
        # seen from above the wake's sheet runs from starboard to port
        wake += _angles(at_y, at_z, wake_y[None, ::-1], wake_z[None, ::-1])[:, ::-1]
        angles = _angles(at_y, at_z, y, z)
        if sy == 1.0 and sz == 1.0:
            np.fill_diagonal(angles, 0.0)
        mutual += angles
    matrix = np.eye(kappa.size) + kappa[:, None] * mutual / np.pi
    doublets = np.linalg.solve(matrix, -kappa * (wake @ circ) / np.pi)
    lines = np.zeros(y.shape)
    lines[:, :-1] += doublets.reshape(count, tubes.around)
    lines[:, 1:] -= doublets.reshape(count, tubes.around)
    return lines.ravel(), y.ravel(), z.ravel()


def tubes_on_bound(
    edge: EdgeSystem, doublets: Array, lines: tuple[Array, Array, Array]
) -> tuple[Array, Array]:
    """Mean velocity over m (3, panels) of the tubes on the bound segments, and in the far plane.

    doublets: (tube panels,) D; lines: from `far_lines`. Split as in `nearfield`: half the far
    field at the strips' points, the rest of vortices with a core. The second value (2, columns) is
    half the far field at the strips' points, y and z.
    """
    system, lattice = edge.system, edge.system.lattice
    ends = system.nodes.reshape(3, lattice.rows, lattice.columns + 1)
    start, segment = ends[:, :, :-1], np.diff(ends, axis=2)
    core = core_radius(system)
    far = half_lines(system, *lines, lattice.fraction, 0.0)
    total = np.zeros_like(segment)
    total[1:] += far[:, None, :]
    for t, weight in GAUSS:
        points = np.ascontiguousarray((start + t * segment).reshape(3, -1))
        total += weight * tube_velocity(edge, points, doublets, core).reshape(segment.shape)
        even = half_lines(system, *lines, np.full(lattice.columns, t), core)
        total[1:] -= weight * even[:, None, :]
    return system.frame.velocities(total.reshape(3, -1)), far


def _angles(at_y: Array, at_z: Array, y: Array, z: Array) -> Array:
    """Angles (n, segments) at points (n,) that polylines y, z (lines, nodes) subtend, signed."""
    dy, dz = y[None] - at_y[:, None, None], z[None] - at_z[:, None, None]
    cross = dy[:, :, :-1] * dz[:, :, 1:] - dz[:, :, :-1] * dy[:, :, 1:]
    dot = dy[:, :, :-1] * dy[:, :, 1:] + dz[:, :, :-1] * dz[:, :, 1:]
    return np.arctan2(cross, dot).reshape(at_y.size, -1)
