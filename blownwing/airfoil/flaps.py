"""Trailing-edge flaps on a section: thin-airfoil theory times what viscosity leaves of it.

The straight part of lift, its moment and the shape of the peak's growth come from Glauert (1927),
"Theoretical relationships for an aerofoil with hinged flap", ARC R&M 1095; the levels from textbook
averages quoted from memory. A flapped section is good to about ±15 % of the increments.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import get_args

import numpy as np
from numpy.typing import NDArray

from blownwing.airfoil.attached import lift_line
from blownwing.airfoil.camber import flap_effectiveness, flap_moment_slope
from blownwing.airfoil.reshape import Change, data_row, mirrored, peak_ratio, raised
from blownwing.airfoil.section import SectionTable, table_from_rows
from blownwing.case.parts import FlapKind
from blownwing.errors import InputError

Array = NDArray[np.float64]
KINDS: tuple[FlapKind, ...] = get_args(FlapKind)

_NOTES = (
    "flap lift and moment: Glauert (1927), ARC R&M 1095",
    "share of theory reached: plain 0.9 at small deflection and 0.6 at 30 deg, rough, from memory; "
    "other kinds common practice, no source; +-15 %, split +-25 %",
    "growth of the largest cl: D. P. Raymer, Aircraft Design, table 12.2, from memory; +-15 %",
    "angle of the stall: the lift curve slides up its straight line, so that zero lift and largest "
    "cl decide; a slotted flap at 30 to 40 deg then stalls 2 to 6 deg earlier; that it falls by "
    "some degrees is common practice, no source; no printed angle of a flapped stall was at hand",
    "flap drag: A. D. Young (1947), ARC R&M 2622, form from memory",
)
_FOWLER_NOTE = "chord grows by 0.7 of the flap's at full deflection: common practice, no source"
_REFERENCE_FRACTION = 0.25  # the textbook averages stand for flaps of about a quarter chord


@dataclass(frozen=True)
class FlapLaw:
    """Levels of one kind of flap.

    Attributes:
        share: of the thin-airfoil effect reached at small deflection, share_30 at 30°.
        peak: growth of the largest cl at `full` deflection (rad) and a quarter chord.
        drag: factor k of cd = k (cf/c)^1.38 sin²δ.
        extension: growth of chord at full deflection, in flap chords.
    """

    share: float
    share_30: float
    peak: float
    full: float
    drag: float
    extension: float = 0.0


LAWS: dict[FlapKind, FlapLaw] = {
    "plain": FlapLaw(0.90, 0.60, 0.9, math.radians(60.0), 1.7),
    "split": FlapLaw(0.75, 0.55, 0.9, math.radians(60.0), 1.7),
    "single_slotted": FlapLaw(0.85, 0.75, 1.3, math.radians(40.0), 0.9),
    "fowler": FlapLaw(0.85, 0.75, 1.3, math.radians(40.0), 0.9, 0.7),
}


@dataclass(frozen=True)
class FlapEffect:
    """What a flap turned down does; coefficients on the clean chord.

    Attributes:
        zero_lift_shift: rad, negative.
        chord_ratio: extended over clean chord.
        peak: growth of the largest cl.
        drag: added cd.
        moment: added cm about the extended chord's quarter, on the extended chord.
    """

    zero_lift_shift: float
    chord_ratio: float
    peak: float
    drag: float
    moment: float


@dataclass(frozen=True)
class FlappedSection:
    """A section with its flap set: the table on the clean chord, c'/c, and where it rests on."""

    table: SectionTable
    chord_ratio: float
    notes: tuple[str, ...]


def viscous_share(kind: FlapKind, deflection: float) -> float:
    """Share of the thin-airfoil lift that a flap reaches, at 0 to 90° (rad) of deflection.

    a / (1 + (a/b − 1)(δ/30°)^1.4) with a and b the shares at small deflection and at 30°; the
    exponent keeps lift growing with deflection up to 90°. An interpolation of ours; sources of the
    levels in `FlappedSection.notes`.
    """
    law = LAWS[kind]
    fade = (law.share / law.share_30 - 1.0) * (deflection / math.radians(30.0)) ** 1.4
    return float(law.share / (1.0 + fade))


