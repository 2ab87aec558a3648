"""Sections from a few parameters: what the tables in shared/sections say they were made by."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from blownwing.airfoil.section import table_from_rows


@dataclass(frozen=True)
class SectionLaw:
    """Parameters of a constructed section; angles in rad.

    Lift is linear until it bends softly into `clmax` or `clmin`; drag is
    `(cd_min + cd_rise (c − cl_best)²)(Re/reynolds_reference)^−drag_exponent` with c the lift of the
    unstalled line, plus the plate's 2 sin²α on the share of the lift that is lost. Both peaks grow
    by `peak_growth` per decade of Reynolds number.
    """

    zero_lift_angle: float
    lift_slope: float
    clmax: float
    clmin: float
    cd_min: float
    cd_rise: float
    cl_best: float
    cm: float
    reynolds_reference: float
    drag_exponent: float
    peak_growth: float = 0.0
    sharpness: float = 8.0


def section_table(name, law, reynolds, source):
    """A constructed section, evaluated from −14° to 20° and continued as a stalled plate."""
    levels = np.array(reynolds)
    alpha = np.radians(np.arange(-14.0, 20.01, 0.5))
    rows = [law_coefficients(law, alpha, float(level)) for level in levels]
    return table_from_rows(name, source, levels, [(alpha, np.array(row)) for row in rows])


def law_coefficients(law, alpha, reynolds):
    """cl, cd and cm of a constructed section at `alpha` (rad) before the deep stall."""
    line = law.lift_slope * (alpha - law.zero_lift_angle)
    growth = law.peak_growth * math.log10(reynolds / law.reynolds_reference)
    peak = np.where(line > 0.0, law.clmax + growth, -law.clmin + growth)
    share = (1.0 + (np.abs(line) / peak) ** law.sharpness) ** (-1.0 / law.sharpness)
    scale = (reynolds / law.reynolds_reference) ** -law.drag_exponent
    # beyond the peak the attached polar must not go on growing with the line
    held = np.clip(line, -1.3 * peak, 1.3 * peak)
    drag = (law.cd_min + law.cd_rise * (held - law.cl_best) ** 2) * scale
    drag += (1.0 - share) * 2.0 * np.sin(alpha) ** 2
    return line * share, drag, np.full_like(alpha, law.cm)
