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
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.case.trim import EQUATIONS, Trim
from blownwing.coupling.balance import Mixing, finished_point
from blownwing.coupling.by_surface import follows_course, with_local_rises
from blownwing.coupling.discs import placed_discs
from blownwing.coupling.model import Model, Point, WingState
from blownwing.coupling.parts import Discs, Flow, undisturbed
from blownwing.coupling.response import disc_velocity, wing_state
from blownwing.coupling.rotors import disc_samples
from blownwing.coupling.setup import (
    built_model,
    by_unit,
    disc_streams,
    edge_drift,
    load_lines,
    unit_states,
    with_settings,
)
from blownwing.coupling.size import fitting_size
from blownwing.errors import SolveError
from blownwing.kernels.threads import threads_for
from blownwing.propeller.unit import UnitState
from blownwing.slipstream.streams import Lines, Streams, added_velocity
from blownwing.trim.forces import Net, Path, net_force, picked, residuals
from blownwing.trim.settings import (
    drive_factors,
    driven,
    equations_of,
    first_values,
    is_throttle,
    limits_of,
    required,
    with_drives,
    with_values,
)
from blownwing.wing.loads import WingLoads

Array = NDArray[np.float64]

_DEPTH = 6
_MOVED = 0.002  # of the radius, beyond which streams are laid anew
_RELAYS = 3
_COURSES = 3  # times that the streams' courses at surfaces behind the wing are found anew
_COARSE = 1e-3  # residual from which a first layout is good enough to be laid anew
_RENEWED = 0.3  # of the residual at which the tubes' velocities on the surfaces were last found
_AGED = 12  # passes after which the Newton matrix is measured anew
_STUCK = 8  # passes at a limit after which it has run out
_BALANCED = 1e-9  # of the forces over weight and moments over weight times chord
_BALANCED_SHARE = 0.1  # of the coupling's tolerance, where that is more
_INNER_SHARE, _COARSEST = 0.001, 1e-4
_TIGHTEN = 0.1  # of the doublets beside the velocities at the discs
_LARGEST = {"alpha": 4.0, "beta": 4.0, "bank": 10.0, "path_angle": 10.0, "acceleration": 4.0}
_LARGEST_CONTROL, _LARGEST_THROTTLE = 10.0, 0.4  # of one pass


class Layout(NamedTuple):
    """A lattice with its tubes, and the lines on which streams are felt."""

    model: Model
    lines: Lines  # bound segments, then the strips' quarter-chord lines


class At(NamedTuple):
    """One pass: everything at one set of unknowns and velocities at the discs."""

    flow: Flow
    path: Path
    model: Model
    states: tuple[UnitState, ...]
    streams: Streams
    wing: WingState | None  # None before a first pass
    net: Net
    residual: Array


@dataclass(frozen=True)
class Trimmed:
    """An aircraft in balance."""

    case: Case  # with the values found
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


def trimmed(case: Case, start: Trimmed | None = None) -> Trimmed:
    """The case in balance.

    start: a neighbouring one, from whose values and layout it starts. Raises InputError for a case
    without a trim or with too few unknowns, SolveError where the balance cannot be reached, naming
    what ran out.
    """
    trim = required(case)
    wanted = picked(equations_of(case, trim))
    size = fitting_size(case)
    with threads_for(size.panels, size.unknowns):
        found = _Search(case, trim, wanted).found(start)
        here = case
        for _ in range(_COURSES if follows_course(case) else 0):
            moved = with_local_rises(
                case, here, found.at.flow, found.layout.model, found.point.wing
            )
            if moved is None:
                break
            here = moved
            found = _Search(here, trim, wanted).found(found)
        return found


def laid_out(
    case: Case,
    flow: Flow,
    discs: Discs,
    x: Array,
    near: Sequence[UnitState] | None = None,
    kept: Layout | None = None,
) -> tuple[Layout, tuple[UnitState, ...]]:
    """Lattice and tubes where the streams go, and the discs' states.

    x: (3, samples) velocity at the discs, m/s; near: neighbouring states; kept: a layout whose
    parts serve where they are the same.
    """
    states = unit_states(flow, discs, by_unit(discs, x), near)
    streams = disc_streams(case, flow, discs, states)
    model = built_model(case, flow, discs, streams, None if kept is None else kept.model)
    lines = load_lines(discs, model.jets, model.system.lattice, streams)
    return Layout(model, lines), states


