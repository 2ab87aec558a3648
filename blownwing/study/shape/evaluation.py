"""Lift, drag and root bending moment of a wing in given slipstreams, with exact gradients.

The wing is given by chord and twist at stations along an unchanging quarter-chord line; the
slipstreams, and their edges where there are any, stay as they were in a balance. Gradients by all
stations at once come from the adjoint of the linear system of wing and tubes: one transposed solve
for each quantity, whatever the number of stations (Giles & Pierce 2000, "An introduction to the
adjoint approach to design", Flow, Turbulence and Combustion 65, 393-415).
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from functools import cached_property, partial
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from blownwing.case.parts import Wing
from blownwing.coupling.jets import owned_tubes
from blownwing.coupling.response import scaled_onset
from blownwing.kernels.shape import contracted_slopes, potential_slopes, tube_slopes, tube_weights
from blownwing.slipstream.streams import added_velocity, prepared_lines
from blownwing.study.shape.edges import (
    TOLERANCE,
    blown_adjoint,
    searched_system,
)
from blownwing.study.shape.model import QUANTITIES, Quantity, Setting, Shape
from blownwing.study.shape.power import PowerModel
from blownwing.wing.blown import (
    blown_circulation,
    edge_system,
    held_doublets,
    nodes_of,
    panel_sums,
    segment_strengths,
    tube_velocity,
)
from blownwing.wing.loads import cross, trefftz_downwash
from blownwing.wing.profile import profile_drag, strip_thickness
from blownwing.wing.system import (
    circulation,
    frame_velocity,
    transposed_circulation,
    velocity_matrix,
)

Array = NDArray[np.float64]

_NUDGE = 1e-5  # of the chord, to difference the given slipstreams along x


class _Slopes(NamedTuple):
    """A value with its direct slopes by g (panels,), by the strip edges' chord, by D and rims."""

    value: float
    by_gamma: Array
    by_edge: Array
    by_doublets: Array | None = None
    by_rim: Array | None = None  # by the rims' potentials, of which g and D know, lines do not


def evaluated(setting: Setting, wing: Wing, gradients: Collection[str] = QUANTITIES) -> Shape:
    """Quantities of a wing.

    Args:
        setting: what stays. wing: on stations as the setting's case has them.
        gradients: names of the quantities whose gradients are wanted; the others' are zero.

    Raises:
        InputError: a section that is unknown.
        SolveError: a singular lattice, slipstream edges that do not converge.
    """
    return Evaluation(setting, wing).shape(gradients)


