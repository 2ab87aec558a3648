"""Time of a polar through the stall on section tables against one solve with linear sections.

The take-off case with eight propellers, 40 incidences in one call. Both times are minima of
interleaved repeats in one process. Run as a script.
"""

from __future__ import annotations

import argparse
import sys
from functools import partial
from pathlib import Path

import numpy as np
from bench_influence import Row, best_times, print_rows  # first: it also sets the thread count

from blownwing.case.reader import read_case
from blownwing.coupling import solve

CASE = Path(__file__).resolve().parents[2] / "cases" / "short_field_takeoff.toml"
POINTS = 40
BUDGET = 1.5 * POINTS  # × one linear solve


def measured(repeats: int = 2, edges: tuple[bool, ...] = (True, False)) -> list[Row]:
    """Rows with and without slipstream edges; the budget is for the case as it is, with them."""
    rows = []
    for edge in edges:
        case = read_case(CASE).replace(**{"model.jet_edge": edge})
        one = case.replace(**{"model.sections": "linear"})
        polar = case.replace(**{"flow.alpha": np.linspace(-6.0, 30.0, POINTS).tolist()})
        single, whole = best_times((partial(solve, one), partial(solve, polar)), repeats)
        word = "on" if edge else "off"
        print(
            f"jet edge {word}: linear solve {single:.3f} s, polar of {POINTS} on tables "
            f"{whole:.2f} s, {whole / POINTS:.3f} s a point"
        )
        name = f"polar of {POINTS} on tables, jet edge {word} / one linear solve"
        rows.append(Row(name, whole / single, BUDGET))
    return rows


def main() -> int:
    parser = argparse.ArgumentParser(description="time of a polar on section tables")
    parser.add_argument("--repeats", type=int, default=2, help="least is reported (2)")
    rows = measured(parser.parse_args().repeats)
    print_rows(rows)
    return 0 if all(row.ok for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
