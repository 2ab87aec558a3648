"""One propeller or ideal disc as the coupling sees it: inflow samples in, loads and jet out."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blownwing.case.air import Air
from blownwing.case.placed import PlacedPropeller
from blownwing.case.units import RPM
from blownwing.errors import InputError, SolveError
from blownwing.propeller.disc import disc_loads
from blownwing.propeller.measured import MeasuredLoads, MeasuredRotor, measured_loads
from blownwing.propeller.rotor import (
    Rotor,
    RotorLoads,
    azimuths,
    solve_rotor,
)
from blownwing.propeller.trim import trim_rotor

Array = NDArray[np.float64]

_NODES = np.polynomial.legendre.leggauss(4)[0]  # radii of the inflow samples: it is smooth


@dataclass(frozen=True)
class Unit:
    """A placed propeller with its axes and its inflow samples; read-only."""

    placed: PlacedPropeller
    rotor: Rotor | None  # None without blades
    centre: Array  # (3,)
    axes: Array  # (3, 3) rows downstream, right, up in case axes
    samples: Array  # (3, azimuths, radii) points of the disc, case axes, m
    spread: Array  # (annuli, radii) from samples to annuli, polynomial in r
    edges: Array  # (annuli + 1,) m
    middles: Array  # (annuli,) m
    weights: Array  # (annuli,) area shares, the hub's hole counted to the innermost
    measured: MeasuredRotor | None = None  # of a propeller known by its table


@dataclass(frozen=True)
class UnitState:
    """What one propeller does at one inflow."""

    loads: RotorLoads | None  # None without blades
    thrust: float  # N, upstream along the axis
    power: float  # W, shaft
    force: Array  # (3,) N on the disc, case axes
    axial: Array  # (annuli,) induced axial speed at the disc, m/s
    swirl: Array  # (annuli,) r·v_θ behind the disc, right-handed about the downstream axis, m²/s
    inflow: Array  # (3,) mean onset velocity in disc axes, m/s
    measured: MeasuredLoads | None = None  # of a propeller known by its table
    blade_flow: Array | None = None  # (3, azimuths, annuli) onset in disc axes, of blades, m/s

    @property
    def shaft(self) -> RotorLoads | MeasuredLoads | None:
        """What turns: speed, torque, forces in the disc's plane; None for an ideal disc."""
        return self.measured if self.loads is None else self.loads

    @property
    def omega(self) -> float:
        """Rotor speed, rad/s; 0 for an ideal disc."""
        return 0.0 if self.shaft is None else self.shaft.omega


def propulsive_efficiency(path_force: float, airspeed: float, power: float) -> float | None:
    """Work of the force along the flight path over that of the shaft; None where there is none.

    path_force: of a propeller or all of them, upstream along the flight path, N (thrust times the
    cosine of its tilt less the force in the disc that points downstream); airspeed, m/s; power,
    shaft, W. 0 at rest. Windmilling, braking and stopped propellers propel nothing.
    """
    if power <= 0.0 or path_force < 0.0:
        return None
    work = path_force * airspeed
    return work / power if work <= power else None


def built_unit(
    placed: PlacedPropeller,
    rotor: Rotor | None,
    annuli: int,
    azimuth: int,
    measured: MeasuredRotor | None = None,
) -> Unit:
    """Axes, samples and annuli of a placed propeller.

    annuli: number without blades (a rotor has its own); azimuth: number of azimuth stations;
    measured: the table of a propeller known by one.
    """
    downstream = np.array(placed.axis)
    right = np.array([0.0, 1.0, 0.0]) - downstream[1] * downstream
    right /= np.linalg.norm(right)
    axes = np.stack((downstream, right, np.cross(downstream, right)))
    radius = placed.radius
    if measured is not None and measured.shape is not None:
        edges, hub = measured.shape.edges, measured.hub_radius
    elif measured is not None:
        hub = measured.hub_radius
        share = 0.5 * (1.0 - np.cos(np.linspace(0.0, math.pi, annuli + 1)))
        edges = hub + (radius - hub) * share
    elif rotor is None:
        edges = radius * np.sin(np.linspace(0.0, 0.5 * math.pi, annuli + 1))
        hub = 0.0
    else:
        edges, hub = rotor.edges, rotor.hub_radius
    middles = 0.5 * (edges[1:] + edges[:-1])
    filled = np.concatenate(([0.0], edges[1:]))
    nodes = hub + (radius - hub) * (_NODES + 1.0) / 2.0
    spread = np.stack(
        [
            np.prod([(middles - b) / (a - b) for b in nodes if b != a], axis=0)
            for a in nodes
        ],
        axis=1,
    )  # fmt: skip
    psi = azimuths(azimuth)
    spin = placed.rotation or 1
    direction = np.sin(psi)[:, None] * spin * axes[1] + np.cos(psi)[:, None] * axes[2]
    centre = np.array(placed.position)
    samples = centre[:, None, None] + direction.T[:, :, None] * nodes
    return Unit(
        placed,
        rotor,
        centre,
        axes,
        samples,
        spread,
        edges,
        middles,
        np.diff(filled * filled) / radius**2,
        measured,
    )


