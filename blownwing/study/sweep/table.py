"""A finished study as a table: HDF5 that describes itself, and CSV."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blownwing import __version__
from blownwing.aircraft.scalars import VARIABLES as AIRCRAFT
from blownwing.solution.records import (
    AS_IN_CASE,
    Group,
    Quantity,
    heading,
    read_records,
    read_sentences,
    valued,
    write_records,
)
from blownwing.solution.tables import write_columns
from blownwing.solution.variables import VARIABLES, Variable

_DIMENSION = "case"
_TEXTS = ("title", "created", "study_toml", "case_toml", "digest", "method")
_SHARES = ("effect", "total", "band", "unexplained")  # of the variance, in summaries


@dataclass(frozen=True)
class StudyTable:
    """Parameters and results of all cases.

    Attributes:
        title, created, study_toml, case_toml, digest, method: of the study.
        parameters: key -> value per case, (cases,) float arrays or lists of text.
        results: name -> (cases,) array, NaN where `messages` says why there is none or where the
            quantity does not exist.
        messages: (cases,) empty for a solved case, else the sentence.
        shape: counts of a grid, empty for other methods.
        summary: name -> quantities of the whole study, such as means and sensitivities.
        lattice: "fixed" where all cases of a wing share one, "following" where strips end at the
            slipstream edges of every case; empty in a file that does not say.
        identity: digests of all that decides the rows, by name; empty in a file that does not say.
    """

    title: str
    created: str
    study_toml: str
    case_toml: str
    digest: str
    method: str
    parameters: Mapping[str, Any]
    results: Mapping[str, NDArray[np.float64]]
    messages: tuple[str, ...]
    shape: tuple[int, ...] = ()
    summary: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    version: str = __version__
    lattice: str = ""
    identity: Mapping[str, str] = field(default_factory=dict)

    @property
    def solved(self) -> NDArray[np.bool_]:
        """(cases,) which cases have results."""
        return np.array([not text for text in self.messages], dtype=bool)


def described(name: str) -> Variable:
    """Units and meaning of a result column, ``<propeller>.<quantity>`` or a total's name."""
    if name in AIRCRAFT:
        return AIRCRAFT[name]
    owner, _, quantity = name.rpartition(".")
    known = VARIABLES["propellers" if owner else "totals"][quantity]
    return Variable(known.units, f"{owner}: {known.long_name}" if owner else known.long_name)


def save_table(table: StudyTable, path: Path) -> Path:
    """Write the study's HDF5 file, complete or not at all; each group opens with xarray."""
    attributes: dict[str, Any] = {name: getattr(table, name) for name in _TEXTS}
    attributes |= {"blownwing_version": table.version, "lattice": table.lattice}
    attributes["identity"] = json.dumps(dict(table.identity))
    attributes["shape"] = np.array(table.shape, dtype=np.int64)
    solved = table.solved.astype(np.int8)
    return write_records(path, "study", {
        "parameters": _over_cases(table, {
            key: Quantity(values, AS_IN_CASE, f"value of {key}")
            for key, values in table.parameters.items()
        }),
        "results": _over_cases(table, _results(table)),
        "status": _over_cases(table, {
            "solved": Quantity(solved, "1", "1 where the case has results"),
            "message": Quantity(table.messages, "", "why a case has no results"),
        }),
    } | {
        f"summary/{name}": {key: _summarised(name, key, value) for key, value in values.items()}
        for name, values in table.summary.items()
    }, attributes)  # fmt: skip


def _results(table: StudyTable) -> Group:
    return {name: valued(described(name), values) for name, values in table.results.items()}


def _over_cases(table: StudyTable, group: Group) -> Group:
    """A group over the cases, whose numbers are its coordinate."""
    number = Quantity(np.arange(len(table.messages)), "1", "number of the case, from 0")
    return {
        name: replace(quantity, over=(_DIMENSION,))
        for name, quantity in {_DIMENSION: number, **group}.items()
    }


def _summarised(name: str, key: str, value: float) -> Quantity:
    """A number of a whole study, such as a mean or a parameter's share of the variance."""
    about, share = described(name), key.split()[0] in _SHARES
    return Quantity(value, "1" if share else about.units, f"{key}: {about.long_name}")


def load_table(path: str | Path) -> StudyTable:
    """Read a study's HDF5 file.

    Raises:
        InputError: the file is missing, damaged or not a study's.
    """
    path = Path(path)
    found = read_records(path, "study")
    with read_sentences(path):
        head = found.attributes
        columns = {name: found.numbers(name) for name in ("parameters", "results", "status")}
        for values in columns.values():
            del values[_DIMENSION]
        return StudyTable(
            **{name: found.text(name) for name in _TEXTS},
            version=found.text("blownwing_version"),
            parameters=columns["parameters"],
            results=columns["results"],
            messages=tuple(columns["status"]["message"]),
            shape=tuple(int(n) for n in head["shape"]),
            summary=found.named("summary"),
            lattice=str(head.get("lattice", "")),
            identity=dict(json.loads(head.get("identity", "{}"))),
        )


def save_csv(table: StudyTable, path: Path) -> Path:
    """Write the table as CSV: one row per case, no value where there is none."""
    columns: dict[str, Any] = {_DIMENSION: list(range(len(table.messages))), **table.parameters}
    columns |= {heading(name, q.units): q.value for name, q in _results(table).items()}
    return write_columns(path, {**columns, "message": table.messages})
