"""Aircraft that no other beats in take-off, range and noise at once, and what makes them so."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from blownwing.aircraft.scalars import COMPROMISE, unbeaten
from blownwing.report.study_labels import factors_of
from blownwing.study.sweep.table import StudyTable

HEADING = "Best compromises of take-off, range and noise, and why"


def reasons(values: Mapping[str, float]) -> str:
    """Take-off, range and noise of an aircraft, and what of its row makes them so.

    values: by the names of `aircraft.scalars.VARIABLES`, SI and dB.
    """
    v = values
    noise = f", {v['noise']:.0f} dB" if "noise" in v else ""
    tail = "; the tail's limit ends its lift" if v.get("by_tail", 0.0) else ""
    return (
        f"{v['take_off_distance']:.0f} m, {v['range'] / 1000.0:.0f} km{noise}; row over "
        f"{100.0 * v['coverage']:.0f} % of the span, {100.0 * v['blown_fraction']:.0f} % of the "
        f"wing blown, R/c {v['radius_over_chord']:.2f}, {v['disc_loading']:.0f} N/m²{tail}"
    )


def study_compromises(table: StudyTable) -> list[str]:
    """A line for each such case of a study of whole aircraft; none for other studies."""
    if COMPROMISE[0] not in table.results or table.summary:
        return []
    solved = np.flatnonzero(table.solved).tolist()
    rows = [
        {name: float(v[case]) for name, v in table.results.items() if not np.isnan(v[case])}
        for case in solved
    ]
    lines, factors = [], factors_of(table)
    for i in unbeaten(rows):
        given = ", ".join(
            f"{key} {'× ' if key in factors else ''}{values[solved[i]]:.4g}"
            if isinstance(values, np.ndarray)
            else f"{key} {values[solved[i]]}"
            for key, values in table.parameters.items()
        )
        lines.append(f"case {solved[i]}, {given}: {reasons(rows[i])}")
    return lines
