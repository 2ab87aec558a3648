"""A propeller known by its table: what it does at one inflow, and the slipstream that goes with it.

Thrust and torque are the table's. How they lie along the radius it does not say; the minimum-loss
distribution (Betz 1919, with Prandtl's loss at tip and hub) at the flow through the disc is scaled
until momentum gives that thrust and angular momentum that torque, so that the swirl is exact in
the mean. Where the blades' shape is given beside the table, blade elements turned to that thrust
say how it lies; what their sections get wrong of the torque goes to the swirl of minimum loss.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from blownwing.case.units import RPM
from blownwing.errors import InputError, SolveError
from blownwing.propeller.incidence import FIN_ASPECT_RATIO
from blownwing.propeller.performance import PerformanceTable, blended, reach
from blownwing.propeller.rotor import AirState, Rotor, RotorLoads, axial_inflow
from blownwing.propeller.trim import TIP_MACH_LIMIT, trim_rotor

Array = NDArray[np.float64]

HUB_RATIO = 0.15  # hub over tip radius where the case has none; common practice, no source
_SCAN = 64
_BACKFLOW = 0.05  # J of a flow from behind that a table from J = 0 is still used for
_LOSS_FLOOR = 1e-6
_LEAST_THRUST = 1e-14
_PASSES = 100
_LIMIT_INDUCTION = 0.4  # of braking, from where momentum theory gives way to Buhl's line


@dataclass(frozen=True)
class MeasuredRotor:
    """A table with the sizes of the propeller that it stands for; lengths in m.

    shape: blades as which it is loaded along the radius; None for minimum loss.
    """

    table: PerformanceTable
    radius: float
    hub_radius: float
    blades: int
    solidity: float | None
    shape: Rotor | None = None

    @property
    def diameter(self) -> float:
        """m."""
        return 2.0 * self.radius


@dataclass(frozen=True)
class MeasuredLoads:
    """Loads of a measured propeller; arrays over its annuli.

    Attributes:
        omega: rad/s. pitch: blade angle as in the table, rad. thrust: N. torque: N m. power: W.
        force_right, force_up: in-plane force on the disc, N; 0 without a solidity.
        axial: induced axial speed at the disc, m/s. tangential: induced there, m/s; twice behind.
        beyond: rotor speed (or Reynolds number) over the table's nearest; None where it has none.
        turned: angle by which the shape's blades were turned to give the thrust, rad; or None.
    """

    omega: float
    pitch: float
    thrust: float
    torque: float
    power: float
    force_right: float
    force_up: float
    axial: Array
    tangential: Array
    beyond: float | None
    turned: float | None = None


def measured_loads(
    rotor: MeasuredRotor,
    air: AirState,
    inflow: Array,
    edges: Array,
    *,
    omega: float = 0.0,
    pitch: float = 0.0,
    thrust: float | None = None,
    power: float | None = None,
    vary: str = "rpm",
    guess: float | None = None,
) -> MeasuredLoads:
    """Loads of a measured propeller at a mean inflow, trimmed where thrust or power is given.

    Args:
        rotor: table and sizes.
        air: density, viscosity and speed of sound.
        inflow: (3,) mean onset velocity, downstream, right and up, m/s.
        edges: (n + 1,) radii between the annuli, m; the shape's own, where there is one.
        omega: rad/s; given, or held while pitch varies.
        pitch: blade angle as in the table, deg; held while the rotor speed varies.
        thrust, power: one of them is met, N or W; neither takes omega and pitch as they are.
        vary: "rpm" or "pitch", what reaches thrust or power.
        guess: `turned` of a neighbouring state.

    Raises:
        InputError: a blade angle that the table does not reach.
        SolveError: the table does not reach the state, or nowhere the thrust or power.
    """
    table, diameter = rotor.table, rotor.diameter
    speed = _axial(table, float(inflow[0]))

    def state(omega: float, pitch: float) -> tuple[float, float]:
        """CT and CP, or SolveError."""
        return table.coefficients(
            speed / (omega / (2.0 * math.pi) * diameter),
            table_level(rotor, air, speed, omega),
            pitch,
        )

    if thrust is not None or power is not None:
        quantity, target = ("thrust", thrust) if thrust is not None else ("power", power)
        value = _dimensional(rotor, air, speed, quantity)
        if vary == "pitch":
            pitch = _trimmed_pitch(rotor, value, omega, float(target or 0.0), quantity)
        else:
            omega = _trimmed_speed(rotor, air, value, speed, pitch, float(target or 0.0), quantity)
    if not omega > 0.0:
        raise SolveError("a table over J knows no stopped propeller; the rotor speed found is 0")
    if speed - float(inflow[0]) > _BACKFLOW * omega / (2.0 * math.pi) * diameter:
        raise SolveError(
            f"the flow comes from behind at {-float(inflow[0]):.3g} m/s; the table {table.name} "
            "starts at J = 0"
        )
    ct, cp = state(omega, pitch)
    turns = omega / (2.0 * math.pi)
    unit = air.density * turns**2 * diameter**4
    push, torque = ct * unit, cp * unit * diameter / (2.0 * math.pi)
    turned, own = None, 0.0
    if rotor.shape is not None:
        blades = _shaped(rotor.shape, air, speed, omega, push, guess)
        turned, own = blades.pitch, blades.torque
    axial, tangential = loading(
        edges, rotor.hub_radius, rotor.blades, speed, omega, push, torque - own, air.density
    )
    if rotor.shape is not None:
        axial, tangential = blades.axial_induced, blades.tangential_induced + tangential
    slope = _normal_slope(rotor, air, speed, push, pitch)
    level = table_level(rotor, air, speed, omega)
    return MeasuredLoads(
        omega=omega,
        pitch=math.radians(pitch),
        thrust=push,
        torque=torque,
        power=torque * omega,
        force_right=slope * float(inflow[1]),
        force_up=slope * float(inflow[2]),
        axial=axial,
        tangential=tangential,
        beyond=_beyond(table, level, pitch),
        turned=turned,
    )


def _shaped(
    shape: Rotor, air: AirState, speed: float, omega: float, thrust: float, guess: float | None
) -> RotorLoads:
    """Blade elements of a shape, turned so that they give a thrust."""
    inflow = axial_inflow(shape, speed)
    try:
        return trim_rotor(shape, air, inflow, thrust, "thrust", "pitch", guess, omega=omega)[2]
    except SolveError as error:
        raise SolveError(
            f"the blades of its shape do not reach the table's thrust: {error}; leave shape out "
            "for the loading of minimum loss"
        ) from None


def _axial(table: PerformanceTable, speed: float) -> float:
    """Axial inflow, m/s: next to a wing at rest a little may come from behind, taken as none."""
    return speed if table.advance_range[0] < 0.0 else max(speed, 0.0)


def table_level(rotor: MeasuredRotor, air: AirState, speed: float, omega: float) -> float:
    """What the table's curves are told apart by: 1/min, the Reynolds number at 3/4 radius, or 1.

    speed: through the disc, m/s. omega: rad/s.
    """
    if rotor.table.by == "rpm":
        return omega / RPM
    if rotor.table.by == "reynolds" and rotor.table.chord is not None:
        relative = math.hypot(speed, 0.75 * omega * rotor.radius)
        return air.density * relative * rotor.table.chord * rotor.radius / air.viscosity
    return 1.0


def _beyond(table: PerformanceTable, level: float, pitch: float) -> float | None:
    if not table.by:
        return None
    index = 0
    if table.pitches:
        index = int(np.argmin(np.abs(np.array(table.pitches) - pitch)))
    levels = [curve.level for curve in table.families[index]]
    return level / min(max(level, levels[0]), levels[-1])


def _dimensional(
    rotor: MeasuredRotor, air: AirState, speed: float, quantity: str
) -> Callable[[float, float], float | None]:
    """Thrust (N) or power (W) at a rotor speed (rad/s) and pitch (deg); None beyond the table."""
    pick, order = (0, 2) if quantity == "thrust" else (1, 3)

    def value(omega: float, pitch: float) -> float | None:
        turns = omega / (2.0 * math.pi)
        advance = speed / (turns * rotor.diameter)
        parts = rotor.table.blend(table_level(rotor, air, speed, omega), pitch)
        low, high = reach(parts)
        if not low - 1e-12 <= advance <= high + 1e-12:
            return None
        unit = air.density * turns**order * rotor.diameter ** (4 if pick == 0 else 5)
        return unit * blended(parts, advance)[pick]

    return value


def _trimmed_speed(
    rotor: MeasuredRotor,
    air: AirState,
    value: Callable[[float, float], float | None],
    speed: float,
    pitch: float,
    target: float,
    quantity: str,
) -> float:
    """Rotor speed, rad/s, at the first upward crossing of the target from below."""
    limit = TIP_MACH_LIMIT * air.speed_of_sound
    fastest = math.sqrt(max(limit**2 - speed**2, 0.0)) / rotor.radius
    low, high = rotor.table.advance_range
    slowest = 1e-3 * fastest
    around = 2.0 * math.pi / rotor.diameter
    if speed > 0.0:
        if high <= 0.0:
            raise SolveError(f"the table {rotor.table.name} ends at J = {high:g}")
        slowest = speed / high * around
        fastest = min(fastest, speed / low * around) if low > 0.0 else fastest
    elif speed < 0.0:
        slowest = max(slowest, speed / low * around)
    if not slowest < fastest:
        raise SolveError(
            f"at {speed:.4g} m/s the table {rotor.table.name}, which goes to J = {high:.4g}, needs "
            f"a tip beyond Mach {TIP_MACH_LIMIT}"
        )
    grid = np.geomspace(slowest, fastest, _SCAN).tolist()
    words = f"varying rpm at {speed:.4g} m/s"
    return _first_crossing(lambda x: value(x, pitch), grid, target, quantity, words, _rpm)


def _trimmed_pitch(
    rotor: MeasuredRotor,
    value: Callable[[float, float], float | None],
    omega: float,
    target: float,
    quantity: str,
) -> float:
    """Blade angle, deg, at the first upward crossing of the target from fine pitch."""
    if len(rotor.table.pitches) < 2:
        raise InputError(
            f'{rotor.table.name}: found one blade angle; accepted with trim = "pitch" is a table '
            "with a column pitch and two or more"
        )
    low, high = rotor.table.pitches[0], rotor.table.pitches[-1]
    grid = np.linspace(low, high, _SCAN).tolist()
    words = f"varying pitch at {_rpm(omega)}"
    return _first_crossing(
        lambda x: value(omega, x), grid, target, quantity, words, lambda x: f"{x:.1f} deg"
    )


def _rpm(omega: float) -> str:
    return f"{omega / RPM:.0f} rpm"


def _first_crossing(
    function: Callable[[float], float | None],
    grid: Sequence[float],
    target: float,
    quantity: str,
    words: str,
    place: Callable[[float], str],
) -> float:
    """Where a function that may be undefined first rises through a target, from below."""
    from scipy.optimize import brentq

    points = _defined(function, grid)
    if not points:
        raise SolveError(f"the table does not reach any state by {words}")
    for (x, y), (x1, y1) in pairwise(points):
        if y < target <= y1 or y == target <= y1:
            root = brentq(lambda s: _known(function, s) - target, x, x1, xtol=1e-15, rtol=1e-14)
            return float(root)
    low = max(y for _, y in points) < target
    at, best = (max if low else min)(points, key=lambda p: p[1])
    unit = "N" if quantity == "thrust" else "W"
    raise SolveError(
        f"{quantity} of {target:.4g} {unit} cannot be reached by {words}: the "
        f"{'largest' if low else 'smallest'} {quantity} in the table is {best:.4g} {unit}, at "
        f"{place(at)}; it is not extrapolated"
    )


def _known(function: Callable[[float], float | None], x: float) -> float:
    value = function(x)
    if value is None:
        raise SolveError("the table has a gap in its advance ratios where it is needed")
    return value


def _defined(
    function: Callable[[float], float | None], grid: Sequence[float]
) -> list[tuple[float, float]]:
    """Points of a grid where a function is defined, and the ends of where it is."""
    found: list[tuple[float, float]] = []
    before: tuple[float, float | None] | None = None
    for x in grid:
        y = function(x)
        if before is not None and (y is None) != (before[1] is None):
            inside, outside = (x, before[0]) if before[1] is None else (before[0], x)
            for _ in range(50):
                middle = 0.5 * (inside + outside)
                if function(middle) is None:
                    outside = middle
                else:
                    inside = middle
            found.append((inside, _known(function, inside)))
        if y is not None:
            found.append((x, y))
        before = (x, y)
    return found


def loading(
    edges: Array,
    hub: float,
    blades: int,
    speed: float,
    omega: float,
    thrust: float,
    torque: float,
    density: float,
) -> tuple[Array, Array]:
    """Induced axial and tangential speeds at the disc (annulus means), m/s, of a thrust and torque.

    Args:
        edges: (n + 1,) radii between annuli, m. hub: its radius, m. blades: number.
        speed: through the undisturbed disc, m/s. omega: rad/s, above 0.
        thrust: N. torque: N m. density: kg/m³.

    The blade meets u = s cos²φ and v = k sin φ cos φ, tan φ = (V + s)/Ωr (s: half of the wake's
    displacement velocity); with Prandtl's F, s and k follow from T = Σ 4πρ r F (V + u) u Δr and
    Q = Σ 4πρ r² F (V + u) v Δr. Blades without drag have k = s. When it brakes, u is that of the
    uniform disc in the mean, by Buhl's line beyond the reach of momentum theory.

    Sources: Betz (1919), "Schraubenpropeller mit geringstem Energieverlust", with Prandtl's
    appendix; Glauert (1935), in Durand, "Aerodynamic Theory" IV, division L; Buhl (2005),
    NREL/TP-500-36834.
    """
    r, dr = 0.5 * (edges[1:] + edges[:-1]), np.diff(edges)
    radius = float(edges[-1])
    area = math.pi * (radius**2 - float(edges[0]) ** 2)
    # turning blades leave a stream at no thrust too; an increment of exactly 0 stands for none
    least = _LEAST_THRUST * density * area * (speed**2 + (omega * radius) ** 2)
    thrust = math.copysign(max(abs(thrust), least), thrust)
    uniform = _uniform_induction(thrust / (density * area), speed)
    screw = thrust > 0.0 and speed >= 0.0
    half = uniform  # of the displacement velocity of the wake's sheets, m/s
    for _ in range(_PASSES):
        through = max(abs(speed + half), 1e-6 * omega * radius)
        phi = np.arctan2(through, omega * r)
        sine, cosine = np.sin(phi), np.cos(phi)
        exponent = 0.5 * blades / sine
        loss = np.arccos(np.exp(-exponent * (radius - r) / r)) * (2.0 / math.pi)
        if hub > 0.0:
            loss *= np.arccos(np.exp(-exponent * (r - hub) / hub)) * (2.0 / math.pi)
        loss = np.maximum(loss, _LOSS_FLOOR)
        weight = 4.0 * math.pi * density * r * dr * loss
        shape = cosine**2
        if not screw:
            scale = uniform / float(2.0 * math.pi * r * dr / area @ (loss * shape))
            break
        bend, fall = float(np.sum(weight * shape**2)), float(weight @ shape) * speed
        scale = 2.0 * thrust / (fall + math.sqrt(fall**2 + 4.0 * bend * thrust))
        change, half = abs(scale - half), scale
        if change <= 1e-13 * scale:
            break
    axial = scale * shape
    flux = weight * np.abs(speed + axial)
    turn = sine * cosine
    moment = float(np.sum(flux * r * turn))
    tangential = torque / moment * turn if moment != 0.0 else np.zeros_like(turn)
    return loss * axial, loss * tangential


def _uniform_induction(loading: float, speed: float) -> float:
    """Induced speed of the uniform disc, m/s, of T/ρA (m²/s²) at an axial speed.

    Thrust against the flow (from behind, or in reverse from ahead) has no steady state in momentum
    theory; the static one serves.
    """
    if loading < 0.0 < speed:
        return -_braking_induction(-2.0 * loading, speed)
    along = max(math.copysign(1.0, loading) * speed, 0.0)
    size = abs(loading)
    root = math.sqrt(0.25 * along**2 + 0.5 * size)
    return math.copysign(0.5 * size / (root + 0.5 * along), loading) if size > 0.0 else 0.0


def _braking_induction(drag: float, speed: float) -> float:
    """Slow-down aV at the disc, m/s, of a braking disc of drag D/½ρA (m²/s²).

    Momentum's D/qA = 4a(1 − a) up to a = 0.4, then 8/9 − 4a/9 + 14a²/9 (Buhl 2005, with F = 1).
    """
    if drag <= 4.0 * _LIMIT_INDUCTION * (1.0 - _LIMIT_INDUCTION) * speed**2:
        return 0.5 * drag / (speed + math.sqrt(speed**2 - drag))
    return (2.0 * speed + math.sqrt(126.0 * drag - 108.0 * speed**2)) / 14.0


def _normal_slope(
    rotor: MeasuredRotor, air: AirState, speed: float, thrust: float, pitch: float
) -> float:
    """In-plane force per cross-flow, N per m/s, of the fin that stands for the blades.

    Its side area is half of ∫ B c sin β dr, of an even chord on a helix of constant pitch, that of
    the table's J of no thrust: ½ σ A times the mean of sin β; it grows with thrust by the inflow
    factor and falls with solidity. 0 without a solidity.

    Sources: Ribner (1945), "Propellers in Yaw", NACA TR 820 (side area, aspect ratio 8); de Young
    (1965), "Propeller at High Incidence", Journal of Aircraft 2(3) (inflow factor; 1/(1 + 2σ), from
    memory).
    """
    if rotor.solidity is None:
        return 0.0
    lead = max(rotor.table.zero_thrust_at(pitch), 0.0) / math.pi
    hub = rotor.hub_radius / rotor.radius
    # mean of sin β with tan β = lead/x over x from the hub to 1
    sine = lead * (math.asinh(1.0 / lead) - math.asinh(hub / lead)) / (1.0 - hub) if lead else 0.0
    area = math.pi * rotor.radius**2
    lift = 2.0 * math.pi * FIN_ASPECT_RATIO / (FIN_ASPECT_RATIO + 2.0)
    flow = abs(speed)
    tau = max(2.0 * thrust / (air.density * area), -0.99 * flow**2)
    # the factor of `inflow_factor` times V, in the form that has a limit at rest
    factor = flow + 0.5 * (math.sqrt(flow**2 + tau) - flow)
    if tau != 0.0:
        factor += flow * tau / (4.0 * (2.0 * flow**2 + tau))
    side = 0.5 * rotor.solidity / (1.0 + 2.0 * rotor.solidity) * sine
    return factor * lift * side * 0.5 * air.density * area
