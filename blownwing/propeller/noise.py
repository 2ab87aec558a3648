"""Rotational noise of a propeller, first order: Gutin's tones.

Gutin, L. (1936), "On the sound field of a rotating propeller", translated as NACA TM 1195 (1948).
Limits, as published: steady loading (no inflow distortion, no wake of a wing), no forward speed of
the observer's side, loads gathered at one effective radius, the far field (many diameters away, and
more than a wavelength), tip speeds below about Mach 0.9; blade thickness and broadband noise are
left out, so low tip speeds, many blades and directions near the axis come out too quiet. Indicative
only: no certification level follows from it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blownwing.errors import InputError

Array = NDArray[np.float64]

EFFECTIVE_RADIUS = 0.8  # of the tip radius, Gutin's and common practice
REFERENCE_PRESSURE = 20e-6  # Pa
HARMONICS = 10
NEAREST = 3.0  # diameters: the far field does not begin closer


@dataclass(frozen=True)
class ToneSource:
    """A propeller as it makes tones.

    Attributes:
        thrust: N. power: of the shaft, W. omega: rad/s. blades: number. diameter: m.
    """

    thrust: float
    power: float
    omega: float
    blades: int
    diameter: float


@dataclass(frozen=True)
class Tones:
    """Tones at an observer.

    Attributes:
        frequency: (m,) Hz. pressure: (m,) Pa, root mean square. level: (m,) dB re 20 µPa.
        overall: dB, of all tones together.
    """

    frequency: Array
    pressure: Array
    level: Array
    overall: float


def gutin_tones(
    source: ToneSource,
    speed_of_sound: float,
    distance: float,
    angle: float,
    harmonics: int = HARMONICS,
) -> Tones:
    """Harmonics of the blade-passing frequency in free field.

    Args:
        source: of the tones. speed_of_sound: m/s.
        distance: to the observer, m, at least 3 diameters.
        angle: from the thrust axis, forward = 0, rad.
        harmonics: number of tones.

    Raises:
        InputError: an argument outside its range, or a supersonic tip.

    Source: Gutin (1936), "On the sound field of a rotating propeller", NACA TM 1195:
    p = (m B Ω/2√2 π c s) |T cos θ − Q c/(Ω Re²)| J_mB(m B Ω Re sin θ/c), Re = 0.8 R.
    """
    amplitude = gutin_amplitudes(source, speed_of_sound, distance, angle, harmonics)
    pressure = np.abs(amplitude)
    total = float(np.sqrt(np.sum(pressure**2)))
    order = np.arange(1, harmonics + 1) * source.blades
    frequency = np.asarray(order * source.omega / (2.0 * math.pi), dtype=np.float64)
    return Tones(frequency, pressure, levels(pressure), float(levels(total)))


def gutin_amplitudes(
    source: ToneSource,
    speed_of_sound: float,
    distance: float,
    angle: float,
    harmonics: int = HARMONICS,
) -> Array:
    """Gutin's pressures (harmonics,) with their sign, root mean square, Pa.

    Arguments, errors and source as for `gutin_tones`.
    """
    from scipy.special import jv

    thrust, power, omega = source.thrust, source.power, source.omega
    blades, diameter = source.blades, source.diameter
    values = (thrust, power, omega, diameter, speed_of_sound, distance, angle)
    if not all(map(math.isfinite, values)) or blades < 1 or harmonics < 1:
        raise InputError("noise: accepted are finite values, 1 blade or more and 1 tone or more")
    if not (omega > 0.0 and diameter > 0.0 and speed_of_sound > 0.0):
        raise InputError("noise: accepted are a rotor speed, diameter and speed of sound above 0")
    if distance < NEAREST * diameter:
        raise InputError(
            f"noise: found an observer at {distance:g} m; accepted is the far field, at least "
            f"{NEAREST * diameter:g} m ({NEAREST:g} diameters)"
        )
    if 0.5 * omega * diameter >= speed_of_sound:
        raise InputError("noise: found a supersonic tip; accepted is a tip below the sound speed")
    radius = EFFECTIVE_RADIUS * 0.5 * diameter
    order = np.arange(1, harmonics + 1) * blades
    strength = thrust * math.cos(angle) - power / omega * speed_of_sound / (omega * radius**2)
    wave = order * omega / speed_of_sound
    shape = jv(order, wave * radius * math.sin(angle))
    scale = strength / (2.0 * math.sqrt(2.0) * math.pi * distance)
    return np.asarray(scale * wave * shape, dtype=np.float64)


def levels(pressure: Array | float) -> Array:
    """Sound pressure level, dB re 20 µPa, of an rms pressure (Pa); −inf dB is held at −200.

    pressure: any shape, which the result has.
    """
    floor = REFERENCE_PRESSURE * 1e-10
    result: Array = 20.0 * np.log10(np.maximum(pressure, floor) / REFERENCE_PRESSURE)
    return result
