"""What a result rests on: the models that were used, and values that the case left open."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np
from pydantic import BaseModel

from blownwing.case.model import Case
from blownwing.case.reader import parse_case
from blownwing.report.general_section import general_section_note
from blownwing.study.model import SPINS
from blownwing.study.sweep.table import StudyTable

_FLAPPED = (
    "Flapped sections: growth of the largest cl by textbook averages from memory, within 15 %; the "
    "stall's angle follows from it and from zero lift (slotted flaps 2 to 6 deg lower at 30 to 40 "
    "deg), held against no printed angle, as none was at hand."
)
_EQUAL = 1e-3  # relative difference of lift that does not count

_SECTIONS = {
    "linear": "sections linear, no stall",
    "tables": "section tables, with their stall",
}


def model_line(case: Case, varied: Iterable[str] = ()) -> str:
    """One line: which section model and which slipstream model a result used, on which lattice.

    varied: dotted keys that a study varies; what they say of the model differs from row to row.
    """
    model, keys = case.model, set(varied)
    parts = ["sections as each row says" if "model.sections" in keys else _SECTIONS[model.sections]]
    if "model.jet_edge" in keys:
        parts.append("slipstream edges as each row says")
    elif not case.propellers:
        parts.append("no slipstreams")
    elif model.jet_edge:
        layers = model.jet_layers
        parts.append(f"slipstreams with edges, layers {layers}")
    else:
        parts.append("slipstreams superposed, without edges (overrates what blowing gains)")
    parts.append(f"{model.chordwise} x {model.spanwise} panels on the half wing")
    return f"Model: {'; '.join(parts)}."


def study_notes(table: StudyTable) -> list[str]:
    """The model in a line, from what a study's file holds, and whether spins had equal lift.

    Raises:
        InputError: the stored text is not a case this version reads.
    """
    if not table.case_toml:
        return []
    case = parse_case(table.case_toml, Path(), "case stored in the study")
    notes = [model_line(case, table.parameters)]
    if SPINS in table.parameters and "lift" in table.results:
        lift = table.results["lift"][table.solved]
        apart = float(np.ptp(lift) / max(abs(float(np.mean(lift))), 1e-300))
        if apart > _EQUAL:
            notes.append(
                "Spins are ranked at the incidence of the case, where lift differs by up to "
                f"{100.0 * apart:.2g} %: sweep.lift holds it."
            )
    return notes


def assumed(case: Case, varied: Iterable[str] = ()) -> list[str]:
    """The model in a line, blade sections that nobody measured, and what the case left open.

    varied: as for `model_line`. Raises InputError for a blade file that cannot be read.
    """
    lines = [model_line(case, varied), general_section_note(case)]
    if case.wing.flaps and case.model.sections == "tables":
        lines.append(_FLAPPED)
    if case.aircraft is not None:
        left_open = "; ".join(f"{key} {value}" for key, value in _defaults(case.aircraft, ""))
        if left_open:
            lines.append(f"Of [aircraft] the case leaves open, and taken was: {left_open}.")
    return [line for line in lines if line]


def _defaults(table: BaseModel, lead: str) -> Iterator[tuple[str, str]]:
    """Keys with numbers and words that a table does not set, with the values taken."""
    for name in type(table).model_fields:
        value, key = getattr(table, name), f"{lead}{name}"
        if isinstance(value, BaseModel):
            yield from _defaults(value, f"{key}.")
        elif isinstance(value, tuple) and value and isinstance(value[0], BaseModel):
            if name != "schedule":  # a row says what differs; the rest follows the phase
                for number, item in enumerate(value):
                    yield from _defaults(item, f"{key}[{number}].")
        elif name not in table.model_fields_set and isinstance(value, float | int | str):
            yield key, f"{value:g}" if isinstance(value, float) else str(value)
