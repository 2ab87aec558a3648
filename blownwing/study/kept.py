"""What searches and lattice studies found, in the form that a result file keeps."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from blownwing.solution.model import Solution
from blownwing.solution.variables import VARIABLES
from blownwing.study.convergence import Convergence
from blownwing.study.lift.peak import Peak, StallSpeed


def with_peaks(
    blown: Peak | None,
    bare: Peak,
    weight: float | None = None,
    speeds: tuple[StallSpeed | None, StallSpeed] | None = None,
) -> Solution:
    """The solution at the blown peak (the bare one without propellers), with all that was found.

    Args:
        blown: None for a case without propellers. bare: the same wing without them.
        weight: N, that the stall speeds carry. speeds: blown (None likewise) and unblown.
    """
    slow, fast = (None, None) if speeds is None else speeds
    peaks = {"unblown": _peak(bare, weight, fast)}
    if blown is not None:
        peaks = {"blown": _peak(blown, weight, slow), **peaks}
    return replace((blown or bare).solution, peaks=peaks)


def _peak(peak: Peak, weight: float | None, speed: StallSpeed | None) -> dict[str, Any]:
    alpha, lift = np.array([pair for pair in peak.scan if np.isfinite(pair[1])]).T
    values: dict[str, Any] = {
        "alpha": peak.alpha,
        "CL": peak.CL,
        "CL_from_thrust": peak.CL_from_thrust,
        "stall_alpha": peak.stall_alpha,
        "stall_y": peak.stall_y,
        "stall_fraction": peak.stall_fraction,
        "scan_alpha": alpha,
        "scan_CL": lift,
    }
    if weight is not None and speed is not None:
        values |= {"weight": weight, "stall_speed": speed.speed}
    return values


def with_bands(solution: Solution, found: Convergence) -> Solution:
    """The solution with the numerical bands of its totals, one group per quantity."""
    bands: dict[str, dict[str, float]] = {}
    for item in found.estimates:
        if item.name not in VARIABLES["totals"]:
            continue
        coarse, middle, fine = item.values
        # A value of exactly 0 has no band as a share of itself; the three values' spread is one.
        share = item.index[0] * abs(middle)
        band = share if np.isfinite(share) else max(item.values) - min(item.values)
        values = {"coarse": coarse, "middle": middle, "fine": fine, "band": band}
        if item.order is not None:
            values["order"] = item.order
        if item.extrapolated is not None:
            values["extrapolated"] = item.extrapolated
        bands[item.name] = values
    return replace(solution, bands=bands)
