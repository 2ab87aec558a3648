"""Slipstream edges in a shape search: tubes that stay while the wing between them changes.

Tubes, speed ratios and the strips that they cover are laid once, for given slipstreams. A wing of
another shape is solved with them as `wing.blown` does, and its adjoint by the transposed system:
with Aᵀλ = ∂J/∂g + Wᵀη' and η' = 2κη, the tubes' adjoint η obeys
η − Kᵀη' + BᵀA⁻ᵀWᵀη' = ∂J/∂D − BᵀA⁻ᵀ ∂J/∂g, an equation of the second kind as the direct one
(Giles & Pierce 2000, "An introduction to the adjoint approach to design", Flow, Turbulence and
Combustion 65, 393-415).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.case.parts import Wing
from blownwing.coupling.jets import (
    Jets,
    edge_breaks,
    interfaces_at_wing,
    placed_jets,
    speed_ratios,
)
from blownwing.coupling.parts import Discs, Flow
from blownwing.coupling.setup import strip_members
from blownwing.errors import InputError, SolveError
from blownwing.geometry.lattice import build_lattice
from blownwing.kernels import jet
from blownwing.slipstream.streams import Streams
from blownwing.wing.blown import EdgeSystem, far_lines
from blownwing.wing.loads import trefftz_downwash
from blownwing.wing.nearfield import half_lines
from blownwing.wing.normals import panel_normals, panel_slopes
from blownwing.wing.system import Frame, WingSystem, factored_system, transposed_circulation

Array = NDArray[np.float64]

TOLERANCE = 1e-11  # relative, of the doublets: line searches compare values closely
_ADJOINT = 1e-9  # of their adjoint
_RESTART = 60


@dataclass(frozen=True)
class Edges:
    """What the slipstreams' edges are during one search; read-only."""

    breaks: tuple[float, ...]  # m, where strips end
    jets: Jets
    member: NDArray[np.int64]  # (columns,) disc whose stream covers each strip, −1 for none
    ratio: Array  # (columns,) m, the strips' stream speed over the airspeed
    contrast: Array  # (tube panels,) κ
    rise: Array  # (columns,) axial increment of the strips' layer, m/s
    axis: Array  # (3, columns) along which it acts
    on_tube: Array  # (tube panels, tube panels), potential at unit D
    plane: Array  # (columns, columns) from strip sums of g to downwash over m far behind


@dataclass(frozen=True)
class FullEdgeSystem(EdgeSystem):
    """Influence of tubes and wing on each other in full matrices."""

    on_wing: Array
    wing_on_tube: Array
    on_tube: Array


def laid_edges(case: Case, flow: Flow, discs: Discs, streams: Streams) -> Edges:
    """The edges of given slipstreams on a case's wing.

    Args:
        case: wing and model. flow, discs, streams: of its balance.

    Raises:
        InputError: slipstreams that overlap at the wing, or outer air that is as good as at rest.
    """
    found = interfaces_at_wing(case, flow, discs, streams)
    breaks = edge_breaks(found, case)
    if case.wing.symmetric:
        breaks = np.unique(np.round(np.abs(breaks), 12))
    places = tuple(breaks.tolist())
    system, _ = searched_system(case, case.wing, flow, places)
    jets = placed_jets(case, found, streams, system.lattice)
    ratio, contrast, rise, axis = speed_ratios(jets, flow, streams)
    if not np.all(ratio > 0.0):
        raise InputError(
            f"flow.airspeed: found {flow.airspeed:g} m/s, little beside the slipstreams; accepted "
            "in a shape search with model.jet_edge = true is more than a fiftieth of their speed"
        )
    tubes, frame = jets.tubes, system.frame
    on_tube = np.empty((tubes.panels, tubes.panels))
    if tubes.panels:
        nodes, middles = frame.points(tubes.nodes), frame.points(tubes.middles)
        own = np.arange(tubes.panels)
        jet.panel_potential(*middles, own, *nodes, tubes.around, system.images, on_tube)
    member = strip_members(jets, system.lattice)
    plane = np.zeros((system.lattice.columns,) * 2)
    laid = Edges(places, jets, member, ratio, contrast, rise, axis, on_tube, plane)
    return replace(laid, plane=_far_plane(edge_influence(system, laid), contrast))


