"""Lift gained by a wing through one constant jet with an edge."""

from __future__ import annotations

from pathlib import Path

from blownwing.validation import Row, published_rows
from blownwing.validation.scenes import jet, rectangle, solution

JETS = (
    (0.25, 1.5), (0.375, 1.35), (0.5, 1.2), (0.5, 1.5), (0.5, 2.0), (1.0, 1.5), (1.0, 2.0),
    (2.0, 1.5),
)  # fmt: skip
ALPHA = 2.0
KINDS = {
    "disc, axis along the chord": (0.0, False),
    "disc, axis along the stream": (ALPHA, False),
    "nozzle": (ALPHA, True),
}


def computed() -> dict[str, float]:
    """Relative increments of lift by quantity."""
    values = {}
    for radius, ratio in JETS:
        for words, (along, nozzle) in KINDS.items():
            one = jet(radius, ratio, along, 0.5, nozzle=nozzle)
            found = solution(rectangle(8.0), ALPHA, propellers=[one]).totals
            gain = found["CL"] / found["CL_unblown"] - 1.0
            values[f"ΔCL/CL, R/c {radius}, μ {ratio}, {words}"] = gain
    return values


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
