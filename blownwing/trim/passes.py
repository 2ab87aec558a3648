"""One pass of a trim: propellers, slipstreams, surfaces and forces at given unknowns."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.case.trim import Trim
from blownwing.coupling.balance import JUMP, Mixing
from blownwing.coupling.by_surface import stalled_surfaces
from blownwing.coupling.loaded import Loaded
from blownwing.coupling.model import Model, WingState
from blownwing.coupling.parts import Discs, Flow, undisturbed
from blownwing.coupling.response import SectionLoop, disc_velocity, wing_state
from blownwing.coupling.rotors import Rotors
from blownwing.coupling.sections import strip_places
from blownwing.coupling.setup import (
    built_model,
    coarse_model,
    load_lines,
    stream_source,
    with_settings,
)
from blownwing.errors import SolveError
from blownwing.propeller.unit import UnitState
from blownwing.slipstream.streams import AddedVelocity, Lines, Streams, added_velocity
from blownwing.trim.forces import Net, Path, net_force, residuals
from blownwing.trim.settings import drive_factors, driven, with_values

Array = NDArray[np.float64]

_DEPTH = 6
_TIGHTEN = 0.1  # of the doublets beside the velocities at the discs
_SECTION_PASSES = 60  # of the strips on their tables, within one pass
_CLOSER = 0.1  # of the tolerance, to which strips settle: a stall magnifies what they leave
_NEARLY = 0.9  # of the way to its stall, from which on a surface is named
_UNTRIMMED = 1e-3  # of a wanted thrust or power, above which blades are evaluated again


class Layout(NamedTuple):
    """A lattice with its tubes, and the lines on which streams are felt."""

    model: Model
    lines: Lines  # bound segments, then the strips' quarter-chord lines


@dataclass(frozen=True)
class Scene:
    """What flies how: the case with the unknowns' values, discs with their drives."""

    case: Case
    trim: Trim
    path: Path
    flow: Flow  # turning about the centre of gravity, which moments are about
    discs: Discs


class Near(NamedTuple):
    """Neighbouring states that a pass starts from, None where there is none."""

    loaded: Loaded | None = None
    wing: WingState | None = None
    loop: SectionLoop | None = None
    correction: Array | None = None  # (columns,) rad, of strips on section tables


class At(NamedTuple):
    """One pass: everything at one set of unknowns and velocities at the discs."""

    scene: Scene
    x: Array  # (3, samples) velocity at the discs beside the undisturbed one, m/s
    image: Array  # the one that this brings about
    speed: float  # m/s, by which they are compared
    lack: float  # their largest difference over it, or what is left of a wanted thrust
    model: Model
    states: tuple[UnitState, ...]
    streams: Streams
    wing: WingState
    near: Near
    net: Net
    residual: Array


def scene_at(case: Case, trim: Trim, values: Array, discs: Discs) -> Scene:
    """The scene at values of the unknowns; discs: of the case as it was asked for."""
    here, path = with_values(case, trim, values)
    return scene_of(here, trim, path, driven(discs, drive_factors(case, trim, values)))


def scene_of(case: Case, trim: Trim, path: Path, discs: Discs) -> Scene:
    """The scene of a case as it stands."""
    centre = np.array(trim.centre_of_gravity)
    flow = replace(undisturbed(case, case.alphas[0]), point=centre)
    return Scene(case, trim, path, flow, discs)


def laid_out(scene: Scene, x: Array, near: Near, kept: Layout | None = None) -> tuple[Layout, Near]:
    """Lattice and tubes where the streams go, and what a pass on them starts from.

    x: (3, samples) velocity at the discs, m/s; near: of another layout; kept: a layout whose parts
    serve where they are the same.
    """
    case, flow, discs = scene.case, scene.flow, scene.discs
    rotors = Rotors(flow, discs, case.model.tolerance)
    loaded = rotors.start(x, None if near.loaded is None else rotors.near(near.loaded, x))
    streams = stream_source(case, flow, discs)(*rotors.blown(loaded))
    model = built_model(case, flow, discs, streams, None if kept is None else kept.model)
    layout = Layout(model, load_lines(discs, model.jets, model.system.lattice, streams))
    if near.correction is None or kept is None:
        return layout, Near(loaded)
    places = [strip_places(one.model.system.lattice) for one in (layout, kept)]
    correction = np.interp(places[0], places[1], near.correction)
    return layout, Near(loaded, None, SectionLoop(case.wing_mach, near.loop), correction)


