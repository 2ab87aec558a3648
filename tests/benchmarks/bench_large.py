"""Build and solution of a lattice of 20 000 panels, against dense LU in time and memory.

The compressed system of a tapered half span, from panels to circulations (10⁻¹⁰ of the residual);
LAPACK's LU of a full matrix of as many unknowns, and the bytes that matrix takes. Memory is what a
fresh process grows by, at its largest, while it builds and solves. The growth exponent is that of
time between 5 000 and 20 000 panels. Runs for minutes; `--scaled` takes the LU of half as many
unknowns and eight times its time.
"""

from __future__ import annotations

import argparse
import math
import subprocess
import sys
import time
from pathlib import Path

from bench_influence import Row, print_rows  # first: it also sets the number of threads

# isort: split
import numpy as np
from scipy.linalg import lapack

from blownwing.case.parts import Wing
from blownwing.geometry.lattice import Lattice, build_lattice
from blownwing.kernels.threads import threads_for
from blownwing.wing.normals import panel_normals, panel_slopes
from blownwing.wing.system import Frame, circulation, compressed_system, factored_system

SHAPES = {5_000: (25, 200), 10_000: (32, 312), 20_000: (50, 400)}  # panels: chordwise, spanwise
SMALL = (16, 250)
TIME_BUDGET, MEMORY_BUDGET, GROWTH_BUDGET, LIFT_BUDGET = 0.1, 0.125, 1.4, 1e-6
REPEATS = 3


def parts(shape: tuple[int, int]) -> tuple[Lattice, np.ndarray]:
    """Lattice and normals of a tapered half span with twice its half span in chords."""
    stations = (
        {"y": 0.0, "chord": 1.2, "airfoil": "naca2412"},
        {"y": 6.0, "x": 0.3, "chord": 0.7, "twist": -2.0, "airfoil": "naca2412"},
    )
    wing = Wing.model_validate({"stations": stations})
    lattice = build_lattice(wing, *shape, "cosine")
    return lattice, panel_normals(lattice, panel_slopes(wing, lattice, Path(".")))


def solved(lattice: Lattice, normals: np.ndarray) -> tuple[np.ndarray, int]:
    """Circulations at an incidence, and the bytes of the compressed system."""
    with threads_for(0):
        system = compressed_system(lattice, normals, Frame())
        found = circulation(system, 0.99 * normals[0] + 0.1 * normals[2])
    return found, system.solver.nbytes


def own_time(shape: tuple[int, int]) -> float:
    """Least time of build and solution, s."""
    lattice, normals = parts(shape)
    best = math.inf
    for _ in range(REPEATS):
        start = time.perf_counter()
        solved(lattice, normals)
        best = min(best, time.perf_counter() - start)
    return best


def dense_time(unknowns: int) -> float:
    """Time of LAPACK's LU of a full matrix, s."""
    matrix = np.random.default_rng(0).random((unknowns, unknowns)).T
    matrix[np.diag_indices(unknowns)] += unknowns
    start = time.perf_counter()
    _, _, info = lapack.dgetrf(matrix, overwrite_a=True)
    if info != 0:
        raise RuntimeError("the full matrix is singular")
    return time.perf_counter() - start


def growth_of_process() -> None:
    """Print by how many bytes this process grows, at most, while it builds and solves."""
    solved(*parts((8, 200)))  # kernels and libraries are loaded
    lattice, normals = parts(SHAPES[20_000])
    before = resident("VmRSS")
    solved(lattice, normals)
    print(resident("VmHWM") - before)


def resident(name: str) -> int:
    """Bytes of this process now (VmRSS) or at most since it began (VmHWM), as Linux tells."""
    lines = Path("/proc/self/status").read_text(encoding="utf-8").splitlines()
    return 1024 * int(next(line for line in lines if line.startswith(name)).split()[1])


def measured_memory() -> int:
    """Bytes that a fresh process grows by."""
    done = subprocess.run(
        [sys.executable, __file__, "--grow"], capture_output=True, text=True, check=True
    )
    return int(done.stdout)


def lift_difference() -> float:
    """Relative difference in lift between the full and the compressed system of 4 000 panels."""
    lattice, normals = parts(SMALL)
    full = factored_system(lattice, normals, Frame())
    wanted = circulation(full, 0.99 * normals[0] + 0.1 * normals[2])
    found, _ = solved(lattice, normals)
    return abs(float(found @ lattice.bound[1]) / float(wanted @ lattice.bound[1]) - 1.0)


def measured(scaled: bool = False) -> list[Row]:
    """Rows for time, memory, growth and accuracy."""
    difference = lift_difference()
    times = {count: own_time(shape) for count, shape in SHAPES.items()}
    memory = measured_memory()
    dense = 8.0 * dense_time(10_000) if scaled else dense_time(20_000)
    words = ", ".join(f"{count} panels {value:.2f} s" for count, value in times.items())
    print(f"build and solution: {words}; dense LU of 20000 {dense:.1f} s")
    print(f"grows by {memory / 2**20:.0f} MiB; the full matrix takes {8 * 20_000**2 / 2**20:.0f}")
    growth = math.log(times[20_000] / times[5_000]) / math.log(4.0)
    return [
        Row("20 000 panels: time / dense LU", times[20_000] / dense, TIME_BUDGET),
        Row("20 000 panels: memory / full matrix", memory / (8 * 20_000**2), MEMORY_BUDGET),
        Row("5 000 to 20 000 panels: growth exponent", growth, GROWTH_BUDGET, unit=""),
        Row("4 000 panels: lift against full, relative", difference, LIFT_BUDGET, unit=""),
    ]


def main() -> int:
    parser = argparse.ArgumentParser(description="a lattice of 20 000 panels")
    parser.add_argument("--scaled", action="store_true", help="LU of 10 000 unknowns, times eight")
    parser.add_argument("--grow", action="store_true", help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.grow:
        growth_of_process()
        return 0
    rows = measured(arguments.scaled)
    print_rows(rows)
    return 0 if all(row.ok for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
