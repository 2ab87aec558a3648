"""Forces and moments of a propeller per small incidence and turning rate, as whirl flutter asks."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blownwing.errors import InputError
from blownwing.propeller.incidence import fin_slope, inflow_factor
from blownwing.propeller.rotor import (
    AirState,
    Rotor,
    RotorLoads,
    axial_inflow,
    azimuths,
    solve_rotor,
)

Array = NDArray[np.float64]

AZIMUTHS = 24
_INCIDENCE = math.radians(0.5)
_RATE = 0.01  # qR/V


@dataclass(frozen=True)
class Derivatives:
    """Derivatives of a propeller in axial flow, without units; quasi-steady, clockwise spin.

    Forces over qA, moments about the hub over qAD, with q = ½ρV² and the disc's A and D; incidence
    in rad, nose up; rate as qR/V, nose up. For sideslip turn the picture by 90°; for the other spin
    `side_*` and `yaw_*` change sign.

    Attributes:
        normal_incidence, normal_rate: of the force in the plane, up.
        side_incidence, side_rate: of the force in the plane, to the right.
        pitch_incidence, pitch_rate: of the moment, nose up.
        yaw_incidence, yaw_rate: of the moment, nose to the right.
        loading: T/qA of the state.
        ribner, de_young: normal force per incidence by their formulae.
    """

    normal_incidence: float
    side_incidence: float
    pitch_incidence: float
    yaw_incidence: float
    normal_rate: float
    side_rate: float
    pitch_rate: float
    yaw_rate: float
    loading: float
    ribner: float
    de_young: float


def derivatives(
    rotor: Rotor, air: AirState, speed: float, omega: float, pitch: float, induction: bool = True
) -> Derivatives:
    """Derivatives at a state, by central differences of the azimuth-resolved blade elements.

    Args:
        rotor, air: as for `solve_rotor`. speed: m/s, above 0. omega: rad/s. pitch: rad.
        induction: False leaves the rotor's own induction out.

    Raises:
        InputError: no airspeed.
        SolveError: an element's equations did not close.

    Source: definitions as in Houbolt & Reed (1962), "Propeller-Nacelle Whirl Flutter", Journal of
    the Aerospace Sciences 29(3) (from memory), with the disc's area and diameter for reference.
    """
    if not 0.0 < speed < math.inf:
        raise InputError(f"propeller derivatives: found {speed:g} m/s; accepted is above 0")
    area, diameter = math.pi * rotor.radius**2, rotor.diameter
    force = 0.5 * air.density * speed**2 * area

    def loads(inflow: Array) -> RotorLoads:
        return solve_rotor(rotor, air, omega, pitch, "clockwise", inflow, induction)

    def values(inflow: Array) -> Array:
        found = loads(inflow)
        return np.array(
            [
                found.force_up / force,
                found.force_right / force,
                found.moment_right / (force * diameter),
                -found.moment_up / (force * diameter),
            ]
        )

    def inclined(angle: float) -> Array:
        return axial_inflow(rotor, speed, angle, AZIMUTHS)

    def turning(rate: float) -> Array:
        # nose up: the disc's top moves downstream, and meets so much less
        inflow = axial_inflow(rotor, speed, 0.0, AZIMUTHS).copy()
        height = np.cos(azimuths(AZIMUTHS))[:, None] * rotor.r
        inflow[0] -= rate * speed / rotor.radius * height
        return inflow

    by_angle = (values(inclined(_INCIDENCE)) - values(inclined(-_INCIDENCE))) / (2.0 * _INCIDENCE)
    by_rate = (values(turning(_RATE)) - values(turning(-_RATE))) / (2.0 * _RATE)
    loading = loads(axial_inflow(rotor, speed, 0.0, AZIMUTHS)).thrust / force
    names = ("normal", "side", "pitch", "yaw")
    values_by = {f"{n}_incidence": float(v) for n, v in zip(names, by_angle, strict=True)}
    values_by |= {f"{n}_rate": float(v) for n, v in zip(names, by_rate, strict=True)}
    return Derivatives(
        **values_by,
        loading=loading,
        ribner=fin_slope(rotor, pitch, loading),
        de_young=de_young_slope(rotor, pitch, loading),
    )


def de_young_slope(rotor: Rotor, pitch: float, loading: float) -> float:
    """Normal force per rad of incidence on qA: f(Tc) 4.25 σ sin(β + 8°)/(1 + 2σ).

    β is the blade angle at three quarters of the radius, σ the solidity, here blade area over disc
    area. pitch: rad. loading: Tc = T/qA, above −1; InputError if not.

    Source: de Young (1965), "Propeller at High Incidence", Journal of Aircraft 2(3); formula from
    memory, its definition of solidity not confirmed.
    """
    angle = float(np.interp(0.75 * rotor.radius, rotor.r, rotor.twist)) + pitch
    solidity = rotor.solidity
    level = 4.25 * solidity / (1.0 + 2.0 * solidity) * math.sin(angle + math.radians(8.0))
    return inflow_factor(loading) * level
