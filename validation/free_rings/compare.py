"""The program against the free rings: a flat wing behind one disc, its axis along the chord.

Run as a script: prints the tables of `computed.csv` that matter and the comparison with
`blownwing.solve`, and draws the figures (`--quick` leaves them out). `cases.py` makes the numbers.
"""

from __future__ import annotations

import csv
import math
import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from blownwing import Case, solve
from blownwing.solution.model import Solution

Array = NDArray[np.float64]

HERE = Path(__file__).parent
SPEED, DENSITY, ALPHA, RATIO, ASPECT = 30.0, 1.225, 1.7, 1.5, 8.0
WINGS = ((0.5, 0.5), (0.5, 1.5), (1.0, 0.5), (1.0, 2.5))  # R/c, disc ahead in chords


def _read(name: str) -> list[dict[str, str]]:
    lines = (HERE / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def rings(case: str, quantity: str) -> dict[str, float]:
    """Values of `computed.csv` for one case and quantity, by place."""
    return {
        r["place"]: float(r["value"])
        for r in _read("computed.csv")
        if r["case"] == case and r["quantity"] == quantity
    }


def wing_name(size: float, ahead: float) -> str:
    """Name of a wing case in the files."""
    return f"wing R/c {size:g}, {ahead:g} c ahead"


def loads(size: float, ahead: float) -> Array:
    """y/c, width/c, cl blown, cl unblown of the rings' wing, (4, strips)."""
    names = ("y_over_c", "width_over_c", "cl_blown", "cl_unblown")
    rows = [r for r in _read("span_loads.csv") if r["case"] == wing_name(size, ahead)]
    return np.array([[float(r[n]) for r in rows] for n in names])


def ideal_thrust(radius: float, ratio: float) -> float:
    """Thrust, N, of the ideal disc of a radius, m, with μ times the airspeed far behind."""
    induced = 0.5 * (ratio - 1.0) * SPEED
    return DENSITY * math.pi * radius**2 * (SPEED + induced) * 2.0 * induced


def program(size: float, ahead: float, ratio: float = RATIO, **model: object) -> Solution:
    """The program's answer: plate 1 m × 8 m, disc of radius `size` on its chord plane."""
    disc = {
        "name": "disc",
        "kind": "disc",
        "position": [-ahead, 0.0, 0.0],
        "diameter": 2.0 * size,
        "thrust": ideal_thrust(size, ratio),
        "mirror": False,
    }
    ends = [{"y": y, "chord": 1.0} for y in (0.0, 0.5 * ASPECT)]
    tables = {
        "flow": {"airspeed": SPEED, "alpha": ALPHA, "density": DENSITY},
        "wing": {"stations": ends},
        "propellers": [disc],
        "model": {"compressibility": False, **model},
    }
    return solve(Case.from_tables(tables))


def gains(solution: Solution) -> tuple[float, float]:
    """ΔCL/CL and ΔCDi/CDi over the unblown wing."""
    now = solution.totals
    return now["CL"] / now["CL_unblown"] - 1.0, (
        now["CD_induced"] / now["CD_induced_unblown"] - 1.0
    )


def rings_gains(size: float, ahead: float) -> tuple[float, float]:
    """ΔCL/CL and ΔCDi/CDi of the rings' wing, mean of the finest level."""
    name = wing_name(size, ahead)
    return rings(name, "ΔCL/CL")["wing"], rings(name, "ΔCDi/CDi")["wing"]


def slipstreams() -> None:
    """The rings alone: what theory says of a disc, of a pair, of a disc between line vortices."""
    print("\nAxial disc, finest level: found | theory")
    for ratio in (1.1, 1.5, 2.0, 3.0):
        name = f"axial mu {ratio:g}"
        far = rings(name, "axial speed on the axis over V")["x = 4 R"]
        mean = rings(name, "mean axial speed through the disc over V")["disc"]
        area = rings(name, "area over the disc's")["x = 5 R"]
        print(
            f"  mu {ratio:3.1f}: speed at 4 R {far:.4f} | {ratio:.4f};  through the disc"
            f" {mean:.4f} | {0.5 * (1 + ratio):.4f};  area {area:.4f}"
            f" | {0.5 * (1 + ratio) / ratio:.4f}"
        )
    print(
        "\nInclined disc (3.5 deg): flow angle inside over alpha; formula far behind 1 - eps/alpha"
    )
    for ratio in (1.1, 1.5, 2.0, 3.0):
        for suffix, words in (("", "rings"), (", tube of the far radius", "tube ")):
            found = rings(f"inclined mu {ratio:g}{suffix}", "flow angle inside over alpha")
            text = "  ".join(f"{place[4:]} {value:.4f}" for place, value in found.items())
            far = 1.0 - ratio * (ratio - 1.0) / (ratio**2 + 1.0)
            print(f"  mu {ratio:3.1f} {words}: {text}   formula {far:.4f}")
    print("\nUpwash beside it over V alpha, 4 R behind: rings | tube | eps Rf^2/y^2")
    for ratio in (1.1, 1.5, 2.0, 3.0):
        quantity = "upwash beside over V alpha"
        one = rings(f"inclined mu {ratio:g}", quantity)
        two = rings(f"inclined mu {ratio:g}, tube of the far radius", quantity)
        share = 0.5 * (ratio - 1.0) * (ratio + 1.0) / (ratio**2 + 1.0)  # ε/α · Rf²
        print(f"  mu {ratio:3.1f}: " + ";  ".join(
            f"{place[9:]} {one[place]:.4f} | {two[place]:.4f} | "
            f"{share / float(place.split('= ')[2][:-2]) ** 2:.4f}" for place in one))  # fmt: skip
    print("\nBetween line vortices: flow angle, rad / 1000; ahead of the disc w/V")
    for ratio in (1.5, 2.0):
        name = f"lines mu {ratio:g}"
        angle, cross = rings(name, "flow angle"), rings(name, "cross-flow over V")
        print(f"  mu {ratio:3.1f} place     " + " ".join(f"{p[4:]:>7}" for p in angle))
        ours = [cross[p] if "-" in p else v for p, v in angle.items()]
        print("         rings     " + " ".join(f"{1e3 * v:7.2f}" for v in ours))
        for end, words in (("tube of the far radius", "tube (far R)"),
                           ("tube of the disc's radius", "tube (disc R)"),
                           ("tube without the disc's condition", "no condition")):  # fmt: skip
            found = list(rings(f"{name}, {end}", "flow angle").values())
            print(f"         {words:13}" + " ".join(f"{1e3 * v:7.2f}" for v in found)[2:])
    print("\nPair, 2.4 R apart: angle inside over alpha; upwash at 2 R behind over V alpha")
    for ratio in (1.5, 2.0):
        for suffix, words in (
            ("", "rings"),
            (", tubes of the far radius", "tubes (far R)"),
            (", tubes of the disc's radius", "tubes (disc R)"),
        ):
            name = f"pair mu {ratio:g}{suffix}"
            inside = rings(name, "flow angle inside over alpha")
            beside = rings(name, "upwash beside over V alpha")
            text = [f"{p[4:]} {v:.4f}" for p, v in inside.items()] + ["|"]
            text += [f"{p.split(', ')[1]} {v:.4f}" for p, v in beside.items()]
            print(f"  mu {ratio:3.1f} {words:14}: {'  '.join(text)}")


def wings() -> None:
    """The blown wing: rings with their spread, and the program."""
    print("\nFlat wing, A 8, 1.7 deg, disc axis along the chord, Vj/V 1.5: ΔCL/CL and ΔCDi/CDi")
    print(
        "  R/c  ahead   rings (least … greatest)     program      rings (least … greatest)  program"
    )
    for size, ahead in WINGS:
        name = wing_name(size, ahead)
        parts = []
        for quantity, ours in zip(("ΔCL/CL", "ΔCDi/CDi"), gains(program(size, ahead)), strict=True):
            value, low, high = (
                rings(name, quantity + end)["wing"]
                for end in ("", ", least of all", ", greatest of all")
            )
            parts.append(f"{value:7.4f} ({low:.4f} … {high:.4f})   {ours:8.4f}")
        print(f"  {size:3.1f}  {ahead:3.1f} c  " + "   ".join(parts))


if __name__ == "__main__":
    slipstreams()
    wings()
    if "--quick" not in sys.argv[1:]:
        from figures import draw

        draw()
