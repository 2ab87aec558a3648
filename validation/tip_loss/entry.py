"""Rows of the tip loss: Prandtl's circulation over Goldstein's, at 0.8 of the radius."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from blownwing.validation import Row
from blownwing.validation.entries import load_script

SOURCE = (
    "Goldstein (1929), On the vortex theory of screw propellers, Proc. R. Soc. A 123, 440-465; "
    "evaluated by two methods"
)
NOTE = "Prandtl's factor, which the solver uses, is known to be 4 to 9 % high outboard"
PLACE = 0.8


def rows() -> list[Row]:
    """Circulation G at 0.8 R for two to six blades at the second wake pitch of the table."""
    compare = load_script(Path(__file__).parent / "compare.py", "blownwing_tip_loss")
    radii, tables = compare.goldstein()
    found = []
    for blades, (pitches, known) in tables.items():
        pitch = float(pitches[1])
        factor = float(compare.prandtl(blades, pitch, np.array([PLACE]))[0])
        found.append(
            Row(
                f"G at 0.8 R, {blades} blades, wake pitch {pitch:.2f}",
                factor * PLACE**2 / (PLACE**2 + pitch**2),
                float(np.interp(PLACE, radii, known[1])),
                0.10,
                SOURCE,
                "computed",
                note=NOTE,
            )
        )
    return found