def passed(
    case: Case,
    trim: Trim,
    path: Path,
    flow: Flow,
    discs: Discs,
    layout: Layout,
    x: Array,
    near: Sequence[UnitState] | None,
    guess: WingState | None,
    tolerance: float,
    known: Array | None = None,
) -> tuple[At, Array, float]:
    """A pass on a layout, the velocity at the discs it asks for, and the speed it goes by.

    flow: about the centre of gravity; x: (3, samples) velocity at the discs, m/s; near, guess:
    neighbouring states to start from; tolerance: of the doublets; known: as for `net_force`.
    """
    lattice = layout.model.system.lattice
    model = with_settings(case, replace(layout.model, discs=discs))
    states = unit_states(flow, discs, by_unit(discs, x), near)
    streams = disc_streams(case, flow, discs, states)
    added = added_velocity(streams, model.rows)
    on_wing, none = added.part(slice(0, lattice.panels)), np.zeros(lattice.columns)
    wing = wing_state(model, flow, streams, on_wing, none, tolerance, guess)
    samples = disc_samples(discs)
    core = 0.2 * min((unit.placed.radius for unit in discs.units), default=0.0)
    others = added.velocity[:, lattice.panels :]
    image = disc_velocity(model, flow, wing, streams, others, samples, core)
    felt = added_velocity(streams, layout.lines)
    bound = felt.part(slice(0, lattice.panels))
    quarter = felt.part(slice(lattice.panels, None))
    net = net_force(case, flow, model, wing, states, bound, quarter, trim.drag_area, known)
    off = residuals(trim, flow, net, path, case.wing.chord)
    fastest = float(np.max(streams.normal_speed + streams.mean, initial=0.0))
    at = At(flow, path, model, states, streams, wing, net, off)
    return at, image, max(flow.airspeed, fastest)


def settled(
    case: Case,
    trim: Trim,
    flow: Flow,
    discs: Discs,
    layout: Layout,
    x: Array,
    near: At,
    tolerance: float,
) -> At:
    """The balance of discs, streams and surfaces alone, on a layout, nothing else moved.

    near: a neighbouring state; the rest as in `passed`. Raises SolveError when it does not
    converge.
    """
    mixing, at = Mixing(_DEPTH), near
    for _ in range(case.model.max_iterations):
        at, image, speed = passed(
            case, trim, near.path, flow, discs, layout, x, at.states, at.wing, _TIGHTEN * tolerance
        )
        if float(np.max(np.abs(image - x), initial=0.0)) <= tolerance * speed:
            return at
        x = mixing.next(x.ravel() / speed, image.ravel() / speed).reshape(x.shape) * speed
    raise SolveError(
        "the coupling did not converge beside the trimmed state (model.max_iterations)"
    )


