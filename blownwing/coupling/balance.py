"""The fixed point that balances wing, discs and slipstreams.

The unknown is the velocity that wing and neighbours induce at the discs. One pass goes discs →
loads → slipstreams → wing circulation → velocity at the discs; Anderson mixing accelerates it,
its residual is stored, and a case that does not converge has no result.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.coupling.model import Model, Point, WingState
from blownwing.coupling.parts import Discs, Flow
from blownwing.coupling.response import (
    SectionLoop,
    bare_state,
    disc_velocity,
    superposed_lift,
    wing_loads,
    wing_state,
)
from blownwing.coupling.setup import (
    built_model,
    by_unit,
    disc_samples,
    disc_streams,
    edge_drift,
    strip_members,
    unit_states,
    with_tubes,
    without_tubes,
)
from blownwing.errors import SolveError
from blownwing.propeller.unit import UnitState
from blownwing.slipstream.streams import Streams, added_velocity, prepared_lines

Array = NDArray[np.float64]

_DEPTH = 5  # of the mixing's memory
_EDGE_DRIFT = 0.02  # of the radius: a slipstream edge farther from its strip edge rebuilds
_REBUILDS = 3
_INNER_SHARE, _COARSEST = 0.001, 1e-4  # of the doublets' tolerance, against the last residual
_JUMP = 0.02  # rad of a strip's correction in one pass


@dataclass(frozen=True)
class _Balance:
    wing: WingState
    states: tuple[UnitState, ...]
    streams: Streams
    history: dict[str, list[float]]


def solved_point(case: Case, flow: Flow, discs: Discs, before: Point | None) -> Point:
    """Fixed point on a lattice whose strips end at the slipstream edges; both follow each other.

    before: the last point of a polar, whose lattice is kept.
    """
    if before is None:
        still = [np.zeros_like(unit.samples) for unit in discs.units]
        states = unit_states(flow, discs, still, None)
        model = built_model(case, flow, discs, disc_streams(case, flow, discs, states))
    else:
        states = before.states
        model = with_tubes(case, flow, before.model, disc_streams(case, flow, discs, states))
    balance = _fixed_point(case, flow, model, states)
    for _ in range(_REBUILDS):
        if before is not None and model.jets is None:
            break  # a polar keeps its lattice
        if edge_drift(case, flow, model, balance.streams) < _EDGE_DRIFT:
            break
        if before is None:
            del model  # two large ones may not fit side by side
            model = built_model(case, flow, discs, balance.streams)
        else:
            model = with_tubes(case, flow, model, balance.streams)
        balance = _fixed_point(case, flow, model, balance.states)
    return _finished(case, flow, model, balance)


def _fixed_point(case: Case, flow: Flow, model: Model, states: Sequence[UnitState]) -> _Balance:
    """Balance wing, discs and slipstreams from neighbouring states of the discs."""
    discs, lattice = model.discs, model.system.lattice
    samples = disc_samples(discs)
    core = 0.2 * min((unit.placed.radius for unit in discs.units), default=0.0)
    history: dict[str, list[float]] = {"iteration": [], "residual": [], "lift": [], "thrust": []}
    state: tuple[UnitState, ...] = tuple(states)
    doublets: Array | None = None
    strength: Array | None = None
    correction = np.zeros(lattice.columns)
    loop = SectionLoop(model, flow, case.wing_mach)
    x = np.zeros_like(samples)
    residual = np.inf if discs.units else 0.0
    mixing = Mixing(_DEPTH)
    half_lift = flow.air.density * flow.airspeed * (2.0 if lattice.symmetric else 1.0)
    for iteration in range(1, case.model.max_iterations + 1):
        state = unit_states(flow, discs, by_unit(discs, x), state)
        streams = disc_streams(case, flow, discs, state)
        added = added_velocity(streams, model.rows)
        on_wing = added.part(slice(0, lattice.panels))
        # The doublets need not be better than the pass that they serve.
        inner = max(case.model.tolerance, min(_COARSEST, _INNER_SHARE * residual))
        wing = wing_state(model, flow, streams, on_wing, correction, doublets, inner, strength)
        doublets, strength = wing.doublets, wing.strength
        wanted, wing = loop.next(wing)
        others = added.velocity[:, lattice.panels :]
        image = disc_velocity(model, flow, wing, streams, others, samples, core)
        fastest = float(np.max(streams.normal_speed + streams.mean, initial=0.0))
        reference = max(flow.airspeed, fastest, 1e-12)
        residual = float(np.max(np.abs(image - x), initial=0.0)) / reference
        residual = max(residual, float(np.max(np.abs(wanted - correction))))
        if not np.isfinite(residual):
            raise SolveError(f"the coupling gave a value that is not finite at step {iteration}")
        bound = np.tile(wing.ratio, lattice.rows) ** 2 * wing.strength * lattice.bound[1]
        history["iteration"].append(float(iteration))
        history["residual"].append(residual)
        history["lift"].append(half_lift * float(np.sum(bound)))
        history["thrust"].append(sum(state[k].thrust for k in discs.source))
        # A pass that was solved coarsely is not the last, however little it moved.
        if residual <= case.model.tolerance and inner <= case.model.tolerance:
            return _Balance(wing, state, streams, history)
        if float(np.max(np.abs(wanted - correction))) > _JUMP:
            # Strips are on their way to another branch of their tables: nothing to extrapolate.
            x, correction, mixing = image, wanted, Mixing(_DEPTH)
            continue
        before = np.concatenate((x.ravel() / reference, correction))
        after = np.concatenate((image.ravel() / reference, wanted))
        mixed = mixing.next(before, after)
        x, correction = (mixed[: x.size] * reference).reshape(x.shape), mixed[x.size :]
    raise SolveError(
        f"the coupling did not converge: residual {residual:.1e} after "
        f"{case.model.max_iterations} iterations, wanted {case.model.tolerance:.1e} "
        "(model.max_iterations, model.tolerance)"
    )


class Mixing:
    """Anderson mixing of a fixed point x = g(x) (Anderson 1965, J. ACM 12, 547-560)."""

    def __init__(self, depth: int) -> None:
        self._depth = depth
        self._x: list[Array] = []
        self._f: list[Array] = []

    def next(self, x: Array, image: Array) -> Array:
        """The next iterate, from the least-squares combination of the last residuals."""
        self._x.append(image)
        self._f.append(image - x)
        self._x, self._f = self._x[-self._depth - 1 :], self._f[-self._depth - 1 :]
        if len(self._f) == 1:
            return image
        df = np.stack([b - a for a, b in zip(self._f, self._f[1:], strict=False)], axis=1)
        dg = np.stack([b - a for a, b in zip(self._x, self._x[1:], strict=False)], axis=1)
        weights = np.linalg.lstsq(df, self._f[-1], rcond=1e-12)[0]
        return np.asarray(image - dg @ weights)


def _finished(case: Case, flow: Flow, model: Model, balance: _Balance) -> Point:
    """Loads of the blown wing and of the same wing without slipstreams."""
    lattice = model.system.lattice
    ends = lattice.nodes.reshape(3, lattice.rows, lattice.columns + 1)
    edge = np.stack((lattice.edge_x + 0.25 * lattice.edge_chord, lattice.edge_y, lattice.edge_z))
    starts = np.concatenate((ends[:, :, :-1].reshape(3, -1), edge[:, :-1]), axis=1)
    stops = np.concatenate((ends[:, :, 1:].reshape(3, -1), edge[:, 1:]), axis=1)
    member = np.tile(strip_members(model.jets, lattice), lattice.rows + 1)
    turning = without_tubes(model.discs, model.jets)
    lines = prepared_lines(balance.streams, starts, stops, member=member, turning=turning)
    added = added_velocity(balance.streams, lines)
    bound, quarter = (
        added.part(slice(0, lattice.panels)),
        added.part(slice(lattice.panels, None)),
    )
    mach = case.wing_mach
    bare = bare_state(model, flow, mach, case.model.tolerance)
    loads, unblown = wing_loads(model, flow, balance.wing, bare, bound)
    # A linear comparison; beside section tables it would mislead.
    compared = model.jets is not None and model.sections is None
    return Point(
        flow,
        model,
        balance.states,
        balance.streams,
        quarter,
        loads,
        unblown,
        balance.wing,
        superposed_lift(model, flow, balance.streams) if compared else None,
        balance.history,
    )
