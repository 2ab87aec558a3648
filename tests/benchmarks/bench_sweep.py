"""Cases per second of a placement sweep, and what a second worker adds.

Eight propellers at given thrust, positions changed from case to case. Rates depend on the machine
and on what else runs; the rotor kernel, timed between the cases, tells how fast it was meanwhile.
Run as a script.
"""

from __future__ import annotations

import argparse
import pickle
import sys
import time
from pathlib import Path

import numpy as np
from bench_influence import Row, print_rows

from blownwing.case.model import Case
from blownwing.case.reader import read_case
from blownwing.study.sweep.executor import local_runs
from blownwing.study.sweep.identity import file_digests, program

CASE = Path(__file__).resolve().parents[2] / "cases" / "short_field_eight.toml"
TOLERANCE = 1e-5  # of the coupling, 2e-7 at most on CL; the case's own, 1e-8, is reported too
BUDGETS = {False: 800.0, True: 100.0}  # cases/s on two cores, jet edge off and on
SPEED_UP = 1.8


def tasks(count: int) -> list[tuple[int, dict[str, object]]]:
    """Placements of the first two pairs, quasi-random, none overlapping."""
    points = np.random.default_rng(0).random((count, 3))
    return [
        (
            index,
            {
                "propellers.all.position.x": -0.5 - 0.3 * float(a),
                "propellers.first.position.y": 1.1 + 0.2 * float(b),
                "propellers.second.position.y": 2.4 + 0.2 * float(c),
            },
        )
        for index, (a, b, c) in enumerate(points)
    ]


def rate(case: Case, count: int, workers: int) -> float:
    """Cases per second after every worker has warmed up; InputError and SolveError end it."""
    payload = pickle.dumps((case, ("fixed",), program() | file_digests(case)))
    todo = tasks(count)
    warm = max(count // 5, 2 * workers)
    done, start = 0, 0.0
    for chunk in local_runs(payload, todo, workers):
        for index, outcome in chunk:
            if outcome.failure is not None:
                raise RuntimeError(f"case {index}: {outcome.failure}")
        done += len(chunk)
        if start == 0.0 and done >= warm:
            start, done_then = time.perf_counter(), done
    return (done - done_then) / (time.perf_counter() - start)


def measured(count: int = 4000) -> list[Row]:
    """Rows for both slipstream models, and for the second worker."""
    rows = []
    for edge in (False, True):
        case = read_case(CASE).replace(**{"model.jet_edge": edge, "model.tolerance": TOLERANCE})
        number = count if not edge else max(count // 80, 16)
        one, two = rate(case, number, 1), rate(case, number, 2)
        word = "on" if edge else "off"
        own = case.replace(**{"model.tolerance": read_case(CASE).model.tolerance})
        rows.append(
            Row(f"the same, jet edge {word}, own tolerance", rate(own, number, 2), unit="/s")
        )
        print(f"jet edge {word}: {one:.4g} cases/s with one worker, {two:.4g} with two")
        rows.append(Row(f"placement sweep, jet edge {word}", two, BUDGETS[edge], True, "/s"))
        rows.append(Row(f"second worker, jet edge {word}", two / one, SPEED_UP, least=True))
    return rows


def main() -> int:
    parser = argparse.ArgumentParser(description="cases per second of a sweep")
    parser.add_argument("--cases", type=int, default=4000, help="with jet edge off (4000)")
    rows = measured(parser.parse_args().cases)
    print_rows(rows)
    return 0 if all(row.ok for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
