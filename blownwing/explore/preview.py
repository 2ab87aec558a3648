"""Answers fast enough to drag by: one lattice kept, slipstreams added without their edges.

While something is dragged, the wing's matrices are kept and velocities of the slipstreams are
superposed; a case at rest is solved in full, as the command line does.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from blownwing.case.model import Case
from blownwing.coupling import solve
from blownwing.coupling.assembly import assembled
from blownwing.coupling.jets import without_edges
from blownwing.coupling.model import Model, Point, WingState
from blownwing.coupling.sections import lattice_incidence
from blownwing.errors import SolveError
from blownwing.slipstream.streams import added_velocity, prepared_lines
from blownwing.solution.model import Solution
from blownwing.study.fixed import MOST_PANELS, Balanced, balanced
from blownwing.study.kept_wing import KeptWing, kept_wing, wing_key
from blownwing.study.rotors import DiscBank

_KEPT = 4  # wings
_TOLERANCE = 1e-4  # of the free stream: enough for a picture


def previewer() -> Callable[[Case], Solution]:
    """Return a function from a case at one incidence to its solution without slipstream edges.

    What depends on the wing alone is kept from call to call. Cases with section tables, measured
    propellers or too many panels to keep dense matrices are solved in the ordinary way, which takes
    longer.

    Raises (the function):
        InputError: a file of the case cannot be used.
        SolveError: it does not converge.
    """
    wings: dict[tuple[Any, ...], KeptWing] = {}
    bank = DiscBank()
    last: list[Balanced] = []

    def run(case: Case) -> Solution:
        options = {
            "model.jet_edge": False,
            "model.tolerance": max(case.model.tolerance, _TOLERANCE),
        }
        case = case.replace(**options)
        panels = (1 if case.is_symmetric else 2) * case.model.chordwise * case.model.spanwise
        if panels > MOST_PANELS or case.model.sections != "linear" or case.has_measured:
            return solve(case)
        key = wing_key(case)
        if key not in wings:
            while len(wings) >= _KEPT:
                del wings[next(iter(wings))]
            wings[key] = kept_wing(case)
        try:
            found = balanced(case, wings[key], bank, last[0] if last else None)
        except SolveError:
            if not last:
                raise
            last.clear()  # a far start can lead astray; from nothing it may converge
            found = balanced(case, wings[key], bank, None)
        last[:] = [found]
        return assembled(case, _point(case, wings[key], found))

    return run


def _point(case: Case, wing: KeptWing, found: Balanced) -> Point:
    """The converged state in the form results are assembled from."""
    flow, lattice = found.flow, wing.system.lattice
    lines = prepared_lines(found.streams, *wing.edge)
    added = added_velocity(found.streams, lines)
    bound, quarter = added.part(slice(0, lattice.panels)), added.part(slice(lattice.panels, None))
    loads = wing.loads(flow, found.gamma, flow.onset(lattice.bound_point) + bound.velocity)
    speed = np.linalg.norm(flow.onset(lattice.quarter) + quarter.velocity, axis=0)
    still, none = np.zeros(lattice.columns), np.zeros(0)
    strips = found.gamma.reshape(lattice.rows, -1).sum(axis=0)
    incidence, _ = lattice_incidence(strips, speed, lattice.chord, wing.zero_lift, 2.0 * np.pi)
    state = WingState(
        found.gamma, none, without_edges(flow, still.size), speed, still,
        incidence, 0.0,
    )  # fmt: skip
    model = Model(
        system=wing.system,
        zero_lift=wing.zero_lift,
        sections=None,
        core=0.0,
        wing_velocity=None,
        answers=None,
        discs=found.discs,
        jets=None,
        edge=None,
        rows=lines,
    )
    unblown = wing.without_streams(case, flow).loads
    return Point(
        flow, model, found.states, found.streams, quarter, loads, unblown, state, None,
        np.zeros((3, 0)), history={"iteration": [1.0], "residual": [case.model.tolerance]},
    )  # fmt: skip
