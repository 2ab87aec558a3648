"""Wings and jets that several entries compare: plain planforms, small cases, constant jets."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from blownwing.case.model import Case
from blownwing.coupling import solve
from blownwing.solution.model import Solution

SPEED = 30.0  # m/s
SMALL = 0.1  # deg, in the linear range
Stations = list[dict[str, Any]]


def rectangle(aspect: float, chord: float = 1.0, sweep: float = 0.0) -> Stations:
    """Stations of a rectangular wing.

    aspect: span over chord; chord: m; sweep: deg, tips aft.
    """
    half = 0.5 * aspect * chord
    tip = half * math.tan(math.radians(sweep))
    return [{"y": 0.0, "chord": chord}, {"y": half, "x": tip, "chord": chord}]


def elliptic(aspect: float, airfoil: str = "flat") -> Stations:
    """Stations of an elliptic wing of mean chord 1 m with a straight quarter-chord line.

    aspect: span over mean chord.
    """
    angle = np.linspace(0.0, 0.5 * np.pi, 41)
    chord = np.maximum(4.0 / np.pi * np.cos(angle), 1e-3)
    return [
        {
            "y": float(0.5 * aspect * np.sin(t)),
            "x": float(-0.25 * c),
            "chord": float(c),
            "airfoil": airfoil,
        }
        for t, c in zip(angle, chord, strict=True)
    ]


def jet(
    radius: float, ratio: float, along: float, ahead: float = 1.5, *, nozzle: bool = False
) -> dict[str, Any]:
    """A constant jet on the middle of a wing of chord 1 m, from a disc or a nozzle far upstream.

    Its axis goes along a stream at ``along`` degrees, through the quarter chord.
    radius: m; ratio: its speed over the airspeed; ahead: of the leading edge, m.
    """
    height = -(0.25 + ahead) * math.tan(math.radians(along))
    return {
        "name": "jet",
        "kind": "disc",
        "position": [-ahead, 0.0, height],
        "diameter": 2.0 * radius,
        "incidence": -along,
        "speed_ratio": ratio,
        "nozzle": nozzle,
    }


def solution(
    stations: Stations,
    alpha: float,
    *,
    propellers: Sequence[Mapping[str, Any]] = (),
    flow: Mapping[str, Any] | None = None,
    model: Mapping[str, Any] | None = None,
    **wing: Any,
) -> Solution:
    """Solve a wing at 30 m/s and ``alpha`` degrees, incompressible unless ``model`` says so.

    Errors as for `coupling.solve`.
    """
    return solve(
        Case.from_tables(
            {
                "flow": {"airspeed": SPEED, "alpha": alpha, **(flow or {})},
                "wing": {"stations": stations, **wing},
                "propellers": list(propellers),
                "model": {"compressibility": False, **(model or {})},
            }
        )
    )


def lift_slope(stations: Stations, **more: Any) -> float:
    """Lift slope per radian, unblown; arguments as for `solution`, whose errors it has."""
    found = solution(stations, SMALL, **more).totals
    return float(found["CL"]) / math.radians(SMALL)
