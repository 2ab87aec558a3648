"""Measured tables at the points left out of them."""

from __future__ import annotations

import csv
import tempfile
from collections.abc import Sequence
from pathlib import Path

from blownwing.propeller.performance import PerformanceTable, read_performance
from blownwing.validation import Row
from blownwing.validation.claims import bar

HERE = Path(__file__).parent
SOURCE = "Brandt & Selig (2011), AIAA 2011-1255; UIUC Propeller Database"
BAND = bar("measured_table")  # of the largest value
ONE_RUN = 1.015  # rotor speeds of one run

Point = tuple[float, float, float, float]  # rpm, J, CT, CP


def measured() -> dict[str, list[Point]]:
    """Points by propeller, in order of the file."""
    lines = (HERE / "uiuc.csv").read_text(encoding="utf-8").splitlines()
    result: dict[str, list[Point]] = {}
    for row in csv.DictReader(line for line in lines if not line.startswith("#")):
        rpm, advance, thrust, power = (float(row[key]) for key in ("rpm", "J", "CT", "CP"))
        result.setdefault(row["propeller"], []).append((rpm, advance, thrust, power))
    return result


def runs_of(points: Sequence[Point]) -> list[list[Point]]:
    """Points of one rotor speed each, those at rest apart from the rest, in front."""
    still = [p for p in points if p[1] == 0.0]
    runs: list[list[Point]] = []
    for point in sorted(p for p in points if p[1] > 0.0):
        if runs and point[0] <= ONE_RUN * runs[-1][0][0]:
            runs[-1].append(point)
        else:
            runs.append([point])
    return [still, *(sorted(run, key=lambda p: p[1]) for run in runs)]


def table_text(runs: Sequence[Sequence[Point]]) -> str:
    """A table as `read_performance` reads it."""
    lines = [f"# source: {SOURCE}", "J,CT,CP,rpm"]
    lines += [f"{j!r},{ct!r},{cp!r},{rpm!r}" for run in runs for rpm, j, ct, cp in run]
    return "\n".join(lines) + "\n"


def table_of(runs: Sequence[Sequence[Point]]) -> PerformanceTable:
    """A table of runs."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "table.csv"
        path.write_text(table_text(runs), encoding="utf-8")
        return read_performance(path)


def left_out() -> dict[str, list[tuple[Point, tuple[float, float]]]]:
    """Points of the fastest run left out, every second one, with the table's CT and CP there."""
    result = {}
    for name, points in measured().items():
        *slower, fastest = runs_of(points)
        kept = [*fastest[::2], *fastest[-1:]] if len(fastest) % 2 == 0 else fastest[::2]
        table = table_of([*slower, kept])
        out = [p for p in fastest if p not in kept]
        result[name] = [(p, table.coefficients(p[1], p[0])) for p in out]
    return result


def rows() -> list[Row]:
    """Rows of this entry: thrust and power coefficient at every point left out."""
    made = []
    for name, pairs in left_out().items():
        for k, word in enumerate(("CT", "CP")):
            band = BAND * max(p[2 + k] for p in measured()[name])
            for point, found in pairs:
                made.append(
                    Row(
                        f"{word}, {name} at {point[0]:.0f} rpm, J {point[1]:.3f}",
                        found[k],
                        point[2 + k],
                        band,
                        SOURCE,
                        "measured",
                        "absolute",
                    )
                )
    return made
