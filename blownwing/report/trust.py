"""How far to trust a result: the limits of the model that matter here, with their numbers."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.propeller.disc import disc_loads, disc_thrust
from blownwing.report.layout import blown_bands
from blownwing.solution import Solution
from blownwing.validation.claims import said

_DRIFT = 0.02  # of the radius
GENERAL_SECTION = (
    f"is a constructed table, not the blade's own: on four small propellers that "
    f"{said('general_section')}; other cambers err more. fit-propeller finds it from measured "
    "points."
)


def trust_notes(solution: Solution, case: Case) -> list[str]:
    """Return short sentences on what limits this result, the weightiest first.

    Each carries the number that prompted it. Section limits of 1.2 to 1.6 for plain aerofoils are
    common practice, no source.
    """
    notes = [_edge(solution, case), _stall(solution, case), _discrepancy(solution)]
    notes += [_drift(solution, case), _general(solution), _measured(case), _beyond(solution)]
    notes += [_jets(solution, case), _surfaces(solution)]
    if not np.any(solution.totals.get("CD_profile", 0.0)):
        notes.append("Profile drag is not included.")
    return [note for note in notes if note]


def _surfaces(solution: Solution) -> str:
    """What surfaces one behind the other cannot know, and how near their sections are to stall."""
    others = {name: one for name, one in solution.surfaces.items() if name != "wing"}
    if not others:
        return ""
    ways = {
        name: float(np.max(np.abs([one["stall_way_least"], one["stall_way_most"]])))
        for name, one in others.items()
        if "stall_way_most" in one
    }
    words = f"Sections of wing, {', '.join(others)} are linear: no stall of a tail or control. "
    if ways:
        shares = ", ".join(f"{name} {way:.0%}" for name, way in ways.items())
        words = f"On the way from no lift to the sections' stall: {shares}. "
    return (
        f"{words}"
        "Downwash and slipstream at a tail behind propellers are uncertain by a tenth and more "
        "(Purser & Spear 1947, NACA TN 1474, found estimates and measurements apart): see the "
        "band of a trim, or try stream_rise."
    )


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


def _general(solution: Solution) -> str:
    """Say which blades have a section that nobody measured, and what that is worth."""
    names = [n for n, v in solution.propellers.items() if v.get("general_section", 0.0) > 0.0]
    if not names:
        return ""
    which = "all propellers" if len(names) == len(solution.propellers) else ", ".join(names)
    return f"The section of {which} {GENERAL_SECTION}"


def _measured(case: Case) -> str:
    own = [p for p in case.propellers if p.kind == "measured"]
    bare = [p.name for p in own if p.solidity is None and p.shape is None]
    if not own:
        return ""
    note = "Measured propellers: loading along the radius is that of the shape given, not measured"
    if any(p.shape is None for p in own):
        note = (
            "Measured propellers: loading along the radius is that of minimum loss, not measured "
            "(lift gained within 1 to 3 % for blades like it, 4 to 8 % too much where the inner "
            "blade carries little; a blade file as shape tells it)"
        )
    if bare:
        note += f"; no normal force of {', '.join(bare)}, which has no solidity"
    return note + "."


def _jets(solution: Solution, case: Case) -> str:
    """Say why a jet by speed ratio is not the ideal disc of the same speed far behind."""
    airspeed, density = case.flow.airspeed, case.air.density
    for item in case.propellers:
        if item.speed_ratio is None or item.nozzle or item.name not in solution.propellers:
            continue
        jet = solution.propellers[item.name]
        thrust = disc_thrust(item.speed_ratio, item.diameter, airspeed, density)
        if thrust <= -0.5 * density * 0.25 * np.pi * item.diameter**2 * airspeed**2:
            continue
        disc = disc_loads(thrust, item.diameter, airspeed, density)
        found, power = (float(np.mean(jet[name])) for name in ("thrust", "power"))
        return (
            f"{item.name}, by speed_ratio, is a jet of constant radius with its full speed from "
            f"the disc on ({found:.0f} N, {1e-3 * power:.1f} kW); an ideal disc of that diameter "
            f"whose stream contracts and reaches that speed far behind has {disc.thrust:.0f} N and "
            f"{1e-3 * disc.power:.1f} kW: give it by thrust."
        )
    return ""


def _beyond(solution: Solution) -> str:
    """Say where a table was held at its nearest rotor speed."""
    worst, name = 1.0, ""
    for propeller, values in solution.propellers.items():
        for ratio in np.atleast_1d(values.get("beyond_table", 1.0)).tolist():
            if max(ratio, 1.0 / ratio) > max(worst, 1.0 / worst) + 1e-9:
                worst, name = float(ratio), propeller
    if not name:
        return ""
    return (
        f"{name} turns at {worst:.2f} times the nearest speed (or Reynolds number) of its table, "
        "whose coefficients are held there."
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
