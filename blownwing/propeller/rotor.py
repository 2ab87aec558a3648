"""A rotor's loads at a given state: blade elements and momentum, resolved in azimuth.

Disc axes: downstream along the disc axis, right (starboard) and up, so that for an untilted disc
they are the x, y, z of the whole case. Azimuth runs from the top in the direction of rotation.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blownwing.case.units import RPM
from blownwing.errors import InputError, SolveError
from blownwing.kernels import blade as kernel
from blownwing.kernels.threads import cores_free
from blownwing.propeller.blade import Blade
from blownwing.propeller.packing import packed_sections

Array = NDArray[np.float64]

# On the inflow angle, rad; the scaled residual then lies at round-off of the section tables.
ANGLE_TOLERANCE = 1e-10
RESIDUAL_LIMIT = 1e-8
# Elements from which a second core saves more than its start costs.
PARALLEL_FROM = 120
CONSTRUCTED = "constructed"  # how the source of a table begins that nobody measured
SPINS = {"clockwise": 1.0, "counterclockwise": -1.0}


class AirState(Protocol):
    """What the loads need of the air."""

    @property
    def density(self) -> float:
        """kg/m³."""

    @property
    def viscosity(self) -> float:
        """Dynamic viscosity, Pa s."""

    @property
    def speed_of_sound(self) -> float:
        """m/s."""


@dataclass(frozen=True)
class Rotor:
    """A rotor cut into annuli.

    Attributes:
        radius, hub_radius: m.
        blades: number of blades.
        edges: (n + 1,) radii between the annuli, m.
        r, dr, chord: (n,) mid radius, width and chord of each element, m.
        twist: (n,) chord line to disc plane, rad.
        geometry: (6, n) r, dr, chord, twist and the tip's and hub's loss coefficients, packed.
        stations: (n,) row of `polars` for each element.
        polars: (n_tables, n_re, n_alpha, 4) cl, cd, cm and dcl/dα.
        peaks: (n_tables, n_re, 2) largest and least cl.
        log_reynolds: (n_re,).
        general: whether a section is a constructed table, not one of the blade's own.
    """

    radius: float
    hub_radius: float
    blades: int
    edges: Array
    r: Array
    dr: Array
    chord: Array
    twist: Array
    geometry: Array
    stations: NDArray[np.int64]
    polars: Array
    peaks: Array
    log_reynolds: Array
    general: bool = False

    @property
    def diameter(self) -> float:
        """m."""
        return 2.0 * self.radius

    @property
    def solidity(self) -> float:
        """Blade area over disc area."""
        return float(self.blades * np.sum(self.chord * self.dr) / (math.pi * self.radius**2))


@dataclass(frozen=True)
class RotorLoads:
    """Loads of one rotor in one state; arrays are azimuth means over `r`.

    Attributes:
        omega: rad/s. pitch: blade angle added to the twist, rad.
        thrust: upstream along the axis, N. torque: N m and power: W, taken from the shaft.
        force_right, force_up: in-plane force on the disc, N.
        moment_right, moment_up: moments about the hub's right and up axes (right-hand rule), N m.
        r, dr: (n,) m.
        axial_induced, tangential_induced: (n,) annulus means at the disc, m/s: the velocity at the
            blade times the loss factor; the swirl just behind the disc is twice the latter, in
            the sense of rotation.
        alpha, phi: (n,) rad. cl, cd: (n,). reynolds, mach: (n,) of the undisturbed relative flow.
        dT_dr: (n,) N/m. dQ_dr: (n,) N.
        loss_factor: (n,) tip and hub loss.
        residual_max: largest scaled residual of any element.
        trim_slope: after a trim, the slope of the wanted quantity by what was varied (N or W per
            rad/s or rad), if the trim saw it; it starts the next one.
    """

    omega: float
    pitch: float
    thrust: float
    torque: float
    power: float
    force_right: float
    force_up: float
    moment_right: float
    moment_up: float
    r: Array
    dr: Array
    axial_induced: Array
    tangential_induced: Array
    alpha: Array
    phi: Array
    cl: Array
    cd: Array
    reynolds: Array
    mach: Array
    dT_dr: Array
    dQ_dr: Array
    loss_factor: Array
    residual_max: float
    trim_slope: float | None = None


@dataclass(frozen=True)
class Coefficients:
    """J = V/nD, CT = T/ρn²D⁴, CQ = Q/ρn²D⁵, CP = 2π CQ, efficiency J CT/CP (0 at rest)."""

    advance_ratio: float
    thrust: float
    torque: float
    power: float
    efficiency: float


def build_rotor(
    blade: Blade,
    diameter: float,
    blades: int,
    n_radial: int = 20,
    hub_radius: float | None = None,
    spacing: str = "cosine",
    tip_loss: bool = True,
    hub_loss: bool = True,
) -> Rotor:
    """Cut a blade into annuli.

    Args:
        blade: geometry in fractions of the radius.
        diameter: m.
        blades: number of blades.
        n_radial: number of annuli.
        hub_radius: m; by default the blade's first station.
        spacing: "cosine" (narrow at hub and tip) or "uniform" annuli.
        tip_loss, hub_loss: False takes the flow round the annulus as uniform at that end.

    Raises:
        InputError: a size that makes no rotor, or an unknown spacing.
    """
    if not 0.0 < diameter < math.inf:
        raise InputError(f"propeller diameter: found {diameter:g}; accepted is above 0 m")
    if blades < 1 or n_radial < 2:
        raise InputError(
            f"propeller: found {blades} blades and {n_radial} annuli; accepted are at least 1 and 2"
        )
    radius = 0.5 * diameter
    hub = blade.radius[0] * radius if hub_radius is None else hub_radius
    if not 0.0 <= hub < radius:
        raise InputError(f"hub radius: found {hub:g} m; accepted is 0 to below {radius:g} m")
    if spacing == "cosine":
        fraction = 0.5 * (1.0 - np.cos(np.linspace(0.0, math.pi, n_radial + 1)))
    elif spacing == "uniform":
        fraction = np.linspace(0.0, 1.0, n_radial + 1)
    else:
        raise InputError(f'annuli: found spacing "{spacing}"; accepted are "cosine" and "uniform"')
    edges = hub + (radius - hub) * fraction
    r, dr = 0.5 * (edges[1:] + edges[:-1]), np.diff(edges)
    chord = np.interp(r / radius, blade.radius, blade.chord) * radius
    twist = np.interp(r / radius, blade.radius, blade.twist)
    none = np.full_like(r, math.inf)
    tip = 0.5 * blades * (radius - r) / r if tip_loss else none
    root = 0.5 * blades * (r - hub) / hub if hub_loss and hub > 0.0 else none
    stations, sections = packed_sections(blade, r / radius)
    geometry = np.ascontiguousarray([r, dr, chord, twist, tip, root])
    for values in (edges, r, dr, chord, twist):
        values.flags.writeable = False
    return Rotor(
        radius,
        float(hub),
        blades,
        edges,
        r,
        dr,
        chord,
        twist,
        geometry,
        stations,
        sections.values,
        sections.peaks,
        sections.log_reynolds,
        any(table.source.startswith(CONSTRUCTED) for table in blade.tables.values()),
    )


def azimuths(n_azimuth: int) -> Array:
    """(n_azimuth,) azimuths ψ of the elements from the top in the direction of rotation, rad."""
    angles: Array = 2.0 * math.pi * (np.arange(n_azimuth) + 0.5) / n_azimuth
    return angles


def spin_sign(spin: str) -> float:
    """+1 for "clockwise" (seen from behind), −1 for "counterclockwise".

    Raises:
        InputError: any other word.
    """
    if spin not in SPINS:
        raise InputError(f'spin: found "{spin}"; accepted are "clockwise" and "counterclockwise"')
    return SPINS[spin]


def axial_inflow(rotor: Rotor, speed: float, incidence: float = 0.0, n_azimuth: int = 1) -> Array:
    """(3, n_azimuth, n_radial) uniform stream of `speed` (m/s) at a nose-up `incidence` (rad)."""
    components = np.array([speed * math.cos(incidence), 0.0, speed * math.sin(incidence)])
    return np.ascontiguousarray(
        np.broadcast_to(components[:, None, None], (3, n_azimuth, len(rotor.r)))
    )


def checked_inflow(rotor: Rotor, inflow: ArrayLike) -> Array:
    """The inflow as a contiguous array of the right shape, finite: (3, n_azimuth, n_radial), m/s.

    Raises:
        InputError: wrong shape, or a value that is not finite.
    """
    values = np.ascontiguousarray(inflow, dtype=np.float64)
    if not values.flags.writeable:
        values = values.copy()  # another array type to numba: it would compile once more
    if values.ndim != 3 or values.shape[0] != 3 or values.shape[2] != len(rotor.r):
        raise InputError(
            f"rotor inflow: found shape {values.shape}; accepted is (3, n_azimuth, {len(rotor.r)})"
        )
    if not np.isfinite(values).all():
        raise InputError("rotor inflow: found a velocity that is not finite")
    return values


def integrated_loads(
    rotor: Rotor,
    air: AirState,
    omega: float,
    pitch: float,
    sign: float,
    inflow: Array,
    xtol: float,
) -> tuple[Array, Array]:
    """The kernel's sums and radial fields for a checked inflow; the inner call of every solve.

    omega: rad/s. pitch: rad. sign: of `spin_sign`. inflow: (3, n_azimuth, n_radial) m/s, of
    `checked_inflow`. xtol: of the inflow angle, rad. Returns (N_SUMS,) and (N_RADIAL_FIELDS,
    n_radial) in the kernel's order, SI.

    Raises:
        SolveError: an element's equations did not close.
    """
    parts = np.empty((len(rotor.r) + 1, kernel.N_SUMS))
    radial = np.empty((kernel.N_RADIAL_FIELDS, len(rotor.r)))
    elements = inflow.shape[1] * inflow.shape[2]
    several = elements >= PARALLEL_FROM and cores_free()
    (kernel.rotor_annuli if several else kernel.rotor_loads)(
        inflow,
        rotor.geometry,
        rotor.stations,
        rotor.polars,
        rotor.peaks,
        rotor.log_reynolds,
        float(rotor.blades),
        float(omega),
        float(pitch),
        sign,
        float(air.density),
        float(air.viscosity),
        float(air.speed_of_sound),
        xtol,
        parts,
        radial,
    )
    if several:
        kernel.total_loads(parts)
    sums: Array = parts[-1]
    check_closed(sums, omega, pitch)
    return sums, radial


def check_closed(sums: Array, omega: float, pitch: float) -> None:
    """Raise SolveError unless the kernel's totals say that every element's equations closed.

    sums: (N_SUMS,) of the kernel. omega: rad/s and pitch: rad, for the message.
    """
    if not (sums[kernel.WORST] <= RESIDUAL_LIMIT and math.isfinite(sums[kernel.SUM_THRUST])):
        raise SolveError(
            f"blade elements did not close at {omega / RPM:.1f} rpm and pitch "
            f"{math.degrees(pitch):.2f} deg: residual {sums[kernel.WORST]:.1e}"
        )


def solve_rotor(
    rotor: Rotor,
    air: AirState,
    omega: float,
    pitch: float,
    spin: str,
    inflow: ArrayLike,
    induction: bool = True,
) -> RotorLoads:
    """Loads of a rotor turning at `omega` in a given inflow.

    Each element at each azimuth balances its own blade force and momentum (quasi-steady). A stopped
    rotor (omega = 0) has no induction: its blades feel the inflow as it comes.

    Args:
        rotor: the rotor.
        air: density, viscosity and speed of sound.
        omega: rad/s, 0 or more.
        pitch: blade angle added to the twist, rad.
        spin: "clockwise" or "counterclockwise", seen from behind.
        inflow: (3, n_azimuth, n_radial) air velocity relative to the disc at the elements:
            downstream through the disc, right and up, m/s, without the rotor's own induction.
        induction: False leaves the rotor's own induction out.

    Raises:
        InputError: an argument outside its range.
        SolveError: an element's equations did not close.

    Source: Glauert (1935), "Airplane Propellers", in Durand, "Aerodynamic Theory" IV, division L.
    """
    if not 0.0 <= omega < math.inf or not math.isfinite(pitch):
        raise InputError(
            f"rotor: found omega {omega:g} rad/s and pitch {pitch:g} rad; accepted are finite "
            "values, omega 0 or more"
        )
    values = checked_inflow(rotor, inflow)
    tolerance = ANGLE_TOLERANCE if induction else 0.0
    sums, radial = integrated_loads(rotor, air, omega, pitch, spin_sign(spin), values, tolerance)
    return packed_loads(rotor, omega, pitch, sums, radial)


def azimuth_loads(
    rotor: Rotor, air: AirState, omega: float, pitch: float, spin: str, inflow: ArrayLike
) -> Array:
    """(3, n_azimuth) thrust (N), torque (N m) and root flap moment (N m) of one blade on its way.

    The flap moment is that of the thrust about the hub, tips forward positive. Quasi-steady, at the
    azimuths of `azimuths`; the mean over these times the number of blades is the rotor's.

    Arguments and errors as for `solve_rotor`; omega in rad/s, pitch in rad, inflow in m/s.
    """
    values, sign = checked_inflow(rotor, inflow), spin_sign(spin)
    psi = azimuths(values.shape[1])
    result = np.empty((3, psi.size))
    for k, angle in enumerate(psi.tolist()):
        # the flow of this station, turned to where a single one lies: at the bottom
        along = sign * math.cos(angle) * values[1, k] - math.sin(angle) * values[2, k]
        out = sign * math.sin(angle) * values[1, k] + math.cos(angle) * values[2, k]
        one = np.ascontiguousarray([values[0, k], -sign * along, -out])[:, None, :]
        sums, radial = integrated_loads(rotor, air, omega, pitch, sign, one, ANGLE_TOLERANCE)
        flap = float(np.sum(radial[kernel.THRUST] * rotor.r * rotor.dr))
        result[:, k] = sums[kernel.SUM_THRUST], sums[kernel.SUM_TORQUE], flap
    return result / rotor.blades


def packed_loads(
    rotor: Rotor, omega: float, pitch: float, sums: Array, radial: Array
) -> RotorLoads:
    """The kernel's output under its names.

    omega: rad/s. pitch: rad. sums, radial: as `integrated_loads` returns them.
    """
    totals = sums.tolist()
    torque = totals[kernel.SUM_TORQUE]
    return RotorLoads(
        omega=omega,
        pitch=pitch,
        thrust=totals[kernel.SUM_THRUST],
        torque=torque,
        power=torque * omega,
        force_right=totals[kernel.SUM_RIGHT],
        force_up=totals[kernel.SUM_UP],
        moment_right=totals[kernel.SUM_MOMENT_RIGHT],
        moment_up=totals[kernel.SUM_MOMENT_UP],
        r=rotor.r,
        dr=rotor.dr,
        axial_induced=radial[kernel.AXIAL],
        tangential_induced=radial[kernel.SWIRL],
        alpha=radial[kernel.INCIDENCE],
        phi=radial[kernel.ANGLE],
        cl=radial[kernel.LIFT],
        cd=radial[kernel.DRAG],
        reynolds=radial[kernel.REYNOLDS],
        mach=radial[kernel.MACH],
        dT_dr=radial[kernel.THRUST],
        dQ_dr=radial[kernel.TORQUE],
        loss_factor=radial[kernel.LOSS],
        residual_max=totals[kernel.WORST],
    )


def coefficients(rotor: Rotor, air: AirState, loads: RotorLoads, speed: float) -> Coefficients:
    """Propeller coefficients at the airspeed `speed` (m/s).

    Raises:
        InputError: a stopped rotor, which has none.
    """
    turns = loads.omega / (2.0 * math.pi)
    if turns <= 0.0:
        raise InputError("propeller coefficients: a stopped rotor has none; accepted is omega > 0")
    unit = air.density * turns**2 * rotor.diameter**4
    j = speed / (turns * rotor.diameter)
    ct, cq = loads.thrust / unit, loads.torque / (unit * rotor.diameter)
    cp = 2.0 * math.pi * cq
    return Coefficients(j, ct, cq, cp, j * ct / cp if cp != 0.0 else 0.0)
