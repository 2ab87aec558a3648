"""From a converged point to the named arrays of a Solution, written out for the whole span."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.case.units import RPM
from blownwing.coupling.by_surface import (
    Friction,
    both_halves,
    by_surface,
    reynolds,
    section_friction,
)
from blownwing.coupling.model import Point
from blownwing.coupling.profile import covered_spans, slipstream_profile
from blownwing.coupling.response import strip_incidence
from blownwing.geometry.lattice import planform_at
from blownwing.propeller.measured import MeasuredLoads
from blownwing.propeller.rotor import Rotor, RotorLoads, azimuth_loads, azimuths
from blownwing.propeller.unit import Unit, UnitState, propulsive_efficiency
from blownwing.slipstream.streams import Streams, contraction, gain
from blownwing.solution.model import Solution
from blownwing.wing.loads import WingLoads, cross

Array = NDArray[np.float64]
Values = dict[str, Any]

_STATIONS = np.concatenate((np.linspace(0.0, 2.0, 17), np.linspace(2.5, 10.0, 16)))  # radii behind


class Brief(NamedTuple):
    """What a converged point comes to, without slipstreams, profile and azimuths: a tenth of the
    time, for states of which few numbers are kept. As in `Solution`, unchecked.
    """

    totals: Values
    strips: Values
    surfaces: dict[str, Values]
    propellers: dict[str, Values]


def brief(case: Case, point: Point) -> Brief:
    """The forces of a converged point."""
    friction = _friction(case, point)
    strips, surfaces = by_surface(case, point, _strips(case, point, friction.drag), friction)
    propellers = {
        name: _propeller(point, unit, state, flip) for name, unit, state, flip in _placed(point)
    }
    return Brief(totals(case, point, friction), strips, surfaces, propellers)


def assembled(case: Case, point: Point) -> Solution:
    """The stored form of a converged point.

    Raises SolveError when a value is not finite or an element does not close.
    """
    found = brief(case, point)
    return Solution(
        title=case.title,
        case_toml=case.to_toml(),
        totals=found.totals,
        strips=found.strips,
        propellers={
            name: found.propellers[name] | _around(point, unit, state)
            for name, unit, state, _ in _placed(point)
        },
        slipstreams=_slipstreams(case, point),
        convergence=_history(point),
        surfaces=found.surfaces,
        profile=slipstream_profile(case, point),
    )


def _placed(point: Point) -> list[tuple[str, Unit, UnitState, float]]:
    """Name, unit and state of each propeller; −1.0 for the mirror image of its unit."""
    discs = point.model.discs
    return [
        (placed.name, discs.units[source], point.states[source], flip)
        for placed, source, flip in zip(
            discs.placed, discs.source, discs.packed.flips.tolist(), strict=True
        )
    ]


def _stream_speed(point: Point) -> Array:
    """Speed (columns,) of the strips' local streams, m/s."""
    onset = point.flow.onset(point.model.system.lattice.quarter) + point.quarter.velocity
    return np.asarray(np.sqrt(np.einsum("cn,cn->n", onset, onset)))


def _strips(case: Case, point: Point, friction: Array) -> Values:
    """Arrays over the strips of the lattice; friction: their profile drag per span, N/m."""
    flow, lattice = point.flow, point.model.system.lattice
    quarter = lattice.quarter
    pressure = 0.5 * flow.air.density * flow.airspeed**2
    speed = _stream_speed(point)
    local = 0.5 * flow.air.density * speed**2
    area = lattice.chord * lattice.width
    lift = flow.lift_direction @ point.loads.strip_force
    lift_unblown = flow.lift_direction @ point.loads_unblown.strip_force
    drag = flow.direction @ point.loads.strip_force
    # Strips in all but still air carry nothing; dividing by a trace of flow would invent numbers.
    moving = local > 0.01 * max(pressure, float(local.max(initial=0.0)))
    cl_local = np.where(moving, lift / area / np.where(moving, local, 1.0), 0.0)
    values: Values = {
        "y": quarter[1],
        "x": quarter[0],
        "z": lattice.drawn_quarter[2],
        "chord": lattice.chord,
        "width": lattice.width,
        "circulation": point.loads.strip_circulation,
        "circulation_unblown": point.loads_unblown.strip_circulation,
        "cl_local_q": cl_local,
        "alpha_effective": np.degrees(strip_incidence(point.model, point.wing)),
        "slipstream_axial": point.quarter.axial,
        "slipstream_swirl": point.quarter.swirl_up,
        "downwash": point.loads.downwash,
    }
    if point.model.sections is not None:
        re, incidence = reynolds(flow, lattice, speed), strip_incidence(point.model, point.wing)
        peak = point.model.sections.peak_incidence(re, case.wing_mach)
        values["stall_margin"] = np.degrees(peak - incidence)
        if flow.airspeed > 0.0:
            highest = point.model.sections.values(peak, re, case.wing_mach).cl
            values["cl_limit"] = highest * local / pressure
    if flow.airspeed > 0.0:
        values |= {
            "cl": lift / area / pressure,
            "cl_unblown": lift_unblown / area / pressure,
            "cd_induced": drag / area / pressure,
            "cd_profile": friction / lattice.chord / pressure,
            "speed_ratio": speed / flow.airspeed,
        }
        if point.superposed is not None:
            values["cl_superposed"] = point.superposed / area / pressure
        values |= _jet_values(point, lift, lift_unblown)
    return values


