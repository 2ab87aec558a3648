"""How far the tubes' panels are from their limit: increments of random cases, refined twice.

Twenty cases: several tubes, one to three layers, partly immersed, in ground effect, in sideslip,
half a tube on the plane of symmetry. Increments are over those with four times the panels each way.
The bar is 0.3 % of the lift gained. Not a time; run by hand, it takes some minutes.

Tubes refined alone lead to a limit of their own: the wing's strips are narrower than the default's
panels where a tube meets them, so that finer panels see strips that are not fine enough for them.
``--whole`` refines both: 96 even strips on the half span and 180 panels round each tube.
"""

from __future__ import annotations

import argparse
import random
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from blownwing import Case, solve
from blownwing.errors import InputError, SolveError

BLADE = Path(__file__).resolve().parents[2] / "shared" / "blades" / "high_lift_5.csv"
BAR = 0.003
FACTOR = 4
WHOLE = {"model.jet_around": 180, "model.spanwise": 96, "model.spacing": "uniform"}


def random_tables(seed: int) -> dict[str, Any]:
    """Tables of a case; everything follows from the seed."""
    draw = random.Random(1000 + seed)
    chord, half, speed = draw.uniform(0.6, 1.6), draw.uniform(3.0, 6.0), draw.uniform(15.0, 60.0)
    count = draw.randint(1, 3)
    pitch = half / (count + 0.2)
    radius = min(0.45 * pitch, draw.uniform(0.25, 0.7) * chord)
    push = 0.6 * speed**2 * np.pi * radius**2
    items: list[dict[str, Any]] = []
    for k in range(count):
        height = draw.uniform(-0.4, 0.4)
        if seed % 5 == 1:  # partly immersed
            height = draw.choice((-1.0, 1.0)) * draw.uniform(0.8, 0.98)
        item: dict[str, Any] = {
            "name": f"p{k}",
            "position": [-draw.uniform(0.3, 1.0) * chord, (k + 0.6) * pitch, height * radius],
            "diameter": 2.0 * radius,
            "mirror": True,
        }
        if draw.random() < 0.5:
            item |= {"blade": str(BLADE), "blades": 5, "thrust": push * draw.uniform(0.3, 1.5),
                     "spin": draw.choice(("inboard_up", "outboard_up"))}  # fmt: skip
        else:
            item |= {"kind": "disc", "thrust": push * draw.uniform(0.3, 2.5)}
        items.append(item)
    if seed % 5 == 2:  # half on the plane of symmetry
        middle = {"name": "middle", "kind": "disc", "position": [-0.6 * chord, 0.0, 0.1 * radius]}
        items[0] = middle | {"diameter": 2.0 * radius, "thrust": 1.2 * push}
    flow: dict[str, Any] = {"airspeed": speed, "alpha": draw.uniform(-1.0, 9.0)}
    if seed % 4 == 3:
        flow["beta"] = draw.uniform(-6.0, 6.0)
    if seed % 5 == 3:
        flow["ground_height"] = draw.uniform(1.5, 3.0) * radius + 0.5
    tip = {"y": half, "x": draw.uniform(0.0, 0.6), "z": draw.uniform(0.0, 0.3), "twist": -2.0,
           "chord": chord * draw.uniform(0.5, 1.0), "airfoil": "naca2412"}  # fmt: skip
    wing = {"stations": [{"y": 0.0, "chord": chord, "airfoil": "naca2412"}, tip]}
    model = {"chordwise": 4, "spanwise": 16, "jet_layers": draw.choice((1, 2, 3)), "radial": 8,
             "azimuth": 6}  # fmt: skip
    if count == 3:
        model["jet_layers"] = 1
    return {"flow": flow, "wing": wing, "propellers": items, "model": model}


def refined(case: Case, factor: int) -> dict[str, Any]:
    """Changes that give the tubes so many times the panels each way."""
    model = case.model
    return {"model.jet_around": factor * model.jet_around,
            "model.jet_rings": factor * model.jet_rings, "model.matrix": "full"}  # fmt: skip


def increments(seed: int, finer: Callable[[Case], dict[str, Any]]) -> tuple[float, float]:
    """Lift gained, over the lift, and the same of induced drag."""
    case = Case.from_tables(random_tables(seed))
    totals = solve(case.replace(**finer(case))).totals
    lift = float(totals["CL"] - totals["CL_unblown"])
    return lift, float(totals["CD_induced"] - totals["CD_induced_unblown"])


def main() -> int:
    parser = argparse.ArgumentParser(description="tubes' panels against their limit")
    parser.add_argument("--cases", type=int, default=20)
    parser.add_argument("--factor", type=int, default=FACTOR, help="panels each way (4)")
    parser.add_argument("--whole", action="store_true", help="strips and tubes refined together")
    arguments = parser.parse_args()

    def limiting(case: Case) -> dict[str, Any]:
        return WHOLE if arguments.whole else refined(case, arguments.factor)

    inside = solved = 0
    for seed in range(arguments.cases):
        try:
            found, limit = increments(seed, lambda case: {}), increments(seed, limiting)
        except (InputError, SolveError) as error:
            print(f"{seed:3d}  {error}", flush=True)
            continue
        off = [a / b - 1.0 for a, b in zip(found, limit, strict=True)]
        solved += 1
        inside += abs(off[0]) <= BAR
        print(f"{seed:3d}  lift gained {limit[0]:+.4f} {off[0]:+7.2%}, "
              f"induced drag {limit[1]:+.5f} {off[1]:+7.2%}", flush=True)  # fmt: skip
    print(f"lift gained within {BAR:.1%}: {inside} of {solved}")
    return 0 if inside == solved == arguments.cases else 1


if __name__ == "__main__":
    sys.exit(main())
