"""Rows of the published trends: lift slope of a transport, middle propeller of a row."""

from __future__ import annotations

from pathlib import Path

from blownwing.validation import Row
from blownwing.validation.entries import load_script

TRANSPORT = "DTIC report AD1040857, abstract: lift slope of a four-turboprop transport"
ROW = (
    "de Vries, van Arnhem, Sinnige, Vos & Veldhuis (2021), Aerosp. Sci. Technol. 118, 107009, "
    "abstract"
)


def rows() -> list[Row]:
    """Change of lift slope in the climb, of efficiency beside neighbours."""
    compare = load_script(Path(__file__).parent / "compare.py", "blownwing_jet_edge")
    slope = compare.lift_slope_changes(24e3, 80.0, 1.1, True)[1]
    pitch = 0.12 * 2.04
    alone = compare.row_of([0.0], 0.8, 0.0).propellers["p0"]["efficiency"]
    beside = compare.row_of([-pitch, 0.0, pitch], 0.8, 0.0).propellers["p1"]["efficiency"]
    return [
        Row(
            "change of lift slope in the climb, four discs, thrust's lift included",
            slope,
            0.07,
            0.03,
            TRANSPORT,
            "printed",
            "absolute",
            "invented aircraft of that kind without viscosity and nacelles; the wing alone gains "
            "9.8 %; whether thrust is in the published figure is not said",
        ),
        Row(
            "change of efficiency of the middle of three propellers, clearance 0.04 R",
            beside / alone - 1.0,
            -0.015,
            0.010,
            ROW,
            "printed",
            "absolute",
            "a neighbour acts through its disc's mean inflow, which is next to nothing in its own "
            "plane; the blades' own fields are not modelled",
        ),
    ]
