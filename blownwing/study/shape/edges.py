"""Slipstream edges in a shape search: tubes that stay while the wing between them changes.

Tubes, speed ratios and the strips that they cover are laid once, for given slipstreams. A wing of
another shape is solved with them as `wing.blown` does, and its adjoint by the transposed system:
with Aᵀλ = ∂J/∂g + Wᵀη' and η' = 2κη, the tubes' adjoint η obeys
η − Kᵀη' + BᵀA⁻ᵀWᵀη' = ∂J/∂D − BᵀA⁻ᵀ ∂J/∂g, an equation of the second kind as the direct one
(Giles & Pierce 2000, "An introduction to the adjoint approach to design", Flow, Turbulence and
Combustion 65, 393-415).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.case.parts import Wing
from blownwing.coupling.jets import (
    EdgeFlow,
    Jets,
    edge_breaks,
    edge_flow,
    interfaces_at_wing,
    placed_jets,
)
from blownwing.coupling.parts import Discs, Flow, ground_level, wing_frame
from blownwing.coupling.setup import strip_breaks, strip_members, without_tubes
from blownwing.errors import InputError, SolveError
from blownwing.geometry.lattice import build_lattice
from blownwing.slipstream.streams import Streams
from blownwing.wing.blown import EdgeSystem, Spread, edge_system, far_lines, held_downwash
from blownwing.wing.loads import trefftz_downwash
from blownwing.wing.nearfield import half_lines
from blownwing.wing.normals import panel_normals, panel_slopes
from blownwing.wing.system import WingSystem, factored_system, transposed_circulation

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
    turning: NDArray[np.bool_]  # (discs,) whose streams have no tube
    flow: EdgeFlow
    on_tube: Array | Spread  # (n, n), potential at unit D
    plane: Array  # (columns, columns) from strip sums of g to downwash over m far behind
    held_wash: Array  # (columns, m) from what the discs hold of the doublets to their downwash


def laid_edges(case: Case, flow: Flow, discs: Discs, streams: Streams) -> Edges:
    """The edges of given slipstreams on a case's wing.

    Args:
        case: wing and model. flow, discs, streams: of its balance.

    Raises:
        InputError: slipstreams that overlap at the wing, or outer air that is as good as at rest.
        SolveError: a singular lattice.
    """
    found = interfaces_at_wing(case, flow, discs, streams)
    breaks = tuple(strip_breaks(case.wing, edge_breaks(found, case)))
    system, _ = searched_system(case, case.wing, breaks)
    jets = placed_jets(case, found, streams, system.lattice)
    edges = edge_flow(jets, flow, streams)
    if not np.all(edges.ratio > 0.0):
        raise InputError(
            f"flow.airspeed: found {flow.airspeed:g} m/s, little beside the slipstreams; accepted "
            "in a shape search with model.jet_edge = true is more than a fiftieth of their speed"
        )
    edge = edge_system(system, jets.tubes, None, np.inf)
    member = strip_members(jets, system.lattice)
    turning = without_tubes(discs, jets)
    planes = _far_planes(edge, edges.contrast)
    return Edges(breaks, jets, member, turning, edges, edge.on_tube, *planes)


def _far_planes(edge: EdgeSystem, contrast: Array) -> tuple[Array, Array]:
    """Wake and tubes in the Trefftz plane, and the quarter chord, stay whatever chord and twist."""
    system = edge.system
    count, rims = system.lattice.columns, edge.rim_share.size
    columns = []
    for row in np.eye(count):
        lines = far_lines(edge, row, contrast)
        far = half_lines(system, *lines, system.lattice.fraction, 0.0)
        columns.append(trefftz_downwash(system, row, far))
    return np.stack(columns, axis=1), held_downwash(edge, contrast, np.eye(rims))


def searched_system(case: Case, wing: Wing, breaks: tuple[float, ...]) -> tuple[WingSystem, Array]:
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
    normals = panel_normals(lattice, slopes)
    return factored_system(lattice, normals, wing_frame(case), ground_level(case)), slopes


def blown_adjoint(
    edge: EdgeSystem, flow: EdgeFlow, by_strength: Array, by_doublets: Array | None
) -> tuple[Array, Array, Array]:
    """Adjoints λ (panels,) of the wing's equations and of the potentials on tubes and rims.

    The latter, (n,) and (m,), are the slopes of the doublets' equations by those
    potentials times the doublets' adjoint η: 2κη, and the rims' share in it.

    Args:
        edge: influences. flow: speed ratios and what the discs decide.
        by_strength, by_doublets: slopes of a quantity by g (panels,) and D (n,) or None.

    Raises:
        SolveError: when the iteration stalls.
    """
    from scipy.sparse.linalg import LinearOperator, gmres

    contrast, held = flow.contrast, flow.held
    bare = transposed_circulation(edge.system, by_strength)
    if not np.any(contrast) or held is None:
        return bare, np.zeros_like(contrast), np.zeros(edge.rim_share.size)

    def pushes(tubes: Array) -> tuple[Array, Array]:
        return 2.0 * contrast * tubes, edge.lifted_back(held, edge.gathered(tubes))

    def on_strength(push: Array, rim: Array) -> Array:
        by = edge.wing_on_tube.T @ push + edge.wing_on_rim.T @ rim
        return transposed_circulation(edge.system, by)

    def response(tubes: Array) -> Array:
        push, rim = pushes(tubes)
        on_doublets = edge.on_tube.T @ push + edge.tube_on_rim.T @ rim
        return np.asarray(tubes - on_doublets + edge.on_wing.T @ on_strength(push, rim))

    right = -(edge.on_wing.T @ bare)
    if by_doublets is not None:
        right = right + by_doublets
    operator = LinearOperator((contrast.size, contrast.size), matvec=response, dtype=np.float64)
    tubes, info = gmres(operator, right, rtol=_ADJOINT, atol=0.0, restart=_RESTART, maxiter=5)
    if info != 0:
        raise SolveError(
            "the adjoint of the slipstream edges did not converge (model.jet_around, "
            "model.jet_rings)"
        )
    push, rim = pushes(tubes)
    return bare + on_strength(push, rim), push, rim
