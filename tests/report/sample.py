"""A made-up solution with the shape of a real one, for tests of files, figures and summaries.

Its numbers follow simple closed forms (elliptic loading, momentum theory) so that it looks like a
result; nothing here is a check value.
"""

from __future__ import annotations

import numpy as np

from blownwing.solution import Solution, stacked

CASE = """\
title = "Sample wing with eight propellers"
[flow]
airspeed = 30.0
alpha = 4.0
[wing]
symmetric = true
[[wing.stations]]
y = 0.0
chord = 1.2
airfoil = "naca2412"
[[wing.stations]]
y = 6.0
x = 0.1
chord = 0.9
airfoil = "naca2412"
"""
PROPELLER = """\
[[propellers]]
name = "{name}"
blades = 5
blade = "blade.csv"
position = [-0.5, {y}, 0.05]
diameter = 0.8
spin = "{spin}"
mirror = true
thrust = 120.0
"""
PLACES = {"inner": 1.2, "second": 2.4, "third": 3.6, "outer": 4.8}
AIRSPEED, DENSITY, AREA, SPAN = 30.0, 1.225, 12.6, 12.0


def case_text(places: dict[str, float] = PLACES) -> str:
    spins = ("inboard_up", "outboard_up")
    rows = [
        PROPELLER.format(name=name, y=y, spin=spins[i % 2])
        for i, (name, y) in enumerate(places.items())
    ]
    return CASE + "".join(rows)


def single(alpha: float = 4.0, places: dict[str, float] = PLACES, iterations: int = 9) -> Solution:
    edges = 0.5 * SPAN * np.sin(np.linspace(-0.5, 0.5, 65) * np.pi)
    y = 0.5 * (edges[1:] + edges[:-1])
    width = np.diff(edges)
    chord = 1.2 - 0.05 * np.abs(y)
    q = 0.5 * DENSITY * AIRSPEED**2
    cl_unblown = 0.1 * (alpha + 2.0) * np.sqrt(1 - (2 * y / SPAN) ** 2) * 1.2 / chord
    axial, swirl = np.zeros_like(y), np.zeros_like(y)
    for i, place in enumerate(places.values()):
        for side in (1, -1):
            offset = y - side * place
            inside = np.abs(offset) < 0.37
            axial[inside] += 8.0
            swirl[inside] += (-1) ** i * side * 4.0 * np.sign(offset[inside])
    ratio = 1 + axial / AIRSPEED
    cl = cl_unblown * ratio
    lift = float(np.sum(cl * chord * width) * q)
    lift_unblown = float(np.sum(cl_unblown * chord * width) * q)
    r = np.linspace(0.1, 0.39, 12)
    load = np.sqrt(np.clip(1 - ((r - 0.29) / 0.2) ** 2, 0.01, None))
    names = {}
    for i, name in enumerate(places):
        names[name] = (-1) ** i
        names[f"{name}_port"] = -((-1) ** i)
    propellers, slipstreams = {}, {}
    x = np.linspace(0.0, 4.0, 20)
    for name, rotation in names.items():
        propellers[name] = {
            "r": r,
            "thrust": 120.0,
            "torque": 10.9,
            "power": 4800.0,
            "efficiency": 0.75,
            "CT": 0.098,
            "CP": 0.071,
            "J": 0.536,
            "rpm": 4200.0,
            "pitch": 0.0,
            "rotation": rotation,
            "normal_force": 3.0,
            "side_force": 0.2,
            "axial_induced": 6.0 * load,
            "tangential_induced": 2.0 * load,
            "alpha": 6.0 * load,
            "cl": 0.7 * load,
            "cd": 0.02 + 0.01 * load,
            "dT_dr": 520.0 * load,
            "dQ_dr": 47.0 * load,
        }
        grow = 1 + x / np.hypot(x, 0.4)
        slipstreams[name] = {
            "x": x,
            "radius": 0.4 * np.sqrt(34.0 / (30.0 + 4.0 * grow)),
            "speed_ratio": 1 + 4.0 * grow / 30.0,
            "immersion": 0.1 - 0.02 * x,
        }
    number = np.arange(1, iterations + 1)
    cd = cl**2 * 0.03
    drag = float(np.sum(cd * chord * width) * q)
    return Solution(
        title="Sample wing with eight propellers",
        case_toml=case_text(places),
        totals={
            "alpha": alpha,
            "airspeed": AIRSPEED,
            "density": DENSITY,
            "reference_dynamic_pressure": q,
            "reference_area": AREA,
            "CL": lift / (q * AREA),
            "CL_unblown": lift_unblown / (q * AREA),
            "CL_from_thrust": 960.0 * np.sin(np.deg2rad(alpha)) / (q * AREA),
            "CD_induced": drag / (q * AREA),
            "CD_induced_unblown": 0.8 * drag / (q * AREA),
            "CD_induced_farfield": 1.004 * drag / (q * AREA),
            "CD_profile": 0.0,
            "CD": drag / (q * AREA),
            "CY": 0.0,
            "C_roll": 0.0,
            "C_pitch": -0.08,
            "C_yaw": 0.0,
            "lift": lift,
            "drag": drag,
            "thrust": 960.0,
            "net_axial_force": 960.0 - drag,
            "power": 38400.0,
            "efficiency": 0.75,
            "induced_drag_discrepancy": 0.004,
        },
        strips={
            "y": y,
            "x": 0.3 + 0.004 * np.abs(y),
            "z": np.zeros_like(y),
            "chord": chord,
            "width": width,
            "circulation": 0.5 * AIRSPEED * chord * cl,
            "cl": cl,
            "cl_unblown": cl_unblown,
            "cl_local_q": cl / ratio**2,
            "cd_induced": cd,
            "cd_profile": np.zeros_like(y),
            "alpha_effective": np.rad2deg(cl / (2 * np.pi)),
            "speed_ratio": ratio,
            "slipstream_axial": axial,
            "slipstream_swirl": swirl,
            "downwash": 0.03 * AIRSPEED * cl,
        },
        propellers=propellers,
        slipstreams=slipstreams,
        convergence={
            "iteration": number,
            "residual": 10.0 ** (-1.1 * number),
            "CL": lift / (q * AREA) * (1 - 0.3 * 0.1**number),
            "thrust": 960.0 * (1 + 0.1 * 0.1**number),
        },
    )


def polar(alphas: tuple[float, ...] = (0.0, 4.0, 8.0)) -> Solution:
    return stacked([single(alpha, iterations=7 + i) for i, alpha in enumerate(alphas)])
