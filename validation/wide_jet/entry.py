"""A wing wholly inside a wide jet."""

from __future__ import annotations

from pathlib import Path

from blownwing.validation import Row, published_rows
from blownwing.validation.scenes import jet, rectangle, solution

ALPHA = 0.5


def computed() -> dict[str, float]:
    """Lift ratios by quantity."""
    values = {}
    for ratio in (1.25, 2):
        for words, along in (("stream", ALPHA), ("chord", 0.0)):
            one = jet(40.0, ratio, along, 120.0)
            model = {"chordwise": 4, "spanwise": 16}
            found = solution(rectangle(8.0), ALPHA, propellers=[one], model=model).totals
            gain = found["lift"] / found["lift_unblown"]
            values[f"lift over unblown, axis along the {words}, μ {ratio}"] = gain
    return values


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(Path(__file__).parent, computed())
