"""Trimmed solutions: the state in balance as a `Solution`, alone or over the airspeeds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from blownwing.case.model import Case
from blownwing.coupling.assembly import assembled
from blownwing.coupling.size import fitting_size
from blownwing.kernels.threads import threads_for
from blownwing.solution.model import Solution
from blownwing.trim.balance import Trimmed, trimmed
from blownwing.trim.band import Band
from blownwing.trim.derivatives import COEFFICIENTS, Derivatives, derivatives
from blownwing.trim.forces import picked
from blownwing.trim.settings import equations_of, limits_of

Progress = Callable[[int], None]


def trimmed_solution(case: Case, lateral: bool | None = None) -> Solution:
    """The case in balance: values found, loads, and derivatives unless `lateral` is None.

    lateral: whether derivatives by sideslip, roll and yaw are wanted too. Raises as `trimmed`.
    """
    found = trimmed(case)
    return stored(found, None if lateral is None else derivatives(found, lateral))


def stored(found: Trimmed, beside: Derivatives | None = None, band: Band | None = None) -> Solution:
    """A trimmed state as it is stored; its case holds the values that were found.

    Raises InputError when the case does not fit in memory, SolveError when a value does not close.
    """
    size = fitting_size(found.case)
    with threads_for(size.panels, size.unknowns):
        solution = assembled(found.case, found.point)
    off = np.abs(found.residual[picked(equations_of(found.case, found.trim))])
    totals = {
        **solution.totals,
        "weight": found.trim.weight,
        "trim_residual": float(np.max(off)),
        "path_angle": found.path.climb,
        "bank": found.path.bank,
    }
    balance = {}
    for item, value in zip(found.trim.unknowns, found.values.tolist(), strict=True):
        least, most = limits_of(item)
        balance[item.name] = {"value": value, "least": least, "most": most}
    surfaces = solution.surfaces
    if band is not None:
        for name, (least, most) in band.values.items():
            balance[name] |= {"band_least": least, "band_most": most}
        if band.static_margin is not None:
            ends = ("static_margin_least", "static_margin_most")
            totals |= dict(zip(ends, band.static_margin, strict=True))
        surfaces = {
            name: {**one, "height_band": band.heights[name]} if name in band.heights else one
            for name, one in surfaces.items()
        }
    groups = {}
    if beside is not None:
        for name, values in beside.by.items():
            key = name.replace(".", "-")
            groups[key] = dict(zip(COEFFICIENTS, values.tolist(), strict=True))
        totals |= {
            "neutral_point": beside.neutral_point,
            "static_margin": beside.static_margin,
        }
        if beside.neutral_point_unpowered is not None:
            totals["neutral_point_unpowered"] = beside.neutral_point_unpowered
        if beside.control_per_g is not None:
            totals["control_per_g"] = beside.control_per_g[1]
    names = {name.replace(".", "-"): values for name, values in balance.items()}
    return replace(solution, totals=totals, balance=names, derivatives=groups, surfaces=surfaces)


def over_airspeeds(case: Case, progress: Progress | None = None) -> list[Trimmed]:
    """The case in balance at each of `trim.airspeeds`, each from the one before it.

    Raises as `trimmed`; the message of one that cannot be reached names its airspeed.
    """
    from blownwing.errors import SolveError

    found: list[Trimmed] = []
    for speed in () if case.trim is None else case.trim.airspeeds:
        here = case.replace(**{"flow.airspeed": speed})
        try:
            found.append(trimmed(here, found[-1] if found else None))
        except SolveError as error:
            raise SolveError(f"at {speed:g} m/s: {error}") from None
        if progress is not None:
            progress(len(found))
    return found
