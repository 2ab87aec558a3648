"""The fixed point that balances wing, discs and slipstreams.

The unknown is the velocity that wing and neighbours induce at the discs. One pass goes discs →
loads → slipstreams → wing circulation → velocity at the discs; Anderson mixing accelerates it,
its residual is stored, and a case that does not converge has no result.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.coupling.parts import Discs, Flow, Model, Point
from blownwing.coupling.setup import built_model, disc_streams, edge_drift, unit_states
from blownwing.errors import SolveError
from blownwing.propeller.unit import UnitState
from blownwing.slipstream.streams import AddedVelocity, Streams, added_velocity, prepared_lines
from blownwing.wing.loads import lattice_loads
from blownwing.wing.nearfield import bound_velocity
from blownwing.wing.system import circulation

Array = NDArray[np.float64]

_DEPTH = 5  # of the mixing's memory
_EDGE_DRIFT = 0.02  # of the radius: a slipstream edge farther from its strip edge rebuilds
_REBUILDS = 3


def solved_point(case: Case, flow: Flow, discs: Discs, before: Point | None) -> Point:
    """Fixed point on a lattice whose strips end at the slipstream edges; both follow each other."""
    if before is None:
        still = [np.zeros_like(unit.samples) for unit in discs.units]
        states = unit_states(flow, discs, still, None)
        model = built_model(case, flow, discs, disc_streams(case, flow, discs, states))
    else:
        states, model = before.states, before.model
    for _ in range(_REBUILDS):
        gamma, states, streams, history = _fixed_point(case, flow, model, states)
        if before is not None or edge_drift(case, model, streams) < _EDGE_DRIFT:
            break
        model = built_model(case, flow, discs, streams)
    return _finished(flow, model, gamma, states, streams, history)


def _fixed_point(
    case: Case, flow: Flow, model: Model, states: Sequence[UnitState]
) -> tuple[Array, tuple[UnitState, ...], Streams, dict[str, list[float]]]:
    """Balance wing, discs and slipstreams; returns circulations, states, streams and history."""
    discs, lattice = model.discs, model.system.lattice
    normals = model.system.normals
    undisturbed_onset = np.sum(flow.onset(lattice.collocation) * normals, axis=0)
    history: dict[str, list[float]] = {"iteration": [], "residual": [], "lift": [], "thrust": []}
    lengths = [unit.samples.size for unit in discs.units]
    splits = np.cumsum(lengths[:-1]).astype(int).tolist()
    shapes = [unit.samples.shape for unit in discs.units]
    state: tuple[UnitState, ...] = tuple(states)

    def passed(x: Array) -> tuple[Array, Array, Streams]:
        nonlocal state
        parts = [
            part.reshape(shape)
            for part, shape in zip(np.split(x, splits), shapes, strict=True)
        ] if lengths else []  # fmt: skip
        state = unit_states(flow, discs, parts, state)
        streams = disc_streams(case, flow, discs, state)
        added = added_velocity(streams, model.rows).velocity
        onset = undisturbed_onset + np.sum(added[:, : lattice.panels] * normals, axis=0)
        gamma = circulation(model.system, onset)
        induced = model.system.frame.velocities(model.wing_velocity @ gamma)
        at_discs = induced + added[:, lattice.panels :]
        samples = np.split(at_discs, len(lengths), axis=1) if lengths else []
        flat = [part.reshape(-1) for part in samples]
        return np.concatenate(flat) if flat else np.zeros(0), gamma, streams

    x = np.zeros(sum(lengths))
    mixing = Mixing(_DEPTH)
    reference = flow.airspeed
    double = 2.0 if lattice.symmetric else 1.0
    for iteration in range(1, case.model.max_iterations + 1):
        image, gamma, streams = passed(x)
        fastest = float(np.max(streams.normal_speed + streams.mean, initial=0.0))
        reference = max(flow.airspeed, fastest, 1e-12)
        residual = float(np.max(np.abs(image - x), initial=0.0)) / reference
        if not np.isfinite(residual):
            raise SolveError(
                f"the coupling produced a value that is not finite at step {iteration}"
            )
        history["iteration"].append(float(iteration))
        history["residual"].append(residual)
        bound = np.sum(gamma * lattice.bound[1])
        history["lift"].append(double * flow.air.density * flow.airspeed * float(bound))
        history["thrust"].append(sum(state[k].thrust for k in discs.source))
        if residual <= case.model.tolerance:
            return gamma, state, streams, history
        x = mixing.next(x, image)
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


def _finished(
    flow: Flow,
    model: Model,
    gamma: Array,
    states: tuple[UnitState, ...],
    streams: Streams,
    history: dict[str, list[float]],
) -> Point:
    """Loads of the blown wing and, as the baseline, of the same wing without slipstreams."""
    system, lattice = model.system, model.system.lattice
    clean = flow.onset(lattice.bound_point)
    normal = np.sum(flow.onset(lattice.collocation) * system.normals, axis=0)
    gamma_unblown = circulation(system, normal)
    ends = lattice.nodes.reshape(3, lattice.rows, lattice.columns + 1)
    starts_b = np.ascontiguousarray(ends[:, :, :-1].reshape(3, -1))
    ends_b = np.ascontiguousarray(ends[:, :, 1:].reshape(3, -1))
    edge = np.stack((lattice.edge_x + 0.25 * lattice.edge_chord, lattice.edge_y, lattice.edge_z))
    starts = np.concatenate((starts_b, edge[:, :-1]), axis=1)
    stops = np.concatenate((ends_b, edge[:, 1:]), axis=1)
    lines = prepared_lines(streams, starts, stops, np.full(starts.shape[1], -1))
    added = added_velocity(streams, lines)
    n = lattice.panels
    quarter = AddedVelocity(
        added.velocity[:, n:], added.axial[n:], added.swirl_up[n:], added.cover[n:]
    )
    onset_bound = clean + added.velocity[:, :n]
    arguments = (flow.air.density, flow.direction, flow.point)
    induced = bound_velocity(system, np.stack((gamma, gamma_unblown)))
    loads = lattice_loads(system, gamma, onset_bound, induced[0], *arguments)
    unblown = lattice_loads(system, gamma_unblown, clean, induced[1], *arguments)
    return Point(
        flow, model, gamma, gamma_unblown, states, streams, onset_bound, quarter, loads, unblown,
        history,
    )  # fmt: skip
