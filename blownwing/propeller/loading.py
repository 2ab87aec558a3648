"""Loadings with an even axial velocity, at least power, in blade-element momentum theory.

Every annulus is free to take any induced velocity u; thrust and power follow from it. The loading
that gives a thrust with least power, while its azimuth-mean axial velocity F u strays little from
its mean over the disc, makes stationary

    Σ dP − λ Σ dT + μ ρ Σ (V + w̄)(F u − w̄)² dA,

an independent search in every annulus once λ (which sets the thrust) and μ (which sets the
evenness) are known. μ = 0 is the propeller of least power; μ → ∞ an even slipstream.

Behind the disc the increment of every annulus grows with distance by one common factor (the
slipstream model's), so evenness at the disc is evenness at the wing.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blownwing.errors import SolveError

Array = NDArray[np.float64]

_CHOICES = 401  # trial velocities of each annulus
# Times the ideal disc's velocity: at root and tip, where the loss factor vanishes, more would buy
# hardly any evenness for much chord.
_REACH = 6.0
_SWIRL_SHARE = 0.85  # of the largest velocity that the swirl allows
_LOSS_FLOOR = 0.01
_STIFFEST = 1e5
_CLOSE = 1e-4  # how closely the evenness asked for is used up


@dataclass(frozen=True)
class Annuli:
    """A rotor's annuli in axial flow: edges (n + 1,) and hub in m, omega in rad/s, SI."""

    edges: Array
    hub: float
    blades: int
    omega: float
    airspeed: float
    density: float

    @property
    def r(self) -> Array:
        """Mid radii, m."""
        middles: Array = 0.5 * (self.edges[1:] + self.edges[:-1])
        return middles

    @property
    def dr(self) -> Array:
        """Widths, m."""
        return np.diff(self.edges)


@dataclass(frozen=True)
class AnnulusFlow:
    """Flow and loads of the annuli, arrays of one common shape.

    Attributes:
        axial, tangential: induced velocities at the blade, m/s. phi: rad. loss: F.
        thrust, power: of each annulus, N and W. chord_lift: c·cl of one blade, m.
    """

    axial: Array
    tangential: Array
    phi: Array
    loss: Array
    thrust: Array
    power: Array
    chord_lift: Array

    @property
    def total_thrust(self) -> float:
        """N."""
        return float(np.sum(self.thrust))

    @property
    def total_power(self) -> float:
        """W."""
        return float(np.sum(self.power))


def annulus_flow(annuli: Annuli, axial: Array, glide: Array) -> AnnulusFlow:
    """What annuli do at given induced axial velocities.

    Args:
        annuli: the rotor.
        axial: (n,) or (n, m) induced velocity at the blade, m/s, 0 or more.
        glide: (n,) cd/cl.

    The force of a section inclined by atan(cd/cl) gives v = u tan(φ + atan ε), a quadratic for v;
    thrust and torque are the momentum's, with Prandtl's tip and hub loss at the local angle, all as
    the blade-element solver has them (Glauert 1935, in Durand, "Aerodynamic Theory" IV, L).
    """
    column = (slice(None),) + (None,) * (axial.ndim - 1)
    r, dr, eps = annuli.r[column], annuli.dr[column], glide[column]
    v0, spin = annuli.airspeed, annuli.omega * r
    half = 0.5 * (spin - eps * v0)
    under = half**2 - axial * (v0 + axial + eps * spin)
    tangential = half - np.sqrt(np.maximum(under, 0.0))  # see `swirl_limit`
    through, along = v0 + axial, spin - tangential
    phi = np.arctan2(through, along)
    sine = np.maximum(np.sin(phi), 1e-9)
    radius = annuli.edges[-1]
    exponent = 0.5 * annuli.blades / sine
    loss = _prandtl(exponent * (radius - r) / r)
    if annuli.hub > 0.0:
        loss = loss * _prandtl(exponent * (r - annuli.hub) / annuli.hub)
    loss = np.maximum(loss, _LOSS_FLOOR)
    flow = 4.0 * math.pi * annuli.density * r * loss * through * dr
    speed = np.hypot(through, along)
    normal = np.cos(phi) - eps * sine
    lift = 8.0 * math.pi * r * loss * sine * axial / (annuli.blades * speed * normal)
    return AnnulusFlow(
        axial=axial,
        tangential=tangential,
        phi=phi,
        loss=loss,
        thrust=flow * axial,
        power=flow * tangential * r * annuli.omega,
        chord_lift=lift,
    )


def swirl_limit(annuli: Annuli, glide: Array) -> Array:
    """(n,) largest induced axial velocity, m/s, at which the quadratic for v still has a root.

    Beyond it the swirl that goes with the thrust would outrun the blade: a slowly moving root
    cannot take up any load one likes. glide: (n,) cd/cl. The quadratic is that of `annulus_flow`.
    """
    spin = annuli.omega * annuli.r
    half, flow = 0.5 * (spin - glide * annuli.airspeed), 0.5 * (annuli.airspeed + glide * spin)
    limit: Array = np.where(half > 0.0, np.sqrt(flow**2 + half**2) - flow, 0.0)
    return limit


