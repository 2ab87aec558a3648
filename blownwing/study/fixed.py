"""Cases on one lattice: what depends only on the wing is assembled and factored once per study.

The lattice has no strip edges at the slipstream edges, which move from case to case; a strip that
an edge cuts feels the slipstream on the part that it covers.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from blownwing.case.model import Case
from blownwing.coupling import points_near
from blownwing.errors import InputError
from blownwing.study.scalars import of_point

MOST_PANELS = 1500  # beyond, the dense matrices that are kept cost more than they save


def keeps_lattice(base: Case) -> bool:
    """Whether the edits of a case can run on kept lattices.

    Not when it wants lattices that follow its slipstreams (`model.jet_edge`), has section tables,
    measured propellers or surfaces beside the wing, or is too large for dense matrices to be kept.
    """
    if base.has_measured or base.has_surfaces:
        return False
    halves = 1 if base.is_symmetric else 2
    panels = halves * base.model.chordwise * base.model.spanwise
    return not base.model.jet_edge and panels <= MOST_PANELS and base.model.sections == "linear"


def fixed_lattice(base: Case) -> Callable[[dict[str, Any]], dict[str, float]] | None:
    """A function from dotted edits of `base` to the scalars of the edited case, on kept lattices.

    None where `keeps_lattice` says no.
    """
    if not keeps_lattice(base):
        return None
    points = points_near(base.replace(**{"flow.alpha": base.alphas[0]}), still=True)

    def run(edits: dict[str, Any]) -> dict[str, float]:
        case = base.replace(**edits)
        if isinstance(case.flow.alpha, tuple) or case.model.jet_edge:
            raise InputError(
                "flow.alpha and model.jet_edge: accepted in a sweep on a fixed lattice are one "
                'angle per case and jet_edge = false; set sweep.lattice = "following"'
            )
        if case.has_measured:
            raise InputError(
                "propellers.kind: found a measured propeller in a sweep whose base case has none; "
                'set sweep.lattice = "following"'
            )
        if case.has_surfaces:
            raise InputError(
                "controls: found a control that is set in a sweep whose base case has none; "
                'set sweep.lattice = "following"'
            )
        return of_point(case, points(case))

    return run