def _jet_values(point: Point, lift: Array, unblown: Array) -> Values:
    """Where each strip lies in its slipstream and what share of the full-q gain it really gets."""
    jets = point.model.jets
    if jets is None or jets.interfaces.disc.size == 0:
        return {}
    covered = jets.strip >= 0
    pick = np.where(covered, jets.strip, 0)
    found, height = jets.interfaces, point.model.system.lattice.quarter[2]
    immersion = (found.z[pick] - height) / found.radius[pick]
    full = unblown * (point.wing.ratio**2 - 1.0)
    gains = covered & (np.abs(full) > 1e-9 * float(np.max(np.abs(unblown), initial=0.0)))
    share = np.where(gains, (lift - unblown) / np.where(gains, full, 1.0), 0.0)
    return {"immersion": np.where(covered, immersion, 0.0), "blown_lift_share": share}


def _friction(case: Case, point: Point) -> Friction:
    """Profile drag and section moments in the strips' local streams."""
    return section_friction(case, point.flow, point.model, point.wing, _stream_speed(point))


def _section_moment(point: Point, friction: Friction) -> Array:
    """Moment (3,), N m, that the lattice does not know: the tables' cm, profile drag's yaw.

    The pitching moment stays that of the lift, as without propellers, but for the tables' cm.
    """
    flow, lattice = point.flow, point.model.system.lattice
    pull = friction.drag * lattice.width * lattice.share * flow.direction[:, None]
    arm = lattice.drawn_quarter - flow.point[:, None]
    moment = cross(arm, pull).sum(axis=1) * np.array([1.0, 0.0, 1.0])
    return both_halves(moment + friction.moment.sum(axis=1), lattice, about=True)


def totals(case: Case, point: Point, friction: Friction | None = None) -> Values:
    """The scalars of a converged point; friction: from `section_friction`, where it is known."""
    flow, wing, lattice = point.flow, case.wing, point.model.system.lattice
    if friction is None:
        friction = _friction(case, point)
    discs, propulsion = point.model.discs, np.zeros(3)
    for source, flip in zip(discs.source, discs.packed.flips.tolist(), strict=True):
        propulsion += point.states[source].force * np.array([1.0, flip, 1.0])
    profile = float(np.sum(friction.drag * lattice.width * lattice.share))
    profile *= 2.0 if lattice.symmetric else 1.0
    thrust = sum(point.states[k].thrust for k in point.model.discs.source)
    power = sum(point.states[k].power for k in point.model.discs.source)
    lift, induced = _wind_parts(point, point.loads)
    lift_clean, induced_clean = _wind_parts(point, point.loads_unblown)
    side = flow.wind[1]
    drag = induced + profile
    discrepancy = _discrepancy(induced_clean, point.loads_unblown.farfield_drag)
    values: Values = {
        "alpha": flow.alpha,
        "airspeed": flow.airspeed,
        "density": flow.air.density,
        "mach": case.mach,
        "reference_area": wing.area,
        "reference_chord": wing.chord,
        "span": wing.span,
        "lift": lift,
        "lift_unblown": lift_clean,
        "drag": drag,
        "side_force": float(side @ point.loads.force),
        "thrust": thrust,
        "net_axial_force": -float(flow.direction @ propulsion) - drag,
        "power": power,
        "stall_smoothing": point.wing.smoothing,
        "edge_drift": point.edge_drift,
        "induced_drag_discrepancy": discrepancy,
    }
    along = -float(flow.direction @ propulsion)
    values |= _efficiency(along, flow.airspeed, power)
    if wing.half_model:
        whole = ("lift", "drag", "thrust", "net_axial_force", "power")
        values |= {f"half_{name}": 0.5 * values[name] for name in whole}
    if flow.airspeed > 0.0:
        moment = point.loads.moment + _section_moment(point, friction)
        values |= _coefficients(case, point, values, induced, profile, moment, propulsion)
    return values