def _far_plane(edge: EdgeSystem, contrast: Array) -> Array:
    """Wake and tubes in the Trefftz plane keep their places whatever chord and twist are."""
    system = edge.system
    columns = []
    for row in np.eye(system.lattice.columns):
        lines = far_lines(edge, row, contrast)
        far = half_lines(system, *lines, system.lattice.fraction, 0.0)
        columns.append(trefftz_downwash(system, row, far))
    return np.stack(columns, axis=1)


def searched_system(
    case: Case, wing: Wing, flow: Flow, breaks: tuple[float, ...]
) -> tuple[WingSystem, Array]:
    """A wing's factored system, strips ending at breaks [m], and its panels' slopes.

    Raises:
        InputError: a section that is unknown.
        SolveError: a singular lattice.
    """
    options = case.model
    lattice = build_lattice(
        wing, options.chordwise, options.spanwise, options.spacing, breaks,
        whole=not case.is_symmetric,
    )  # fmt: skip
    slopes = panel_slopes(wing, lattice, case.folder)
    mach = case.mach if options.compressibility else 0.0
    frame = Frame(float(np.sqrt(1.0 - mach * mach)))
    height = case.flow.ground_height
    ground = None if height is None else float(flow.point[2]) - height
    return factored_system(lattice, panel_normals(lattice, slopes), frame, ground), slopes


def edge_influence(system: WingSystem, edges: Edges) -> FullEdgeSystem:
    """Influence of tubes and another wing's lattice on each other; that among tubes is kept."""
    frame, lattice, tubes = system.frame, system.lattice, edges.jets.tubes
    nodes, middles = frame.points(tubes.nodes), frame.points(tubes.middles)
    on_wing = np.empty((lattice.panels, tubes.panels))
    wing_on_tube = np.empty((tubes.panels, lattice.panels))
    if tubes.panels:
        points, normals = frame.points(lattice.collocation), frame.normals(system.normals)
        images = system.images
        jet.panel_normal(*points, *normals, *nodes, tubes.around, images, on_wing)
        jet.horseshoe_potential(*middles, *system.nodes, lattice.columns, images, wing_on_tube)
    return FullEdgeSystem(system, tubes, nodes, on_wing, wing_on_tube, edges.on_tube)


def blown_adjoint(
    edge: FullEdgeSystem, contrast: Array, by_strength: Array, by_doublets: Array | None
) -> tuple[Array, Array]:
    """Adjoints λ (panels,) of the wing's equations and 2κη (tube panels,) of the tubes'.

    Args:
        edge: influences. contrast: (tube panels,) κ.
        by_strength, by_doublets: slopes of a quantity by g (panels,) and D (tube panels,) or None.

    Raises:
        SolveError: when the iteration stalls.
    """
    from scipy.sparse.linalg import LinearOperator, gmres

    bare = transposed_circulation(edge.system, by_strength)
    if not np.any(contrast):
        return bare, np.zeros_like(contrast)

    def response(tubes: Array) -> Array:
        push = 2.0 * contrast * tubes
        wing = transposed_circulation(edge.system, push @ edge.wing_on_tube)
        return np.asarray(tubes - push @ edge.on_tube + wing @ edge.on_wing)

    right = -(bare @ edge.on_wing)
    if by_doublets is not None:
        right = right + by_doublets
    operator = LinearOperator((contrast.size, contrast.size), matvec=response, dtype=np.float64)
    tubes, info = gmres(operator, right, rtol=_ADJOINT, atol=0.0, restart=_RESTART, maxiter=5)
    if info != 0:
        raise SolveError(
            "the adjoint of the slipstream edges did not converge (model.jet_around, "
            "model.jet_rings)"
        )
    push = 2.0 * contrast * tubes
    return bare + transposed_circulation(edge.system, push @ edge.wing_on_tube), push
