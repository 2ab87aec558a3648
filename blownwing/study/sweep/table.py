"""A finished study as a table: HDF5 that describes itself, and CSV."""

from __future__ import annotations

import csv
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blownwing import __version__
from blownwing.aircraft.scalars import VARIABLES as AIRCRAFT
from blownwing.errors import InputError
from blownwing.solution.files import check_seal, hdf5_file, write_whole
from blownwing.solution.model import CAUTION
from blownwing.solution.tables import csv_word
from blownwing.solution.variables import VARIABLES, Variable

STUDY_SCHEMA = 1
_DIMENSION = "case"
_TEXTS = ("title", "blownwing_version", "created", "study_toml", "case_toml", "digest", "method")


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
    """Write the study's HDF5 file, complete or not at all; each group opens with xarray.

    Errors as for `write_whole`.
    """
    return write_whole(path, lambda partial: _write(table, partial))


def _write(table: StudyTable, path: Path) -> None:
    import h5py

    count = len(table.messages)
    with hdf5_file(path) as file:
        texts = {**vars(table), "blownwing_version": table.version}
        for name in _TEXTS:
            file.attrs[name] = texts[name]
        file.attrs["study_schema"] = STUDY_SCHEMA
        file.attrs["lattice"] = table.lattice
        file.attrs["identity"] = json.dumps(dict(table.identity))
        file.attrs["caution"] = CAUTION
        file.attrs["shape"] = np.array(table.shape, dtype=np.int64)
        text = h5py.string_dtype()

        def group(name: str) -> tuple[Any, Any]:
            made = file.create_group(name, track_order=True)
            scale = made.create_dataset(_DIMENSION, data=np.arange(count))
            scale.attrs["units"], scale.attrs["long_name"] = "1", "number of the case, from 0"
            scale.make_scale(_DIMENSION)
            return made, scale

        def put(made: Any, scale: Any, name: str, values: Any, units: str, meaning: str) -> None:
            if isinstance(values, np.ndarray):
                dataset = made.create_dataset(name, data=values)
            else:
                dataset = made.create_dataset(name, data=list(values), dtype=text)
            dataset.attrs["units"], dataset.attrs["long_name"] = units, meaning
            dataset.dims[0].attach_scale(scale)

        made, scale = group("parameters")
        for key, values in table.parameters.items():
            put(made, scale, key, values, "as in the case file", f"value of {key}")
        made, scale = group("results")
        for name, values in table.results.items():
            known = described(name)
            put(made, scale, name, values, known.units, known.long_name)
            made[name].attrs["_FillValue"] = np.array([np.nan])
        made, scale = group("status")
        solved = table.solved.astype(np.int8)
        put(made, scale, "solved", solved, "1", "1 where the case has results")
        put(made, scale, "message", table.messages, "1", "why a case has no results")
        if table.summary:
            made = file.create_group("summary", track_order=True)
            for name, values in table.summary.items():
                item = made.create_group(name)
                for quantity, value in values.items():
                    item.attrs[quantity] = value


def load_table(path: str | Path) -> StudyTable:
    """Read a study's HDF5 file.

    Raises:
        InputError: the file is missing, damaged or not a study's.
    """
    import h5py

    path = Path(path)
    if not path.is_file():
        raise InputError(f"{path}: no such study file")
    try:
        check_seal(path)
        with h5py.File(path, "r") as file:
            if file.attrs.get("study_schema") != STUDY_SCHEMA:
                raise InputError(f"{path}: is not a study file of this version")
            texts = {name: str(file.attrs[name]) for name in _TEXTS}
            version = texts.pop("blownwing_version")
            summary = {
                name: {key: float(value) for key, value in item.attrs.items()}
                for name, item in file.get("summary", {}).items()
            }
            return StudyTable(
                **texts,
                version=version,
                parameters=_columns(file["parameters"]),
                results=_columns(file["results"]),
                messages=tuple(_column(file["status/message"])),
                shape=tuple(int(n) for n in file.attrs["shape"]),
                summary=summary,
                lattice=str(file.attrs.get("lattice", "")),
                identity=dict(json.loads(file.attrs.get("identity", "{}"))),
            )
    except (OSError, KeyError, RuntimeError, TypeError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        reason = " ".join(str(error).split()).strip("'\"")
        raise InputError(f"{path}: truncated, damaged or incomplete ({reason})") from error


def _columns(group: Any) -> dict[str, Any]:
    return {name: _column(item) for name, item in group.items() if name != _DIMENSION}


def _column(item: Any) -> Any:
    if not hasattr(item, "dtype"):  # a group, or what is left of a dataset
        raise KeyError("a column is no dataset")
    if item.dtype.kind == "O":
        return [value.decode() for value in item[()]]
    return item[()]


def save_csv(table: StudyTable, path: Path) -> Path:
    """Write the table as CSV: one row per case, no value where there is none.

    Errors as for `write_whole`.
    """

    def write(partial: Path) -> None:
        with partial.open("x", newline="", encoding="utf-8") as stream:
            rows = csv.writer(stream, lineterminator="\n")
            names = [f"{name} [{described(name).units}]" for name in table.results]
            words = [_DIMENSION, *table.parameters, *names, "message"]
            rows.writerow([csv_word(word) for word in words])
            for index, message in enumerate(table.messages):
                given = [_cell(values[index]) for values in table.parameters.values()]
                found = [_cell(values[index]) for values in table.results.values()]
                rows.writerow([index, *given, *found, csv_word(message)])

    return write_whole(path, write)


def _cell(value: Any) -> str:
    if isinstance(value, str):
        return csv_word(value)
    return "" if np.isnan(value) else repr(float(value))