def rough_layout(scene: Scene, x: Array) -> Layout:
    """A linear lattice of few panels without slipstream edges, on which a pass costs little.

    x: (3, samples) velocity at the discs, m/s. Errors as for `laid_out`.
    """
    case, flow, discs = scene.case, scene.flow, scene.discs
    rotors = Rotors(flow, discs, case.model.tolerance)
    streams = stream_source(case, flow, discs)(*rotors.blown(rotors.start(x, None)))
    model = coarse_model(case, flow, discs, streams)
    return Layout(model, load_lines(discs, None, model.system.lattice, streams))


def passed(
    scene: Scene,
    layout: Layout,
    x: Array,
    near: Near,
    tolerance: float,
    known: Array | None = None,
) -> At:
    """A pass on a layout.

    x: (3, samples) velocity at the discs, m/s; tolerance: of the doublets; known: as for
    `net_force`. Raises SolveError where a propeller cannot give what is asked, or strips do not
    settle on their tables.
    """
    case, flow, discs = scene.case, scene.flow, scene.discs
    model = with_settings(case, replace(layout.model, discs=discs))
    panels = model.system.lattice.panels
    rotors = Rotors(flow, discs, tolerance)
    loaded = rotors.start(x, None if near.loaded is None else rotors.near(near.loaded, x))
    if rotors.trim_error(loaded) > _UNTRIMMED:
        loaded = rotors.start(x, rotors.near(loaded, x))
    streams = stream_source(case, flow, discs)(*rotors.blown(loaded))
    added = added_velocity(streams, model.rows)
    wing, loop = _tabled(scene, model, streams, added.part(slice(0, panels)), near, tolerance)
    others = added.velocity[:, panels:]
    image = disc_velocity(model, flow, wing, streams, others, rotors.samples, rotors.core)
    felt = added_velocity(streams, layout.lines)
    states = rotors.states(loaded)
    net = net_force(
        case, flow, model, wing, states, felt.part(slice(0, panels)),
        felt.part(slice(panels, None)), scene.trim.drag_area, known,
    )  # fmt: skip
    fastest = float(np.max(streams.normal_speed + streams.mean, initial=0.0))
    speed = max(flow.airspeed, fastest)
    lack = float(np.max(np.abs(image - x), initial=0.0)) / speed
    return At(
        scene=scene,
        x=x,
        image=image,
        speed=speed,
        lack=max(lack, rotors.trim_error(loaded)),
        model=model,
        states=states,
        streams=streams,
        wing=wing,
        near=Near(loaded, wing, loop, wing.correction),
        net=net,
        residual=residuals(scene.trim, flow, net, scene.path, case.wing.chord),
    )


def _tabled(
    scene: Scene, model: Model, streams: Streams, added: AddedVelocity, near: Near, tolerance: float
) -> tuple[WingState, SectionLoop]:
    """The surfaces in the streams, on their section tables where they have them."""
    flow, mach = scene.flow, scene.case.wing_mach
    loop = SectionLoop(mach) if near.loop is None else near.loop
    correction = near.correction
    if correction is None:
        correction = np.zeros(model.system.lattice.columns)
    before, mixing, close = near.wing, Mixing(_DEPTH), _CLOSER * tolerance
    for _ in range(_SECTION_PASSES):
        state = wing_state(model, flow, streams, added, correction, tolerance, before)
        wanted, state = loop.next(model, flow, state, close)
        before = state
        jump = float(np.max(np.abs(wanted - correction), initial=0.0))
        if jump <= close:
            return state, loop
        if jump > JUMP:
            correction, mixing = wanted, Mixing(_DEPTH)
        else:
            correction = mixing.next(correction, wanted)
    names = stalled_surfaces(scene.case, flow, model, state, _NEARLY)
    words = f", at the stall of {', '.join(names)}" if names else ""
    raise SolveError(f"the surfaces' lift does not settle on their section tables{words}")


def settled(scene: Scene, layout: Layout, near: At, tolerance: float) -> At:
    """The balance of discs, streams and surfaces alone, on a layout, nothing else moved.

    near: a neighbouring state. Raises SolveError when it does not converge.
    """
    mixing, at, x = Mixing(_DEPTH), near, near.x
    for _ in range(scene.case.model.max_iterations):
        at = passed(scene, layout, x, at.near, _TIGHTEN * tolerance)
        if at.lack <= tolerance:
            return at
        x = mixing.parts((x, at.image, at.speed))[0]
    raise SolveError(
        "the coupling did not converge beside the trimmed state (model.max_iterations)"
    )