def _coefficients(
    case: Case,
    point: Point,
    forces: Values,
    induced: float,
    profile: float,
    moment: Array,
    propulsion: Array,
) -> Values:
    """The same over q S, and over b or the reference chord.

    forces: lift, lift_unblown, drag and side_force; induced, profile: drag, N; moment: (3,) N m;
    propulsion: (3,) N.
    """
    flow, wing = point.flow, case.wing
    pressure = 0.5 * flow.air.density * flow.airspeed**2
    unit = pressure * wing.area
    clean, far_clean = forces["lift_unblown"] / unit, point.loads_unblown.farfield_drag / unit
    moment = moment / unit
    values: Values = {
        "reference_dynamic_pressure": pressure,
        "CL": forces["lift"] / unit,
        "CL_unblown": clean,
        "CL_from_thrust": float(flow.lift_direction @ propulsion) / unit,
        "CD_induced": induced / unit,
        "CD_induced_unblown": _wind_parts(point, point.loads_unblown)[1] / unit,
        "CD_induced_farfield": point.loads.farfield_drag / unit,
        "CD_induced_farfield_unblown": far_clean,
        "CD_profile": profile / unit,
        "CD": forces["drag"] / unit,
        "CY": forces["side_force"] / unit,
        "C_roll": -float(moment[0]) / wing.span,
        "C_pitch": float(moment[1]) / wing.chord,
        "C_pitch_unblown": float(point.loads_unblown.moment[1]) / unit / wing.chord,
        "C_yaw": -float(moment[2]) / wing.span,
    }
    if point.superposed is not None:
        both = 2.0 if point.model.system.lattice.symmetric else 1.0
        values["CL_superposed"] = both * float(point.superposed.sum()) / unit
    if far_clean > 0.0 and clean != 0.0:
        aspect = wing.span**2 / wing.area
        values["span_efficiency_unblown"] = clean**2 / (math.pi * aspect * far_clean)
    return values


def _efficiency(along: float, airspeed: float, power: float) -> Values:
    found = propulsive_efficiency(along, airspeed, power)
    return {} if found is None else {"efficiency": found}


def _wind_parts(point: Point, loads: WingLoads) -> tuple[float, float]:
    """Lift and near-field drag, N."""
    force = loads.force
    return float(point.flow.lift_direction @ force), float(point.flow.direction @ force)


def _discrepancy(near: float, far: float) -> float:
    """Relative difference of near- and far-field drag; 0 where there is no lift and no drag."""
    return 0.0 if far == 0.0 else near / far - 1.0


def _propeller(point: Point, unit: Unit, state: UnitState, flip: float) -> Values:
    """Scalars and radial arrays of one propeller; flip is −1 for the mirror image of its unit."""
    inflow = state.inflow * np.array([1.0, flip, 1.0])
    across = float(np.hypot(inflow[1], inflow[2]))
    airspeed, diameter = point.flow.airspeed, 2.0 * unit.placed.radius
    values: Values = {
        "r": unit.middles,
        "thrust": state.thrust,
        "power": state.power,
        "diameter": diameter,
        "rotation": flip * unit.placed.rotation,
        "inflow": float(inflow[0]),
        "crossflow": across,
        "inflow_angle": math.degrees(math.atan2(across, float(inflow[0]))),
        "axial_induced": state.axial,
    }
    along = -float(point.flow.direction @ (state.force * np.array([1.0, flip, 1.0])))
    values |= _efficiency(along, airspeed, state.power)
    if state.shaft is not None:
        values |= _driven(point, unit, state.shaft, flip, float(inflow[0]))
    if state.measured is not None:
        values["tangential_induced"] = state.measured.tangential
        if state.measured.beyond is not None:
            values["beyond_table"] = state.measured.beyond
    if state.loads is not None and unit.rotor is not None:
        values |= _blades(point, unit, unit.rotor, state, state.loads, flip)
    return values


