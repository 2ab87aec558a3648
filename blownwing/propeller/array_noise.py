"""Rotational noise of several propellers with phase: what their tones add up to.

Each propeller's tones are Gutin's (see `noise`, whose limits hold). Tones of equal frequency add
with their phases: the way to the observer, the blades' position, the observer's place round the
axis against the sense of rotation. Between the best and the worst position of the blades lies a
band; where rotor speeds differ a little, phases drift through it, and the mean is the incoherent
sum. Broadband noise, reflection by the ground, shielding by the wing and forward speed are left
out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blownwing.errors import InputError
from blownwing.propeller.noise import HARMONICS, ToneSource, gutin_amplitudes, levels

Array = NDArray[np.float64]

_STARTS = 3
_SEED = 7
_ALIKE = 1e-6  # relative, of rotor speeds whose tones add with phase


@dataclass(frozen=True)
class Source(ToneSource):
    """A propeller in its place.

    Attributes:
        position: (3,) m, disc centre. axis: (3,) unit vector of the thrust.
        sense: +1 where the blades turn right-handed about the axis, else −1.
        phase: azimuth of a blade at time 0, rad, right-handed about the axis from z (or from y for
            an axis along z).
    """

    position: tuple[float, float, float]
    axis: tuple[float, float, float]
    sense: int = 1
    phase: float = 0.0


@dataclass(frozen=True)
class ArrayLevels:
    """Levels of all tones together, dB re 20 µPa.

    Attributes:
        given: at the sources' own phases. incoherent: powers added: the mean over drifting phases.
        worst, best: at the loudest and the quietest positions of the blades; `best` is the lowest
            that a search found.
    """

    given: float
    incoherent: float
    worst: float
    best: float


def array_levels(
    sources: Sequence[Source],
    observer: ArrayLike,
    speed_of_sound: float,
    harmonics: int = HARMONICS,
) -> ArrayLevels:
    """Levels at an observer, with and without phase.

    Args:
        sources: one or more. observer: (3,) m. speed_of_sound: m/s. harmonics: tones of each.

    Raises:
        InputError: no source, or one of them too near or otherwise outside `gutin_tones`.
    """
    if not sources:
        raise InputError("noise of an array: found no sources; accepted is one or more")
    given = quiet = loud = power = 0.0
    for group in _alike(sources):
        signal = complex_tones(group, observer, speed_of_sound, harmonics)
        size = np.abs(signal)
        given += float(np.sum(np.abs(signal.sum(axis=0)) ** 2))
        power += float(np.sum(size**2))
        loud += _extreme(signal, group[0].blades, -1.0)
        quiet += _extreme(signal, group[0].blades, 1.0)
    found = levels(np.sqrt(np.array([given, power, loud, quiet])))
    return ArrayLevels(*found.tolist())


def complex_tones(
    sources: Sequence[Source],
    observer: ArrayLike,
    speed_of_sound: float,
    harmonics: int = HARMONICS,
) -> NDArray[np.complex128]:
    """Complex pressures (sources, harmonics) at an observer, root mean square, Pa.

    Arguments and errors as for `array_levels`. With the time factor exp(i m B Ω t):
    p = A exp(−i m B (Ω s/c + σ (φ − ψ))), A Gutin's amplitude (`gutin_amplitudes`) with its sign,
    s the distance, φ the observer's azimuth, ψ the blade's, σ the sense.
    """
    place = np.asarray(observer, dtype=float)
    rows = []
    for source in sources:
        axis = np.asarray(source.axis, dtype=float)
        way = place - np.asarray(source.position, dtype=float)
        distance = float(np.linalg.norm(way))
        forward = float(way @ axis)
        angle = math.acos(min(max(forward / distance, -1.0), 1.0)) if distance > 0.0 else 0.0
        amplitude = gutin_amplitudes(source, speed_of_sound, distance, angle, harmonics)
        up = np.array([0.0, 0.0, 1.0] if abs(axis[2]) < 0.9 else [0.0, 1.0, 0.0])
        first = up - (up @ axis) * axis
        first /= np.linalg.norm(first)
        across = way - forward * axis
        azimuth = math.atan2(float(across @ np.cross(axis, first)), float(across @ first))
        order = np.arange(1, harmonics + 1) * source.blades
        turned = source.sense * (azimuth - source.phase)
        delay = source.omega * distance / speed_of_sound
        rows.append(amplitude * np.exp(-1j * order * (delay + turned)))
    return np.array(rows)


def _alike(sources: Sequence[Source]) -> list[list[Source]]:
    """Sources of equal rotor speed and number of blades together: only they keep a phase."""
    groups: list[list[Source]] = []
    for source in sources:
        for group in groups:
            same = abs(group[0].omega - source.omega) <= _ALIKE * source.omega
            if same and group[0].blades == source.blades:
                group.append(replace(source, omega=group[0].omega))
                break
        else:
            groups.append([source])
    return groups


def _extreme(signal: NDArray[np.complex128], blades: int, sign: float) -> float:
    """Least (sign 1) or largest (−1) sum of squared tones over the blades' positions."""
    from scipy.optimize import minimize

    count, harmonics = signal.shape
    total = float(np.sum(np.abs(signal) ** 2))
    if count == 1 or total == 0.0:
        return total
    order = blades * np.arange(1, harmonics + 1)
    scaled = signal / math.sqrt(total)

    def value(turns: Array) -> tuple[float, Array]:
        own = scaled * np.exp(1j * np.outer(np.concatenate(([0.0], turns)), order))
        tones = own.sum(axis=0)
        slope = 2.0 * np.real(np.conj(tones) * 1j * order * own)
        return sign * float(np.sum(np.abs(tones) ** 2)), sign * slope.sum(axis=1)[1:]

    random = np.random.default_rng(_SEED)
    # all in step at the first tone, and evenly apart: the two that are known to matter
    phase = np.angle(scaled[:, 0])
    aligned = (phase[0] - phase[1:]) / blades
    spread = aligned + 2.0 * math.pi / (blades * count) * np.arange(1, count)
    starts = [aligned, spread]
    starts += [random.uniform(0.0, 2.0 * math.pi / blades, count - 1) for _ in range(_STARTS)]
    found = [minimize(value, start, jac=True, method="L-BFGS-B").fun for start in starts]
    return max(sign * float(min(found)) * total, 0.0)
