"""Lift, drag and root bending moment of a wing in given slipstreams, with exact gradients.

The wing is given by chord and twist at stations along an unchanging quarter-chord line; the
slipstreams stay as they were in a balance. Gradients by all stations at once come from the adjoint
of the wing's linear system: one back-substitution with its transpose for each quantity, whatever
the number of stations (Giles & Pierce 2000, "An introduction to the adjoint approach to design",
Flow, Turbulence and Combustion 65, 393-415).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.case.parts import Wing
from blownwing.coupling.parts import Flow
from blownwing.errors import InputError
from blownwing.geometry.lattice import build_lattice
from blownwing.kernels.shape import contracted_slopes
from blownwing.slipstream.streams import Streams, added_velocity, prepared_lines
from blownwing.wing.loads import trefftz_downwash
from blownwing.wing.normals import panel_normals, panel_slopes
from blownwing.wing.profile import profile_drag, section_thickness
from blownwing.wing.system import (
    Frame,
    WingSystem,
    circulation,
    factored_system,
    frame_velocity,
    transposed_circulation,
)

Array = NDArray[np.float64]

_NUDGE = 1e-5  # of the chord, to difference the given slipstreams along x


@dataclass(frozen=True)
class Quantity:
    """A value with its gradients by the stations' twist (rad) and chord (m)."""

    value: float
    by_twist: Array  # (stations,)
    by_chord: Array  # (stations,)


@dataclass(frozen=True)
class Shape:
    """What a wing does in given slipstreams; forces of both halves, N.

    Attributes:
        lift: of the wing. induced: far-field induced drag. profile: skin-friction estimate.
        bending: root bending moment of one half, N m (of the whole wing about y = 0 when it is
            not symmetric).
        area: m².
    """

    lift: Quantity
    induced: Quantity
    profile: Quantity
    bending: Quantity
    area: Quantity


class Added(NamedTuple):
    """Velocity (3, n) that slipstreams add along lines, and its slopes by both ends' x."""

    velocity: Array
    by_start: Array
    by_end: Array


@dataclass(frozen=True)
class Setting:
    """What stays while the shape changes."""

    case: Case
    flow: Flow
    streams: Streams | None  # None without propellers


def shaped(wing: Wing, twist: Array, chord: Array) -> Wing:
    """The wing with other twist (stations,) [rad] and chord [m] on the same quarter-chord line."""
    stations = tuple(
        station.model_copy(
            update={
                "twist": float(np.degrees(t)),
                "chord": float(c),
                "x": float(station.x + 0.25 * (station.chord - c)),
            }
        )
        for station, t, c in zip(wing.stations, twist, chord, strict=True)
    )
    return wing.model_copy(update={"stations": stations})


def evaluated(setting: Setting, wing: Wing, gradients: bool = True) -> Shape:
    """Quantities of a wing, by default with their gradients (else these are zero).

    Raises:
        InputError: a section that is unknown.
        SolveError: a singular lattice.
    """
    case, flow = setting.case, setting.flow
    options = case.model
    whole = not case.is_symmetric
    lattice = build_lattice(wing, options.chordwise, options.spanwise, options.spacing, whole=whole)
    slopes = panel_slopes(wing, lattice, case.folder)
    mach = case.mach if options.compressibility else 0.0
    frame = Frame(float(np.sqrt(1.0 - mach * mach)))
    height = case.flow.ground_height
    ground = None if height is None else float(flow.point[2]) - height
    system = factored_system(lattice, panel_normals(lattice, slopes), frame, ground)
    return _Evaluation(setting, wing, system, slopes, gradients).shape()


