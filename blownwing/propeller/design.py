"""Blade design: from a task and a loading to chord and twist, within limits on the blade.

Three loadings are offered: least loss (`minimum_loss_design`, for the thrust or power of a cruising
propeller); for slipstreams that are meant to raise a wing's lift, a thrust that is worth more at
some radii than at others (`valued_design`); and an axial velocity as even as asked for at the wing,
at the least power that evenness allows (`high_lift_design`).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blownwing.airfoil.packed import coefficients
from blownwing.airfoil.section import SectionTable
from blownwing.case.units import RPM
from blownwing.errors import InputError, SolveError
from blownwing.propeller.blade import Blade
from blownwing.propeller.loading import (
    Annuli,
    AnnulusFlow,
    even_loading,
    unevenness,
    valued_loading,
)
from blownwing.propeller.optimum import minimum_loss
from blownwing.propeller.task import DesignTask

Array = NDArray[np.float64]

STATIONS = 61
_ROUNDS = 80
_SETTLED = 2e-5  # on cd/cl
_LOWEST, _HIGHEST = math.radians(-10.0), math.radians(25.0)  # where a section may be attached


@dataclass(frozen=True)
class BladeDesign:
    """A designed blade; arrays over the stations from hub to tip.

    Attributes:
        task: what it was designed for. kind: "minimum_loss" or "high_lift".
        r, chord: m. twist: chord line to disc plane, rad. phi: flow angle, rad.
        lift, drag, alpha: the section's cl, cd and incidence (rad).
        axial, tangential: induced velocities at the blade, m/s. loss: tip (and hub) loss factor.
        thrust: N. power: W. efficiency: T V/P.
        unevenness: standard deviation over the disc of the slipstream's axial velocity increment,
            over its mean (azimuth means).
    """

    task: DesignTask
    kind: str
    r: Array
    chord: Array
    twist: Array
    phi: Array
    lift: Array
    drag: Array
    alpha: Array
    axial: Array
    tangential: Array
    loss: Array
    thrust: float
    power: float
    unevenness: float

    @property
    def efficiency(self) -> float:
        """T V/P."""
        return self.thrust * self.task.airspeed / self.power

    @property
    def solidity(self) -> float:
        """Blade area over disc area."""
        area = float(np.sum(0.5 * (self.chord[1:] + self.chord[:-1]) * np.diff(self.r)))
        return self.task.blades * area / (math.pi * self.task.radius**2)

    def blade(self, name: str) -> Blade:
        """The blade as the blade-element solver takes it."""
        task, radius = self.task, self.task.radius
        wanted = f"{task.thrust:g} N" if task.thrust is not None else f"{task.power:g} W"
        source = (
            f"designed for {wanted} at {task.airspeed:g} m/s and "
            f"{task.omega / RPM:.0f} rpm, {task.blades} blades, diameter "
            f"{task.diameter:g} m, loading: {self.kind.replace('_', ' ')}; a concept-level estimate"
        )
        return Blade(
            name,
            source,
            self.r / radius,
            self.chord / radius,
            self.twist.copy(),
            (task.section_name,) * len(self.r),
            {task.section_name: task.section},
        )


def minimum_loss_design(task: DesignTask) -> BladeDesign:
    """The blade of least loss for the task's thrust or power at its airspeed.

    Raises:
        InputError: an airspeed of 0, where the method has no answer.
        SolveError: the limits on chord and cl cannot hold the load, or no convergence.

    Source: Adkins & Liebeck (1994), "Design of Optimum Propellers", Journal of Propulsion and
    Power 10(5), 676-682.
    """
    if task.airspeed <= 0.0:
        raise InputError("propeller design: minimum loss needs an airspeed above 0 m/s")
    share = 0.5 * (1.0 - np.cos(np.linspace(0.0, math.pi, STATIONS)))
    xi = task.hub_ratio + (1.0 - task.hub_ratio) * share
    r = xi * task.radius
    advance = task.airspeed / (task.omega * task.radius)
    pressure = 0.5 * task.air.density * task.airspeed**2 * math.pi * task.radius**2
    goals = {
        "thrust": None if task.thrust is None else task.thrust / pressure,
        "power": None if task.power is None else task.power / (pressure * task.airspeed),
    }

    def loaded(glide: Array) -> tuple[Array, Array]:
        found = minimum_loss(xi, advance, task.blades, glide, local_loss=True, **goals)
        return found.chord_lift * task.radius, found.phi

    sections = _settled(task, r, loaded)
    best = minimum_loss(xi, advance, task.blades, sections.glide, local_loss=True, **goals)
    axial = best.axial * task.airspeed
    return BladeDesign(
        task=task,
        kind="minimum_loss",
        r=r,
        chord=sections.chord,
        twist=best.phi + sections.alpha,
        phi=best.phi,
        lift=sections.lift,
        drag=sections.drag,
        alpha=sections.alpha,
        axial=axial,
        tangential=best.tangential * task.omega * r,
        loss=best.loss,
        thrust=best.thrust * pressure,
        power=best.power * pressure * task.airspeed,
        unevenness=unevenness(best.loss * axial, r),
    )


def high_lift_design(task: DesignTask, evenness: float) -> BladeDesign:
    """The blade of least power among those with an axial velocity of a given evenness.

    Args:
        task: as for `minimum_loss_design`; the airspeed may be 0.
        evenness: the largest `unevenness` allowed.

    Raises:
        SolveError: the evenness, or the limits on chord and cl, cannot be met.

    The annuli obey blade-element momentum theory as the solver does (Glauert 1935, in Durand,
    "Aerodynamic Theory" IV, division L, with tip and hub loss); the loading is found by calculus of
    variations, see `loading.even_loading`.
    """

    def load(annuli: Annuli, glide: Array, most: float) -> AnnulusFlow:
        return even_loading(annuli, glide, evenness, most, thrust=task.thrust, power=task.power)

    return _annular_design(task, load)


def valued_design(task: DesignTask, worth: Callable[[Array], Array]) -> BladeDesign:
    """The blade of least power for a thrust whose newtons are not worth the same everywhere.

    Args:
        task: as for `minimum_loss_design`; the airspeed may be 0.
        worth: from r/R (n,) to the worth of a newton there, above 0. Even worth is least loss.

    Raises:
        SolveError: the limits on chord and cl cannot be met, or no convergence.

    A wing behind the propeller gains more from some radii than from others; to first order that is
    a worth of thrust along the radius. Annuli as for `high_lift_design`, see
    `loading.valued_loading`.
    """

    def load(annuli: Annuli, glide: Array, most: float) -> AnnulusFlow:
        values = worth(annuli.r / task.radius)
        if not np.all(values > 0.0):
            raise SolveError("propeller design: thrust is worth nothing somewhere on the blade")
        return valued_loading(annuli, glide, values, most, thrust=task.thrust, power=task.power)

    return _annular_design(task, load, marginal=True)


def _annular_design(
    task: DesignTask,
    load: Callable[[Annuli, Array, float], AnnulusFlow],
    marginal: bool = False,
) -> BladeDesign:
    """A blade whose annuli take a loading; load: from annuli, cd/cl and largest c·cl to it.

    marginal: see `_settled`.
    """
    share = 0.5 * (1.0 - np.cos(np.linspace(0.0, math.pi, STATIONS)))
    edges = task.radius * (task.hub_ratio + (1.0 - task.hub_ratio) * share)
    annuli = Annuli(
        edges=edges,
        hub=task.hub_ratio * task.radius,
        blades=task.blades,
        omega=task.omega,
        airspeed=task.airspeed,
        density=task.air.density,
    )
    r = annuli.r
    most = task.chord_most * task.radius * task.lift_limit
    kept: list[AnnulusFlow] = []

    def loaded(glide: Array) -> tuple[Array, Array]:
        flow = load(annuli, glide, most)
        kept[:] = [flow]
        return flow.chord_lift, flow.phi

    sections = _settled(task, r, loaded, marginal)
    flow = kept[0]
    values = {
        "chord": sections.chord,
        "twist": flow.phi + sections.alpha,
        "phi": flow.phi,
        "lift": sections.lift,
        "drag": sections.drag,
        "alpha": sections.alpha,
        "axial": flow.axial,
        "tangential": flow.tangential,
        "loss": flow.loss,
    }
    # a blade file runs from hub to tip: the outermost annuli are held to the ends
    ends = np.concatenate(([edges[0]], r, [edges[-1]]))
    arrays = {name: np.concatenate((v[:1], v, v[-1:])) for name, v in values.items()}
    return BladeDesign(
        task=task,
        kind="high_lift",
        r=ends,
        thrust=flow.total_thrust,
        power=flow.total_power,
        unevenness=unevenness(flow.loss * flow.axial, r, edges),
        **arrays,
    )


@dataclass(frozen=True)
class _Sections:
    chord: Array
    lift: Array
    drag: Array
    alpha: Array
    glide: Array


def _settled(
    task: DesignTask,
    r: Array,
    loaded: Callable[[Array], tuple[Array, Array]],
    marginal: bool = False,
) -> _Sections:
    """Chord and section states that agree with the loading their drag leads to.

    loaded: from cd/cl of every station to its c·cl (m) and flow angle. marginal: where the chord is
    held at its least, the drag of more load counts instead of all drag; otherwise a tip that is
    loaded less costs the more for its load, and may end with none.
    """
    # the solver takes Reynolds and Mach numbers from the flow without induction; so does this
    speed = np.hypot(task.airspeed, task.omega * r)
    mach = speed / task.air.speed_of_sound
    unit = task.air.density * speed / task.air.viscosity
    chord = np.full_like(r, 0.1 * task.radius)
    glide = np.full_like(r, 0.015)
    for step in range(_ROUNDS):
        product, _phi = loaded(glide)
        wanted = (
            _best_lift(task, unit * chord, mach)
            if task.lift is None
            else np.full_like(r, task.lift)
        )
        least, most = task.chord_least * task.radius, task.chord_most * task.radius
        chord = np.clip(product / wanted, least, most)
        lift = product / chord
        worst = int(np.argmax(lift))
        if lift[worst] > task.lift_limit * (1.0 + 1e-9):
            raise SolveError(
                f"propeller design: at r/R = {r[worst] / task.radius:.2f} the load needs a section "
                f"cl of {lift[worst]:.2f} at the largest chord allowed; accepted is at most "
                f"{task.lift_limit:g} (limits.lift_coefficient_limit): allow more chord "
                "(limits.chord_most), more propeller.blades, more propeller.rpm or less "
                "point.thrust"
            )
        alpha, drag = section_states(task.section, lift, unit * chord, mach)
        # a station that carries nothing (the tip) keeps a finite ratio
        new = np.minimum(drag / np.maximum(lift, 0.05 * float(lift.max())), 0.5)
        if marginal:
            # a blade at its least chord pays its drag whether it is loaded or not
            held = np.where(product / wanted < least, wanted, lift)
            _, cost = section_states(task.section, held, unit * chord, mach)
            new = np.minimum(cost / np.maximum(held, 0.05 * float(held.max())), 0.5)
        change = float(np.max(np.abs(new - glide)))
        # halfway after a while, against a swing between two states
        glide = new if step < 6 else 0.5 * (glide + new)
        if change <= _SETTLED:
            # the very ends carry nothing: they take the angle next to them, not that of zero lift
            loaded_ones = np.flatnonzero(product > 1e-6 * float(product.max()))
            alpha[: loaded_ones[0]] = alpha[loaded_ones[0]]
            alpha[loaded_ones[-1] + 1 :] = alpha[loaded_ones[-1]]
            return _Sections(chord, lift, drag, alpha, glide)
    raise SolveError(
        "propeller design: chord, drag and loading did not settle on each other; give "
        "limits.lift_coefficient, or change limits.chord_least or propeller.section"
    )


def section_states(
    table: SectionTable, lift: Array, reynolds: Array, mach: Array
) -> tuple[Array, Array]:
    """Incidence (rad) and cd at which an attached section has the given cl, each (n,).

    lift: cl; reynolds, mach: of each section; all (n,).

    Raises:
        SolveError: more lift than the section has.
    """
    grid = np.radians(np.arange(math.degrees(_LOWEST), math.degrees(_HIGHEST) + 0.01, 0.25))
    alpha, drag = np.empty_like(lift), np.empty_like(lift)
    found = coefficients(table, grid, reynolds[:, None], mach[:, None])
    for i, (wanted, cl, cd) in enumerate(zip(lift, *found[:2], strict=True)):
        top = int(np.argmax(cl)) + 1
        if wanted > cl[top - 1]:
            raise SolveError(
                f"propeller design: a section cl of {wanted:.2f} is wanted, {table.name} has at "
                f"most {cl[top - 1]:.2f} at a Reynolds number of {reynolds[i]:.3g}; lower "
                "limits.lift_coefficient or limits.lift_coefficient_limit, or raise "
                "limits.chord_most"
            )
        alpha[i] = np.interp(wanted, np.maximum.accumulate(cl[:top]), grid[:top])
        drag[i] = np.interp(alpha[i], grid, cd)
    return alpha, drag


def _best_lift(task: DesignTask, reynolds: Array, mach: Array) -> Array:
    """cl of the best cl/cd at every station, within the limit and a tenth below the peak."""
    grid = np.radians(np.arange(math.degrees(_LOWEST), math.degrees(_HIGHEST) + 0.01, 0.25))
    best = np.empty_like(reynolds)
    found = coefficients(task.section, grid, reynolds[:, None], mach[:, None])
    for i, (cl, cd) in enumerate(zip(*found[:2], strict=True)):
        top = int(np.argmax(cl)) + 1
        lift, ratio = cl[:top], cl[:top] / cd[:top]
        allowed = lift <= min(task.lift_limit, 0.9 * float(lift[-1]))
        k = int(np.argmax(np.where(allowed, ratio, -math.inf)))
        best[i] = lift[k]
    # neighbours on a table take turns; the chord must not follow
    return np.full_like(best, float(np.median(best)))
