"""Sections of a result's page on surfaces beside the wing and on an aircraft in balance."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from blownwing.report import html
from blownwing.solution import VARIABLES, Solution

_FORCES = ("CL", "CL_unblown", "CD_induced", "CD_profile", "CY", "C_roll", "C_pitch", "C_yaw",
           "downwash_angle", "pressure_ratio", "stream_rise", "local_rise")  # fmt: skip
_TOTALS = ("weight", "trim_residual", "path_angle", "bank", "neutral_point",
           "neutral_point_unpowered", "static_margin", "static_margin_least",
           "static_margin_most", "control_per_g")  # fmt: skip
_BALANCE = ("value", "least", "most")
_BAND = ("band_least", "band_most")


def aircraft_sections(one: Solution) -> list[str]:
    """Tables of each surface, of what balances the aircraft, and of its derivatives."""
    sections: list[str] = []
    if one.surfaces:
        note = "over q S, c and b of the wing; their sum is the total"
        sections += [
            html.heading("Surfaces"),
            _table("surfaces", "surface", one.surfaces, _FORCES, note),
        ]
    if one.balance:
        rows = [
            (VARIABLES["totals"][n].long_name, f"{one.totals[n]:.6g}", VARIABLES["totals"][n].units)
            for n in _TOTALS
            if n in one.totals
        ]
        sections += [
            html.heading("In balance"),
            _table("balance", "unknown", one.balance, *_balance(one)),
            html.table(("quantity", "value", "unit"), rows, numbers=(1,)),
        ]
    if one.derivatives:
        note = "per rad, per pb/2V, qc/2V, rb/2V, per relative drive; about the centre of gravity"
        names = tuple(VARIABLES["derivatives"])
        sections += [
            html.heading("Derivatives"),
            _table("derivatives", "by", one.derivatives, names, note),
        ]
    return sections


def _balance(one: Solution) -> tuple[tuple[str, ...], str]:
    """Columns of what balances the aircraft, and what is said below them."""
    heights = [
        f"{name} {values['height_band']:.2f} m"
        for name, values in one.surfaces.items()
        if "height_band" in values
    ]
    if not heights:
        return _BALANCE, ""
    note = f"band: wakes and streams higher or lower at {', '.join(heights)}, our own sensitivity"
    return (*_BALANCE, *_BAND), note


def _table(
    kind: str, head: str, groups: Mapping[str, Mapping[str, Any]], names: tuple[str, ...], note: str
) -> str:
    rows = [
        [name, *(f"{values[n]:.4f}" if n in values else "–" for n in names)]
        for name, values in groups.items()
    ]
    units = {n: VARIABLES[kind][n].units for n in names}
    heads = [head, *(n if units[n] == "1" else f"{n.replace('_', ' ')}, {units[n]}" for n in names)]
    return html.table(heads, rows, numbers=range(1, len(heads)), caption=note)
