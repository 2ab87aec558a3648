"""A small invented aircraft that solves in seconds: ideal discs, few panels, linear sections."""

from __future__ import annotations

from copy import deepcopy
from functools import cache
from typing import Any

from blownwing.aircraft.performance import Performance, evaluated
from blownwing.case.model import Case

TABLES: dict[str, Any] = {
    "title": "Small test aircraft",
    "flow": {"airspeed": 30.0, "alpha": 4.0},
    "wing": {
        "symmetric": True,
        "reference_point": [0.3, 0.0, 0.0],
        "stations": [
            {"y": 0.0, "chord": 1.2, "airfoil": "naca2412"},
            {"y": 5.0, "chord": 1.2, "twist": -2.0, "airfoil": "naca2412"},
        ],
        "flaps": [{"from": 0.1, "to": 0.8, "chord_fraction": 0.25, "deflection": 0.0}],
    },
    "propellers": [
        {"name": "in", "kind": "disc", "position": [-0.6, 1.5, 0.0], "diameter": 1.2,
         "thrust": 500.0, "mirror": True},
        {"name": "out", "kind": "disc", "position": [-0.6, 3.5, 0.0], "diameter": 1.2,
         "thrust": 500.0, "mirror": True},
    ],
    "model": {"chordwise": 2, "spanwise": 8},
    "aircraft": {
        "mass": 900.0,
        "drag_area": 0.25,
        "section_clmax": 1.5,
        "flapped_clmax": 2.2,
        "chordwise": 2,
        "spanwise": 8,
        "tail": {"arm": 4.0, "span": 3.0, "area": 1.9},
        "controls": {"fin_area": 1.2, "fin_arm": 4.0},
        "motors": [{"power": 25000.0, "efficiency": 0.94, "controller_efficiency": 0.98}],
        "battery": {"mass": 250.0, "specific_energy": 200.0, "usable": 0.85,
                    "systems_power": 800.0},
        "take_off": {"flap": 15.0, "drag_area": 0.1, "ground_height": 1.4, "runway": 500.0},
        "approach": {"flap": 30.0, "drag_area": 0.3},
        "cruise": {"altitude": 1500.0, "airspeed": 52.0, "idle": ["in"], "reserve_time": 20.0},
    },
}  # fmt: skip


def tables(**edits: Any) -> dict[str, Any]:
    """The tables with values at dotted paths replaced; None takes a key away."""
    result = deepcopy(TABLES)
    for path, value in edits.items():
        node: Any = result
        *parents, last = path.split(".")
        for key in parents:
            node = node[int(key) if key.isdigit() else key]
        if value is None:
            del node[last]
        else:
            node[last] = value
    return result


def scene(**edits: Any) -> Case:
    """The small aircraft, with edits by dotted path."""
    return Case.from_tables(tables(**edits))


@cache
def small_result() -> Performance:
    """The small aircraft, evaluated once for all tests."""
    return evaluated(scene())
