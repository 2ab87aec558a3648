"""Time of a coupled calculation against assembly and factorisation of its wing system alone.

Twelve (and twenty-four) propellers in mirrored pairs on a lattice of 800 half-span panels,
slipstreams superposed, everything warm. Both times are minima of interleaved repeats in one
process, so that load from outside touches both alike. Run as a script; `--profile` adds where the
time goes.
"""

from __future__ import annotations

import argparse
import cProfile
import pstats
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path

from bench_influence import Row, best_times, print_rows  # first: it also sets the number of threads

from blownwing.case.model import Case
from blownwing.case.reader import parse_case
from blownwing.coupling import solve, solved_points
from blownwing.coupling.model import Point
from blownwing.coupling.setup import edge_drift
from blownwing.errors import SolveError
from blownwing.kernels.threads import threads_for
from blownwing.wing.system import factored_system

BLADE = Path(__file__).resolve().parents[2] / "shared" / "blades" / "high_lift_5.csv"
HALF_SPAN = 7.0  # m
PANELS = 800
ROWS = 10  # wanted along the chord
BUDGET = 2.0  # × assembly and factorisation of the wing system


def coupled_case(pairs: int, operating: str, rows: int, strips: int) -> Case:
    """A tapered wing with `pairs` mirrored pairs of propellers spread evenly over its span.

    operating: "rpm" (given) or "thrust" (similar loading, speed found by the solve); rows: panels
    along the chord; strips: asked of the lattice per half span.
    """
    pitch = HALF_SPAN / pairs
    diameter = 0.72 * pitch
    tip_speed = 150.0  # m/s
    thrust = 400.0 * diameter**2  # N, near what the blade delivers at that tip speed
    turning = {
        "rpm": f"rpm = {tip_speed / (0.5 * diameter) * 30.0 / 3.141592653589793!r}",
        "thrust": f"thrust = {thrust!r}",
    }[operating]
    propellers = "".join(
        f"""
[[propellers]]
name = "p{i + 1}"
position = [{-0.6 * diameter - 0.1!r}, {(i + 0.5) * pitch!r}, 0.02]
diameter = {diameter!r}
blades = 5
blade = "{BLADE.as_posix()}"
spin = "inboard_up"
mirror = true
{turning}
"""
        for i in range(pairs)
    )
    return parse_case(
        f"""
title = "Row of propellers, for timing"
[flow]
airspeed = 30.0
alpha = 5.0
[wing]
[[wing.stations]]
y = 0.0
chord = 1.2
airfoil = "naca2412"
[[wing.stations]]
y = {HALF_SPAN!r}
x = 0.1
chord = 0.9
airfoil = "naca2412"
{propellers}
[model]
jet_edge = false
chordwise = {rows}
spanwise = {strips}
""",
        name="benchmark case",
    )


def sized_case(pairs: int, operating: str = "rpm") -> tuple[Case, Point]:
    """A case of PANELS half-span panels, within 2 %, and its converged state.

    Slipstream edges add strips of their own, so the count is found by trying; nearest to ROWS
    panels along the chord wins, and every slipstream edge has to be a strip edge.
    """
    found: list[tuple[int, int, int]] = []
    for strips in range(40, 14, -4):
        case = coupled_case(pairs, operating, 1, strips)
        point = solved_points(case)[0]
        columns = point.model.system.lattice.columns
        rows = round(PANELS / columns)
        drift = edge_drift(case, point.flow, point.model, point.streams)
        if abs(rows * columns - PANELS) <= 0.02 * PANELS and drift < 0.02:
            found.append((abs(rows - ROWS), rows, strips))
    for _, rows, strips in sorted(found):
        case = coupled_case(pairs, operating, rows, strips)
        point = solved_points(case)[0]
        if abs(point.model.system.lattice.panels - PANELS) <= 0.02 * PANELS:
            return case, point
    raise SolveError(f"no lattice of {PANELS} ± 2 % half-span panels found for {pairs} pairs")


def wing_alone(case: Case, point: Point) -> Callable[[], object]:
    """Assembly and factorisation of the same lattice, nothing else, threads as in a solve."""
    system = point.model.system

    def task() -> object:
        with threads_for(system.lattice.panels):
            return factored_system(system.lattice, system.normals, system.frame)

    return task


def measured(repeats: int = 25) -> list[Row]:
    """Rows for 12 and 24 propellers, speed or thrust given; the budget is for 12."""
    rows = []
    for pairs in (6, 12):
        for operating in ("rpm", "thrust"):
            case, point = sized_case(pairs, operating)
            alone, points, whole = best_times(
                (wing_alone(case, point), partial(solved_points, case), partial(solve, case)),
                repeats,
            )
            name = f"{2 * pairs} propellers, {operating} given, {point.model.system.lattice.panels}"
            steps = len(point.history["iteration"])
            print(
                f"{name} half-span panels: wing system {1e3 * alone:.2f} ms, coupled "
                f"{1e3 * points:.2f} ms ({steps} steps), whole solve {1e3 * whole:.2f} ms"
            )
            budget = BUDGET if pairs == 6 else None
            rows.append(Row(f"{name} panels: coupled / wing system", points / alone, budget))
            rows.append(Row(f"{name} panels: whole solve / wing system", whole / alone, None))
    return rows


def profiled(pairs: int, operating: str, repeats: int = 20) -> None:
    """Print the 15 costliest calls, cumulative and own time, of warm `solved_points`."""
    case, _ = sized_case(pairs, operating)
    solved_points(case)
    profile = cProfile.Profile()
    profile.enable()
    for _ in range(repeats):
        solved_points(case)
    profile.disable()
    print(f"\n{2 * pairs} propellers, {operating} given, {repeats} calls of solved_points:")
    stats = pstats.Stats(profile, stream=sys.stdout).strip_dirs()
    stats.sort_stats("cumulative").print_stats(15)
    stats.sort_stats("tottime").print_stats(15)


def main() -> int:
    parser = argparse.ArgumentParser(description="time of a coupled calculation")
    parser.add_argument("--profile", action="store_true", help="print where the time goes")
    parser.add_argument("--repeats", type=int, default=25, help="least is reported (25)")
    arguments = parser.parse_args()
    rows = measured(arguments.repeats)
    print_rows(rows)
    if arguments.profile:
        for operating in ("rpm", "thrust"):
            profiled(6, operating)
    return 0 if all(row.ok for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