def _prandtl(exponent: Array) -> Array:
    factor: Array = 2.0 / math.pi * np.arccos(np.exp(-exponent))
    return factor


def unevenness(increment: Array, r: Array, edges: Array | None = None) -> float:
    """Standard deviation over the disc of an axial velocity increment, over its mean.

    Args:
        increment: (n,) azimuth means at `r`, m/s.
        r: (n,) m; between them the increment is linear when `edges` are not given.
        edges: (n + 1,) m, of annuli with a constant increment.
    """
    if edges is not None:
        weights = np.diff(edges**2)
        mean = float(np.sum(weights * increment) / np.sum(weights))
        spread = float(np.sum(weights * (increment - mean) ** 2) / np.sum(weights))
        return math.sqrt(spread) / mean
    fine = np.linspace(r[0], r[-1], 4001)
    middles = 0.5 * (fine[1:] + fine[:-1])
    return unevenness(np.interp(middles, r, increment), middles, fine)


def even_loading(
    annuli: Annuli,
    glide: Array,
    evenness: float,
    most: float = math.inf,
    *,
    thrust: float | None = None,
    power: float | None = None,
) -> AnnulusFlow:
    """The loading of least power for a thrust (or most thrust for a power) and an evenness.

    Args:
        annuli: the rotor.
        glide: (n,) cd/cl.
        evenness: largest `unevenness` allowed.
        most: largest c·cl of a blade, m; annuli that would need more are held there.
        thrust, power: one of them, N or W.

    Raises:
        SolveError: neither the target nor the evenness can be met.
    """
    search = _Search(annuli, glide, most, thrust, power)
    flow = search.loading(0.0)
    low, f_low = 0.0, search.unevenness(flow) - evenness
    if f_low <= 0.0:
        return flow
    high = 1.0
    flow = search.loading(high)
    f_high = search.unevenness(flow) - evenness
    while f_high > 0.0:
        low, f_low, high = high, f_high, 4.0 * high
        if high > _STIFFEST:
            raise SolveError(
                f"propeller design: an axial velocity within {evenness:.1%} of its mean is wanted; "
                f"these blades reach {f_high + evenness:.1%} at best"
            )
        flow = search.loading(high)
        f_high = search.unevenness(flow) - evenness
    # false position with halved weights, until the evenness asked for is met closely from inside
    for step in range(60):
        if f_high >= -_CLOSE * evenness:
            break
        middle = high - f_high * (high - low) / (f_high - f_low)
        if step % 3 == 2 or not low < middle < high:
            middle = 0.5 * (low + high)
        trial = search.loading(middle)
        value = search.unevenness(trial) - evenness
        if value <= 0.0:
            high, f_high, f_low, flow = middle, value, 0.5 * f_low, trial
        else:
            low, f_low, f_high = middle, value, 0.5 * f_high
    return flow


def valued_loading(
    annuli: Annuli,
    glide: Array,
    worth: Array,
    most: float = math.inf,
    *,
    thrust: float | None = None,
    power: float | None = None,
) -> AnnulusFlow:
    """The loading of least power for a thrust (or power) whose newtons are not worth the same.

    Makes Σ dP − λ Σ w dT stationary: what any loading obeys that is best for thrust and for
    something else that is linear in small changes of the thrust of each annulus.

    Args:
        annuli: the rotor.
        glide: (n,) cd/cl.
        worth: (n,) w, above 0; 1 everywhere is the loading of least power.
        most: largest c·cl of a blade, m.
        thrust, power: one of them, N or W.

    Raises:
        SolveError: the target cannot be met.
    """
    return _Search(annuli, glide, most, thrust, power, worth).loading(0.0)


