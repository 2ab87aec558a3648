"""How long a user waits, slipstreams with their edges: polar, peak, stall speeds, aircraft, page.

Seconds on two cores of the machine that the budgets were set on. Run as a script; commands run
once, each in a process of its own, so on a quiet machine only.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from bench_influence import Row, print_rows  # first: it also sets the thread count

from blownwing.case.reader import read_case
from blownwing.coupling import solve
from blownwing.explore.answer import edited, started
from blownwing.explore.preview import answerer

CASES = Path(__file__).resolve().parents[2] / "cases"
TAKEOFF = CASES / "short_field_takeoff.toml"
POINTS = 40
COMMANDS = (
    ("solve --peak", ["solve", str(TAKEOFF), "--peak"], 8.0),
    ("solve --peak --weight", ["solve", str(TAKEOFF), "--peak", "--weight", "10000"], 15.0),
    ("aircraft, eight propellers", ["aircraft", str(CASES / "aircraft_eight.toml")], 15.0),
    (
        "aircraft --trade, 2 to 16",
        ["aircraft", str(CASES / "aircraft_eight.toml"), "--trade", "propellers=2..16"],
        90.0,
    ),
    (
        "placement of a pair along two axes",
        ["optimize", "place.toml"],
        30.0,
    ),
)


def _placement() -> str:
    """The shipped placement study with a second variable, on its case's own lattice."""
    text = (CASES / "studies" / "tip_propeller_place.toml").read_text(encoding="utf-8")
    text = text.replace("../short_field_eight.toml", str(CASES / "short_field_eight.toml"))
    text = text.replace("model.chordwise = 4\nmodel.spanwise = 20\n", "")
    place = 'key = "propellers.fourth.position.x"\nfrom = -0.9\nto = -0.5\n'
    return f"{text}\n[[placement.parameters]]\n{place}"


def measured() -> list[Row]:
    """One row for each wait."""
    rows = [_polar(), *_page()]
    for name, arguments, budget in COMMANDS:
        with tempfile.TemporaryDirectory() as folder:
            (Path(folder) / "place.toml").write_text(_placement(), encoding="utf-8")
            start = time.perf_counter()
            command = [sys.executable, "-m", "blownwing.cli", *arguments]
            done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
            seconds = time.perf_counter() - start
        if done.returncode != 0:
            raise RuntimeError(f"{name} ended with {done.returncode}: {done.stderr}")
        print(f"{name}: {seconds:.1f} s", flush=True)
        rows.append(Row(name, seconds, budget, unit="s"))
    return rows


def _polar() -> Row:
    case = read_case(TAKEOFF)
    solve(case)
    start = time.perf_counter()
    solve(case.replace(**{"flow.alpha": np.linspace(-6.0, 30.0, POINTS).tolist()}))
    return Row(f"polar of {POINTS} on tables", time.perf_counter() - start, 6.0, unit="s")


def _page() -> list[Row]:
    rows = []
    case = started(read_case(CASES / "short_field_eight.toml"))
    for dragging, budget in ((False, 0.3), (True, 0.1)):
        answer = answerer()
        answer(case, False)
        answer(case, False)
        waits = []
        for k in range(12):
            place = {"propellers.1.position": [-0.55, 2.5 + 0.01 * k, 0.0]}
            waits.append(answer(edited(case, place), dragging).seconds)
        name = "page while dragging" if dragging else "page at rest"
        rows.append(Row(name, statistics.median(waits), budget, unit="s"))
    return rows


def main() -> int:
    rows = measured()
    print_rows(rows)
    return 0 if all(row.ok for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
