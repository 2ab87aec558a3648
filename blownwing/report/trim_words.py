"""Surfaces beside the wing and a trim in words, before anything is solved."""

from __future__ import annotations

import math

from blownwing.case.model import Case
from blownwing.case.surfaces import Surface
from blownwing.case.trim import Trim
from blownwing.coupling import solve
from blownwing.trim.settings import limits_of, unit_of


def surfaces_words(case: Case) -> str:
    """Sizes, tail volumes and controls of all surfaces beside the wing."""
    return "; ".join(_surface(case, surface) for surface in case.surfaces) + "."


def _surface(case: Case, surface: Surface) -> str:
    wing = case.wing
    centre = wing.reference_point[0] if case.trim is None else case.trim.centre_of_gravity[0]
    arm = surface.volume_arm - centre
    words = f"{surface.name}: area {surface.area:.3f} m², span {surface.span:.3f} m"
    level, upright = projected_areas(surface)
    words += f", arm {arm:+.3f} m"
    if level > 0.05 * surface.area:
        words += f", volume Sl/(S c) {level * arm / (wing.area * wing.chord):+.3f}"
    if upright > 0.05 * surface.area:
        words += f", volume Sl/(S b) {upright * arm / (wing.area * wing.span):+.4f}"
    names = [item.name for item in surface.controls]
    return words + (f", controls {', '.join(names)}" if names else "")


def projected_areas(surface: Surface) -> tuple[float, float]:
    """Areas seen from above and from the side, m², both halves."""
    level = upright = 0.0
    for a, b in zip(surface.stations, surface.stations[1:], strict=False):
        mean = 0.5 * (a.chord + b.chord) * (2.0 if surface.symmetric else 1.0)
        level += mean * abs(b.y - a.y)
        upright += mean * abs(b.z - a.z)
    return level, upright


def trim_words(case: Case, margin: bool) -> str:
    """What a trim would find and balance, and perhaps the static margin without propellers.

    margin: whether it is wanted; then errors as for `unpowered_margin`.
    """
    trim = case.trim
    if trim is None:
        return ""
    found = []
    for item in trim.unknowns:
        least, most = limits_of(item)
        unit = {"deg": "°", "": "", "m/s2": " m/s²"}[unit_of(item)]
        found.append(f"{item.name} ({least:g} to {most:g}{unit})")
    share = unpowered_margin(case, trim) if margin else None
    words = f"{trim.weight:.0f} N at {case.flow.airspeed:g} m/s balanced by {', '.join(found)}"
    if share is not None:
        words += f"; static margin {share:.1%} of the reference chord, without propellers"
    return words + "."


def unpowered_margin(case: Case, trim: Trim) -> float | None:
    """Static margin of the surfaces alone over the reference chord, None without lift.

    A difference of two solves without propellers, half a degree apart. Errors as for
    `coupling.solve`.
    """
    bare = case.replace(propellers=[], trim=None, aircraft=None)
    alpha = case.alphas[0]
    one, two = (
        solve(bare.replace(**{"flow.alpha": a})).totals for a in (alpha - 0.25, alpha + 0.25)
    )

    def across(t: dict[str, float]) -> float:
        a = math.radians(t["alpha"])
        return t["CL"] * math.cos(a) + t["CD_induced"] * math.sin(a)

    change = across(dict(two)) - across(dict(one))
    if abs(change) < 1e-9:
        return None
    point = (
        case.wing.reference_point[0] - case.wing.chord * (two["C_pitch"] - one["C_pitch"]) / change
    )
    return float((point - trim.centre_of_gravity[0]) / case.wing.chord)
