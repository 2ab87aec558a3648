"""Time of a whole trim against one solve of the same wing and propellers without tail or trim.

The case with eight propellers, wing, tailplane and fin, slipstream edges on; and ten trims over
airspeed, each from the one before. Times are minima of interleaved repeats. Run as a script.
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
from blownwing.trim.balance import trimmed
from blownwing.trim.solution import over_airspeeds

CASE = Path(__file__).resolve().parents[2] / "cases" / "trimmed_eight.toml"
BUDGET, TEN_BUDGET = 3.0, 10.0  # × the untrimmed solve without tail; s
SPEEDS = np.linspace(28.0, 42.0, 10).tolist()


def measured(repeats: int = 3) -> list[Row]:
    """Rows of one trim and of ten."""
    case = read_case(CASE)
    bare = case.replace(trim=None, surfaces=[], controls={})
    ten = case.replace(**{"trim.airspeeds": SPEEDS})
    calls = (partial(solve, bare), partial(trimmed, case), partial(over_airspeeds, ten))
    plain, one, many = best_times(calls, repeats)
    print(f"solve without tail {plain:.3f} s, trim {one:.3f} s, ten trims {many:.2f} s")
    return [
        Row("trim with tail and fin / solve without tail", one / plain, BUDGET),
        Row("ten trims, s", many, TEN_BUDGET),
    ]


def main() -> int:
    parser = argparse.ArgumentParser(description="time of a trim")
    parser.add_argument("--repeats", type=int, default=3, help="least is reported (3)")
    rows = measured(parser.parse_args().repeats)
    print_rows(rows)
    return 0 if all(row.ok for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