def flap_effect(kind: FlapKind, chord_fraction: float, deflection: float) -> FlapEffect:
    """Effect of a flap turned down.

    Args:
        kind: of flap.
        chord_fraction: flap chord over clean chord, above 0 to 1.
        deflection: rad, 0 to 90°.

    The peak grows as √(E(1 − E)), which is thin-airfoil theory's growth of lift at a given suction
    of the nose, 2δ sin θ_h, and as a quarter sine of the deflection up to full. Flaps longer than
    half the chord approach a turned section: losses, drag and growth vanish at chord fraction 1.

    Sources: Glauert (1927), ARC R&M 1095, for lift and moment; Young (1947), "The aerodynamic
    characteristics of flaps", ARC R&M 2622, for the form of the drag (k = 1.7 plain and split, 0.9
    slotted, from memory); Raymer, "Aircraft Design", table 12.2, for the growth of the largest cl:
    0.9, 0.9, 1.3 and 1.3 c'/c (from memory).
    """
    law = LAWS[kind]
    ratio = 1.0 + law.extension * chord_fraction * math.tanh(deflection / math.radians(15.0))
    fraction = min(chord_fraction / ratio, 1.0)
    part = 1.0 - max(2.0 * fraction - 1.0, 0.0) ** 2
    share = 1.0 - (1.0 - viscous_share(kind, deflection)) * part
    turned = share * deflection
    mean = _REFERENCE_FRACTION * (1.0 - _REFERENCE_FRACTION)
    size = math.sqrt(fraction * (1.0 - fraction) / mean)
    progress = math.sin(0.5 * math.pi * min(deflection / law.full, 1.0))
    return FlapEffect(
        zero_lift_shift=-float(flap_effectiveness(fraction)) * turned,
        chord_ratio=ratio,
        peak=law.peak * ratio * size * progress,
        drag=law.drag * fraction**1.38 * math.sin(deflection) ** 2 * part,
        moment=float(flap_moment_slope(fraction)) * turned,
    )


def flapped(
    table: SectionTable, kind: str, chord_fraction: float, deflection: float
) -> FlappedSection:
    """A section with its flap set.

    Args:
        table: the clean section.
        kind: "plain", "split", "single_slotted" or "fowler".
        chord_fraction: flap chord over clean chord, above 0 to 1.
        deflection: rad, trailing edge down positive, within ±90°; up for "plain" and
            "single_slotted" only, where the slot closes and the plain flap's levels hold.

    The negative peak shrinks by what the positive one grows, to a quarter at least.

    Raises:
        InputError: unknown kind, a chord fraction or a deflection outside these ranges.
    """
    known = _checked(kind, chord_fraction, deflection)
    if deflection == 0.0:
        return FlappedSection(table, 1.0, ())
    if deflection < 0.0:
        turned = flapped(mirrored(table), "plain", chord_fraction, -deflection)
        return replace(turned, table=replace(mirrored(turned.table), name=table.name))
    effect = flap_effect(known, chord_fraction, deflection)
    rows = [_row(table, k, effect) for k in range(len(table.reynolds))]
    degrees = math.degrees(deflection)
    source = f"{table.source}; with a {kind} flap of {chord_fraction:g} chord at {degrees:.3g} deg"
    notes = (*_NOTES, _FOWLER_NOTE) if known == "fowler" else _NOTES
    result = table_from_rows(table.name, source, table.reynolds, rows)
    return FlappedSection(result, effect.chord_ratio, notes)


def _checked(kind: str, chord_fraction: float, deflection: float) -> FlapKind:
    known = next((item for item in KINDS if item == kind), None)
    if known is None:
        raise InputError(f'flap kind: found "{kind}"; accepted are {", ".join(KINDS)}')
    if not 0.0 < chord_fraction <= 1.0:
        raise InputError(f"flap chord fraction: found {chord_fraction:g}; accepted is above 0 to 1")
    degrees = math.degrees(deflection)
    if not abs(degrees) <= 90.0 + 1e-9:
        raise InputError(f"flap deflection: found {degrees:g} deg; accepted is -90 to 90 deg")
    if deflection < 0.0 and known not in ("plain", "single_slotted"):
        raise InputError(
            f"flap deflection: found {degrees:g} deg of a {kind} flap; accepted is 0 to 90 deg, "
            "upwards only for plain and single_slotted flaps"
        )
    return known


def _row(table: SectionTable, index: int, effect: FlapEffect) -> tuple[Array, Array]:
    """Incidences and coefficients of a row of data with the flap set."""
    alpha, row = data_row(table, index)
    line = lift_line(alpha, row[0])
    change = Change(
        zero_lift_shift=effect.zero_lift_shift,
        slope_ratio=effect.chord_ratio,
        upper_ratio=peak_ratio(line.clmax, effect.peak),
        lower_ratio=peak_ratio(line.clmin, -effect.peak),
    )
    moved, (cl, cd, cm) = raised(alpha, row, line, change)
    ratio = effect.chord_ratio
    cm = ratio**2 * (cm + effect.moment) - 0.25 * (ratio - 1.0) * cl
    return moved, np.array([cl, ratio * cd + effect.drag, cm])