def unit_state(
    unit: Unit, air: Air, airspeed: float, velocity: Array, start: UnitState | None
) -> UnitState:
    """Loads and induced velocities at an inflow.

    airspeed: undisturbed, m/s; velocity: (3, azimuths, samples) onset velocity at the unit's
    samples, case axes, m/s, without the propeller's own induction; start: a neighbouring state to
    start the trim from (of this unit or of one that is built and flown like it). Raises SolveError
    naming the propeller when the wanted thrust or power cannot be reached, InputError when its
    rpm, pitch or table has no answer there.
    """
    local = np.tensordot(unit.axes, velocity, axes=1)
    inflow = np.ascontiguousarray(local @ unit.spread.T)
    mean = np.tensordot(inflow.mean(axis=1), unit.weights, axes=1)
    if unit.rotor is None and unit.measured is None:
        return _disc_state(unit, air, airspeed, mean)
    try:
        if unit.rotor is None:
            return _measured_state(unit, air, mean, start)
        loads = _rotor_loads(unit, unit.rotor, air, inflow, start)
    except SolveError as error:
        raise SolveError(f"propeller {unit.placed.name}: {error}") from None
    except InputError as error:
        raise InputError(f"propeller {unit.placed.name}: {error}") from None
    force = np.array([-loads.thrust, loads.force_right, loads.force_up]) @ unit.axes
    sense = -float(unit.placed.rotation)  # clockwise from behind turns about the upstream axis
    return UnitState(
        loads=loads,
        thrust=loads.thrust,
        power=loads.power,
        force=force,
        axial=loads.axial_induced,
        swirl=sense * 2.0 * loads.tangential_induced * loads.r,
        inflow=mean,
        blade_flow=inflow,
    )


def _rotor_loads(
    unit: Unit, rotor: Rotor, air: Air, inflow: Array, start: UnitState | None
) -> RotorLoads:
    wanted = unit.placed.definition
    spin = "clockwise" if unit.placed.rotation > 0 else "counterclockwise"
    pitch = math.radians(wanted.pitch)
    omega = (wanted.rpm or 0.0) * RPM
    quantity = "thrust" if wanted.thrust is not None else "power"
    target = wanted.thrust if wanted.thrust is not None else wanted.power
    if target is None:
        return solve_rotor(rotor, air, omega, pitch, spin, inflow)
    vary = wanted.trim or "rpm"
    guess = slope = None
    if start is not None and start.loads is not None:
        guess = start.loads.omega if vary == "rpm" else start.loads.pitch
        slope = start.loads.trim_slope
    _, _, loads = trim_rotor(
        rotor,
        air,
        inflow,
        target,
        quantity,
        vary,
        guess,
        slope=slope,
        omega=omega,
        pitch=pitch,
        spin=spin,
    )
    return loads


def _measured_state(unit: Unit, air: Air, mean: Array, start: UnitState | None) -> UnitState:
    wanted = unit.placed.definition
    if unit.measured is None:
        raise ValueError("a measured propeller has a table")
    loads = measured_loads(
        unit.measured,
        air,
        mean,
        unit.edges,
        omega=(wanted.rpm or 0.0) * RPM,
        pitch=wanted.pitch,
        thrust=wanted.thrust,
        power=wanted.power,
        vary=wanted.trim or "rpm",
        guess=None if start is None or start.measured is None else start.measured.turned,
    )
    sense = -float(unit.placed.rotation)
    return UnitState(
        loads=None,
        thrust=loads.thrust,
        power=loads.power,
        force=np.array([-loads.thrust, loads.force_right, loads.force_up]) @ unit.axes,
        axial=loads.axial,
        swirl=sense * 2.0 * loads.tangential * unit.middles,
        inflow=mean,
        measured=loads,
    )


def _disc_state(unit: Unit, air: Air, airspeed: float, mean: Array) -> UnitState:
    wanted = unit.placed.definition
    radius = unit.placed.radius
    count = unit.middles.size
    if wanted.speed_ratio is not None:
        # A given jet, whatever flows in: its momentum and energy stand for thrust and power.
        rise = (wanted.speed_ratio - 1.0) * airspeed
        flow = air.density * math.pi * radius**2 * (airspeed + rise)
        thrust, power, induced = flow * rise, flow * rise * (airspeed + 0.5 * rise), rise
    else:
        # Momentum theory knows no flow from behind; next to a wing at rest a little may come.
        speed = max(float(mean[0]), 0.0)
        ideal = disc_loads(wanted.thrust or 0.0, 2.0 * radius, speed, air.density)
        thrust, power, induced = ideal.thrust, ideal.power, ideal.induced_velocity
    return UnitState(
        loads=None,
        thrust=thrust,
        power=power,
        force=-thrust * unit.axes[0],
        axial=np.full(count, induced),
        swirl=np.zeros(count),
        inflow=mean,
    )
