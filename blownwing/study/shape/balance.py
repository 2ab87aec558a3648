"""Propellers and slipstreams in balance with one wing: what a shape search then holds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from blownwing.case.model import Case
from blownwing.coupling import solved_points
from blownwing.coupling.parts import Discs
from blownwing.errors import InputError, SolveError
from blownwing.study.shape.edges import laid_edges
from blownwing.study.shape.evaluation import Evaluation
from blownwing.study.shape.model import Setting
from blownwing.study.shape.power import power_model, propulsion, pushed

_CLOSE = 1e-7  # of the drag, between it and the propellers' net force
_ENOUGH = 1e-5  # the same after half the passes: edges that are laid anew make small steps
_PASSES = 24
_LIMITS = (0.02, 50.0)  # of the factor on the thrusts


class Balancer:
    """Balances one case after another, on drag trim where that is asked for.

    Each balance depends on its case alone.
    """

    def __init__(self, trim: bool = False) -> None:
        self._trim = trim
        self._factor = 1.0

    def __call__(self, case: Case) -> Setting:
        """What stays while the wing of this case changes.

        On trim the setting's case has thrusts that carry the wing's drag, and its power model.

        Raises:
            InputError: slipstreams that overlap at the wing; trim of propellers that are not given
                by their thrust.
            SolveError: no balance, or no thrust that carries the drag.
        """
        if not self._trim:
            return self._balance(case)[0]
        before: tuple[float, float] | None = None
        for step in range(_PASSES):
            here = pushed(case, self._factor)
            setting, discs = self._balance(here)
            wing = Evaluation(setting, here.wing)
            if setting.streams is None:
                raise InputError("optimize.objective: power is accepted with propellers")
            streams = setting.streams
            found = propulsion(
                setting.flow, discs, streams, wing.leg_core, wing.disc_velocity,
                None if setting.edges is None else setting.edges.turning,
            )  # fmt: skip
            drag = wing.shape(()).drag
            excess = found.axial - drag
            close = _CLOSE if step < _PASSES // 2 else _ENOUGH
            if abs(excess) <= close * abs(drag):
                return replace(setting, power=power_model(found, drag))
            slope = found.axial / self._factor
            if before is not None and self._factor != before[0]:
                slope = (excess - before[1]) / (self._factor - before[0])
            before = (self._factor, excess)
            following = self._factor - excess / slope
            reach = (0.5 * self._factor, 2.0 * self._factor)
            self._factor = float(np.clip(np.clip(following, *reach), *_LIMITS))
        raise SolveError("the thrust that carries the wing's drag was not found")

    def _balance(self, case: Case) -> tuple[Setting, Discs]:
        point = solved_points(case)[0]
        discs = point.model.discs
        if not discs.placed:
            return Setting(case, point.flow, None), discs
        edged = case.model.jet_edge
        edges = laid_edges(case, point.flow, discs, point.streams) if edged else None
        return Setting(case, point.flow, point.streams, edges), discs