class _Evaluation:
    """One wing: states first, then each quantity by the same adjoint steps."""

    def __init__(
        self, setting: Setting, wing: Wing, system: WingSystem, slopes: Array, gradients: bool
    ) -> None:
        self._setting, self._wing, self._system = setting, wing, system
        self._slopes, self._gradients = slopes, gradients
        lattice, flow = system.lattice, setting.flow
        self._ys = np.array([s.y for s in wing.stations])
        unit = np.eye(self._ys.size)
        edge = np.abs(lattice.edge_y) if wing.symmetric else lattice.edge_y
        middle = 0.5 * (lattice.edge_y[1:] + lattice.edge_y[:-1])
        middle = np.abs(middle) if wing.symmetric else middle
        self._to_edges = np.stack([np.interp(edge, self._ys, row) for row in unit], axis=1)
        self._to_middles = np.stack([np.interp(middle, self._ys, row) for row in unit], axis=1)
        ends = lattice.nodes.reshape(3, lattice.rows, -1)
        self._bound_ends = (
            ends[:, :, :-1].reshape(3, -1).copy(),
            ends[:, :, 1:].reshape(3, -1).copy(),
        )
        self._at_panels = self._added(*lattice.collocation_ends)
        self._at_bound = self._added(*self._bound_ends)
        self._onset = flow.onset(lattice.collocation) + self._at_panels.velocity
        self._across = flow.onset(lattice.bound_point) + self._at_bound.velocity
        self._gamma = circulation(system, np.sum(self._onset * system.normals, axis=0))
        self._halves = 2.0 if lattice.symmetric else 1.0
        edges = lattice.row_edges
        self._quarter = edges[:-1] + 0.25 * np.diff(edges)
        self._three = edges[:-1] + 0.75 * np.diff(edges)

    def shape(self) -> Shape:
        """All quantities."""
        flow, lattice = self._setting.flow, self._system.lattice
        ones = np.ones(lattice.panels)
        lift = self._force(flow.lift_direction, self._halves * ones)
        place = np.tile(0.5 * (lattice.edge_y[1:] + lattice.edge_y[:-1]), lattice.rows)
        bending = self._force(flow.lift_direction, place)
        return Shape(lift, self._induced(), self._profile(), bending, self._area())

    def _added(self, starts: Array, ends: Array) -> Added:
        streams = self._setting.streams
        if streams is None:
            none = np.zeros_like(starts)
            return Added(none, none, none)
        here = _along(streams, starts, ends)
        if not self._gradients:
            return Added(here, here, here)
        step = _NUDGE * float(self._system.lattice.chord.mean())
        nudge = np.array([step, 0.0, 0.0])[:, None]
        ahead, behind = _along(streams, starts + nudge, ends), _along(streams, starts - nudge, ends)
        by_start = (ahead - behind) / (2.0 * step)
        ahead, behind = _along(streams, starts, ends + nudge), _along(streams, starts, ends - nudge)
        return Added(here, by_start, (ahead - behind) / (2.0 * step))

    def _legs(self) -> Array:
        """(panels,) lengths of the starboard legs to the trailing edge less those to port, m."""
        return np.outer(1.0 - self._quarter, np.diff(self._system.lattice.edge_chord)).ravel()

    def _force(self, direction: Array, weight: Array) -> Quantity:
        """Weighted sum of the onset flow's forces on bound segments and legs along a direction."""
        rho, bound = self._setting.flow.air.density, self._system.lattice.bound
        e, v, legs = direction[:, None], self._across, self._legs()
        push = bound[0] * (e[1] * v[2] - e[2] * v[1])
        push = (
            push + bound[1] * (e[2] * v[0] - e[0] * v[2]) + bound[2] * (e[0] * v[1] - e[1] * v[0])
        )
        turn = v[2] * e[1] - v[1] * e[2]
        by_gamma = rho * weight * (push + legs * turn)
        value = float(by_gamma @ self._gamma)
        if not self._gradients:
            none = np.zeros(self._ys.size)
            return Quantity(value, none, none)
        load = rho * weight * self._gamma
        by_bound_x = load * (e[1] * v[2] - e[2] * v[1])
        by_velocity = load * np.cross(bound, direction, axis=0)
        by_velocity[1] -= load * legs * e[2]
        by_velocity[2] += load * legs * e[1]
        by_start = np.sum(by_velocity * self._at_bound.by_start, axis=0) - by_bound_x
        by_end = np.sum(by_velocity * self._at_bound.by_end, axis=0) + by_bound_x
        by_edge = self._edges(by_start, by_end, self._quarter - 0.25)
        by_edge += self._edges(-load * turn, load * turn, 1.0 - self._quarter)
        return self._with_adjoint(value, by_gamma, by_edge)

    def _induced(self) -> Quantity:
        """Far-field induced drag: Trefftz plane and the onset flow's work (Munk 1921)."""
        lattice, rho = self._system.lattice, self._setting.flow.air.density
        work = self._force(self._setting.flow.direction, np.full(lattice.panels, self._halves))
        circ = self._gamma.reshape(lattice.rows, -1).sum(axis=0)
        wash = trefftz_downwash(self._system, circ)
        half = 0.5 * rho * self._halves
        value = half * float(np.sum(circ * wash * lattice.width))
        if not self._gradients:
            return Quantity(work.value + value, work.by_twist, work.by_chord)
        unit = np.eye(lattice.columns)
        plane = np.stack([trefftz_downwash(self._system, row) for row in unit], axis=1)
        by_strip = half * (lattice.width * wash + plane.T @ (lattice.width * circ))
        by_edge = np.zeros(lattice.columns + 1)
        far = self._with_adjoint(value, np.tile(by_strip, lattice.rows), by_edge)
        return Quantity(
            work.value + value, work.by_twist + far.by_twist, work.by_chord + far.by_chord
        )

    def _profile(self) -> Quantity:
        """Skin friction at the strips' local speed, which is taken as given."""
        lattice, flow = self._system.lattice, self._setting.flow
        ratios = [section_thickness(s.airfoil) for s in self._wing.stations]
        thickness = np.interp(lattice.station, np.arange(len(ratios)), ratios)
        x = self._wing_quarter()
        ends = np.stack((x, lattice.edge_y, lattice.edge_z))
        onset = flow.onset(0.5 * (ends[:, 1:] + ends[:, :-1]))
        if self._setting.streams is not None:
            onset = onset + _along(self._setting.streams, ends[:, :-1].copy(), ends[:, 1:].copy())
        speed = np.maximum(np.linalg.norm(onset, axis=0), 1e-9)

        def drag(chord: Array) -> Array:
            air = flow.air
            one = profile_drag(chord, speed, thickness, air.density, air.viscosity)
            return np.asarray(self._halves * one * lattice.width)

        step = 1e-4 * lattice.chord
        slope = (drag(lattice.chord + step) - drag(lattice.chord - step)) / (2.0 * step)
        by_edge = np.zeros(lattice.columns + 1)
        by_edge[:-1] += 0.5 * slope
        by_edge[1:] += 0.5 * slope
        value = float(drag(lattice.chord).sum())
        return Quantity(value, np.zeros(self._ys.size), self._to_edges.T @ by_edge)

    def _wing_quarter(self) -> Array:
        lattice = self._system.lattice
        return np.asarray(lattice.edge_x + 0.25 * lattice.edge_chord)

    def _area(self) -> Quantity:
        lattice = self._system.lattice
        width = np.diff(lattice.edge_y)
        by_edge = np.zeros(lattice.columns + 1)
        by_edge[:-1] += 0.5 * self._halves * width
        by_edge[1:] += 0.5 * self._halves * width
        value = float(by_edge @ lattice.edge_chord)
        return Quantity(value, np.zeros(self._ys.size), self._to_edges.T @ by_edge)

    def _edges(self, by_start: Array, by_end: Array, factor: Array) -> Array:
        """Slopes (edges,) by the edges' chord of what moves with `factor` (rows,) times it."""
        rows = self._system.lattice.rows
        start = factor @ by_start.reshape(rows, -1)
        end = factor @ by_end.reshape(rows, -1)
        return np.concatenate((start, [0.0])) + np.concatenate(([0.0], end))

    def _with_adjoint(self, value: float, by_gamma: Array, by_edge: Array) -> Quantity:
        """Add what the change of circulation does: −λᵀ ∂R/∂d with Aᵀλ = ∂J/∂Γ."""
        system, lattice = self._system, self._system.lattice
        adjoint = transposed_circulation(system, by_gamma)
        frame = system.frame
        points, normals = frame.points(lattice.collocation), frame.normals(system.normals)
        by_node, by_point = np.zeros(system.nodes.shape[1]), np.zeros(lattice.panels)
        contracted_slopes(
            *points, *normals, *system.nodes, lattice.columns, system.images, adjoint,
            self._gamma, by_node, by_point,
        )  # fmt: skip
        by_node, by_point = by_node / frame.stretch, by_point / frame.stretch
        turned = adjoint * system.normals
        by_start = np.sum(turned * self._at_panels.by_start, axis=0)
        by_end = np.sum(turned * self._at_panels.by_end, axis=0)
        share = np.tile(lattice.fraction, lattice.rows)
        by_start, by_end = by_start + (1.0 - share) * by_point, by_end + share * by_point
        nodes = by_node.reshape(lattice.rows, -1)
        total = by_edge - self._edges(by_start, by_end, self._three - 0.25)
        total -= (self._quarter - 0.25) @ nodes
        induced = frame.velocities(frame_velocity(system, points, self._gamma)[0])
        tilt = np.sum(self._tilt() * (self._onset + induced), axis=0)
        by_strip = -(adjoint * tilt).reshape(lattice.rows, -1).sum(axis=0)
        return Quantity(value, self._to_middles.T @ by_strip, self._to_edges.T @ total)

    def _tilt(self) -> Array:
        """(3, panels) change of the normals by twist, per rad."""
        lattice = self._system.lattice
        slope = self._slopes - lattice.twist[None, :]
        bank = np.broadcast_to(lattice.dihedral, slope.shape)
        sin = np.sin(slope)
        tilt = np.stack((np.cos(slope), -np.sin(bank) * sin, np.cos(bank) * sin))
        return np.asarray(tilt.reshape(3, -1))


