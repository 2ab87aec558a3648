"""The minimum-loss loading of a propeller, after Adkins & Liebeck, in dimensionless form.

Adkins & Liebeck (1994), "Design of Optimum Propellers", Journal of Propulsion and Power 10(5),
676-682: Betz's condition (the vortex sheets move back like a rigid screw), Prandtl's tip loss taken
with the tip's flow angle, and the drag of the sections. Their symbols are kept: ξ = r/R,
λ = V/ΩR, ζ the displacement velocity over V, G the circulation function, ε = cd/cl.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blownwing.errors import InputError, SolveError

Array = NDArray[np.float64]

_STEPS = 200


@dataclass(frozen=True)
class MinimumLoss:
    """The loading; arrays over `radius`.

    Attributes:
        displacement: ζ. thrust: Tc = 2T/ρV²πR². power: Pc = 2P/ρV³πR². efficiency: Tc/Pc.
        radius: ξ. phi: flow angle to the disc plane, rad. loss: Prandtl's F.
        axial: a = u/V at the blade. tangential: a' = v/Ωr at the blade.
        chord_lift: c cl/R.
        speed: resultant W/V.
    """

    displacement: float
    thrust: float
    power: float
    radius: Array
    phi: Array
    loss: Array
    axial: Array
    tangential: Array
    chord_lift: Array
    speed: Array

    @property
    def efficiency(self) -> float:
        """Tc/Pc."""
        return self.thrust / self.power


def minimum_loss(
    radius: ArrayLike,
    advance: float,
    blades: float,
    glide: ArrayLike = 0.0,
    *,
    thrust: float | None = None,
    power: float | None = None,
    local_loss: bool = False,
) -> MinimumLoss:
    """The loading that gives a thrust, or absorbs a power, with least loss.

    Args:
        radius: (n,) ξ from the hub to 1, increasing.
        advance: λ = V/ΩR.
        blades: number of blades; `math.inf` for no tip loss.
        glide: ε = cd/cl, a number or (n,).
        thrust, power: one of Tc and Pc.
        local_loss: False takes F as the source, of the tip and with the tip's flow angle; True as
            the blade-element solver has it, of tip and hub with the local one.

    Raises:
        InputError: both or neither of thrust and power, or an argument outside its range.
        SolveError: more thrust or power than the theory's disc can take up.

    Source: Adkins & Liebeck (1994), "Design of Optimum Propellers", the relations for G, Wc, a, a',
    I', J' and ζ.
    """
    xi = np.asarray(radius, dtype=np.float64)
    if (thrust is None) == (power is None):
        raise InputError("propeller design: accepted is exactly one of thrust and power")
    wanted = thrust if thrust is not None else power
    if wanted is None or not 0.0 < wanted < math.inf or not 0.0 < advance < math.inf:
        raise InputError(
            "propeller design: accepted are a thrust or power, an airspeed and a rotor speed "
            "above 0"
        )
    if xi.ndim != 1 or len(xi) < 3 or xi[0] <= 0.0 or np.any(np.diff(xi) <= 0.0):
        raise InputError("propeller design: radii must be above 0 and increase to 1")
    eps = np.broadcast_to(np.asarray(glide, dtype=np.float64), xi.shape)
    zeta = _displacement(xi, advance, blades, eps, local_loss, thrust is not None, wanted)
    i1, i2, j1, j2 = _integrals(xi, advance, blades, eps, zeta, local_loss)
    phi, loss, g = _circulation(xi, advance, blades, zeta, local_loss)
    tangent = np.tan(phi)
    less, more = 1.0 - eps * tangent, 1.0 + eps / tangent
    a = 0.5 * zeta * np.cos(phi) ** 2 * less
    swirl = 0.5 * zeta * advance / xi * np.cos(phi) * np.sin(phi) * more
    speed = (1.0 + a) / np.sin(phi)
    finite = blades if math.isfinite(blades) else 1.0  # then c cl of all blades together
    return MinimumLoss(
        displacement=zeta,
        thrust=i1 * zeta - i2 * zeta**2,
        power=j1 * zeta + j2 * zeta**2,
        radius=xi,
        phi=phi,
        loss=loss,
        axial=a,
        tangential=swirl,
        chord_lift=4.0 * math.pi * advance * g * zeta / (finite * speed),
        speed=speed,
    )


def _displacement(
    xi: Array,
    advance: float,
    blades: float,
    eps: Array,
    local_loss: bool,
    by_thrust: bool,
    wanted: float,
) -> float:
    """ζ at which the thrust, or the power, is what is wanted."""
    zeta = 0.0
    for _ in range(_STEPS):
        i1, i2, j1, j2 = _integrals(xi, advance, blades, eps, zeta, local_loss)
        if by_thrust:
            # ζ = I1/2I2 − √((I1/2I2)² − Tc/I2), the smaller root in its stable form
            under = i1 * i1 - 4.0 * i2 * wanted
            if under <= 0.0:
                raise SolveError(
                    f"propeller design: the thrust coefficient T/qA of {wanted:.4g} exceeds what "
                    f"this rotor speed and radius can give ({i1 * i1 / (4.0 * i2):.4g}); more rpm, "
                    "more diameter or less thrust is needed"
                )
            new = 2.0 * wanted / (i1 + math.sqrt(under))
        else:
            new = 2.0 * wanted / (j1 + math.sqrt(j1 * j1 + 4.0 * j2 * wanted))
        change, zeta = abs(new - zeta), new
        if change <= 1e-13 * zeta:
            break
    else:
        raise SolveError(
            f"propeller design did not converge: the displacement velocity still changes by "
            f"{change:.1e}"
        )
    return zeta


def _circulation(
    xi: Array, advance: float, blades: float, zeta: float, local_loss: bool
) -> tuple[Array, Array, Array]:
    """φ, F and G = F x cos φ sin φ with x = ξ/λ."""
    at_tip = advance * (1.0 + 0.5 * zeta)
    phi = np.arctan(at_tip / xi)
    if math.isinf(blades):
        loss = np.ones_like(xi)
    else:
        sine: Array | float = at_tip / math.sqrt(1.0 + at_tip**2)
        if local_loss:
            sine = xi * np.sin(phi)
        loss = 2.0 / math.pi * np.arccos(np.exp(-0.5 * blades * (1.0 - xi) / sine))
        if local_loss:
            exponent = 0.5 * blades * (xi - xi[0]) / (xi[0] * np.sin(phi))
            loss *= 2.0 / math.pi * np.arccos(np.exp(-exponent))
    return phi, loss, loss * xi / advance * np.cos(phi) * np.sin(phi)


def _integrals(
    xi: Array, advance: float, blades: float, eps: Array, zeta: float, local_loss: bool
) -> tuple[float, float, float, float]:
    """I1, I2, J1 and J2."""
    phi, _, g = _circulation(xi, advance, blades, zeta, local_loss)
    tangent = np.tan(phi)
    less, more = 1.0 - eps * tangent, 1.0 + eps / tangent
    i1 = 4.0 * xi * g * less
    i2 = advance * 0.5 * i1 / xi * more * np.sin(phi) * np.cos(phi)
    j1 = 4.0 * xi * g * more
    j2 = 0.5 * j1 * less * np.cos(phi) ** 2
    values = [float(np.sum(0.5 * (f[1:] + f[:-1]) * np.diff(xi))) for f in (i1, i2, j1, j2)]
    return values[0], values[1], values[2], values[3]
