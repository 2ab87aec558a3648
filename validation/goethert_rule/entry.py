"""Göthert's rule, both sides solved."""

from __future__ import annotations

import math

from blownwing.validation import Row
from blownwing.validation.scenes import SMALL, solution

SOURCE = (
    "Göthert (1940), Ebene und räumliche Strömung bei hohen Unterschallgeschwindigkeiten; "
    "NACA TM 1105 (rule from memory)"
)


def rows() -> list[Row]:
    """Lift and moment at two Mach numbers and two sweeps."""
    found = []
    for mach in (0.3, 0.6):
        for sweep in (0.0, 30.0):
            beta, half = math.sqrt(1.0 - mach**2), 3.0
            tip = half * math.tan(math.radians(sweep))
            wing = [{"y": 0.0, "chord": 1.0}, {"y": half, "x": tip, "chord": 0.6}]
            thin = [{"y": 0.0, "chord": 1.0}, {"y": beta * half, "x": tip, "chord": 0.6}]
            flow, model = {"mach": mach}, {"compressibility": True}
            fast = solution(wing, SMALL, flow=flow, model=model).totals
            slow = solution(thin, SMALL).totals
            found += [
                Row(
                    f"{name}/α, M {mach}, sweep {sweep:.0f}°, per rad",
                    fast[name] / math.radians(SMALL),
                    slow[name] / beta / math.radians(SMALL),
                    1e-9,
                    SOURCE,
                    "evaluated",
                )
                for name in ("CL", "Cm")
            ]
    return found
