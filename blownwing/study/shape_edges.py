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
from typing import TYPE_CHECKING

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
from blownwing.coupling.parts import Discs, Flow, ground_level, wing_frame
from blownwing.coupling.setup import strip_breaks, strip_members
from blownwing.errors import InputError, SolveError
from blownwing.geometry.lattice import build_lattice
from blownwing.slipstream.streams import Streams
from blownwing.wing.blown import EdgeSystem, edge_system, far_lines
from blownwing.wing.loads import trefftz_downwash
from blownwing.wing.nearfield import half_lines
from blownwing.wing.normals import panel_normals, panel_slopes
from blownwing.wing.system import WingSystem, factored_system, transposed_circulation

if TYPE_CHECKING:
    from blownwing.wing.compressed import Compressed

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
    on_tube: Array | Compressed  # (tube panels, tube panels), potential at unit D
    plane: Array  # (columns, columns) from strip sums of g to downwash over m far behind


def laid_edges(case: Case, flow: Flow, discs: Discs, streams: Streams) -> Edges:
    """The edges of given slipstreams on a case's wing.

    Args:
        case: wing and model. flow, discs, streams: of its balance.

    Raises:
        InputError: slipstreams that overlap at the wing, or outer air that is as good as at rest.
    """
    found = interfaces_at_wing(case, flow, discs, streams)
    breaks = tuple(strip_breaks(case.wing, edge_breaks(found, case)))
    system, _ = searched_system(case, case.wing, breaks)
    jets = placed_jets(case, found, streams, system.lattice)
    ratio, contrast, rise, axis = speed_ratios(jets, flow, streams)
    if not np.all(ratio > 0.0):
        raise InputError(
            f"flow.airspeed: found {flow.airspeed:g} m/s, little beside the slipstreams; accepted "
            "in a shape search with model.jet_edge = true is more than a fiftieth of their speed"
        )
    edge, member = edge_system(system, jets.tubes), strip_members(jets, system.lattice)
    plane = _far_plane(edge, contrast)
    return Edges(breaks, jets, member, ratio, contrast, rise, axis, edge.on_tube, plane)


def _far_plane(edge: EdgeSystem, contrast: Array) -> Array:
    """Wake and tubes in the Trefftz plane keep their places whatever chord and twist are."""
    system = edge.system
    columns = []
    for row in np.eye(system.lattice.columns):
        lines = far_lines(edge, row, contrast)
        far = half_lines(system, *lines, system.lattice.fraction, 0.0)
        columns.append(trefftz_downwash(system, row, far))
    return np.stack(columns, axis=1)


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
    edge: EdgeSystem, contrast: Array, by_strength: Array, by_doublets: Array | None
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
        wing = transposed_circulation(edge.system, edge.wing_on_tube.T @ push)
        return np.asarray(tubes - edge.on_tube.T @ push + edge.on_wing.T @ wing)

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
    push = 2.0 * contrast * tubes
    return bare + transposed_circulation(edge.system, edge.wing_on_tube.T @ push), push
