"""Derivatives of forces and moments beside a trimmed state, by differences of the coupled whole.

On one lattice with its tubes the coupled system is smooth: central differences of states converged
far below the step are exact to the digits that matter (a test halves the step). Propellers keep the
drive that the case has (thrust, power or rpm), controls stay where they are.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.case.surface_checks import parts_of, setting_names
from blownwing.case.trim import GRAVITY
from blownwing.coupling.discs import placed_discs
from blownwing.coupling.parts import Discs, Flow
from blownwing.coupling.rotors import carried, disc_samples
from blownwing.coupling.size import fitting_size
from blownwing.errors import SolveError
from blownwing.kernels.threads import threads_for
from blownwing.trim.balance import Trimmed
from blownwing.trim.passes import At, Near, laid_out, scene_of, settled
from blownwing.trim.settings import driven

Array = NDArray[np.float64]

COEFFICIENTS = ("CL", "CD", "CY", "C_roll", "C_pitch", "C_yaw")
_STEPS = {"alpha": 0.1, "beta": 0.1}  # deg
_RATE, _SETTING, _DRIVE = 2e-3, 0.2, 0.01  # of a rate's helix angle in rad; deg; share
_TOLERANCE = 1e-11  # of the velocity at the discs
LATERAL = ("beta", "roll_rate", "yaw_rate")


@dataclass(frozen=True)
class Derivatives:
    """Derivatives of the aircraft's coefficients, moments about the centre of gravity.

    by: variable to the six of `COEFFICIENTS`: alpha and beta per rad, rates per pb/2V, qc/2V and
    rb/2V, settings per rad, drives per unit of relative change. Forces in wind axes, moments about
    x forward, y starboard, z down.
    """

    by: dict[str, Array]
    neutral_point: float  # x, m, controls and drives held
    neutral_point_unpowered: float | None  # the same without propellers, None without any
    static_margin: float  # of the reference chord, positive stable
    control_per_g: tuple[str, float] | None  # pitch control and deg of it per g in a pull-up

    def of(self, coefficient: str, variable: str) -> float:
        """One derivative."""
        return float(self.by[variable][COEFFICIENTS.index(coefficient)])


def derivatives(found: Trimmed, lateral: bool = False) -> Derivatives:
    """Derivatives at a trimmed state.

    lateral: those by sideslip, roll and yaw too, on both halves of the lattice. Raises SolveError
    when a neighbouring state does not converge, InputError when the case does not fit in memory.
    """
    size = fitting_size(found.case)
    with threads_for(size.panels, size.unknowns):
        return _derivatives(found, lateral)


def static_margin(found: Trimmed) -> float:
    """Static margin of a trimmed state, of the reference chord. Errors as for `derivatives`."""
    size = fitting_size(found.case)
    with threads_for(size.panels, size.unknowns):
        state = _Beside(found, whole=False)
        return state.behind(state.by("alpha"))


def _derivatives(found: Trimmed, lateral: bool) -> Derivatives:
    beside = _Beside(found, whole=lateral)
    names = ["alpha", "pitch_rate", *setting_names(found.case.wing, found.case.surfaces)]
    if lateral or not found.case.is_symmetric:
        names[1:1] = LATERAL
    else:
        sided = _sided(found.case)
        names = [name for name in names if name not in sided]
    by = {name: beside.by(name) for name in names}
    for item in found.case.propeller_list():
        if lateral or not beside.folded:
            by[f"drive.{item.name}"] = beside.by_drive((item.name,))
    if found.case.propellers:
        every = tuple(item.name for item in found.case.propeller_list())
        by["drive"] = beside.by_drive(every)
    wing = found.case.wing
    centre = found.trim.centre_of_gravity[0]
    neutral = centre + wing.chord * beside.behind(by["alpha"])
    unpowered = None
    if found.case.propellers:
        bare = _Beside(found, whole=False, powered=False)
        unpowered = float(centre + wing.chord * bare.behind(bare.by("alpha")))
    return Derivatives(
        by=by,
        neutral_point=float(neutral),
        neutral_point_unpowered=unpowered,
        static_margin=float((neutral - centre) / wing.chord),
        control_per_g=_per_g(found, by),
    )


def _sided(case: Case) -> set[str]:
    """Settings that move nothing on a lattice of one half."""
    sided: set[str] = set()
    alone = {surface.name for surface in case.surfaces if not surface.symmetric}
    for place, item in parts_of(case.wing, case.surfaces):
        sided |= {g.setting for g in item.moved_by if g.opposed or place in alone}
    return sided


def _per_g(found: Trimmed, by: dict[str, Array]) -> tuple[str, float] | None:
    """Pitch control and its deg per g in a steady pull-up at this speed.

    Lift and pitching moment at n: CLα dα + CLδ dδ + CLq dq̂ = CW, the same of C_pitch is 0,
    with q̂ = g c (n − 1)/(2 V²). Common practice, no source.
    """
    settings = [name for name in by if name in setting_names(found.case.wing, found.case.surfaces)]
    if not settings:
        return None
    name = max(settings, key=lambda s: abs(by[s][4]))
    chord, speed = found.case.wing.chord, found.case.flow.airspeed
    pressure = 0.5 * found.case.air.density * speed**2 * found.case.wing.area
    matrix = np.array([[by["alpha"][0], by[name][0]], [by["alpha"][4], by[name][4]]])
    if abs(np.linalg.det(matrix)) < 1e-9:
        return None
    turn = GRAVITY * chord / (2.0 * speed**2)
    right = np.array([found.trim.weight / pressure, 0.0]) - turn * by["pitch_rate"][[0, 4]]
    return name, float(np.degrees(np.linalg.solve(matrix, right)[1]))


class _Beside:
    """States beside a trimmed one, on one layout."""

    def __init__(self, found: Trimmed, whole: bool, powered: bool = True) -> None:
        case = (
            found.case if powered else found.case.replace(propellers=[], trim=None, aircraft=None)
        )
        if whole and case.is_symmetric:
            # the least sideslip that asks for both halves
            case = case.replace(**{"flow.beta": 1e-9})
        self._case, self._trim, self._path = case, found.trim, found.path
        self._discs = placed_discs(case)
        scene = scene_of(case, self._trim, self._path, self._discs)
        same = case.is_symmetric == found.case.is_symmetric and powered
        samples = disc_samples(self._discs)
        loaded = carried(found.at.near.loaded, found.at.scene.discs, self._discs)
        if same and samples.shape == found.at.x.shape and loaded is not None:
            self._layout = found.layout
            self._near = found.at._replace(near=found.at.near._replace(loaded=loaded))
        else:
            nothing = np.zeros_like(samples)
            self._layout, near = laid_out(scene, nothing, Near())
            self._near = found.at._replace(x=nothing, near=near)
        self._near = settled(scene, self._layout, self._near, _TOLERANCE)

    @property
    def folded(self) -> bool:
        """Whether half the span is solved."""
        return self._case.is_symmetric

    def behind(self, by_alpha: Array) -> float:
        """Neutral point behind the centre of gravity over the chord, at the same height.

        Where the moment of the force across x does not change with incidence; that force is
        CL cos α + CD sin α, without the drag of the rest, which acts at the centre of gravity
        wherever that is. by_alpha: (6,) derivatives by incidence.
        """
        lift, drag = self._of(self._near)[:2]
        drag -= self._trim.drag_area / self._case.wing.area
        a = np.radians(self._case.alphas[0])
        across = (by_alpha[0] + drag) * np.cos(a) + (by_alpha[1] - lift) * np.sin(a)
        if abs(across) < 1e-12:
            raise SolveError("the lift does not change with incidence: there is no neutral point")
        return float(-by_alpha[4] / across)

    def _settled(self, case: Case, discs: Discs) -> Array:
        """The six of `COEFFICIENTS` of a state beside."""
        scene = scene_of(case, self._trim, self._path, discs)
        return self._of(settled(scene, self._layout, self._near, _TOLERANCE))

    def by(self, name: str) -> Array:
        """Derivatives (6,) by an angle, a rate or a setting."""
        flow = self._case.flow
        if name in _STEPS:
            step = _STEPS[name]
            here = float(getattr(flow, name)) if name == "beta" else self._case.alphas[0]
            return self._difference(
                lambda s: self._coefficients(f"flow.{name}", here + s * step), np.radians(step)
            )
        if name.endswith("_rate"):
            length = self._case.wing.chord if name == "pitch_rate" else self._case.wing.span
            step = np.degrees(_RATE * 2.0 * flow.airspeed / length)
            here = float(getattr(flow, name))
            return self._difference(
                lambda s: self._coefficients(f"flow.{name}", here + s * step), _RATE
            )
        settings = dict(self._case.controls)
        here = settings.get(name, 0.0)

        def at(s: float) -> Array:
            return self._coefficients("controls", {**settings, name: here + s * _SETTING})

        return self._difference(at, np.radians(_SETTING))

    def by_drive(self, names: tuple[str, ...]) -> Array:
        """Derivatives (6,) by the relative drive of placed propellers together."""

        def at(s: float) -> Array:
            discs = driven(self._discs, dict.fromkeys(names, 1.0 + s * _DRIVE))
            return self._settled(self._case, discs)

        return self._difference(at, _DRIVE)

    def _coefficients(self, path: str, value: object) -> Array:
        case = self._case.replace(**{path: value})
        if case.is_symmetric and not self.folded:
            case = case.replace(**{"flow.beta": 1e-9})
        return self._settled(case, self._discs)

    def _difference(self, at: Callable[[float], Array], step: float) -> Array:
        return np.asarray((at(1.0) - at(-1.0)) / (2.0 * step))

    def _of(self, at: At) -> Array:
        return coefficients(self._case, at.scene.flow, at.net.force, at.net.moment)


def coefficients(case: Case, flow: Flow, force: Array, moment: Array) -> Array:
    """The six of `COEFFICIENTS` (6,) of a force (3,) [N] and a moment (3,) [N m], case axes."""
    unit = 0.5 * flow.air.density * flow.airspeed**2 * case.wing.area
    drag, side, lift = (float(axis @ force) for axis in flow.wind)
    span, chord = case.wing.span, case.wing.chord
    return (
        np.array([lift, drag, side, -moment[0] / span, moment[1] / chord, -moment[2] / span]) / unit
    )