class Evaluation:
    """One wing: its strengths at once, quantities and their gradients when they are asked for.

    Raises as `evaluated`.
    """

    def __init__(self, setting: Setting, wing: Wing) -> None:
        breaks = () if setting.edges is None else setting.edges.breaks
        system, slopes = searched_system(setting.case, wing, breaks)
        self._setting, self._wing, self._system = setting, wing, system
        self._slopes, lattice = slopes, system.lattice
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
        edges = setting.edges
        ratio = np.ones(lattice.columns) if edges is None else edges.flow.ratio
        self._ratio = np.tile(ratio, lattice.rows)
        self._at_panels = self._flow_along(*lattice.collocation_ends)
        self._at_bound = self._flow_along(*self._bound_ends)
        normal = np.sum(self._at_panels * system.normals, axis=0)
        self._edge = None
        if edges is not None:
            self._edge = edge_system(system, edges.jets.tubes, edges.on_tube, np.inf)
        if self._edge is None or edges is None:
            self._gamma, self._doublets = circulation(system, normal), np.zeros(0)
        else:
            none = np.zeros_like(edges.flow.contrast)
            self._gamma, self._doublets, _ = blown_circulation(
                self._edge, normal, edges.flow.contrast, none, TOLERANCE, held=edges.flow.held
            )
        self._halves = 2.0 if lattice.symmetric else 1.0
        rows = lattice.row_edges
        self._quarter = rows[:-1] + 0.25 * np.diff(rows)
        self._three = rows[:-1] + 0.75 * np.diff(rows)

    def shape(self, gradients: Collection[str] = QUANTITIES) -> Shape:
        """All quantities, with the gradients of those that are named."""
        flow, lattice = self._setting.flow, self._system.lattice
        place = np.tile(0.5 * (lattice.edge_y[1:] + lattice.edge_y[:-1]), lattice.rows)
        loads: dict[str, Callable[[bool], _Slopes]] = {
            "lift": partial(self._force, flow.lift_direction, np.full(place.size, self._halves)),
            "induced": self._induced,
            "bending": partial(self._force, flow.lift_direction, place),
        }
        found = {
            name: self._with_adjoint(load(True)) if name in gradients else self._bare(load(False))
            for name, load in loads.items()
        }
        profile, power = self._profile(), None
        if self._setting.power is not None:
            power = self._power(self._setting.power, profile, "power" in gradients)
        return Shape(profile=profile, area=self._area(), power=power, **found)

    def _bare(self, slopes: _Slopes) -> Quantity:
        none = np.zeros(self._ys.size)
        return Quantity(slopes.value, none, none)

    @cached_property
    def _panel_slopes(self) -> tuple[Array, Array]:
        return self._flow_slopes(*self._system.lattice.collocation_ends)

    @cached_property
    def _bound_slopes(self) -> tuple[Array, Array]:
        return self._flow_slopes(*self._bound_ends)

    def _flow_slopes(self, starts: Array, ends: Array) -> tuple[Array, Array]:
        """Slopes (3, n) of the onset flow over m by the x of the lines' starts, and of their ends.

        The slipstreams' velocities are given functions of place; differences of them are exact to
        1e-9 except where a line crosses a kink of a stream's piecewise linear profile.
        """
        step = _NUDGE * float(self._system.lattice.chord.mean())
        nudge = np.array([step, 0.0, 0.0])[:, None]
        ahead, behind = (
            self._flow_along(starts + nudge, ends),
            self._flow_along(starts - nudge, ends),
        )
        by_start = (ahead - behind) / (2.0 * step)
        ahead, behind = (
            self._flow_along(starts, ends + nudge),
            self._flow_along(starts, ends - nudge),
        )
        return by_start, (ahead - behind) / (2.0 * step)

    def _flow_along(self, starts: Array, ends: Array) -> Array:
        """Onset flow over m along the panels' lines, undisturbed flow at their own points."""
        lattice, edges, streams = self._system.lattice, self._setting.edges, self._setting.streams
        share = np.tile(lattice.fraction, lattice.rows)
        velocity = self._setting.flow.onset(starts + share * (ends - starts))
        if streams is None:
            return velocity
        member = None if edges is None else np.tile(edges.member, lattice.rows)
        turning = None if edges is None else edges.turning
        lines = prepared_lines(streams, starts, ends, member=member, turning=turning)
        added = added_velocity(streams, lines)
        velocity = velocity + added.velocity
        if edges is None:
            return velocity
        return scaled_onset(self._setting.flow, velocity, added.axial, edges.flow)

    def _legs(self) -> Array:
        """(panels,) lengths of the starboard legs to the trailing edge less those to port, m."""
        return np.outer(1.0 - self._quarter, np.diff(self._system.lattice.edge_chord)).ravel()

    def _force(self, direction: Array, weight: Array, slopes: bool) -> _Slopes:
        """Weighted sum of the onset flow's forces on bound segments and legs along a direction."""
        density, bound = self._setting.flow.air.density, self._system.lattice.bound
        e, v, legs = direction[:, None], self._at_bound, self._legs()
        factor = density * weight * self._ratio**2
        turn = v[2] * e[1] - v[1] * e[2]
        by_gamma = factor * (np.sum(cross(v, bound) * e, axis=0) + legs * turn)
        value = float(by_gamma @ self._gamma)
        if not slopes:
            return _Slopes(value, by_gamma, np.zeros(self._ys.size))
        load = factor * self._gamma
        by_bound_x = load * (e[1] * v[2] - e[2] * v[1])
        by_velocity = load * cross(bound, e)
        by_velocity[1] -= load * legs * e[2]
        by_velocity[2] += load * legs * e[1]
        first, second = self._bound_slopes
        by_start = np.sum(by_velocity * first, axis=0) - by_bound_x
        by_end = np.sum(by_velocity * second, axis=0) + by_bound_x
        by_edge = self._edges(by_start, by_end, self._quarter - 0.25)
        by_edge += self._edges(-load * turn, load * turn, 1.0 - self._quarter)
        return _Slopes(value, by_gamma, by_edge)

    def _induced(self, slopes: bool) -> _Slopes:
        """Far-field induced drag: Trefftz plane and the onset flow's work (Munk 1921)."""
        lattice, density = self._system.lattice, self._setting.flow.air.density
        whole = np.full(lattice.panels, self._halves)
        work = self._force(self._setting.flow.direction, whole, slopes)
        circ = lattice.by_strip(self._gamma)
        plane = self._far_plane()
        wash = plane @ circ
        share = 0.5 * density * self._halves * lattice.width * self._ratio[: lattice.columns] ** 2
        by_strip = share * wash + plane.T @ (share * circ)
        value, by_gamma = work.value + float(share @ (circ * wash)), work.by_gamma
        edge, edges, by_doublets, by_rim = self._edge, self._setting.edges, None, None
        if edge is not None and edges is not None and edges.flow.held is not None:
            held = edges.flow.held
            part = held_doublets(edge, held, self._gamma, self._doublets)
            wash = 2.0 * (edges.held_wash @ part)  # in full, not by half
            value += float(share @ (circ * wash))
            by_strip += share * wash
            by_rim = edge.lifted_back(held, 2.0 * (edges.held_wash.T @ (share * circ)))
            by_gamma = by_gamma + edge.wing_on_rim.T @ by_rim
            by_doublets = edge.tube_on_rim.T @ by_rim
        by_gamma = by_gamma + np.tile(by_strip, lattice.rows)
        return _Slopes(value, by_gamma, work.by_edge, by_doublets, by_rim)

    @property
    def leg_core(self) -> float:
        """Core of the legs where discs feel them, as in `coupling.setup`, m."""
        return 0.1 * float(np.min(self._system.lattice.width))

    def disc_velocity(
        self, samples: Array, owner: NDArray[np.int64], leg_core: float, tube_core: float
    ) -> Array:
        """Velocity (3, n) [m/s] that wing and other discs' tubes induce at points (3, n) of discs.

        owner: (n,) disc of each point; leg_core, tube_core: of the lattice's legs and of the
        tubes' vortices, m.
        """
        matrix = velocity_matrix(self._system, samples, leg_core)
        velocity = matrix @ self._gamma
        edge, edges = self._edge, self._setting.edges
        if edge is not None and edges is not None:
            points = self._system.frame.points(samples)
            owned = owned_tubes(edges.jets, owner, self._system.lattice.symmetric)
            velocity += tube_velocity(edge, points, self._doublets, tube_core, owned)
        return self._system.frame.velocities(velocity)

    def _power(self, model: PowerModel, profile: Quantity, gradient: bool) -> Quantity:
        """Power by the drag that thrust carries and by the velocities at the discs."""
        induced = self._induced(gradient)
        velocity = self.disc_velocity(model.samples, model.owner, model.leg_core, model.tube_core)
        value = model.value(induced.value + profile.value, velocity)
        if not gradient:
            return self._bare(_Slopes(value, induced.by_gamma, induced.by_edge))
        system, lattice = self._system, self._system.lattice
        points = system.frame.points(model.samples)
        weights = system.frame.normals(model.weights)
        matrix = velocity_matrix(system, model.samples, model.leg_core)
        by_gamma = model.price * induced.by_gamma + np.einsum("cn,cnp->p", weights, matrix)
        by_node, unused = np.zeros(system.nodes.shape[1]), np.zeros(points.shape[1])
        contracted_slopes(
            *points, *weights, *system.nodes, lattice.columns, system.images,
            np.ones(points.shape[1]), self._gamma, model.leg_core, by_node, unused,
        )  # fmt: skip
        by_node = by_node.reshape(lattice.rows, -1) / system.frame.stretch
        by_edge = model.price * induced.by_edge + (self._quarter - 0.25) @ by_node
        by_doublets, by_rim = induced.by_doublets, induced.by_rim
        if by_doublets is not None and by_rim is not None:
            by_doublets, by_rim = model.price * by_doublets, model.price * by_rim
        if self._edge is not None and self._setting.edges is not None:
            tubes, nodes = self._edge.tubes, self._edge.nodes
            ring, axial = np.zeros(nodes.shape[1]), np.zeros(nodes.shape[1])
            tube_weights(
                *points, *weights, *nodes, tubes.around, system.images, model.tube_core, ring, axial
            )
            owned = owned_tubes(self._setting.edges.jets, model.owner, lattice.symmetric)
            for k, disc in enumerate(owned.tubes.tolist()):
                mine, (part, own) = owned.owner == disc, nodes_of(self._edge, k)
                tube_weights(
                    *points[:, mine].copy(), *-weights[:, mine], *own, tubes.around,
                    system.images[: owned.halves[k]], model.tube_core, ring[part], axial[part],
                )  # fmt: skip
            felt = panel_sums(tubes, ring, axial)
            by_doublets = felt if by_doublets is None else by_doublets + felt
        found = self._with_adjoint(_Slopes(value, by_gamma, by_edge, by_doublets, by_rim))
        by_chord = found.by_chord + model.price * profile.by_chord
        return Quantity(value, found.by_twist, by_chord)

    def _far_plane(self) -> Array:
        """(columns, columns) from strip sums of g to the downwash over m in the Trefftz plane."""
        if self._setting.edges is not None:
            return self._setting.edges.plane
        unit = np.eye(self._system.lattice.columns)
        return np.stack([trefftz_downwash(self._system, row) for row in unit], axis=1)

    def _profile(self) -> Quantity:
        """Skin friction at the strips' local speed, which is taken as given."""
        lattice, flow = self._system.lattice, self._setting.flow
        names = [s.airfoil for s in self._wing.stations]
        thickness = strip_thickness(names, self._setting.case.folder, lattice.station)
        x = self._wing_quarter()
        ends = np.stack((x, lattice.edge_y, lattice.edge_z))
        onset = flow.onset(0.5 * (ends[:, 1:] + ends[:, :-1]))
        streams, edges = self._setting.streams, self._setting.edges
        if streams is not None:
            member = None if edges is None else edges.member
            turning = None if edges is None else edges.turning
            lines = prepared_lines(
                streams, ends[:, :-1], ends[:, 1:], member=member, turning=turning
            )
            onset = onset + added_velocity(streams, lines).velocity
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

    def _with_adjoint(self, slopes: _Slopes) -> Quantity:
        """Add what the change of strengths does: −λᵀ ∂R/∂d with the adjoint λ of wing and tubes."""
        system, lattice, edges = self._system, self._system.lattice, self._setting.edges
        if self._edge is None or edges is None:
            adjoint, push = transposed_circulation(system, slopes.by_gamma), np.zeros(0)
            rim = push
        else:
            adjoint, push, rim = blown_adjoint(
                self._edge, edges.flow, slopes.by_gamma, slopes.by_doublets
            )
            if slopes.by_rim is not None:
                rim = rim + slopes.by_rim
        frame, columns = system.frame, lattice.columns
        points, normals = frame.points(lattice.collocation), frame.normals(system.normals)
        by_node, by_point = np.zeros(system.nodes.shape[1]), adjoint * self._tube_slopes
        contracted_slopes(
            *points, *normals, *system.nodes, columns, system.images, adjoint, self._gamma, 0.0,
            by_node, by_point,
        )  # fmt: skip
        if self._edge is not None and edges is not None:
            tubes = edges.jets.tubes
            middles = frame.points(tubes.middles[:, tubes.basis.panels])
            for points, weights in ((middles, push), (self._edge.rims, rim)):
                potential_slopes(
                    *points, *system.nodes, columns, system.images, -weights, self._gamma, by_node
                )
        by_node, by_point = by_node / frame.stretch, by_point / frame.stretch
        turned = adjoint * system.normals
        first, second = self._panel_slopes
        by_start = np.sum(turned * first, axis=0)
        by_end = np.sum(turned * second, axis=0)
        share = np.tile(lattice.fraction, lattice.rows)
        by_start, by_end = by_start + (1.0 - share) * by_point, by_end + share * by_point
        total = slopes.by_edge - self._edges(by_start, by_end, self._three - 0.25)
        total -= (self._quarter - 0.25) @ by_node.reshape(lattice.rows, -1)
        by_strip = -lattice.by_strip(adjoint * self._by_tilt)
        return Quantity(slopes.value, self._to_middles.T @ by_strip, self._to_edges.T @ total)

    @cached_property
    def _by_tilt(self) -> Array:
        """(panels,) slopes by the strips' twist of the normal velocities, m/s per rad."""
        system = self._system
        frame = system.frame
        points = frame.points(system.lattice.collocation)
        induced = frame_velocity(system, points, self._gamma)[0]
        if self._edge is not None:
            induced = induced + tube_velocity(self._edge, points, self._doublets, 0.0)
        velocity = self._at_panels + frame.velocities(induced)
        return np.asarray(np.sum(self._tilt() * velocity, axis=0))

    @cached_property
    def _tube_slopes(self) -> Array:
        """(panels,) slopes by the points' x of the tubes' normal velocities, frame axes."""
        system, edge = self._system, self._edge
        out = np.zeros(system.lattice.panels)
        if edge is not None:
            points = system.frame.points(system.lattice.collocation)
            normals = system.frame.normals(system.normals)
            strengths = segment_strengths(edge.tubes, self._doublets)
            tube_slopes(
                *points, *normals, *edge.nodes, edge.tubes.around, system.images, *strengths, out
            )
        return out

    def _tilt(self) -> Array:
        """(3, panels) change of the normals by twist, per rad."""
        lattice = self._system.lattice
        slope = self._slopes - lattice.twist[None, :]
        bank = np.broadcast_to(lattice.dihedral, slope.shape)
        sin = np.sin(slope)
        tilt = np.stack((np.cos(slope), -np.sin(bank) * sin, np.cos(bank) * sin))
        return np.asarray(tilt.reshape(3, -1))