def _driven(
    point: Point, unit: Unit, shaft: RotorLoads | MeasuredLoads, flip: float, inflow: float
) -> Values:
    """Scalars of a propeller on a shaft; inflow: along its axis, m/s."""
    diameter = 2.0 * unit.placed.radius
    values: Values = {
        "torque": shaft.torque,
        "rpm": shaft.omega / RPM,
        "pitch": math.degrees(shaft.pitch),
        "normal_force": shaft.force_up,
        "side_force": flip * shaft.force_right,
        "tip_mach": math.hypot(shaft.omega * unit.placed.radius, inflow)
        / point.flow.air.speed_of_sound,
    }
    turns = shaft.omega / (2.0 * math.pi)
    if turns > 0.0:
        scale = point.flow.air.density * turns**2 * diameter**4
        values |= {
            "J": point.flow.airspeed / (turns * diameter),
            "CT": shaft.thrust / scale,
            "CQ": shaft.torque / (scale * diameter),
            "CP": shaft.power / (scale * turns * diameter),
        }
    return values


def _blades(
    point: Point, unit: Unit, rotor: Rotor, state: UnitState, loads: RotorLoads, flip: float
) -> Values:
    """What blade elements know, over the radius."""
    return {
        "general_section": float(rotor.general),
        "pitching_moment": loads.moment_right,
        "yawing_moment": -flip * loads.moment_up,
        "tangential_induced": loads.tangential_induced,
        "alpha": np.degrees(loads.alpha),
        "cl": loads.cl,
        "cd": loads.cd,
        "reynolds": loads.reynolds,
        "mach": loads.mach,
        "dT_dr": loads.dT_dr,
        "dQ_dr": loads.dQ_dr,
    }


def _around(point: Point, unit: Unit, state: UnitState) -> Values:
    """What a blade does over the azimuth, where the inflow is uneven."""
    loads, rotor = state.loads, unit.rotor
    if loads is None or rotor is None or state.blade_flow is None:
        return {}
    spin = "clockwise" if unit.placed.rotation > 0 else "counterclockwise"
    thrust, torque, flap = azimuth_loads(
        rotor, point.flow.air, loads.omega, loads.pitch, spin, state.blade_flow
    )
    return {
        "azimuth": np.degrees(azimuths(thrust.size)),
        "blade_thrust": thrust,
        "blade_torque": torque,
        "blade_flap_moment": flap,
    }


def _slipstreams(case: Case, point: Point) -> dict[str, Values]:
    streams, flow = point.streams, point.flow
    result: dict[str, Values] = {}
    low, high = covered_spans(case, point)
    for i, placed in enumerate(point.model.discs.placed):
        x = _STATIONS * placed.radius
        one = _repeated(streams, i, x.size)
        growth = gain(x, one.radii, one.growth)
        speed = streams.normal_speed[i] + streams.mean[i] * growth
        radius = placed.radius * contraction(one, x)
        axis = streams.centres[i][:, None] + streams.courses[i][:, None] * x
        surface = planform_at(case.wing, axis[1])[1]
        result[placed.name] = {
            "x": x,
            "radius": radius,
            "axial_velocity": speed,
            "immersion": (axis[2] - surface) / radius,
            "y": axis[1],
            "z": axis[2],
            "swirl_angle": _swirl_angle(one, speed, radius / placed.radius),
            "span_from": low[i],
            "span_to": high[i],
        }
        if flow.airspeed > 0.0:
            result[placed.name]["speed_ratio"] = speed / flow.airspeed
    return result


def _repeated(streams: Streams, index: int, count: int) -> Streams:
    """Disc `index` as `count` equal discs, so that vector formulas take one distance each."""
    pick = np.full(count, index)
    return Streams(*(value[pick] for value in streams))


def _swirl_angle(one: Streams, speed: Array, scale: Array) -> Array:
    """Mean swirl angle [deg] of the tube, positive clockwise seen from behind."""
    turning = -np.mean(one.swirl / one.middles, axis=1) / scale
    return np.asarray(np.degrees(np.arctan2(turning, np.maximum(speed, 1e-9))))


def _history(point: Point) -> Values:
    history: Values = {name: np.array(values) for name, values in point.history.items()}
    return history
