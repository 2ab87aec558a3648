"""How far to trust a result: the limits of the model that matter here, with their numbers."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.report.layout import blown_bands
from blownwing.solution import Solution

_DRIFT = 0.02  # of the radius


def trust_notes(solution: Solution, case: Case) -> list[str]:
    """Return short sentences on what limits this result, the weightiest first.

    Each carries the number that prompted it. Section limits of 1.2 to 1.6 for plain aerofoils are
    common practice, no source.
    """
    notes = [_edge(solution, case), _stall(solution, case), _discrepancy(solution)]
    notes.append(_drift(solution, case))
    if not np.any(solution.totals.get("CD_profile", 0.0)):
        notes.append("Profile drag is not included.")
    return [note for note in notes if note]


def _edge(solution: Solution, case: Case) -> str:
    bands = blown_bands(solution)
    if case.model.jet_edge or not bands:
        return ""
    y, chord = solution.strips["y"], solution.strips["chord"]
    ratios = []
    for name, values in solution.slipstreams.items():
        item = next((p for p in case.propeller_list() if p.name == name), None)
        if item is not None:
            local = np.interp(item.position[1], y, chord)
            ratios.append(float(np.min(values["radius"])) / float(local))
    size = f" (smallest radius/chord here {min(ratios):.2f})" if ratios else ""
    return (
        "Slipstreams act without their edges: the lift gained by blowing is an upper bound, up to "
        f"twice too large where the radius is half a chord or less{size}."
    )


def _drift(solution: Solution, case: Case) -> str:
    """Say when the slipstreams did not come to rest where their tubes lie."""
    drift = float(np.max(solution.totals.get("edge_drift", 0.0)))
    if not case.model.jet_edge or drift <= _DRIFT:
        return ""
    return (
        f"The slipstreams lie up to {drift:.1%} of their radius from their tubes: lift gained by "
        "blowing is uncertain by about as much."
    )


def _stall(solution: Solution, case: Case) -> str:
    if case.model.sections != "linear":
        return _stalled(solution)
    name = "cl_local_q" if "cl_local_q" in solution.strips else "cl"
    if name not in solution.strips:
        return "Sections are linear: stall is not predicted."
    cl = np.where(_in_the_flow(solution), np.atleast_2d(solution.strips[name]), 0.0)
    row, strip = np.unravel_index(np.argmax(np.abs(cl)), cl.shape)
    peak, place = float(cl[row, strip]), float(solution.strips["y"][strip])
    what = "on local dynamic pressure" if name == "cl_local_q" else "on free-stream q"
    over = "; plain sections stall near 1.2 to 1.6" if abs(peak) > 1.2 else ""
    return (
        "Sections are linear: stall is not predicted "
        f"(highest section cl {peak:.2f} {what}, at y {place:+.2f} m{over})."
    )


def _stalled(solution: Solution) -> str:
    """Say how much of the wing is past its sections' peak, and what that is worth."""
    if "stall_margin" not in solution.strips:
        return ""
    margin = np.atleast_2d(solution.strips["stall_margin"])
    width = solution.strips["width"]
    worst = margin[int(np.argmin(margin.min(axis=1)))]
    share = float(width[worst < 0.0].sum() / width.sum())
    if share == 0.0:
        return f"No section is past its peak; the nearest has {worst.min():.1f}° in hand."
    return (
        f"{share:.0%} of the span is past its sections' peak: separated flow is beyond strips on "
        "section tables, take lift and drag there as a trend."
    )


def _in_the_flow(solution: Solution) -> NDArray[np.bool_]:
    """Return the strips (angles, strips) in a real stream.

    In a static case the wing outside the slipstreams has almost no onset flow, and a lift
    coefficient on the local dynamic pressure says nothing there.
    """
    strips = solution.strips
    if "speed_ratio" in strips:
        return np.asarray(np.atleast_2d(strips["speed_ratio"]) > 0.5)
    bands = blown_bands(solution)
    inside = np.zeros(strips["y"].size, dtype=bool)
    for low, high in bands:
        inside |= (low <= strips["y"]) & (strips["y"] <= high)
    return inside[None, :]


def _discrepancy(solution: Solution) -> str:
    if "induced_drag_discrepancy" not in solution.totals:
        return ""
    worst = float(np.max(np.abs(solution.totals["induced_drag_discrepancy"])))
    if worst <= 0.02:
        return ""
    return (
        f"Near- and far-field induced drag differ by {100 * worst:.1f} %: "
        "refine the lattice before using the drag."
    )
