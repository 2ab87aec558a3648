"""Small coupled cases for the coupling tests; slipstream velocities superpose unless asked."""

from pathlib import Path

from blownwing import Case

CASES = Path(__file__).parents[2] / "cases"
COARSE = {"chordwise": 4, "spanwise": 16, "compressibility": False, "jet_edge": False}


def scene(propellers=(), alpha=5.0, flow=None, model=None, wing=None, twist=0.0):
    """A rectangular wing, chord 1 m and span 8 m, at 30 m/s."""
    stations = [
        {"y": 0.0, "chord": 1.0, "twist": twist},
        {"y": 4.0, "chord": 1.0, "twist": twist},
    ]
    return Case.from_tables(
        {
            "flow": {"airspeed": 30.0, "alpha": alpha, **(flow or {})},
            "wing": {"stations": stations, **(wing or {})},
            "propellers": list(propellers),
            "model": {**COARSE, **(model or {})},
        },
        folder=CASES,
    )


def disc(y=2.0, name="disc", thrust=0.0, mirror=True, z=0.0, x=-0.6, diameter=0.8, **more):
    """An ideal disc; pass thrust=None with speed_ratio for a constant jet."""
    table = {
        "name": name,
        "kind": "disc",
        "position": [x, y, z],
        "diameter": diameter,
        "mirror": mirror,
        **more,
    }
    return table if thrust is None else {**table, "thrust": thrust}


def blade(y=2.0, name="prop", spin="inboard_up", mirror=True, z=0.0, **more):
    """A four-bladed propeller of 0.8 m; give rpm, thrust or power."""
    return {
        "name": name,
        "position": [-0.6, y, z],
        "diameter": 0.8,
        "blades": 4,
        "blade": "../shared/blades/tunnel_4.csv",
        "spin": spin,
        "mirror": mirror,
        **(more or {"rpm": 3500.0}),
    }
