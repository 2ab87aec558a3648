"""Sections built from a few handbook values: the straight line, its peak, the least drag."""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from importlib.resources import files
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from blownwing.airfoil.attached import LiftLine, filled_moment, lost_share
from blownwing.airfoil.camber import ThinAirfoil, naca_digits, thin_airfoil
from blownwing.airfoil.section import SectionTable, table_from_rows

Array = NDArray[np.float64]

HANDBOOK_REYNOLDS = 9e6
_STEP = math.radians(0.25)
# The handbook's table ends at the peak; beyond it a fall of a fifth over 4° is assumed.
_FALL, _FALL_WIDTH = 0.2, math.radians(4.0)
# Assumed where the handbook has nothing: growth of drag away from the best lift.
_DRAG_RISE = 0.0045


@dataclass(frozen=True)
class PeakedLaw:
    """A section's lift line (angles in rad) and peaks.

    `excess` is by how much the straight line lies above the upper peak at the peak's incidence; it
    sets how gradual the stall is. Drag is cd_min + cd_rise (cl − cl_best)² and the plate's
    2 sin²α on the share of lift that is lost.
    """

    zero_lift_angle: float
    slope: float
    clmax: float
    clmin: float
    excess: float
    cd_min: float
    cd_rise: float
    cl_best: float
    cm: float


def peaked_row(law: PeakedLaw) -> tuple[Array, Array]:
    """Incidences (n,) in rad and cl, cd, cm (3, n) of a peaked section.

    Lift is straight, then the parabola that leaves the line with its slope and peaks as asked, then
    a fall of a fifth over 4°.
    """
    share = law.excess / law.clmax
    up_x, up_cl = _side(law.slope, law.clmax, law.excess)
    down_x, down_cl = _side(law.slope, -law.clmin, -share * law.clmin)
    alpha = law.zero_lift_angle + np.concatenate([-down_x[:0:-1], up_x])
    cl = np.concatenate([-down_cl[:0:-1], up_cl])
    line = LiftLine(law.zero_lift_angle, law.slope, law.clmax, law.clmin)
    cd = law.cd_min + law.cd_rise * (cl - law.cl_best) ** 2
    cd += lost_share(alpha, cl, line) * 2.0 * np.sin(alpha) ** 2
    cm = filled_moment(alpha, cl, np.full_like(cl, np.nan), law.cm)
    return alpha, np.array([cl, cd, cm])


def _side(slope: float, peak: float, excess: float) -> tuple[Array, Array]:
    """Incidence beyond zero lift and cl of one side, the peak among the points."""
    at = (peak + excess) / slope
    leave = at - 2.0 * excess / slope
    knots = np.array([0.0, leave, at, at + _FALL_WIDTH])
    pieces = [
        np.linspace(a, b, max(math.ceil((b - a) / _STEP), 1), endpoint=False)
        for a, b in pairwise(knots)
    ]
    x = np.concatenate([*pieces, knots[-1:]])
    rounded = peak - 0.25 * slope**2 / excess * (at - x) ** 2
    fallen = peak * (1.0 - 0.5 * _FALL * (1.0 - np.cos(math.pi * (x - at) / _FALL_WIDTH)))
    cl = np.where(x <= leave, slope * x, np.where(x <= at, rounded, fallen))
    return x, cl


def handbook() -> tuple[dict[str, dict[str, str]], dict[str, str]]:
    """The handbook's rows by section name, values as written; notes of the whole table."""
    lines = files("blownwing.airfoil").joinpath("data/handbook.csv").read_text("utf-8").splitlines()
    notes = dict(line[1:].strip().split(": ", 1) for line in lines if line.startswith("#"))
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return {row["name"]: row for row in rows}, notes


