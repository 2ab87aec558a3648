"""Wings behind rows of propellers: a lattice, blade elements and slipstreams, coupled.

``read_case(path) -> Case``, ``solve(case) -> Solution``, ``Solution.save(path)`` and
``load(path) -> Solution`` are the stable interface; ``survey(case, points)`` gives velocities at
points, ``plane`` makes them. Heavy modules load on first use, so that
``import blownwing`` stays cheap.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

_HOMES = {
    "Case": "blownwing.case.model",
    "read_case": "blownwing.case.reader",
    "solve": "blownwing.coupling",
    "Solution": "blownwing.solution",
    "load": "blownwing.solution",
    "survey": "blownwing.coupling.survey",
    "plane": "blownwing.coupling.survey",
    "InputError": "blownwing.errors",
    "SolveError": "blownwing.errors",
}
__all__ = [
    "Case",
    "InputError",
    "Solution",
    "SolveError",
    "load",
    "plane",
    "read_case",
    "solve",
    "survey",
]

if TYPE_CHECKING:
    from blownwing.case.model import Case
    from blownwing.case.reader import read_case
    from blownwing.coupling import solve
    from blownwing.coupling.survey import plane, survey
    from blownwing.errors import InputError, SolveError
    from blownwing.solution import Solution, load


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(importlib.import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'blownwing' has no attribute {name!r}")
