"""What the page is told: the case as it stands, and a solution, as plain JSON data."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from blownwing.case.model import Case
from blownwing.case.units import found
from blownwing.errors import InputError
from blownwing.report.explain import HALF
from blownwing.report.layout import discs_of, outline_of
from blownwing.report.trust import trust_notes
from blownwing.solution import CAUTION, Solution

EDITABLE = re.compile(
    r"title"
    r"|flow\.(alpha|airspeed)"
    r"|wing\.flaps\.\d+\.deflection"
    r"|propellers\.\d+\.(position|diameter|spin|thrust|rpm|power|speed_ratio|incidence)"
)
"""What the page may change. File names are not among it, so no other file can be reached."""

_TOTALS = ("lift", "CL", "CL_unblown", "CL_from_thrust", "drag", "CD", "CD_induced", "CD_profile",
           "CD_induced_unblown", "C_pitch", "thrust", "net_axial_force", "power",
           "efficiency", "half_lift", "half_drag", "half_thrust", "half_net_axial_force",
           "half_power")  # fmt: skip
_STRIPS = ("y", "chord", "circulation", "cl", "cl_unblown", "slipstream_axial",
           "slipstream_swirl")  # fmt: skip
_PROPELLER = ("thrust", "power", "rpm", "J", "efficiency")


def started(case: Case) -> Case:
    """Return the case at one incidence, the middle one of a polar, as the page works on it."""
    if isinstance(case.flow.alpha, tuple):
        return case.replace(**{"flow.alpha": case.alphas[len(case.alphas) // 2]})
    return case


def edited(case: Case, edits: Mapping[str, Any]) -> Case:
    """Return the case with the page's edits.

    Args:
        case: as opened.
        edits: dotted path to value, of :data:`EDITABLE` only.

    Raises:
        InputError: another path, or an edit that breaks a rule of the case.
    """
    for path in edits:
        if not EDITABLE.fullmatch(path):
            raise InputError(f"{path}: this page does not change it")
        single = not path.endswith(".position")  # a list of angles would be a polar
        if edits[path] is None or (single and isinstance(edits[path], list | dict)):
            raise InputError(f"{path}: found {found(edits[path])}; accepted is one value")
    return case.replace(**edits)


def case_data(case: Case) -> dict[str, Any]:
    """Return what the page draws and edits."""
    y, lead, trail = outline_of(case)
    alpha = case.flow.alpha
    return {
        "title": case.title or "Untitled case",
        "caution": CAUTION,
        "alpha": alpha[0] if isinstance(alpha, tuple) else alpha,
        "airspeed": case.flow.airspeed,
        "span": case.wing.span,
        "mirrored": case.is_symmetric,
        "jet_edge": case.model.jet_edge,
        "outline": {
            "y": y.tolist(),
            "lead": lead.tolist(),
            "trail": trail.tolist(),
            "z": _heights(case),
        },
        "flaps": [
            {
                "deflection": flap.deflection,
                "kind": flap.kind,
                "extent": case.wing.flap_extent(flap),
            }
            for flap in case.wing.flaps
        ],
        "propellers": [
            {
                "name": item.name,
                "kind": item.kind,
                "position": list(item.position),
                "diameter": item.diameter,
                "spin": item.spin,
                "mirror": item.mirror,
                "trim": item.trim,
                "thrust": item.thrust,
                "rpm": item.rpm,
                "power": item.power,
                "speed_ratio": item.speed_ratio,
                "incidence": item.incidence,
                "toe": item.toe,
            }
            for item in case.propellers
        ],
    }


def _heights(case: Case) -> list[float]:
    z = [float(station.z) for station in case.wing.stations]
    return [*z[:0:-1], *z] if case.wing.symmetric else z


def solution_data(
    case: Case, solution: Solution, seconds: float, provisional: bool
) -> dict[str, Any]:
    """Return what the page shows of a solution.

    Args:
        case: that it answers.
        solution: at one incidence.
        seconds: that the solve took.
        provisional: whether it is of a coarser model than the case's own.
    """
    discs = {disc.name: disc for disc in discs_of(case)}
    return {
        "edges": case.model.jet_edge,
        "provisional": provisional,
        "seconds": seconds,
        "totals": {name: solution.totals[name] for name in _TOTALS if name in solution.totals},
        "strips": {
            name: [round(float(value), 6) for value in solution.strips[name]]
            for name in _STRIPS
            if name in solution.strips
        },
        "propellers": [
            {"name": name, "spin": discs[name].spin}
            | {key: values[key] for key in _PROPELLER if key in values}
            for name, values in solution.propellers.items()
        ],
        "profile": {
            name: [round(float(value), 5) for value in values]
            for name, values in solution.profile.items()
        },
        "streams": {
            name: {"x": float(discs[name].x), "y": float(discs[name].y), "z": float(discs[name].z),
                   "radius": float(values["radius"][-1])}
            for name, values in solution.slipstreams.items()
        },
        "notes": [*([HALF] if case.wing.half_model else []), *trust_notes(solution, case)],
    }  # fmt: skip
