"""Cases on one lattice: what depends only on the wing is assembled and factored once per study.

The lattice has no strip edges at the slipstream edges, which move from case to case; a strip that
an edge cuts feels the slipstream on the part that it covers. Every case starts from the balance of
the base case, so that its result does not depend on which cases came before it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.coupling.assembly import totals
from blownwing.coupling.balance import Mixing
from blownwing.coupling.jets import without_edges
from blownwing.coupling.model import Model, Point, WingState
from blownwing.coupling.parts import Discs, Flow, undisturbed
from blownwing.coupling.setup import across_discs, disc_streams, sample_owners
from blownwing.errors import InputError, SolveError
from blownwing.propeller.unit import UnitState
from blownwing.slipstream.streams import (
    FREE,
    Streams,
    added_velocity,
    met_by_discs,
    prepared_lines,
)
from blownwing.study.kept_wing import KeptWing, kept_wing, wing_key
from blownwing.study.loaded import Loaded, build_of
from blownwing.study.rotor_set import Rotors
from blownwing.study.rotors import DiscBank, same_build
from blownwing.study.scalars import of_unit
from blownwing.wing.profile import profile_drag
from blownwing.wing.system import velocity_matrix

Array = NDArray[np.float64]

MOST_PANELS = 1500  # beyond, the dense matrices that are kept cost more than they save
_KEPT = 4  # wings
_DEPTH = 5  # of the mixing's memory
_FALL = 0.2  # of the residual in one pass, below which nothing is mixed


@dataclass(frozen=True)
class Balanced:
    """A converged case on a kept lattice."""

    flow: Flow
    discs: Discs
    loaded: Loaded | None  # None without propellers
    states: tuple[UnitState, ...]
    streams: Streams
    gamma: Array  # (panels,)


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
    bank = DiscBank()
    wings: list[tuple[tuple[Any, ...], KeptWing]] = []

    def wing_of(case: Case) -> KeptWing:
        key = wing_key(case)
        for known, wing in wings:
            if known == key:  # most edits leave the wing's table itself, which costs no comparison
                return wing
        del wings[: max(len(wings) - _KEPT + 1, 0)]
        wings.append((key, kept_wing(case)))
        return wings[-1][1]

    try:
        start = _with_rates(base, balanced(base, wing_of(base), bank, None))
    except SolveError:
        start = None  # a base case without a balance starts no other; each case tells its own

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
        wing = wing_of(case)
        return _scalars(case, wing, balanced(case, wing, bank, start))

    return run


def balanced(case: Case, wing: KeptWing, bank: DiscBank, start: Balanced | None) -> Balanced:
    """The fixed point of `coupling.balance`, with the rotors' trim carried along in it.

    start: balance of a neighbouring case, used where its discs match: the wing's answer to its
    propellers at their new places is the first guess.
    """
    system, lattice = wing.system, wing.system.lattice
    flow = undisturbed(case, case.alphas[0])
    discs, build = bank.discs(case, lattice.symmetric)
    clean = wing.without_streams(case, flow).normal
    if build is None:
        still = disc_streams(case, flow, discs, ())
        return Balanced(flow, discs, None, (), still, wing.gamma(clean))
    rotors, panels = Rotors(flow, discs, build, case.model.tolerance), lattice.panels
    samples = rotors.samples
    influence = velocity_matrix(system, samples, 0.1 * float(np.min(lattice.width)))
    influence = influence.reshape(-1, panels)
    known = _matched(discs, start)
    if known is None:
        known = rotors.start(np.zeros_like(samples), None)
    laid = laid_streams(wing, flow, discs, rotors)
    streams = laid(known)
    rows = prepared_lines(
        streams,
        np.concatenate((lattice.collocation_ends[0], samples), axis=1),
        np.concatenate((lattice.collocation_ends[1], samples), axis=1),
        np.concatenate((np.full(panels, -1), sample_owners(discs))),
        np.full(panels + samples.shape[1], FREE),
    )

    onset = flow.onset(samples)

    def response(streams: Streams) -> tuple[Array, Array]:
        """Circulations, and velocities at the discs, that slipstreams bring about."""
        added = added_velocity(streams, rows)
        normal = np.einsum("cn,cn->n", added.velocity[:, :panels], system.normals)
        gamma = wing.gamma(clean + normal)
        induced = (influence @ gamma).reshape(3, -1)
        induced[0] /= system.frame.stretch
        induced += added.velocity[:, panels:]
        return gamma, met_by_discs(streams, rows.owner[panels:], onset, induced)

    _, x = response(streams)
    _, x = response(laid(rotors.near(known, x)))
    loaded = rotors.start(x, rotors.near(known, x))
    mixing, scale = Mixing(_DEPTH), np.maximum(np.abs(loaded.settings), 1e-3)
    last = np.inf
    for step in range(case.model.max_iterations):
        streams = laid(loaded)
        gamma, image = response(streams)
        fastest = float(np.max(streams.normal_speed + streams.mean))
        reference = max(flow.airspeed, fastest, 1e-12)
        residual = float(np.max(np.abs(image - x))) / reference
        residual = max(residual, rotors.trim_error(loaded))
        if not np.isfinite(residual):
            raise SolveError(f"the coupling gave a value that is not finite at step {step + 1}")
        if residual <= case.model.tolerance:
            return Balanced(flow, discs, loaded, rotors.states(loaded), streams, gamma)
        ahead = rotors.near(loaded, image)
        if residual < _FALL * last:
            x = image  # falls fast by itself; mixing would disturb it
        else:
            here = np.concatenate((x.ravel() / reference, loaded.settings / scale))
            there = np.concatenate((image.ravel() / reference, ahead.settings / scale))
            mixed = mixing.next(here, there)
            x = (mixed[: x.size] * reference).reshape(x.shape)
            ahead = replace(rotors.near(loaded, x), settings=mixed[x.size :] * scale)
        loaded, last = rotors.at(x, ahead), residual
    raise SolveError(
        f"the coupling did not converge: residual {residual:.1e} after "
        f"{case.model.max_iterations} iterations, wanted {case.model.tolerance:.1e} "
        "(model.max_iterations, model.tolerance)"
    )


def _with_rates(case: Case, found: Balanced) -> Balanced:
    """The same balance with all rates of its discs measured at it, to start others from."""
    if found.loaded is None:
        return found
    rotors = Rotors(found.flow, found.discs, build_of(found.discs), case.model.tolerance)
    return replace(found, loaded=rotors.measured(found.loaded))


def laid_streams(
    wing: KeptWing, flow: Flow, discs: Discs, rotors: Rotors
) -> Callable[[Loaded], Streams]:
    """A function from the units' state to the slipstreams, as `coupling.setup.disc_streams`.

    What the places of the discs alone decide is worked out once.
    """
    centres, jets = np.array([p.position for p in discs.placed]), rotors.build.jets
    axes = np.where(jets.held[:, None] > 0.0, jets.axes, flow.direction)
    speed = np.maximum(axes @ flow.free_stream, 0.0)
    none = np.zeros_like(axes)
    cross, _ = across_discs(flow, axes, jets.radii, speed, none)
    cross *= jets.held[:, None]
    bare = replace(jets, centres=centres, axes=axes, normal_speed=speed, cross=cross)
    distance = wing.quarter_x(centres[:, 1]) - centres[:, 0]
    return lambda loaded: rotors.streams(loaded, bare, distance)


def _matched(discs: Discs, start: Balanced | None) -> Loaded | None:
    """State of a neighbouring case's rotors as a first guess, if they are alike and trimmed alike.

    A rotor that turns the other way has its swirl turned too.
    """
    if start is None or start.loaded is None or len(start.discs.units) != len(discs.units):
        return None
    signs = []
    for one, other in zip(discs.units, start.discs.units, strict=True):
        wanted, had = one.placed.definition, other.placed.definition
        driven = [(d.trim, d.rpm is None, d.thrust is None, d.power is None) for d in (wanted, had)]
        shapes = [(unit.samples.shape, unit.spread.shape) for unit in (one, other)]
        if not same_build(one, other) or driven[0] != driven[1] or shapes[0] != shapes[1]:
            return None
        signs.append(1.0 if one.placed.rotation == other.placed.rotation else -1.0)
    return start.loaded if min(signs) > 0.0 else start.loaded.turned(signs)


def _scalars(case: Case, wing: KeptWing, found: Balanced) -> dict[str, float]:
    """Totals and propeller scalars as a study keeps them."""
    flow, lattice, discs = found.flow, wing.system.lattice, found.discs
    lines = prepared_lines(found.streams, *wing.edge)
    added = added_velocity(found.streams, lines)
    bound, quarter = added.part(slice(0, lattice.panels)), added.part(slice(lattice.panels, None))
    clean = wing.without_streams(case, flow)
    loads = wing.total_loads(flow, found.gamma, clean.bound + bound.velocity)
    passing = clean.quarter + quarter.velocity
    speed = np.sqrt(np.einsum("cn,cn->n", passing, passing))
    friction = profile_drag(
        lattice.chord, np.maximum(speed, 1e-9), wing.thickness, flow.air.density, flow.air.viscosity
    )
    still, none = np.zeros(lattice.columns), np.zeros(0)
    state = WingState(
        found.gamma, none, without_edges(flow, still.size), speed, still,
        wing.zero_lift, 0.0,
    )  # fmt: skip
    model = Model(
        system=wing.system,
        zero_lift=wing.zero_lift,
        sections=None,
        core=0.0,
        wing_velocity=None,
        answers=None,
        discs=discs,
        jets=None,
        edge=None,
        rows=lines,
    )
    states = found.states
    none = np.zeros((3, 0))
    point = Point(
        flow, model, states, found.streams, quarter, loads, clean.loads, state, None, none
    )
    force = np.zeros(3)
    values: dict[str, float] = {}
    for placed, source, mirrored in zip(discs.placed, discs.source, discs.mirrored, strict=True):
        flip = -1.0 if mirrored else 1.0
        force += states[source].force * np.array([1.0, flip, 1.0])
        values |= of_unit(placed.name, states[source], flip, flow)
    result = {"efficiency": 0.0}
    result |= {name: float(v) for name, v in totals(case, point, force, friction).items()}
    for name, value in (result | values).items():
        if not math.isfinite(value):
            raise SolveError(f"{name} is not finite, so there is no result")
    return result | values
