"""All benchmarks in one run and one table; ends with 1 when a budget is exceeded.

Run: python tests/benchmarks/run.py. Figures depend on the machine, ratios far less so.
"""

from __future__ import annotations

import importlib
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import bench_coupled
import bench_influence
import bench_jet_edge
import bench_large
import bench_polar
import bench_sweep
import bench_waits
from bench_influence import Row, best_times, print_rows  # first: it also sets the thread count

from blownwing.case.model import Case
from blownwing.case.reader import read_case

HERE = Path(__file__).resolve().parent
CASES = HERE.parents[1] / "cases"
HELP_BUDGET = 0.25  # s
SOLVE_BUDGET = 1.3  # s
PROCESS_REPEATS = 5


def blade_element_rows() -> list[Row]:
    """Rows of the blade-element benchmark, if it is there."""
    if not (HERE / "bench_blade_element.py").is_file():
        print("bench_blade_element.py is missing: the blade element is not measured")
        return []
    module = importlib.import_module("bench_blade_element")
    seconds = module.measure()
    ours = seconds["ours"]
    print(f"{1e6 * ours:.2f} µs per element, {seconds['same']:.1%} of brentq's roots the same")
    name = "blade element: brentq / ours"
    return [
        Row(f"{name}, Python residual", seconds["usual"] / ours, module.BUDGET, least=True),
        Row(f"{name}, compiled residual", seconds["compiled"] / ours, None),
    ]


def work(case: Case) -> int:
    """A rough size of a case: panels times incidences."""
    return case.model.chordwise * case.model.spanwise * len(case.alphas)


def process(arguments: list[str], folder: str) -> Callable[[], None]:
    """A whole process, with its outcome checked."""

    def call() -> None:
        done = subprocess.run(arguments, cwd=folder, capture_output=True, text=True, check=False)
        if done.returncode != 0:
            raise RuntimeError(f"{' '.join(arguments)} ended with {done.returncode}: {done.stderr}")

    return call


def process_rows() -> list[Row]:
    """Rows for `--help` and for a warm solve of the smallest demonstration case."""
    command = [sys.executable, "-m", "blownwing.cli"]
    script = Path(sys.executable).with_name("blownwing")
    if script.is_file():
        command = [str(script)]
    with_edges = [path for path in CASES.glob("*.toml") if read_case(path).model.jet_edge]
    file = min(with_edges, key=lambda path: work(read_case(path)))
    with tempfile.TemporaryDirectory() as folder:
        brief, solve = best_times(
            (
                process([*command, "--help"], folder),
                process([*command, "solve", str(file)], folder),
            ),
            PROCESS_REPEATS,
        )
    return [
        Row("blownwing --help, whole process", brief, HELP_BUDGET, unit="s"),
        Row(f"blownwing solve {file.name}, whole process", solve, SOLVE_BUDGET, unit="s"),
    ]


def main() -> int:
    rows: list[Row] = []
    for title, part in (
        ("influence matrix", bench_influence.measured),
        ("blade element", blade_element_rows),
        ("coupled calculation", bench_coupled.measured),
        ("polar through the stall", bench_polar.measured),
        ("slipstream edges", bench_jet_edge.measured),
        ("placement sweep", bench_sweep.measured),
        ("large lattice", bench_large.measured),
        ("whole processes", process_rows),
        ("what a user waits for", bench_waits.measured),
    ):
        print(f"-- {title}", flush=True)
        rows += part()
    print_rows(rows)
    return 0 if all(row.ok for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