def handbook_section(name: str) -> SectionTable:
    """A section of the handbook, constructed so that it has exactly the handbook's values.

    Slope, zero-lift angle, largest cl and its incidence, least drag and moment are the handbook's
    at Re 9 million; the shape of the stall, the negative peak and the growth of drag are assumed.
    The source stands in the table's `source`.
    """
    book, notes = handbook()
    row = {key: float(value) for key, value in book[name].items() if key != "name" and value}
    zero, slope = math.radians(row["alpha0_deg"]), math.degrees(row["slope_per_deg"])
    thickness = 0.01 * int(name[-2:])
    law = _law(
        ThinAirfoil(zero, 0.0, row["cm"]),
        slope,
        row["clmax"],
        slope * (math.radians(row["alpha_clmax_deg"]) - zero) - row["clmax"],
        row.get("cd_min", _least_drag(thickness)),
    )
    source = f"{notes['source']}; {notes['tag']}; constructed round these values"
    return _table(name, law, source)


def correlated_section(name: str, line: ThinAirfoil, thickness: float, five: bool) -> SectionTable:
    """A section without measurements: thin-airfoil zero lift and moment, handbook levels else.

    Largest cl, shape of the stall and slope are those of the handbook's four-digit (or five-digit)
    sections of the same thickness, interpolated; ±0.15 in largest cl.

    Args:
        name: short name.
        line: of its camber line.
        thickness: of chord.
        five: take the five-digit sections' levels.
    """
    levels: dict[float, list[tuple[float, float, float]]] = {}
    book, notes = handbook()
    for other, row in book.items():
        digits = naca_digits(other)
        if digits is None or (len(digits) == 5) != five:
            continue
        slope, clmax = math.degrees(float(row["slope_per_deg"])), float(row["clmax"])
        reach = math.radians(float(row["alpha_clmax_deg"]) - float(row["alpha0_deg"]))
        triple = (slope, clmax, slope * reach - clmax)
        levels.setdefault(0.01 * int(digits[-2:]), []).append(triple)
    known = sorted(levels)
    means = np.array([np.mean(levels[t], axis=0) for t in known])
    slope, clmax, excess = (float(np.interp(thickness, known, means[:, k])) for k in range(3))
    law = _law(line, slope, clmax, excess, _least_drag(thickness))
    source = f"constructed: thin-airfoil zero lift and moment, levels of {notes['source']}"
    return _table(name, law, source)


def named_section(name: str) -> SectionTable:
    """A NACA 4- or 5-digit section that the handbook table lacks.

    Raises:
        InputError: not such a name.
    """
    digits = naca_digits(name) or ""
    return correlated_section(name, thin_airfoil(name), 0.01 * int(digits[-2:]), len(digits) == 5)


def flat_section() -> SectionTable:
    """A thin flat plate: slope 2π, no leading-edge suction, so that cd grows by cl²/2π.

    Largest cl 0.75, common practice, no source; friction of a turbulent plate.
    """
    law = PeakedLaw(0.0, 2.0 * math.pi, 0.75, -0.75, 0.1, 0.0062, 0.5 / math.pi, 0.0, 0.0)
    return _table("flat", law, "constructed: thin plate, slope 2 pi, largest cl 0.75 assumed")


def _law(line: ThinAirfoil, slope: float, clmax: float, excess: float, cd_min: float) -> PeakedLaw:
    at_zero = -slope * line.zero_lift_angle
    # camber lowers the negative peak by more than it shifts the line: assumed
    clmin = -max(clmax - 1.5 * abs(at_zero), 0.3) if at_zero >= 0.0 else -(clmax + at_zero)
    return PeakedLaw(
        zero_lift_angle=line.zero_lift_angle,
        slope=slope,
        clmax=clmax,
        clmin=clmin,
        excess=excess,
        cd_min=cd_min,
        cd_rise=_DRAG_RISE,
        cl_best=0.5 * at_zero,
        cm=line.quarter_chord_moment,
    )


def _least_drag(thickness: float) -> float:
    """0.0060 at 12 %, with Hoerner's factor 1 + 2 t + 60 t⁴ (1965, "Fluid-Dynamic Drag", ch. VI).

    Level of the handbook's 12 % sections; factor from memory.
    """

    def factor(t: float) -> float:
        return 1.0 + 2.0 * t + 60.0 * t**4

    return 0.0060 * factor(thickness) / factor(0.12)


def _table(name: str, law: PeakedLaw, source: str) -> SectionTable:
    return table_from_rows(name, source, np.array([HANDBOOK_REYNOLDS]), [peaked_row(law)])
