"""The fixed point that balances wing, discs and slipstreams.

The unknown is the velocity that wing and neighbours induce at the discs. One pass goes discs →
loads → slipstreams → wing circulation → velocity at the discs; Anderson mixing accelerates it,
its residual is stored, and a case that does not converge has no result. Lattice and tubes are laid
anew within it until the slipstreams are where they lie; nothing depends on where it started.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

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
    load_lines,
    unit_states,
)
from blownwing.errors import SolveError
from blownwing.propeller.unit import UnitState
from blownwing.slipstream.streams import Streams, added_velocity

Array = NDArray[np.float64]

_DEPTH = 5  # of the mixing's memory
_EDGE_DRIFT = 0.002  # of the radius: a slipstream edge farther from its strip edge is laid anew
_FARTHEST = 1.5  # of the way between two known incidences, beyond which no line is followed
_RELAYS = 6
_SETTLED = 0.01  # of the residual, above which laying anew is not worth its while
_DRIFT_LIMIT = 0.05  # of the radius, beyond which there is no result
_INNER_SHARE, _COARSEST = 0.01, 1e-3  # of the doublets' tolerance, against the last residual
_JUMP = 0.02  # rad of a strip's correction in one pass


@dataclass(frozen=True)
class _Balance:
    model: Model
    wing: WingState
    states: tuple[UnitState, ...]
    streams: Streams
    induced: Array  # (3, samples) velocity at the discs, m/s
    drift: float
    history: dict[str, list[float]]


class Start(NamedTuple):
    """What the discs of a case meet and do at one incidence, for others to start from."""

    alpha: float  # deg
    induced: Array  # (3, samples) velocity beside the undisturbed one, m/s
    states: tuple[UnitState, ...] | None  # None: their trims are searched
    places: Array  # (columns,) y of the strips, m
    correction: Array  # (columns,) rad off their incidence


def start_at(alpha: float, known: Sequence[Start]) -> Start | None:
    """A first guess at an incidence, deg: from the nearest one, along the line through the next."""
    order = sorted(known, key=lambda start: abs(start.alpha - alpha))
    if not order:
        return None
    near = order[0]
    other = next((start for start in order[1:] if start.alpha != near.alpha), None)
    if other is None:
        return near
    share = (alpha - near.alpha) / (near.alpha - other.alpha)
    if abs(share) > _FARTHEST:
        return near
    beside = np.interp(near.places, other.places, other.correction)
    return near._replace(
        induced=near.induced + share * (near.induced - other.induced),
        correction=near.correction + share * (near.correction - beside),
    )


def solved_point(
    case: Case,
    flow: Flow,
    discs: Discs,
    start: Start | None = None,
    kept: Model | None = None,
) -> Point:
    """Fixed point on a lattice whose strips end at the slipstream edges; both follow each other.

    start: a first guess, from `start_at`; kept: a model of the same case, whose parts serve where
    they are the same. Raises SolveError when it does not converge, or when the edges do not come
    to rest.
    """
    induced = np.zeros_like(disc_samples(discs)) if start is None else start.induced
    near = None if start is None else start.states
    states = unit_states(flow, discs, by_unit(discs, induced), near)
    streams = disc_streams(case, flow, discs, states)
    model = built_model(case, flow, discs, streams, kept)
    lattice = model.system.lattice
    correction = np.zeros(lattice.columns)
    if start is not None and model.sections is not None:
        correction = np.interp(lattice.quarter[1], start.places, start.correction)
    balance = _fixed_point(case, flow, model, states, induced, correction)
    if model.jets is not None and balance.drift > _DRIFT_LIMIT:
        raise SolveError(
            f"the slipstreams' edges at the wing do not come to rest: after {_RELAYS} times they "
            f"still move by {balance.drift:.0%} of the radius"
        )
    return _finished(case, flow, balance)


def _fixed_point(
    case: Case,
    flow: Flow,
    model: Model,
    states: Sequence[UnitState],
    induced: Array,
    correction: Array,
) -> _Balance:
    """Balance wing, discs and slipstreams from neighbouring states of the discs and strips.

    Which branch of their tables strips are on does not hang on that: `SectionLoop` comes from the
    linear wing. Lattice and tubes are laid anew within it while the slipstreams still move.
    """
    discs = model.discs
    samples = disc_samples(discs)
    core = 0.2 * min((unit.placed.radius for unit in discs.units), default=0.0)
    history: dict[str, list[float]] = {"iteration": [], "residual": [], "lift": [], "thrust": []}
    state: tuple[UnitState, ...] = tuple(states)
    wing: WingState | None = None
    loop = SectionLoop(model, flow, case.wing_mach)
    x = induced
    residual = np.inf if discs.units else 0.0
    mixing, relays = Mixing(_DEPTH), 0
    for iteration in range(1, case.model.max_iterations + 1):
        state = unit_states(flow, discs, by_unit(discs, x), state)
        streams = disc_streams(case, flow, discs, state)
        drift = edge_drift(case, flow, model, streams)
        if drift > _EDGE_DRIFT and residual < _SETTLED and relays < _RELAYS:
            # Two large ones may not fit side by side.
            kept = model if model.system.direct else None
            places = model.system.lattice.quarter[1]
            del model
            model = built_model(case, flow, discs, streams, kept)
            relays += 1
            if kept is None or model.system is not kept.system:
                correction = np.interp(model.system.lattice.quarter[1], places, correction)
            loop, mixing = SectionLoop(model, flow, case.wing_mach, loop), Mixing(_DEPTH)
            left = edge_drift(case, flow, model, streams)
            if left > 0.5 * drift:
                relays = _RELAYS  # a strip that would be too narrow: this is as near as it gets
            drift = left
        lattice = model.system.lattice
        added = added_velocity(streams, model.rows)
        on_wing = added.part(slice(0, lattice.panels))
        # The doublets need not be better than the pass that they serve.
        inner = max(case.model.tolerance, min(_COARSEST, _INNER_SHARE * residual))
        wing = wing_state(model, flow, streams, on_wing, correction, inner, wing)
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
        half_lift = flow.air.density * flow.airspeed * (2.0 if lattice.symmetric else 1.0)
        history["iteration"].append(float(iteration))
        history["residual"].append(residual)
        history["lift"].append(half_lift * float(np.sum(bound)))
        history["thrust"].append(sum(state[k].thrust for k in discs.source))
        # A pass that was solved coarsely is not the last, however little it moved.
        if residual <= case.model.tolerance and inner <= case.model.tolerance:
            return _Balance(model, wing, state, streams, x, drift, history)
        if float(np.max(np.abs(wanted - correction))) > _JUMP:
            # Strips are on their way to another branch of their tables: nothing to extrapolate.
            x, correction, mixing = image, wanted, Mixing(_DEPTH)
            continue
        here = np.concatenate((x.ravel() / reference, correction))
        there = np.concatenate((image.ravel() / reference, wanted))
        mixed = mixing.next(here, there)
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


def finished_point(
    case: Case,
    flow: Flow,
    model: Model,
    wing: WingState,
    states: Sequence[UnitState],
    streams: Streams,
    induced: Array,
    history: dict[str, list[float]],
) -> Point:
    """The converged point of a balance that was found elsewhere, with its loads."""
    drift = edge_drift(case, flow, model, streams)
    return _finished(
        case, flow, _Balance(model, wing, tuple(states), streams, induced, drift, history)
    )


def _finished(case: Case, flow: Flow, balance: _Balance) -> Point:
    """Loads of the blown wing and of the same wing without slipstreams."""
    model = balance.model
    lattice = model.system.lattice
    lines = load_lines(model.discs, model.jets, lattice, balance.streams)
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
        flow=flow,
        model=model,
        states=balance.states,
        streams=balance.streams,
        quarter=quarter,
        loads=loads,
        loads_unblown=unblown,
        wing=balance.wing,
        superposed=superposed_lift(model, flow, balance.streams) if compared else None,
        induced=balance.induced,
        edge_drift=balance.drift,
        history=balance.history,
    )
