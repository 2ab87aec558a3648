"""The fixed point that balances wing, discs and slipstreams.

The unknown is the velocity that wing and neighbours induce at the discs. One pass goes discs →
loads → slipstreams → wing circulation → velocity at the discs; Anderson mixing accelerates it,
its residual is stored, and a case that does not converge has no result. Lattice and tubes are laid
anew within it until the slipstreams are where they lie; nothing depends on where it started.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.coupling.loaded import Loaded
from blownwing.coupling.model import Model, Point, WingParts, WingState
from blownwing.coupling.parts import Discs, Flow
from blownwing.coupling.response import (
    SectionLoop,
    bare_state,
    disc_velocity,
    superposed_lift,
    wing_loads,
    wing_state,
)
from blownwing.coupling.rotors import Rotors, carried
from blownwing.coupling.sections import strip_places
from blownwing.coupling.setup import (
    built_model,
    coarse_model,
    edge_drift,
    load_lines,
    stream_source,
)
from blownwing.errors import SolveError
from blownwing.kernels.blade import SUM_THRUST
from blownwing.propeller.unit import UnitState
from blownwing.slipstream.streams import Streams, added_velocity
from blownwing.wing.loads import WingLoads

Array = NDArray[np.float64]

_DEPTH = 5  # of the mixing's memory
_EDGE_DRIFT = 2e-4  # of the radius: a slipstream edge farther from its tube is laid anew
_STRIP_DRIFT = 1e-4  # the same from its strip edge where there are no tubes, which costs less
_FARTHEST = 1.5  # of the way between two known incidences, beyond which no line is followed
_THROUGH = 3  # known incidences that a first guess follows
_RELAYS = 6
_MOVING = 0.5  # of the residual: radii by which streams still move, at most
_SETTLED = 0.01  # of the residual, above which laying anew is not worth its while
_DRIFT_LIMIT = 0.05  # of the radius, beyond which there is no result
_INNER_SHARE, _COARSEST = 0.01, 1e-3  # of the doublets' tolerance, against the last residual
_FALL = 0.2  # of the residual in one pass, below which nothing is mixed
_UNTRIMMED = 0.01  # of the residual, above which an error of a trim would hold up the next pass
_LEAST_SETTING = 1e-3  # rad or rad/s, in which settings are scaled
JUMP = 0.02  # rad of a strip's correction in one pass


@dataclass(frozen=True)
class _Balance:
    model: Model
    wing: WingState
    loaded: Loaded
    streams: Streams
    induced: Array  # (3, samples) velocity at the discs, m/s
    history: dict[str, list[float]]


class Start(NamedTuple):
    """What the discs of a case meet and do at one incidence, for others to start from."""

    alpha: float  # deg
    induced: Array  # (3, samples) velocity beside the undisturbed one, m/s
    discs: Discs
    loaded: Loaded
    places: Array  # (columns,) of the strips, m, from `strip_places`
    correction: Array  # (columns,) rad off their incidence
    few: Model | None = None  # of a wing of few panels
    rough: Array | None = None  # (3, samples) what that makes of `induced`, m/s

    @property
    def forgotten(self) -> Start:
        """The same without what could hold blade elements to another of two roots."""
        return self._replace(loaded=self.loaded.forgotten)

    def roughly(self, case: Case, flow: Flow) -> Start:
        """The same with the velocities that a wing of few panels induces; case, flow: its own."""
        if not self.discs.units or self.rough is not None:
            return self
        rotors = Rotors(flow, self.discs, case.model.tolerance)
        streams = stream_source(case, flow, self.discs)(*rotors.blown(self.loaded))
        few = coarse_model(case, flow, self.discs, streams, self.few)
        rough = _passed(few, rotors, streams, None, None, case.model.tolerance)[1]
        return self._replace(few=few, rough=rough)

    def measured(self, case: Case, flow: Flow) -> Start:
        """The same with all rates of its discs, which foretell the states of cases near by."""
        rotors = Rotors(flow, self.discs, case.model.tolerance)
        return self._replace(loaded=rotors.measured(self.loaded)) if self.discs.units else self


def start_at(alpha: float, known: Sequence[Start], beside: Sequence[Start] = ()) -> Start | None:
    """A first guess at an incidence, deg, on the curve through the nearest known ones.

    beside: those of a case much alike; where there are any it is the nearest known one, and the way
    from there is theirs.
    """
    if not beside:
        return _through(alpha, known)
    guess, other = _along(alpha, known), _along(alpha, beside)
    if guess is None or other is None:
        return other if guess is None else guess
    near = _nearest(alpha, known)[0]
    since = _along(near.alpha, beside)
    if since is None or since.induced.shape != near.induced.shape:
        return guess
    return _moved(near, since, other, 1.0)


def _nearest(alpha: float, known: Sequence[Start]) -> list[Start]:
    return sorted(known, key=lambda start: abs(start.alpha - alpha))


def _through(alpha: float, known: Sequence[Start]) -> Start | None:
    """The guess of a parabola through three known incidences, or of what there is near by."""
    near: list[Start] = []
    for start in _nearest(alpha, known):
        apart = min((abs(start.alpha - other.alpha) for other in near), default=np.inf)
        if apart > 0.0 and abs(alpha - near[0].alpha if near else 0.0) <= _FARTHEST * apart:
            near.append(start)
    near = near[:_THROUGH]
    if len(near) < 2:
        return near[0] if near else None
    nodes = np.array([start.alpha for start in near])
    ways = (alpha - nodes) / (nodes[:, None] - nodes + np.eye(nodes.size))
    np.fill_diagonal(ways, 1.0)
    weights, places = np.prod(ways, axis=1), near[0].places
    corrections = [np.interp(places, start.places, start.correction) for start in near]
    return near[0]._replace(
        induced=np.tensordot(weights, [start.induced for start in near], axes=1),
        correction=weights @ np.array(corrections),
        rough=None,  # few panels foresee nothing that the curve does not
    )


def _along(alpha: float, known: Sequence[Start]) -> Start | None:
    order = _nearest(alpha, known)
    if not order:
        return None
    near = order[0]
    other = next((start for start in order[1:] if start.alpha != near.alpha), None)
    if other is None:
        return near
    share = (alpha - near.alpha) / (near.alpha - other.alpha)
    return near if abs(share) > _FARTHEST else _moved(near, other, near, share)


def _moved(near: Start, since: Start, to: Start, share: float) -> Start:
    """A start moved on by a share of the way between two others, of as many samples."""
    here, there = (np.interp(near.places, s.places, s.correction) for s in (since, to))
    rough = near.rough
    if rough is not None and since.rough is not None and to.rough is not None:
        rough = rough + share * (to.rough - since.rough)
    return near._replace(
        induced=near.induced + share * (to.induced - since.induced),
        correction=near.correction + share * (there - here),
        rough=rough,
    )


def solved_point(
    case: Case,
    flow: Flow,
    discs: Discs,
    start: Start | None = None,
    kept: Model | None = None,
    still: WingParts | None = None,
    unblown: WingLoads | None = None,
) -> tuple[Point, Start]:
    """Fixed point on a lattice whose strips end at the slipstream edges; both follow each other.

    start: a first guess, from `start_at`; kept: a model whose parts serve where they are the same;
    still: parts of a lattice that stays as it is; unblown: loads of this wing in this flow without
    slipstreams, where they are known. Raises InputError where slipstreams overlap too much at the
    wing, SolveError when it does not converge, or when the edges do not come to rest.
    """
    rotors = Rotors(flow, discs, case.model.tolerance)
    blown = stream_source(case, flow, discs)
    x, guess, rough = np.zeros_like(rotors.samples), None, None
    few = None if start is None else start.few
    known = start is not None and start.induced.shape == x.shape
    if start is not None and known:
        x, rough = start.induced, None if still is not None else start.rough
        guess = carried(start.loaded, start.discs, discs)
    if guess is not None:
        guess = rotors.near(guess, x)
    foretold = guess is not None and guess.by_onset is not None
    loaded = guess if guess is not None and foretold else rotors.start(x, guess)
    streams, model = blown(*rotors.blown(loaded)), None
    if still is not None:
        model = built_model(case, flow, discs, streams, kept, still)
    # Tubes move what the discs meet themselves, and are laid twice anyway.
    alone = discs.units and not known and (model or not case.model.jet_edge)
    if foretold or alone or rough is not None:
        # What the discs meet is nearly known before anything large is laid where their streams go;
        # of the blades this pass needs no more than what can be foretold.
        few = model or coarse_model(case, flow, discs, streams, few)
        image = _passed(few, rotors, streams, None, None, case.model.tolerance)[1]
        if rough is not None:
            image += x - rough  # what few panels miss they miss alike in cases near by
        x, loaded = image, rotors.start(image, rotors.near(loaded, image))
        streams = blown(*rotors.blown(loaded))
    if model is None:
        model = built_model(case, flow, discs, streams, kept)
    correction = np.zeros(model.system.lattice.columns)
    if start is not None and model.sections is not None:
        places = strip_places(model.system.lattice)
        correction = np.interp(places, start.places, start.correction)
    balance = _fixed_point(case, rotors, blown, model, loaded, x, correction)
    rotors.check_stall(balance.loaded)
    model, wing = balance.model, balance.wing
    states, history = rotors.states(balance.loaded), balance.history
    point = finished_point(
        case, flow, model, wing, states, balance.streams, balance.induced, history, unblown
    )
    if model.jets is not None and point.edge_drift > _DRIFT_LIMIT:
        raise SolveError(
            f"the slipstreams' edges at the wing do not come to rest: after {_RELAYS} times they "
            f"still move by {point.edge_drift:.0%} of the radius"
        )
    places = strip_places(model.system.lattice)
    found = Start(flow.alpha, balance.induced, discs, balance.loaded, places, wing.correction, few)
    return point, found


def _fixed_point(
    case: Case,
    rotors: Rotors,
    blown: Callable[[Array, Array, Array], Streams],
    model: Model,
    loaded: Loaded,
    x: Array,
    correction: Array,
) -> _Balance:
    """Balance wing, discs and slipstreams from a state `loaded` of the discs at velocities x.

    Which branch of their tables strips are on does not hang on that: `SectionLoop` comes from the
    linear wing. Lattice and tubes are laid anew within it while the slipstreams still move.
    """
    flow, discs, tolerance = rotors.flow, model.discs, case.model.tolerance
    history: dict[str, list[float]] = {"iteration": [], "residual": [], "lift": [], "thrust": []}
    wing: WingState | None = None
    loop = SectionLoop(case.wing_mach)
    scale = np.maximum(np.abs(loaded.settings), _LEAST_SETTING)
    residual = np.inf if discs.units else 0.0
    mixing, relays, drift = Mixing(_DEPTH), 0, np.inf
    for iteration in range(1, case.model.max_iterations + 1):
        streams = blown(*rotors.blown(loaded))
        drift += residual  # at most, since it was looked at
        limit = max(_STRIP_DRIFT if model.jets is None else _EDGE_DRIFT, _MOVING * residual)
        may_relay = drift > limit and residual < _SETTLED and relays < _RELAYS
        if may_relay and (drift := edge_drift(case, flow, model, streams)) > limit:
            # Two large ones may not fit side by side.
            kept = model if model.system.direct else None
            places = strip_places(model.system.lattice)
            del model
            model = built_model(case, flow, discs, streams, kept)
            relays += 1
            correction = np.interp(strip_places(model.system.lattice), places, correction)
            loop, mixing = SectionLoop(case.wing_mach, loop), Mixing(_DEPTH)
            before, drift = drift, 0.0
            if model.jets is None:
                drift = edge_drift(case, flow, model, streams)
            if drift > 0.5 * before:
                relays = _RELAYS  # a strip that would be too narrow: this is as near as it gets
        # The doublets need not be better than the pass that they serve.
        inner = max(tolerance, min(_COARSEST, _INNER_SHARE * residual))
        wing, image = _passed(model, rotors, streams, correction, wing, inner)
        wanted, wing = loop.next(model, flow, wing, inner)
        fastest = float(np.max(streams.normal_speed + streams.mean, initial=0.0))
        reference = max(flow.airspeed, fastest, 1e-12)
        last, residual = residual, float(np.max(np.abs(image - x), initial=0.0)) / reference
        jump = float(np.max(np.abs(wanted - correction)))
        residual = max(residual, jump, rotors.trim_error(loaded))
        if not np.isfinite(residual):
            raise SolveError(f"the coupling gave a value that is not finite at step {iteration}")
        _note(history, model, flow, wing, loaded, residual)
        # A pass that was solved coarsely is not the last, however little it moved.
        if residual <= tolerance and inner <= tolerance:
            return _Balance(model, wing, loaded, streams, x, history)
        ahead = rotors.near(loaded, image)
        if jump > JUMP:
            # Strips are on their way to another branch of their tables: nothing to extrapolate.
            x, correction, mixing = image, wanted, Mixing(_DEPTH)
        elif residual < _FALL * last and model.edge is None:
            x, correction = image, wanted  # falls fast by itself; mixing would disturb it
        else:
            x, correction, settings = mixing.parts(
                (x, image, reference),
                (correction, wanted, 1.0),
                (loaded.settings, ahead.settings, scale),
            )
            ahead = rotors.near(loaded, x)._replace(settings=settings)
        loaded = rotors.start(x, ahead)
        if not model.still and rotors.trim_error(loaded) > _UNTRIMMED * residual:
            loaded = rotors.start(x, rotors.near(loaded, x))  # costs less than a pass
    raise SolveError(
        f"the coupling did not converge: residual {residual:.1e} after "
        f"{case.model.max_iterations} iterations, wanted {tolerance:.1e} "
        "(model.max_iterations, model.tolerance)"
    )


def _passed(
    model: Model,
    rotors: Rotors,
    streams: Streams,
    correction: Array | None,
    before: WingState | None,
    tolerance: float,
) -> tuple[WingState, Array]:
    """The wing in streams, and the velocities (3, n) at the discs that this brings about.

    correction: (columns,) rad off the strips' incidence; before: the last pass; tolerance: of the
    doublets.
    """
    flow, panels = rotors.flow, model.system.lattice.panels
    if correction is None:
        correction = np.zeros(model.system.lattice.columns)
    added = added_velocity(streams, model.rows)
    on_wing = added.part(slice(0, panels))
    wing = wing_state(model, flow, streams, on_wing, correction, tolerance, before)
    others = added.velocity[:, panels:]
    return wing, disc_velocity(model, flow, wing, streams, others, rotors.samples, rotors.core)


def _note(
    history: dict[str, list[float]],
    model: Model,
    flow: Flow,
    wing: WingState,
    loaded: Loaded,
    residual: float,
) -> None:
    lattice = model.system.lattice
    bound = wing.ratio**2 * lattice.by_strip(wing.strength * lattice.bound[1])
    half_lift = flow.air.density * flow.airspeed * (2.0 if lattice.symmetric else 1.0)
    thrusts = loaded.sums[model.discs.packed.source, -1, SUM_THRUST]
    history["iteration"].append(len(history["iteration"]) + 1.0)
    history["residual"].append(residual)
    history["lift"].append(half_lift * float(np.sum(bound)))
    history["thrust"].append(float(np.sum(thrusts)))


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

    def parts(self, *pairs: tuple[Array, Array, Array | float]) -> list[Array]:
        """The same for several unknowns together: each with its image and its scale."""
        sizes = np.cumsum([x.size for x, _, _ in pairs])
        here = np.concatenate([(x / scale).ravel() for x, _, scale in pairs])
        there = np.concatenate([(image / scale).ravel() for _, image, scale in pairs])
        mixed = np.split(self.next(here, there), sizes[:-1])
        return [
            part.reshape(x.shape) * scale for part, (x, _, scale) in zip(mixed, pairs, strict=True)
        ]


def finished_point(
    case: Case,
    flow: Flow,
    model: Model,
    wing: WingState,
    states: Sequence[UnitState],
    streams: Streams,
    induced: Array,
    history: dict[str, list[float]],
    unblown: WingLoads | None = None,
) -> Point:
    """The converged point of a balance, with loads of the wing, blown and without slipstreams.

    induced: (3, samples) velocity at the discs beside the undisturbed one, m/s; history: as in
    `Point`; unblown: the latter's loads, where they are known. Raises SolveError when the wing
    without slipstreams does not settle.
    """
    lattice = model.system.lattice
    added = added_velocity(streams, load_lines(model.discs, model.jets, lattice, streams))
    bound, quarter = (
        added.part(slice(0, lattice.panels)),
        added.part(slice(lattice.panels, None)),
    )
    bare: Array | WingLoads | None = unblown
    if bare is None:
        bare = bare_state(model, flow, case.wing_mach, case.model.tolerance).strength
    loads, unblown = wing_loads(model, flow, wing, bare, bound)
    # A linear comparison; beside section tables it would mislead.
    compared = model.jets is not None and model.sections is None
    return Point(
        flow=flow,
        model=model,
        states=tuple(states),
        streams=streams,
        quarter=quarter,
        loads=loads,
        loads_unblown=unblown,
        wing=wing,
        superposed=superposed_lift(model, flow, streams) if compared else None,
        induced=induced,
        edge_drift=edge_drift(case, flow, model, streams),
        history=history,
    )