class _Search:
    """The table of all annuli at all trial velocities, and the choice among them."""

    def __init__(
        self,
        annuli: Annuli,
        glide: Array,
        most: float,
        thrust: float | None,
        power: float | None,
        worth: Array | None = None,
    ) -> None:
        self.annuli, self.glide = annuli, glide
        self.worth = np.ones_like(glide) if worth is None else worth
        self.target = thrust if thrust is not None else power
        self.by_power = thrust is None
        area = math.pi * (annuli.edges[-1] ** 2 - annuli.edges[0] ** 2)
        self.area = math.pi * np.diff(annuli.edges**2)
        v0 = annuli.airspeed
        if thrust is not None:
            ideal = -0.5 * v0 + math.sqrt(0.25 * v0**2 + 0.5 * thrust / (annuli.density * area))
        else:
            ideal = _ideal_velocity(power or 0.0, v0, annuli.density * area)
        self.velocities = np.linspace(0.0, _REACH * ideal, _CHOICES)
        trial = np.broadcast_to(self.velocities, (len(annuli.r), _CHOICES))
        self.table = annulus_flow(annuli, trial, glide)
        self.increment = self.table.loss * trial
        allowed = _reached(self.table.chord_lift, self.velocities, most)
        self.cap = np.minimum(allowed, _SWIRL_SHARE * swirl_limit(annuli, glide))
        trial = np.minimum(self.velocities, self.cap[:, None])
        self.table = annulus_flow(annuli, trial, glide)
        self.mean = ideal
        self.price: float | None = None

    def unevenness(self, flow: AnnulusFlow) -> float:
        return unevenness(flow.loss * flow.axial, self.annuli.r, self.annuli.edges)

    def loading(self, stiffness: float) -> AnnulusFlow:
        """The loading at a weight μ on evenness; the mean velocity is its own."""
        flow, last = self._balanced(stiffness), math.inf
        for _ in range(40):
            mean = float(np.sum(self.area * flow.loss * flow.axial) / np.sum(self.area))
            change, self.mean = abs(mean - self.mean), mean
            if stiffness == 0.0 or change <= 1e-6 * mean or change >= last:
                return flow
            last = change
            flow = self._balanced(stiffness)
        return flow

    def _balanced(self, stiffness: float) -> AnnulusFlow:
        """The loading that meets the target: a bracketed search for λ."""
        v0, density = self.annuli.airspeed, self.annuli.density
        spread = (self.increment - self.mean) ** 2 * self.area[:, None]
        cost = self.table.power + stiffness * density * (v0 + self.mean) * spread
        valued = self.worth[:, None] * self.table.thrust
        found: list[AnnulusFlow] = []

        def excess(price: float) -> float:
            axial = _least(cost - price * valued, self.velocities)
            flow = annulus_flow(self.annuli, np.minimum(axial, self.cap), self.glide)
            found[:] = [flow]
            return (flow.total_power if self.by_power else flow.total_thrust) - (self.target or 0.0)

        close = 1e-9 * (self.target or 0.0)
        if self.price is None or not excess(0.98 * self.price) < 0.0 < excess(1.02 * self.price):
            self.price = _crossing(excess, 0.0, 2.0 * (v0 + 4.0 * self.mean), close)
        else:
            self.price = _crossing(excess, 0.98 * self.price, 1.02 * self.price, close)
        return found[0]


def _reached(values: Array, velocities: Array, limit: float) -> Array:
    """(n,) velocity at which each row of `values` (n, m) first reaches a limit, or infinity."""
    over = values > limit
    k = np.maximum(np.argmax(over, axis=1), 1)
    row = np.arange(len(k))
    low, high = values[row, k - 1], values[row, k]
    share = np.where(high > low, (limit - low) / np.where(high > low, high - low, 1.0), 0.0)
    place = velocities[k - 1] + np.clip(share, 0.0, 1.0) * (velocities[1] - velocities[0])
    return np.where(over.any(axis=1), place, math.inf)


def _ideal_velocity(power: float, speed: float, flow_unit: float) -> float:
    """Induced velocity of the ideal disc that takes a power: 2ρA (V + u)² u = P, by bisection."""
    low, high = 0.0, math.cbrt(0.5 * power / flow_unit)
    for _ in range(60):
        middle = 0.5 * (low + high)
        if 2.0 * flow_unit * (speed + middle) ** 2 * middle < power:
            low = middle
        else:
            high = middle
    return high


def _least(cost: Array, velocities: Array) -> Array:
    """Where each row of `cost` (n, m) is least, by the parabola through its least three values."""
    k = np.clip(np.argmin(cost, axis=1), 1, len(velocities) - 2)
    row = np.arange(len(k))
    left, middle, right = cost[row, k - 1], cost[row, k], cost[row, k + 1]
    bend = left - 2.0 * middle + right
    shift = np.where(bend > 0.0, 0.5 * (left - right) / np.where(bend > 0.0, bend, 1.0), 0.0)
    step = velocities[1] - velocities[0]
    return np.asarray(velocities[k] + step * np.clip(shift, -1.0, 1.0))


def _crossing(error: Callable[[float], float], low: float, high: float, close: float) -> float:
    """Where a growing function vanishes; ends on an evaluation there."""
    if error(low) >= 0.0:
        return low
    for _ in range(20):
        if error(high) > 0.0:
            break
        low, high = high, 2.0 * high
    else:
        raise SolveError(
            "propeller design: the thrust or power wanted cannot be reached at this rotor speed, "
            "diameter and chord; change propeller.rpm, propeller.diameter, propeller.blades, "
            "limits.chord_most or limits.lift_coefficient_limit"
        )
    f_low, f_high = error(low), error(high)
    for step in range(200):
        x = high - f_high * (high - low) / (f_high - f_low)
        if step % 3 == 2 or not low < x < high:
            x = 0.5 * (low + high)
        value = error(x)
        if abs(value) <= close or high - low <= 1e-14 * abs(high):
            return x
        if value > 0.0:
            high, f_high, f_low = x, value, 0.5 * f_low
        else:
            low, f_low, f_high = x, value, 0.5 * f_high
    return x
