"""Time and memory of a coupled calculation with slipstream edges, against the wing's LU alone.

Twelve (and twenty-four) propellers in mirrored pairs on a lattice of 800 half-span panels, each
slipstream one tube of 20 rings × 36 panels, everything warm. The measure is the LU factorisation
of the same wing's matrix, timed in turn with it in one process. Memory is the largest resident
size of a fresh process that solves the case, interpreter and libraries included.
"""

from __future__ import annotations

import argparse
import math
import resource
import subprocess
import sys
import time
from pathlib import Path

from bench_influence import Row, print_rows  # first: it also sets the number of threads

# isort: split
import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lapack

from blownwing.case.model import Case
from blownwing.coupling import solve, solved_points
from blownwing.coupling.model import Point
from blownwing.errors import SolveError
from blownwing.kernels.threads import threads_for
from blownwing.kernels.vortex import normal_influence

BLADE = Path(__file__).resolve().parents[2] / "shared" / "blades" / "high_lift_5.csv"
HALF_SPAN = 7.0  # m
PANELS = 800
ROWS = 10  # wanted along the chord
RINGS, AROUND = 20, 36
TIME_BUDGET = 25.0  # × LU of the wing's matrix
MEMORY_BUDGET = 1024.0  # MiB


def edge_case(pairs: int, rows: int, strips: int, layers: int = 1) -> Case:
    """A tapered wing with `pairs` mirrored pairs of propellers spread evenly over its span."""
    pitch = HALF_SPAN / pairs
    diameter = 0.72 * pitch
    return Case.from_tables(
        {
            "title": "Row of propellers with slipstream edges, for timing",
            "flow": {"airspeed": 30.0, "alpha": 5.0},
            "wing": {
                "stations": [
                    {"y": 0.0, "chord": 1.2, "airfoil": "naca2412"},
                    {"y": HALF_SPAN, "x": 0.1, "chord": 0.9, "airfoil": "naca2412"},
                ]
            },
            "propellers": [
                {
                    "name": f"p{i + 1}",
                    "position": [-0.6 * diameter - 0.1, (i + 0.5) * pitch, 0.02],
                    "diameter": diameter,
                    "blades": 5,
                    "blade": str(BLADE),
                    "spin": "inboard_up",
                    "mirror": True,
                    "rpm": 150.0 / (0.5 * diameter) * 30.0 / math.pi,
                }
                for i in range(pairs)
            ],
            "model": {
                "jet_edge": True,
                "jet_layers": layers,
                "jet_rings": RINGS,
                "jet_around": AROUND,
                "chordwise": rows,
                "spanwise": strips,
            },
        }
    )


def sized_case(pairs: int, layers: int = 1) -> tuple[Case, Point]:
    """A case of PANELS half-span panels, within 2 %, and its converged state.

    Slipstream edges add strips of their own, so the count is found by trying; nearest to ROWS
    panels along the chord wins.
    """
    found: list[tuple[int, int, int]] = []
    for strips in range(44, 11, -4):
        point = solved_points(edge_case(pairs, 1, strips, layers))[0]
        columns = point.model.system.lattice.columns
        rows = round(PANELS / columns)
        if abs(rows * columns - PANELS) <= 0.02 * PANELS:
            found.append((abs(rows - ROWS), rows, strips))
    for _, rows, strips in sorted(found):
        case = edge_case(pairs, rows, strips, layers)
        point = solved_points(case)[0]
        if abs(point.model.system.lattice.panels - PANELS) <= 0.02 * PANELS:
            return case, point
    raise SolveError(f"no lattice of {PANELS} ± 2 % half-span panels found for {pairs} pairs")


def wing_matrix(point: Point) -> NDArray[np.float64]:
    """The influence matrix of the point's wing, transposed as the library factors it."""
    system = point.model.system
    lattice = system.lattice
    points, normals = system.frame.points(lattice.collocation), system.frame.normals(system.normals)
    matrix = np.empty((lattice.panels, lattice.panels))
    normal_influence(*points, *normals, *system.nodes, lattice.columns, system.images, matrix)
    return matrix.T


def timed(case: Case, point: Point, repeats: int) -> tuple[float, float, float]:
    """Least times of LU, coupled calculation and whole solve, s, taking turns."""
    matrix = wing_matrix(point)
    best = [math.inf] * 3
    for _ in range(repeats):
        fresh = np.array(matrix, order="F")  # not timed: the factors replace it
        with threads_for(point.model.system.lattice.panels):
            start = time.perf_counter()
            lapack.dgetrf(fresh, overwrite_a=True)
            best[0] = min(best[0], time.perf_counter() - start)
        for i, task in ((1, solved_points), (2, solve)):
            start = time.perf_counter()
            task(case)
            best[i] = min(best[i], time.perf_counter() - start)
    return best[0], best[1], best[2]


def peak_memory(pairs: int, case: Case) -> float:
    """Largest resident size of a process that solves the case, MiB."""
    model = case.model
    arguments = [str(pairs), str(model.chordwise), str(model.spanwise), str(model.jet_layers)]
    done = subprocess.run(
        [sys.executable, __file__, "--memory-of", *arguments],
        capture_output=True,
        text=True,
        check=True,
    )
    return float(done.stdout.strip())


def solve_and_print_memory(pairs: int, rows: int, strips: int, layers: int) -> None:
    """Solve one case and print this process's largest resident size, MiB."""
    solve(edge_case(pairs, rows, strips, layers))
    status = Path("/proc/self/status")
    if status.is_file():  # ru_maxrss would count what the parent process held
        line = next(t for t in status.read_text().splitlines() if t.startswith("VmHWM"))
        print(float(line.split()[1]) / 2.0**10)
        return
    unit = 2.0**20 if sys.platform == "darwin" else 2.0**10
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit)


def measured(repeats: int = 12) -> list[Row]:
    """Rows for 12 and 24 propellers with one tube each, and for 12 with three nested ones."""
    rows = []
    for pairs, layers in ((6, 1), (12, 1), (6, 3)):
        case, point = sized_case(pairs, layers)
        lu, points, whole = timed(case, point, repeats)
        memory = peak_memory(pairs, case)
        jets = point.model.jets
        tubes = 0 if jets is None else jets.tubes.panels // (RINGS * AROUND)
        name = f"edges, {2 * pairs} propellers, {tubes} tubes"
        print(
            f"{name}, {point.model.system.lattice.panels} half-span panels: LU {1e3 * lu:.2f} ms, "
            f"coupled {1e3 * points:.1f} ms ({len(point.history['iteration'])} steps), whole solve "
            f"{1e3 * whole:.1f} ms, {memory:.0f} MiB"
        )
        judged = pairs == 6 and layers == 1
        rows += [
            Row(f"{name}: coupled / LU", points / lu, TIME_BUDGET if judged else None),
            Row(f"{name}: whole solve / LU", whole / lu, None),
            Row(f"{name}: memory", memory, MEMORY_BUDGET if judged else None, unit="M"),
        ]
    return rows


def main() -> int:
    parser = argparse.ArgumentParser(description="cost of slipstream edges")
    parser.add_argument("--repeats", type=int, default=12, help="least is reported (12)")
    parser.add_argument("--memory-of", nargs=4, metavar="N", help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.memory_of:
        solve_and_print_memory(*(int(n) for n in arguments.memory_of))
        return 0
    rows = measured(arguments.repeats)
    print_rows(rows)
    return 0 if all(row.ok for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