class _Search:
    """One trim: what stays the same through all of its passes."""

    def __init__(self, case: Case, trim: Trim, wanted: Sequence[int]) -> None:
        self._case, self._trim, self._wanted = case, trim, list(wanted)
        self._limits = np.array([limits_of(item) for item in trim.unknowns])
        self._discs = placed_discs(case)
        self._centre = np.array(trim.centre_of_gravity)
        self._passes = 0
        self._known: Array | None = None  # slopes of the residuals, from layout to layout

    def found(self, start: Trimmed | None) -> Trimmed:
        """The balance, from a neighbouring one or from the case's own values."""
        samples = disc_samples(self._discs)
        values, x, layout, states = first_values(self._case, self._trim), None, None, None
        if start is not None and start.slopes.shape == (len(self._wanted), values.size):
            self._known = start.slopes
        if start is not None and start.point.induced.shape == samples.shape:
            same = [u.name for u in start.trim.unknowns] == [u.name for u in self._trim.unknowns]
            values = start.values if same else values
            x, states = start.point.induced, start.point.states
            rises = [[s.rise for s in case.surfaces] for case in (start.case, self._case)]
            halves = start.layout.model.system.lattice.symmetric == self._case.is_symmetric
            if halves and rises[0] == rises[1]:
                layout = start.layout
        x = np.zeros_like(samples) if x is None else x
        if layout is None:
            layout, states = self._laid(values, x, states, None)
        values, x, at = self._balanced(layout, values, x, states, True)
        layout, states = self._followed(layout, values, x, at)
        for _ in range(_RELAYS):
            values, x, at = self._balanced(layout, values, x, states, False)
            before = layout
            layout, states = self._followed(layout, values, x, at)
            if layout is before:
                break
        return self._finished(before, values, x, at)

    def _followed(
        self, layout: Layout, values: Array, x: Array, at: At
    ) -> tuple[Layout, tuple[UnitState, ...]]:
        """The layout, laid anew if the streams have moved from it."""
        case = with_values(self._case, self._trim, values)[0]
        if edge_drift(case, at.flow, at.model, at.streams) <= _MOVED:
            return layout, at.states
        return self._laid(values, x, at.states, layout)

    def _flow(self, case: Case) -> Flow:
        """The undisturbed flow, turning about the centre of gravity, which moments are about."""
        return replace(undisturbed(case, case.alphas[0]), point=self._centre)

    def _driven(self, values: Array) -> Discs:
        return driven(self._discs, drive_factors(self._case, self._trim, values))

    def _laid(
        self, values: Array, x: Array, near: Sequence[UnitState] | None, kept: Layout | None
    ) -> tuple[Layout, tuple[UnitState, ...]]:
        case, _ = with_values(self._case, self._trim, values)
        return laid_out(case, self._flow(case), self._driven(values), x, near, kept)

    def _at(
        self,
        layout: Layout,
        values: Array,
        x: Array,
        near: Sequence[UnitState] | None,
        guess: WingState | None,
        tolerance: float,
        known: Array | None = None,
    ) -> tuple[At, Array, float]:
        case, path = with_values(self._case, self._trim, values)
        flow, discs = self._flow(case), self._driven(values)
        self._passes += 1
        return passed(case, self._trim, path, flow, discs, layout, x, near, guess, tolerance, known)

    def _balanced(
        self,
        layout: Layout,
        values: Array,
        x: Array,
        near: Sequence[UnitState] | None,
        coarse: bool,
    ) -> tuple[Array, Array, At]:
        """Values and velocities at the discs in balance on one layout."""
        tolerance = self._case.model.tolerance
        # A lattice of which less is asked, as of an aircraft's tables, is balanced by less.
        fine = max(_BALANCED, _BALANCED_SHARE * tolerance)
        goal, fine = (_COARSE, _COARSE) if coarse else (tolerance, fine)
        inner = _COARSEST
        guess: WingState | None = None
        since, known, found_at = 0, None, np.inf
        mixing = Mixing(_DEPTH)
        stuck, touched = (np.zeros(values.size, dtype=int) for _ in range(2))
        for _ in range(self._case.model.max_iterations):
            at, image, speed = self._at(layout, values, x, near, guess, inner, known)
            near, guess = at.states, at.wing
            off = at.residual[self._wanted]
            lack = float(np.max(np.abs(image - x), initial=0.0)) / speed
            worst = max(lack, float(np.max(np.abs(off))))
            if not np.isfinite(worst):
                raise SolveError("the trim gave a value that is not finite")
            # The tubes' velocities on the surfaces, dearest in a pass, are found anew where
            # the residual has fallen far since, and for the last.
            settled = lack <= goal and float(np.max(np.abs(off))) <= fine
            lagged = known is not None
            found_at = found_at if lagged else worst
            known = None if settled or worst < _RENEWED * found_at else at.net.tubes
            if settled and (coarse or (inner <= tolerance and not lagged)):
                return values, x, at
            if self._known is None or since >= _AGED:
                self._known, since = self._slopes(layout, values, x, at, inner), 0
            since += 1
            inner = max(tolerance, min(_COARSEST, _INNER_SHARE * worst))
            full = self._newton(self._known, off)
            step = self._limited(full)
            wanted = np.clip(values + step, *self._limits.T)
            held = (wanted == values) & (np.abs(step) > 1e-9)
            stuck = np.where(held, stuck + 1, 0)
            touched += np.any(wanted[:, None] == self._limits, axis=1)
            if np.any(stuck >= _STUCK) and lack < 1e-4:
                raise self._run_out(values, stuck, at)
            scale = self._scales()
            here = np.concatenate((x.ravel() / speed, values / scale))
            there = np.concatenate((image.ravel() / speed, wanted / scale))
            if np.any(wanted != values + full):
                mixed, mixing = there, Mixing(_DEPTH)  # steps that were cut tell of no fixed point
            else:
                mixed = mixing.next(here, there)
            x = (mixed[: x.size] * speed).reshape(x.shape)
            values = np.clip(mixed[x.size :] * scale, *self._limits.T)
        if np.any(touched >= _STUCK):
            raise self._run_out(np.where(touched == touched.max(), wanted, values), touched, at)
        names = ", ".join(EQUATIONS[k] for k in self._wanted)
        raise SolveError(
            f"the trim did not converge: {names} are {worst:.1e} of the weight off after "
            f"{self._case.model.max_iterations} passes (model.max_iterations)"
        )

    def _scales(self) -> Array:
        """Steps of the unknowns that one pass may take."""
        return np.array(
            [
                _LARGEST_THROTTLE
                if is_throttle(item)
                else _LARGEST.get(item.name, _LARGEST_CONTROL)
                for item in self._trim.unknowns
            ]
        )

    def _slopes(self, layout: Layout, values: Array, x: Array, at: At, inner: float) -> Array:
        """Matrix of the residuals by the unknowns, the velocity at the discs held."""
        base = at.residual[self._wanted]
        columns = []
        for k, scale in enumerate(self._scales().tolist()):
            moved = values.copy()
            step = 0.1 * scale
            moved[k] += step if moved[k] + step <= self._limits[k, 1] else -step
            there, _, _ = self._at(layout, moved, x, at.states, at.wing, inner, at.net.tubes)
            columns.append((there.residual[self._wanted] - base) / (moved[k] - values[k]))
        return np.stack(columns, axis=1)

    def _newton(self, slopes: Array, off: Array) -> Array:
        size = np.linalg.norm(slopes, axis=0)
        idle = np.flatnonzero(size < 1e-10)
        if idle.size:
            raise SolveError(
                f"the trim cannot be reached: {self._trim.unknowns[int(idle[0])].name} moves none "
                f"of {', '.join(EQUATIONS[k] for k in self._wanted)}"
            )
        scaled = slopes * self._scales()
        if np.linalg.cond(scaled) > 1e10:
            raise SolveError(
                "the trim cannot be reached: "
                f"{', '.join(item.name for item in self._trim.unknowns)} do not move "
                f"{', '.join(EQUATIONS[k] for k in self._wanted)} independently"
            )
        return np.linalg.solve(scaled, -off) * self._scales()

    def _limited(self, step: Array) -> Array:
        return np.asarray(step / max(float(np.max(np.abs(step / self._scales()))), 1.0))

    def _run_out(self, values: Array, stuck: NDArray[np.int64], at: At) -> SolveError:
        k = int(np.argmax(stuck))
        item = self._trim.unknowns[k]
        off = {EQUATIONS[i]: float(at.residual[i]) for i in self._wanted}
        worst = max(off, key=lambda name: abs(off[name]))
        words = "of the weight" if worst in ("axial", "normal", "side") else "of weight times chord"
        unit = {"acceleration": " m/s2"}.get(item.name, "" if is_throttle(item) else " deg")
        return SolveError(
            f"the trim cannot be reached: {item.name} ran out at its limit of {values[k]:g}{unit}, "
            f"and {worst} is {off[worst]:+.3g} {words} off"
        )

    def _finished(self, layout: Layout, values: Array, x: Array, at: At) -> Trimmed:
        case, path = with_values(self._case, self._trim, values)
        final = with_drives(case, drive_factors(self._case, self._trim, values))
        history = {
            "iteration": [float(self._passes)],
            "residual": [float(np.max(np.abs(at.residual[self._wanted])))],
        }
        if at.wing is None:
            raise ValueError("a trim ends with a pass")
        point = finished_point(
            case, at.flow, at.model, at.wing, at.states, at.streams, x, history
        )  # fmt: skip
        return Trimmed(
            case=final,
            point=_about(point, np.array(case.wing.reference_point)),
            trim=self._trim,
            values=values,
            path=path,
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
