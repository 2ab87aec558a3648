"""Rows of the wing behind one disc, against free vortex rings."""

from __future__ import annotations

from pathlib import Path

from blownwing.validation import Row
from blownwing.validation.entries import load_script

SOURCE = "free vortex rings past a flat wing, non-linear (computed, see the entry's README)"
OPEN = "the rings give more drag than the linear theory; why is open"


def rows() -> list[Row]:
    """Gains of lift and of induced drag for two sizes and places of the disc."""
    compare = load_script(Path(__file__).parent / "compare.py", "blownwing_free_rings")
    found: list[Row] = []
    for size, ahead in compare.WINGS:
        gains = compare.gains(compare.program(size, ahead))
        rings = compare.rings_gains(size, ahead)
        words = f"R/c {size:g}, disc {ahead:g} c ahead"
        band = 0.06 if size == 1.0 else 0.10
        found += [
            Row(f"ΔCL/CL, {words}", gains[0], rings[0], band, SOURCE, "computed", "relative", ""),
            Row(
                f"ΔCDi/CDi, {words}", gains[1], rings[1], 0.10, SOURCE, "computed", "relative", OPEN
            ),
        ]
    return found
