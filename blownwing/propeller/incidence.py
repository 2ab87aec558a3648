"""A propeller at incidence by classical formulae, to hold the azimuth-resolved solve against."""

from __future__ import annotations

import math

import numpy as np

from blownwing.errors import InputError
from blownwing.propeller.rotor import Rotor

FIN_ASPECT_RATIO = 8.0


def inflow_factor(loading: float) -> float:
    """Growth of the normal force with thrust, f = 1 + (√(1 + Tc) − 1)/2 + Tc/4(2 + Tc).

    Args:
        loading: Tc = T/qA, above −1.

    Raises:
        InputError: a loading that stops the flow.

    Source: de Young, J. (1965), "Propeller at High Incidence", Journal of Aircraft 2(3); equal to
    Ribner's f(a), see `ribner_factor`.
    """
    if not loading > -1.0:
        raise InputError(f"normal force: found T/qA = {loading:g}; accepted is above -1")
    return 1.0 + 0.5 * (math.sqrt(1.0 + loading) - 1.0) + loading / (4.0 * (2.0 + loading))


def ribner_factor(induction: float) -> float:
    """f(a) = (1 + a)((1 + a) + (1 + 2a)²)/(1 + (1 + 2a)²) with a = u/V at the disc.

    induction: a, the axial velocity that the disc adds over the airspeed.

    Source: Ribner, H. S. (1945), "Propellers in Yaw", NACA TR 820.
    """
    a = induction
    far = (1.0 + 2.0 * a) ** 2
    return (1.0 + a) * ((1.0 + a) + far) / (1.0 + far)


def fin_slope(rotor: Rotor, pitch: float, loading: float) -> float:
    """Normal force per rad of incidence on qA, of a fin that stands for the propeller.

    The fin has the blades' projected side area, (B/2)∫ c sin β dr, an aspect ratio of 8 and the
    dynamic pressure at the disc: an estimate of the right order, for few narrow blades.

    Args:
        rotor: the rotor. pitch: rad. loading: Tc = T/qA.

    Raises:
        InputError: a loading of −1 or less.

    Source: Ribner (1945), "Propellers in Yaw", NACA TR 820, summary.
    """
    side = (
        0.5
        * rotor.blades
        * float(np.sum(rotor.chord * np.abs(np.sin(rotor.twist + pitch)) * rotor.dr))
    )
    slope = 2.0 * math.pi * FIN_ASPECT_RATIO / (FIN_ASPECT_RATIO + 2.0)
    return inflow_factor(loading) * slope * side / (math.pi * rotor.radius**2)
