"""Airworthiness paragraphs as orientation: what the classical rules asked for, never a finding.

The numbers are of 14 CFR 23 before the amendment of 2017, which design practice still uses, and
of the paragraphs in force since, where they say so. Whether an aircraft complies is for the
authority to decide.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Paragraph:
    """A paragraph: name, what it asked for, its number, and whether it is in force."""

    name: str
    text: str
    value: float
    in_force: bool


VMC_MARGIN = Paragraph("14 CFR 23.51(a)", "rotation speed over minimum control speed", 1.05, False)
SCREEN_VMC = Paragraph("14 CFR 23.51(b)", "speed at 50 ft over minimum control speed", 1.10, False)
APPROACH_VMC = Paragraph(
    "14 CFR 23.73", "reference landing speed over minimum control speed", 1.00, False
)
ROTATION = Paragraph("14 CFR 23.51(a)", "rotation speed over stall speed", 1.10, False)
SCREEN = Paragraph("14 CFR 23.51(b)", "speed at 50 ft over stall speed", 1.20, False)
APPROACH = Paragraph("14 CFR 23.73", "reference landing speed over stall speed", 1.30, False)
STALL = Paragraph("14 CFR 23.49(c)", "stall speed, landing, m/s (61 kt)", 61.0 * 1852 / 3600, False)
CLIMB = Paragraph("14 CFR 23.2120(a)(1)", "climb gradient, all engines, take-off", 0.083, True)
CLIMB_FAILED = Paragraph(
    "14 CFR 23.2120(b)(2)", "climb gradient after critical loss of thrust, at 400 ft", 0.01, True
)
PATH = Paragraph("14 CFR 23.75(a)(1)", "approach no steeper than 5.2 %", -3.0, False)
BALKED = Paragraph("14 CFR 23.77(a)", "climb gradient, balked landing", 0.033, False)
POWERED_STALL = Paragraph(
    "14 CFR 23.2110",
    "stall speed with idle or zero thrust, or with nominal thrust where propulsion gives lift",
    0.0,
    True,
)
GUST = Paragraph("14 CFR 23.333(c)(1)", "gust at cruise speed, m/s EAS (50 ft/s)", 15.24, False)
