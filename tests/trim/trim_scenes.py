"""A small aircraft with tail and two ideal discs, quick to balance."""

from blownwing.case.model import Case

TAIL = {
    "name": "tail",
    "incidence": -1.0,
    "strips": 8,
    "stations": [
        {"y": 0.0, "x": 4.0, "z": 0.5, "chord": 0.7},
        {"y": 1.5, "x": 4.0, "z": 0.5, "chord": 0.6},
    ],
    "controls": [{"name": "elevator", "from": 0.0, "to": 1.0, "chord_fraction": 0.3}],
}
FIN = {
    "name": "fin",
    "symmetric": False,
    "strips": 6,
    "stations": [
        {"y": 0.0, "x": 4.4, "z": 0.55, "chord": 0.7},
        {"y": 0.0, "x": 4.7, "z": 1.5, "chord": 0.4},
    ],
    "controls": [{"name": "rudder", "from": 0.0, "to": 1.0, "chord_fraction": 0.35}],
}
DISC = {
    "name": "p", "kind": "disc", "position": [-0.6, 1.5, 0.05], "diameter": 0.8, "thrust": 90.0,
    "mirror": True,
}  # fmt: skip
WING = {
    "stations": [
        {"y": 0.0, "chord": 1.0, "airfoil": "naca2412"},
        {"y": 4.0, "chord": 1.0, "z": 0.2, "airfoil": "naca2412"},
    ],
    "controls": [
        {"name": "aileron", "from": 0.6, "to": 0.95, "chord_fraction": 0.25,
         "gearing": [{"setting": "aileron", "opposed": True}]}
    ],
}  # fmt: skip
LONGITUDINAL = ({"name": "alpha"}, {"name": "elevator"}, {"name": "throttle"})


def aircraft(unknowns=LONGITUDINAL, surfaces=(TAIL,), propellers=(DISC,), flow=None, **trim):
    """The aircraft with a trim; `trim` changes keys of its table."""
    return Case.from_tables(
        {
            "flow": {"airspeed": 30.0, "alpha": 4.0, **(flow or {})},
            "wing": WING,
            "surfaces": list(surfaces),
            "propellers": list(propellers),
            "model": {"chordwise": 4, "spanwise": 12, "jet_around": 16, "jet_rings": 12},
            "trim": {
                "mass": 250.0,
                "centre_of_gravity": [0.3, 0.0, 0.0],
                "drag_area": 0.1,
                "unknowns": list(unknowns),
                **trim,
            },
        }
    )
