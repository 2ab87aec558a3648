"""The balance of a trimmed aircraft: one fixed point of discs, slipstreams, surfaces and unknowns.

Each pass goes from the velocity at the discs to the streams and to the surfaces, as in
`coupling.balance`, and moves the unknowns by a Newton step whose matrix was measured once with the
streams free and the velocity at the discs held; Anderson mixing takes both together. Lattice and
tubes lie still while it runs, or forces would jump where strips are laid anew; they are laid again
between, where the streams have moved.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.case.trim import Trim
from blownwing.coupling.balance import Mixing, finished_point
from blownwing.coupling.by_surface import follows_course, with_local_rises
from blownwing.coupling.discs import placed_discs
from blownwing.coupling.model import Point
from blownwing.coupling.parts import Discs, wing_frame
from blownwing.coupling.rotors import carried, disc_samples
from blownwing.coupling.setup import edge_drift
from blownwing.coupling.size import fitting_size
from blownwing.errors import SolveError
from blownwing.kernels.threads import threads_for
from blownwing.trim.forces import Net, Path, picked
from blownwing.trim.passes import At, Layout, Near, Scene, laid_out, passed, rough_layout, scene_at
from blownwing.trim.settings import (
    drive_factors,
    equations_of,
    first_values,
    required,
    with_drives,
)
from blownwing.trim.steps import Steps
from blownwing.wing.loads import WingLoads

Array = NDArray[np.float64]

_DEPTH = 6
_MOVED = 0.002  # of the radius, beyond which streams are laid anew
_RELAYS = 3
_COURSES = 3  # times that the streams' courses at surfaces behind the wing are found anew
_COARSE = 1e-3  # residual from which a first layout is good enough to be laid anew
_FEW = 12  # passes, after which it is left as it is
_RENEWED = 0.3  # of the residual at which the tubes' velocities on the surfaces were last found
_AGED = 12  # passes after which the Newton matrix is measured anew
_BALANCED = 1e-9  # of the forces over weight and moments over weight times chord
_BALANCED_SHARE = 0.1  # of the coupling's tolerance, where that is more
_INNER_SHARE, _COARSEST = 0.001, 1e-4


@dataclass(frozen=True)
class Trimmed:
    """An aircraft in balance."""

    asked: Case  # streams where they were taken
    case: Case  # the same with the values found
    point: Point  # moments about the case's reference point
    trim: Trim
    values: Array  # of the unknowns, in order
    path: Path
    net: Net  # about the centre of gravity
    residual: Array  # (6,), over weight and weight times chord, in the order of `EQUATIONS`
    layout: Layout
    discs: Discs  # drives as in the case that was asked for
    passes: int
    slopes: Array  # of the balanced residuals by the unknowns, velocity at the discs held
    at: At  # the last pass

    @property
    def named(self) -> dict[str, float]:
        """The unknowns by name."""
        pairs = zip(self.trim.unknowns, self.values.tolist(), strict=True)
        return {item.name: value for item, value in pairs}


def trimmed(case: Case, start: Trimmed | None = None, held: bool = False) -> Trimmed:
    """The case in balance.

    start: a neighbouring one, from whose values and layout it starts; held: where all unknowns run
    out they stay at their limits and the residual is what is left. Raises InputError for a case
    without a trim or with too few unknowns, SolveError where the balance cannot be reached, naming
    what ran out.
    """
    trim = required(case)
    wanted = picked(equations_of(case, trim))
    size = fitting_size(case)
    with threads_for(size.panels, size.unknowns):
        found = _Search(case, trim, wanted, held).found(start)
        here = case
        for _ in range(_COURSES if follows_course(case) else 0):
            moved = with_local_rises(
                case, here, found.at.scene.flow, found.layout.model, found.point.wing
            )
            if moved is None:
                break
            here = moved
            found = _Search(here, trim, wanted, held).found(found)
        return found


class _Search:
    """One trim: what stays the same through all of its passes."""

    def __init__(self, case: Case, trim: Trim, wanted: Sequence[int], held: bool) -> None:
        self._case, self._trim, self._wanted = case, trim, list(wanted)
        self._discs = placed_discs(case)
        self._steps = Steps(trim, wanted)
        self._held, self._passes = held, 0
        self._known: Array | None = None  # slopes of the residuals, from layout to layout

    def found(self, start: Trimmed | None) -> Trimmed:
        """The balance, from a neighbouring one or from the case's own values."""
        values, x = first_values(self._case, self._trim), np.zeros_like(disc_samples(self._discs))
        layout, near = None, Near()
        if start is not None:
            values, x, layout, near = self._beside(start, values, x)
        if layout is None:
            rough = rough_layout(self._scene(values), x)
            values, at = self._balanced(rough, values, x, Near(near.loaded), True)
            layout, near = laid_out(self._scene(values), at.x, Near(at.near.loaded))
        else:
            values, at = self._balanced(layout, values, x, near, True)
            layout, near = self._followed(layout, at)
        for _ in range(_RELAYS):
            values, at = self._balanced(layout, values, at.x, near, False)
            before = layout
            layout, near = self._followed(layout, at)
            if layout is before:
                break
        return self._finished(before, values, at)

    def _beside(
        self, start: Trimmed, values: Array, x: Array
    ) -> tuple[Array, Array, Layout | None, Near]:
        """Values, velocities at the discs, layout and state that a neighbouring trim gives."""
        if start.slopes.shape == (len(self._wanted), values.size):
            self._known = start.slopes
        if start.point.induced.shape != x.shape:
            return values, x, None, Near()
        if [u.name for u in start.trim.unknowns] == [u.name for u in self._trim.unknowns]:
            values = start.values
        near = start.at.near
        loaded = carried(near.loaded, start.discs, self._discs)
        rises = [[s.rise for s in case.surfaces] for case in (start.case, self._case)]
        system, own = start.layout.model.system, (self._case.is_symmetric, wing_frame(self._case))
        same = (system.lattice.symmetric, system.frame) == own and rises[0] == rises[1]
        same = same and loaded is not None
        near = near._replace(loaded=loaded, wing=near.wing if same else None)
        return values, start.point.induced, start.layout if same else None, near

    def _scene(self, values: Array) -> Scene:
        return scene_at(self._case, self._trim, values, self._discs)

    def _followed(self, layout: Layout, at: At) -> tuple[Layout, Near]:
        """The layout, laid anew if the streams have moved from it."""
        scene = at.scene
        if edge_drift(scene.case, scene.flow, at.model, at.streams) <= _MOVED:
            return layout, at.near
        return laid_out(scene, at.x, at.near, layout)

    def _at(
        self, layout: Layout, values: Array, x: Array, near: Near, tolerance: float,
        known: Array | None = None,
    ) -> At:  # fmt: skip
        self._passes += 1
        return passed(self._scene(values), layout, x, near, tolerance, known)

    def _balanced(
        self, layout: Layout, values: Array, x: Array, near: Near, coarse: bool
    ) -> tuple[Array, At]:
        """Values in balance on one layout, and their last pass; coarse: nearly, in a few passes."""
        tolerance, steps = self._case.model.tolerance, self._steps
        # A lattice of which less is asked, as of an aircraft's tables, is balanced by less.
        fine = max(_BALANCED, _BALANCED_SHARE * tolerance)
        goal, fine = (_COARSE, _COARSE) if coarse else (tolerance, fine)
        inner, since, known, found_at = _COARSEST, 0, None, np.inf
        mixing = Mixing(_DEPTH)
        steps.begin()
        for _ in range(_FEW if coarse else self._case.model.max_iterations):
            at = self._at(layout, values, x, near, inner, known)
            near, off = at.near, at.residual[self._wanted]
            error = 0.0 if self._held and steps.ran_out else float(np.max(np.abs(off)))
            worst = max(at.lack, error)
            if not np.isfinite(worst):
                raise SolveError("the trim gave a value that is not finite")
            # The tubes' velocities on the surfaces, dearest in a pass, are found anew where
            # the residual has fallen far since, and for the last.
            settled, lagged = at.lack <= goal and error <= fine, known is not None
            found_at = found_at if lagged else worst
            known = None if settled or worst < _RENEWED * found_at else at.net.tubes
            if settled and (coarse or (inner <= tolerance and not lagged)):
                return values, at
            if self._known is None or since >= _AGED:
                self._known, since = self._slopes(layout, values, at, inner), 0
            since += 1
            inner = max(tolerance, min(_COARSEST, _INNER_SHARE * worst))
            wanted, cut = steps.next(self._known, values, off)
            if not self._held and not coarse:
                steps.check(at)
            if cut:
                x, values, mixing = at.image, wanted, Mixing(_DEPTH)  # tells of no fixed point
            else:
                x, values = mixing.parts((x, at.image, at.speed), (values, wanted, steps.scales))
                values = steps.within(values)
        if coarse:
            return values, at
        raise steps.unreached(at, self._case.model.max_iterations)

    def _slopes(self, layout: Layout, values: Array, at: At, inner: float) -> Array:
        """Matrix of the residuals by the unknowns, the velocity at the discs held."""
        base = at.residual[self._wanted]
        columns = []
        for moved, step in self._steps.beside(values):
            there = self._at(layout, moved, at.x, at.near, inner, at.net.tubes)
            columns.append((there.residual[self._wanted] - base) / step)
        return np.stack(columns, axis=1)

    def _finished(self, layout: Layout, values: Array, at: At) -> Trimmed:
        scene = at.scene
        history = {
            "iteration": [float(self._passes)],
            "residual": [float(np.max(np.abs(at.residual[self._wanted])))],
        }
        point = finished_point(
            scene.case, scene.flow, at.model, at.wing, at.states, at.streams, at.x, history
        )
        return Trimmed(
            asked=self._case,
            case=with_drives(scene.case, drive_factors(self._case, self._trim, values)),
            point=_about(point, np.array(scene.case.wing.reference_point)),
            trim=self._trim,
            values=values,
            path=scene.path,
            net=at.net,
            residual=at.residual,
            layout=Layout(at.model, layout.lines),
            discs=self._discs,
            passes=self._passes,
            at=at,
            slopes=np.zeros((0, 0)) if self._known is None else self._known,
        )


def _about(point: Point, centre: Array) -> Point:
    """A point with its moments about another centre (3,)."""
    arm = point.flow.point - centre
    flow = replace(point.flow, point=centre)

    def moved(loads: WingLoads) -> WingLoads:
        strips = loads.strip_moment
        if strips is not None:
            strips = strips + np.cross(arm, loads.strip_force.T).T
        return replace(loads, moment=loads.moment + np.cross(arm, loads.force), strip_moment=strips)

    bare = moved(point.loads_unblown)
    return replace(point, flow=flow, loads=moved(point.loads), loads_unblown=bare)
