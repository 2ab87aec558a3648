"""How far a trim hangs on the height at which streams pass the tail.

Estimates and measurements of the downwash at a tail with power on are apart (Purser & Spear 1947,
NACA TN 1474; its summary alone was at hand, no number). The band is therefore one of our own
sensitivity: streams lie along x in one model and follow the local flow in another, and the truth
may lie as far on either side of what is taken as these two are apart.
"""

from __future__ import annotations

from typing import NamedTuple

from blownwing.case.surface_checks import disc_between
from blownwing.coupling.by_surface import local_rise
from blownwing.trim.balance import Trimmed, trimmed
from blownwing.trim.derivatives import static_margin

_NONE = 1e-6  # of a surface's chord, a rise that moves nothing


class Band(NamedTuple):
    """Least and largest of what a trim finds, with its streams higher and lower at the surfaces."""

    heights: dict[str, float]  # m, by surface, by which streams are taken higher and lower
    values: dict[str, tuple[float, float]]  # of the unknowns
    static_margin: tuple[float, float] | None  # of the reference chord


def stream_band(found: Trimmed, margin: bool) -> Band | None:
    """The band of a trim; None without propellers, or with nothing behind the wing to lay higher.

    margin: whether that of the static margin is wanted too. Raises SolveError where a balance
    cannot be reached with the streams elsewhere.
    """
    case = found.case
    heights = _uncertain(found)
    if not heights or not case.propellers:
        return None
    states = [found]
    for sign in (1.0, -1.0):
        moved = {
            f"surfaces.{k}.stream_rise": case.surfaces[k].rise + sign * height
            for k, height in heights.items()
        }
        states.append(trimmed(found.asked.replace(**moved), found))
    values = {
        name: (min(s.named[name] for s in states), max(s.named[name] for s in states))
        for name in found.named
    }
    margins = [static_margin(state) for state in states] if margin else []
    return Band(
        {case.surfaces[k].name: height for k, height in heights.items()},
        values,
        (min(margins), max(margins)) if margins else None,
    )


def _uncertain(found: Trimmed) -> dict[int, float]:
    """Rise by the local course, m, of each surface behind the wing that can be laid elsewhere."""
    case, state = found.case, found.at
    heights = {}
    for k, surface in enumerate(case.surfaces):
        if disc_between(case.wing, surface, case.propeller_list()):
            continue
        rise = abs(local_rise(case, state.scene.flow, state.model, state.wing, k + 1))
        if rise > _NONE * surface.stations[0].chord:
            heights[k] = rise
    return heights