def _along(streams: Streams, starts: Array, ends: Array) -> Array:
    return added_velocity(streams, prepared_lines(streams, starts, ends)).velocity


def refined_stations(wing: Wing, count: int) -> Wing:
    """The same wing with about `count` stations, its own among them, crowded towards the tips.

    More than eight stations describe a curve: the lattice then has no strip edges at them, and
    keeps its strips when chord and twist change.

    Raises:
        InputError: sections that differ along the span.
    """
    names = {station.airfoil for station in wing.stations}
    if len(names) > 1:
        raise InputError(
            f"wing.stations: found the sections {', '.join(sorted(names))}; accepted in a shape "
            "optimisation is one section along the span"
        )
    first, last = wing.stations[0].y, wing.stations[-1].y
    t = np.linspace(0.0, 1.0, count)
    share = np.sin(0.5 * np.pi * t) if wing.symmetric else 0.5 * (1.0 - np.cos(np.pi * t))
    ys = np.array([s.y for s in wing.stations])
    places = np.union1d(first + (last - first) * share, ys)
    keep = np.concatenate(([True], np.diff(places) > 1e-6 * (last - first)))
    places = places[keep]
    model = wing.stations[0]

    def at(name: str) -> Array:
        return np.asarray(np.interp(places, ys, [getattr(s, name) for s in wing.stations]))

    columns = {name: at(name) for name in ("x", "z", "chord", "twist")}
    stations = tuple(
        model.model_copy(update={"y": float(y)} | {k: float(v[i]) for k, v in columns.items()})
        for i, y in enumerate(places)
    )
    return wing.model_copy(update={"stations": stations})
