"""Rows of the isolated propellers: largest errors, zero-thrust advance ratio, thrust at rest."""

from __future__ import annotations

from pathlib import Path

from blownwing.validation import Row
from blownwing.validation.entries import load_script

SOURCE = (
    "Brandt, Deters, Ananda, Dantsker & Selig, UIUC Propeller Database; tests described by Brandt "
    "& Selig (2011), AIAA 2011-1255"
)
NOTE = "one general section table for all four, not tuned; at rest power is up to 36 % low"


def rows() -> list[Row]:
    """CT, CP where the difference is largest from J = 0.4 up, and the zero-thrust J."""
    compare = load_script(Path(__file__).parent / "compare.py", "blownwing_isolated_propellers")
    found = []
    for one in compare.comparison():
        high = one.measured[:, 0] >= compare.FROM_J
        for k, (name, bar) in enumerate((("CT", compare.CT_BAR), ("CP", compare.CP_BAR))):
            measured, computed = one.measured[high, k + 1], one.computed[high, k]
            worst = int(abs(computed - measured).argmax())
            where = f"{one.name}: {name} at J {one.measured[high, 0][worst]:.2f}, worst from 0.4 up"
            pair = (float(computed[worst]), float(measured[worst]))
            found.append(Row(where, *pair, bar, SOURCE, "measured", "absolute", NOTE))
        pair = (one.zero_thrust[1], one.zero_thrust[0])
        where = f"{one.name}: J of zero thrust"
        found.append(Row(where, *pair, compare.J_BAR, SOURCE, "measured", "absolute", NOTE))
        pair = (float(one.computed[0, 0]), float(one.measured[0, 1]))
        where = f"{one.name}: CT at rest"
        found.append(Row(where, *pair, compare.STATIC_BAR, SOURCE, "measured", "relative", NOTE))
    return found
