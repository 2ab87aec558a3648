"""Random cases that look like ones a user would write; small lattices, so that many are solved."""

import random
from copy import deepcopy
from pathlib import Path

BLADES = Path(__file__).parents[2] / "shared" / "blades"
SECTIONS = ("flat", "naca0012", "naca2412", "naca4415", "naca23012", "naca63-415")


def random_tables(seed, *, blades=True, edges=None, sections=None, symmetric=True):
    """Tables of one case.

    seed: everything follows from it. blades: propellers with blades too, else ideal discs alone.
    edges, sections: of the model; None draws them. symmetric: no sideslip, all propellers mirrored.
    """
    draw = random.Random(seed)
    chord, half = draw.uniform(0.5, 2.0), draw.uniform(2.0, 6.0)
    taper, sweep = draw.uniform(0.5, 1.1), draw.uniform(-0.2, 1.0)
    stations = [
        {"y": 0.0, "chord": chord, "airfoil": draw.choice(SECTIONS)},
        {"y": half, "x": sweep, "z": draw.uniform(-0.1, 0.4), "chord": taper * chord,
         "twist": draw.uniform(-4.0, 2.0), "airfoil": draw.choice(SECTIONS)},
    ]  # fmt: skip
    flow = {"airspeed": draw.uniform(15.0, 80.0), "altitude": draw.uniform(0.0, 4000.0),
            "alpha": draw.uniform(-3.0, 9.0)}  # fmt: skip
    if not symmetric:
        flow["beta"] = draw.uniform(-8.0, 8.0)
    count = draw.randint(1, 3)
    pitch = half / count
    radius = min(0.42 * pitch, draw.uniform(0.25, 0.8) * chord)
    propellers = []
    for k in range(count):
        y = (k + 0.5) * pitch
        nose = sweep * y / half - 0.1 * chord
        item = {
            "name": f"p{k}",
            "position": [min(nose, 0.0) - draw.uniform(0.3, 1.0) * chord, y,
                         draw.uniform(-0.3, 0.3) * radius],
            "diameter": 2.0 * radius,
            "mirror": True,
        }  # fmt: skip
        pressure = 0.6 * flow["airspeed"] ** 2 * 3.14 * radius**2
        if blades and draw.random() < 0.6:
            item |= {"blade": str(BLADES / draw.choice(("high_lift_5.csv", "tunnel_4.csv"))),
                     "blades": draw.randint(2, 6),
                     "spin": draw.choice(("inboard_up", "outboard_up"))}  # fmt: skip
            tip = draw.uniform(90.0, 190.0)
            if draw.random() < 0.5:
                item["rpm"] = tip / radius * 9.549
            else:
                item["thrust"] = draw.uniform(0.1, 0.8) * pressure
        else:
            item |= {"kind": "disc", "thrust": draw.uniform(0.05, 1.5) * pressure}
        propellers.append(item)
    model = {
        "chordwise": draw.randint(2, 4),
        "spanwise": draw.randint(8, 16),
        "jet_edge": draw.random() < 0.6 if edges is None else edges,
        "sections": draw.choice(("linear", "linear", "tables")) if sections is None else sections,
        "jet_around": 10,
        "jet_rings": 8,
        "jet_layers": draw.choice(("auto", 1, 2)),
        "radial": 8,
        "azimuth": 6,
    }
    if draw.random() < 0.3:
        kind = draw.choice(("plain", "single_slotted"))
        flaps = [{"from": 0.1, "to": 0.7, "chord_fraction": 0.25,
                  "deflection": draw.uniform(0.0, 25.0), "kind": kind}]  # fmt: skip
    else:
        flaps = []
    wing = {"stations": stations, "reference_point": [0.25 * chord, 0.0, 0.0], "flaps": flaps}
    return {"title": f"random {seed}", "flow": flow, "wing": wing, "propellers": propellers,
            "model": model}  # fmt: skip


SPIN = {"inboard_up": ("clockwise", "counterclockwise"),
        "outboard_up": ("counterclockwise", "clockwise")}  # fmt: skip
"""Spin by handedness of a starboard propeller and its twin; inboard up is clockwise to starboard
(seen from behind, as the README defines it)."""


def explicit(tables):
    """The same case with every twin written out."""
    result = deepcopy(tables)
    items = []
    for item in result["propellers"]:
        own, twin = {**item, "mirror": False}, {**item, "mirror": False}
        twin["name"] += "_other"
        x, y, z = item["position"]
        twin["position"] = [x, -y, z]
        if "toe" in item:
            twin["toe"] = -item["toe"]
        if "spin" in item:
            own["spin"], twin["spin"] = SPIN[item["spin"]]
        items += [own, twin]
    result["propellers"] = items
    return result


def whole(tables):
    """The same case with both halves of the wing written out."""
    result = explicit(tables)
    right = result["wing"]["stations"]
    left = [{**station, "y": -station["y"]} for station in right[:0:-1]]
    result["wing"] |= {"stations": left + right, "symmetric": False}
    flaps = [{**flap, "from": -flap["to"], "to": -flap["from"]} for flap in result["wing"]["flaps"]]
    result["wing"]["flaps"] = flaps + result["wing"]["flaps"]
    return result


def mirrored(tables):
    """The mirror image of a case whose twins are written out."""
    result = deepcopy(tables)
    result["flow"]["beta"] = -result["flow"].get("beta", 0.0)
    other = {"clockwise": "counterclockwise", "counterclockwise": "clockwise"}
    for item in result["propellers"]:
        x, y, z = item["position"]
        item["position"] = [x, -y, z]
        item["spin"] = other.get(item.get("spin"), item.get("spin"))
        if item["spin"] is None:
            del item["spin"]
    return result


def scaled(tables, size):
    """The case with all lengths times a factor, forces so that coefficients stay."""
    result = deepcopy(tables)
    for station in result["wing"]["stations"]:
        for key in ("y", "x", "z", "chord"):
            station[key] = size * station.get(key, 0.0)
    result["wing"]["reference_point"] = [size * x for x in result["wing"]["reference_point"]]
    for item in result["propellers"]:
        item["position"] = [size * x for x in item["position"]]
        item["diameter"] *= size
        if "thrust" in item:
            item["thrust"] *= size**2
    return result
