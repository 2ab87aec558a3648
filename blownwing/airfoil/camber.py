"""Camber lines and what thin-airfoil theory makes of them: zero-lift angle, moment, plain flaps.

Lengths are in chords, x from the leading edge to the trailing edge; angles in radians.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blownwing.case.textfiles import input_text
from blownwing.case.units import found
from blownwing.errors import InputError

Array = NDArray[np.float64]

# NACA five-digit camber lines: position digits -> (m, k1, k2/k1) for a design lift coefficient of
# 0.3. Abbott & von Doenhoff (1959), "Theory of Wing Sections", chapter 6; reflexed lines from
# Jacobs & Pinkerton (1935), NACA Report 537. Figures from memory; tests check their outcome.
_FIVE_DIGIT: dict[str, tuple[float, float, float]] = {
    "10": (0.0580, 361.4, 0.0),
    "20": (0.1260, 51.64, 0.0),
    "30": (0.2025, 15.957, 0.0),
    "40": (0.2900, 6.643, 0.0),
    "50": (0.3910, 3.230, 0.0),
    "21": (0.1300, 51.99, 0.000764),
    "31": (0.2170, 15.793, 0.00677),
    "41": (0.3180, 6.520, 0.0303),
    "51": (0.4410, 3.191, 0.1355),
}
_ACCEPTED = '"flat", a NACA 4- or 5-digit name such as "naca2412", or a coordinate file'


@dataclass(frozen=True)
class ThinAirfoil:
    """Thin-airfoil results of a camber line: zero-lift and ideal angles (rad), cm about c/4."""

    zero_lift_angle: float
    ideal_angle: float
    quarter_chord_moment: float


def camber_slope(name: str, x_c: ArrayLike) -> Array:
    """Slope dz/dx of a camber line.

    Args:
        name: "flat", a NACA 4- or 5-digit name, or the path of a coordinate file.
        x_c: positions from the leading edge, chords, any shape, 0 to 1.

    Returns:
        dz/dx, the shape of `x_c`.

    Raises:
        InputError: unknown name, or an unreadable coordinate file.

    Source: Abbott & von Doenhoff (1959), "Theory of Wing Sections", equations 6.4 and 6.6-6.11.
    """
    slope, _ = _line(name)
    return slope(np.asarray(x_c, dtype=np.float64))


def thin_airfoil(
    name: str, flap_chord_fraction: float = 0.0, flap_deflection: float = 0.0
) -> ThinAirfoil:
    """Zero-lift angle, ideal angle and quarter-chord moment by Glauert's integrals.

    Args:
        name: as for `camber_slope`.
        flap_chord_fraction: chord of a plain flap over the whole chord, 0 (none) to below 1.
        flap_deflection: rad, trailing edge down positive.

    Raises:
        InputError: as `camber_slope`, or a flap chord outside 0 to 1.

    Source: Glauert (1926), "The Elements of Aerofoil and Airscrew Theory", chapter VII.
    """
    slope, breaks = _line(name)
    if flap_chord_fraction:
        slope = flapped_slope(slope, flap_chord_fraction, flap_deflection)
        breaks = (*breaks, 1.0 - flap_chord_fraction)
    theta, weight = _quadrature(breaks)
    s = slope(0.5 * (1.0 - np.cos(theta)))
    a0 = -np.sum(weight * s) / math.pi
    a1, a2 = (2.0 / math.pi * np.sum(weight * s * np.cos(n * theta)) for n in (1, 2))
    return ThinAirfoil(
        zero_lift_angle=float(-a0 - 0.5 * a1),
        ideal_angle=float(-a0),
        quarter_chord_moment=float(0.25 * math.pi * (a2 - a1)),
    )


def flapped_slope(
    slope: Callable[[Array], Array], chord_fraction: float, deflection: float
) -> Callable[[Array], Array]:
    """Camber slope with a plain flap turned down by `deflection` (rad) about the camber line.

    slope: from x/c to dz/dx, of any shape; chord_fraction: flap chord over chord, above 0, below 1.

    Raises:
        InputError: flap chord outside 0 to 1.
    """
    if not 0.0 < chord_fraction < 1.0:
        raise InputError(f"flap chord fraction: found {chord_fraction:g}; accepted is 0 to 1")
    hinge, turn = 1.0 - chord_fraction, math.tan(deflection)

    def turned(x_c: Array) -> Array:
        return slope(x_c) - np.where(x_c > hinge, turn, 0.0)

    return turned


def flap_effectiveness(chord_fraction: ArrayLike) -> Array:
    """Change of zero-lift angle per flap angle, dα/dδ, of a plain flap on a thin airfoil.

    chord_fraction: E, flap chord over chord, 0 to 1, any shape, which the result has.

    Source: Glauert (1927), "Theoretical relationships for an aerofoil with hinged flap", ARC
    R&M 1095: 1 − (θ − sin θ)/π with cos θ = 1 − 2(1 − E), E the flap's chord fraction.
    """
    theta = _hinge_angle(chord_fraction)
    effectiveness: Array = 1.0 - (theta - np.sin(theta)) / math.pi
    return effectiveness


def flap_moment_slope(chord_fraction: ArrayLike) -> Array:
    """Quarter-chord moment per flap angle of a plain flap, per rad: −½ sin θ (1 − cos θ).

    chord_fraction: as for `flap_effectiveness`, whose θ and source (Glauert 1927, ARC R&M 1095)
    these are.
    """
    theta = _hinge_angle(chord_fraction)
    slope: Array = -0.5 * np.sin(theta) * (1.0 - np.cos(theta))
    return slope


def _hinge_angle(chord_fraction: ArrayLike) -> Array:
    angle: Array = np.arccos(1.0 - 2.0 * (1.0 - np.asarray(chord_fraction, dtype=np.float64)))
    return angle


def _line(name: str) -> tuple[Callable[[Array], Array], tuple[float, ...]]:
    """Slope function of a camber line and the x/c where its curvature or slope jumps."""
    digits = naca_digits(name)
    if name.strip().lower() == "flat":
        return np.zeros_like, ()
    if digits is None:
        x, slope = _file_slope(str(name), _stamp(name))
        return (lambda x_c: np.interp(x_c, x, slope)), tuple(x[1:-1].tolist())
    if len(digits) == 4:
        return _four_digit(0.01 * int(digits[0]), 0.1 * int(digits[1]))
    return _five_digit(name, digits)


def naca_digits(name: str) -> str | None:
    """The digits of a NACA 4- or 5-digit name ("naca2412", "NACA 23012"), or None."""
    match = re.fullmatch(r"naca[ -]?(\d{4,5})", name.strip().lower())
    return match.group(1) if match else None


def _four_digit(m: float, p: float) -> tuple[Callable[[Array], Array], tuple[float, ...]]:
    if m == 0.0 or p == 0.0:
        return np.zeros_like, ()

    def slope(x: Array) -> Array:
        return 2.0 * m * (p - x) / np.where(x < p, p * p, (1.0 - p) ** 2)

    return slope, (p,)


def _five_digit(name: str, digits: str) -> tuple[Callable[[Array], Array], tuple[float, ...]]:
    if digits[1:3] not in _FIVE_DIGIT:
        raise InputError(
            f'airfoil "{name}": found camber digits {digits[:3]}; accepted second and third '
            f"digits are {', '.join(sorted(_FIVE_DIGIT))}"
        )
    m, k1, ratio = _FIVE_DIGIT[digits[1:3]]
    k1 *= int(digits[0]) / 2.0

    def slope(x: Array) -> Array:
        common = ratio * (1.0 - m) ** 3 + m**3
        return k1 / 6.0 * (3.0 * np.where(x < m, 1.0, ratio) * (x - m) ** 2 - common)

    return slope, (m,)


def _quadrature(breaks: tuple[float, ...]) -> tuple[Array, Array]:
    """Gauss points and weights in θ from 0 to π, x/c = (1 − cos θ)/2, split at the breaks."""
    edges = np.arccos(1.0 - 2.0 * np.unique(np.array([0.0, *breaks, 1.0])))
    # few points suffice between the many knots of a file, but the ends stay smooth in θ
    nodes, weights = np.polynomial.legendre.leggauss(48 if len(edges) < 8 else 8)
    half, middle = 0.5 * np.diff(edges), 0.5 * (edges[1:] + edges[:-1])
    theta = middle[:, None] + half[:, None] * nodes
    return theta.ravel(), (half[:, None] * weights).ravel()


def _stamp(name: str) -> float:
    try:
        return Path(name).stat().st_mtime
    except OSError:
        raise InputError(f'airfoil: found "{name}"; accepted is {_ACCEPTED}') from None


@lru_cache(maxsize=64)
def _file_slope(name: str, _stamp: float) -> tuple[Array, Array]:
    """Mean-line slope of a coordinate file: knots x/c and dz/dx."""
    upper, lower = read_coordinates(name)
    x = 0.5 * (1.0 - np.cos(np.linspace(0.0, math.pi, 41)))
    mean = 0.5 * (np.interp(x, *upper) + np.interp(x, *lower))
    # slope at mid-points, where a difference over one interval is second-order
    middle = 0.5 * (x[1:] + x[:-1])
    slope = np.diff(mean) / np.diff(x)
    slope = np.interp(x, middle, slope)
    x.flags.writeable = slope.flags.writeable = False
    return x, slope


def read_coordinates(path: str | Path) -> tuple[tuple[Array, Array], tuple[Array, Array]]:
    """Upper and lower surface (x/c, z/c) of an airfoil from a file of two columns.

    Points run from the trailing edge over the upper surface to the leading edge and back along the
    lower surface; lines that are not two numbers are allowed before the first point only. The
    result is moved, turned and scaled so that the chord line from the leading to the trailing edge
    is the x axis from 0 to 1.

    Returns:
        ((x, z) upper, (x, z) lower), each ordered from the leading edge.

    Raises:
        InputError: unreadable file, a bad line, or points that do not run round the section.
    """
    points: list[tuple[float, float]] = []
    lines = input_text(path).splitlines()
    for number, line in enumerate(lines, start=1):
        words = line.replace(",", " ").split()
        if not words or words[0].startswith("#"):
            continue
        try:
            x, z = (float(word) for word in words)
        except ValueError:
            if not points:
                continue
            raise InputError(
                f'{path}, line {number}: found {found(line)}; accepted is "x z"'
            ) from None
        if not (math.isfinite(x) and math.isfinite(z)):
            raise InputError(
                f"{path}, line {number}: found {found(line)}; accepted are finite numbers"
            )
        points.append((x, z))
    if len(points) < 10:
        raise InputError(f"{path}: found {len(points)} points; accepted are 10 or more")
    outline = np.array(points)
    trailing = 0.5 * (outline[0] + outline[-1])
    nose = int(np.argmax(np.hypot(*(outline - trailing).T)))
    chord = trailing - outline[nose]
    length = float(np.hypot(*chord))
    cosine, sine = chord / length
    turned = (outline - outline[nose]) @ np.array([[cosine, -sine], [sine, cosine]]) / length
    upper, lower = turned[nose::-1], turned[nose:]
    for surface, label in ((upper, "upper"), (lower, "lower")):
        if len(surface) < 4 or np.any(np.diff(surface[:, 0]) < -1e-3):
            raise InputError(
                f"{path}: the {label} surface does not run in one direction; accepted are points "
                "from the trailing edge over the upper surface and back along the lower"
            )
    if upper[:, 1].mean() < lower[:, 1].mean():
        upper, lower = lower, upper
    return (
        (np.maximum.accumulate(upper[:, 0]), upper[:, 1]),
        (np.maximum.accumulate(lower[:, 0]), lower[:, 1]),
    )
