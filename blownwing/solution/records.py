"""The one record form: named quantities in groups, and the one writer and reader of result files.

A quantity has a value, units, a meaning and the names of its dimensions; one that does not exist is
left out. A file holds groups of them, is complete or absent, and describes itself: every dataset
has ``units`` and ``long_name``, coordinates are netCDF-style dimension scales inside each group, so
that a netCDF-4 reader opens any group by itself. At the root stand the kind of file, the version of
its form and whatever texts belong to it.

The version is one number for all kinds. It grows when a name or the layout changes, and files of
every earlier version are read:

=======  ==========================================================================================
1        results, with C_roll, C_pitch and C_yaw named Cl, Cm and Cn; studies, aircraft, optima and
         maps, which had a number of their own each
2        results with the names of today; without ``kind``
3        all kinds; numbers that were attributes of groups are datasets
=======  ==========================================================================================
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, cast

import numpy as np

from blownwing import __version__
from blownwing.errors import InputError, SolveError
from blownwing.solution.files import HDF5, check_seal, hdf5_file, write_whole
from blownwing.solution.model import CAUTION
from blownwing.solution.variables import Variable

SCHEMA_VERSION = 3
AS_IN_CASE = "as in the case file"  # stands for units that the text of a case gives
_DEEPEST = 4  # groups inside groups

Kind = Literal["result", "study", "aircraft", "trade", "optimum", "map"]
_WORDS: dict[str, str] = {
    "result": "a result of 'blownwing solve'",
    "study": "a study of 'blownwing sweep'",
    "aircraft": "an aircraft of 'blownwing aircraft'",
    "optimum": "an optimum of 'blownwing optimize'",
    "map": "a performance map",
}


@dataclass(frozen=True)
class Quantity:
    """A number, array or list of texts, its units and meaning; `over` names its dimensions."""

    value: Any
    units: str
    long_name: str
    over: tuple[str, ...] = ()


Group = dict[str, Quantity]


@dataclass(frozen=True)
class Records:
    """What a file holds: kind, version of the form, root attributes, groups by path ("": root)."""

    kind: Kind
    version: int
    attributes: Mapping[str, Any]
    groups: Mapping[str, Group]

    def text(self, name: str) -> str:
        """A text of the root.

        Raises:
            ValueError: it is missing or not text.
        """
        value = self.attributes.get(name)
        if not isinstance(value, str):
            raise ValueError(f"the root attribute {name!r} is missing or not text")
        return value

    def numbers(self, path: str) -> dict[str, Any]:
        """Values of one group by name.

        Raises:
            ValueError: there is no such group.
        """
        if path not in self.groups:
            raise ValueError(f"the group /{path} is missing")
        return {name: quantity.value for name, quantity in self.groups[path].items()}

    def named(self, parent: str) -> dict[str, dict[str, Any]]:
        """Values of all groups directly inside one, by their names."""
        lead = f"{parent}/"
        return {p.removeprefix(lead): self.numbers(p) for p in self.groups if p.startswith(lead)}


def finite(name: str, value: Any) -> Any:
    """The value, or a SolveError when it is not finite: NaN is never a result."""
    if not np.all(np.isfinite(value)):
        raise SolveError(f"{name} is not finite, so there is no result")
    return value


def valued(about: Variable, value: Any, over: tuple[str, ...] = ()) -> Quantity:
    """A value of a declared variable.

    over: names of its dimensions, of which the declaration knows its own only.
    """
    return Quantity(value, about.units, about.long_name, over)


def heading(name: str, units: str) -> str:
    """The head of a table's column: the name with its units, if there are any."""
    return name if units in ("", AS_IN_CASE) else f"{name} [{units}]"


def write_records(
    path: str | Path, kind: Kind, groups: Mapping[str, Group], attributes: Mapping[str, Any]
) -> Path:
    """Write groups of quantities, complete or not at all.

    Args:
        path: of the file. kind: of file. groups: by path, "" for the root.
        attributes: of the root, beside kind, version of the form and caution.

    Raises:
        InputError: the folder is missing or not writable, or the path is a folder.
        SolveError: the system refused while writing.
    """
    head = {"blownwing_version": __version__, **attributes}
    head |= {"kind": kind, "schema_version": SCHEMA_VERSION, "caution": CAUTION}

    def write(partial: Path) -> None:
        with hdf5_file(partial) as file:
            for name, value in head.items():
                file.attrs[name] = value
            for place, group in groups.items():
                _write_group(file, place, group)

    return write_whole(path, write)


def read_records(path: str | Path, *kinds: Kind) -> Records:
    """Read a file of `write_records`, or of an earlier version.

    kinds: that are accepted; any without.

    Raises:
        InputError: the file is missing, a folder, not HDF5, damaged, or of another kind.
    """
    import h5py

    path = Path(path)
    with read_sentences(path):
        _check_readable(path)
        with h5py.File(path, "r") as file:
            attributes = dict(file.attrs)
            kind, version = _schema(path, attributes)
            if kinds and kind not in kinds:
                wanted = " or ".join(_WORDS[item] for item in kinds)
                raise InputError(f"{path}: holds {_WORDS[kind]}, not {wanted}")
            return Records(kind, version, attributes, dict(_groups(file, "", _DEEPEST)))


def kind_of(path: str | Path) -> Kind:
    """Tell what a file holds; a trade of an aircraft counts as a kind of its own.

    A file that cannot be told apart counts as a result, whose reader says what is wrong.

    Raises:
        InputError: the file is damaged.
    """
    import h5py

    path = Path(path)
    if not path.is_file():
        return "result"
    with read_sentences(path):
        with path.open("rb") as stream:
            if stream.read(len(HDF5)) != HDF5:
                return "result"
        check_seal(path)
        with h5py.File(path, "r") as file:
            try:
                kind, _ = _schema(path, dict(file.attrs))
            except InputError:
                return "result"
            return "trade" if kind == "aircraft" and "trade" in file else kind


@contextmanager
def read_sentences(path: Path) -> Iterator[None]:
    """Turn whatever goes wrong while a file is read into one sentence, an InputError."""
    try:
        yield
    except InputError:
        raise
    except SolveError as error:  # a stored value that is not finite
        raise InputError(f"{path}: {error}") from error
    except PermissionError as error:
        raise InputError(f"{path}: no permission to read this file") from error
    except (OSError, KeyError, RuntimeError, TypeError, ValueError, AttributeError) as error:
        reason = " ".join(str(error).split()).strip("'\"")
        raise InputError(f"{path}: truncated, damaged or incomplete ({reason})") from error


def _check_readable(path: Path) -> None:
    if path.is_dir():
        raise InputError(f"{path}: is a folder; give a result file (.h5)")
    if not path.exists():
        raise InputError(f"{path}: no such result file")
    if not path.is_file():
        raise InputError(f"{path}: is a pipe or a device; give a result file (.h5)")
    with path.open("rb") as stream:
        signature = stream.read(len(HDF5))
    if not signature:
        raise InputError(f"{path}: is empty, not a result file")
    if signature != HDF5[: len(signature)]:
        raise InputError(f"{path}: is not an HDF5 file; give a result of blownwing")
    check_seal(path)


def _schema(path: Path, attributes: Mapping[str, Any]) -> tuple[Kind, int]:
    """Kind and version of a file by its root attributes."""
    if str(attributes.get("schema")) == "performance_map_1":
        return "map", 1
    if "study_schema" in attributes:
        version, kind = attributes["study_schema"], "study"
    else:
        version, kind = attributes.get("schema_version"), attributes.get("kind", "result")
    if version is None:
        raise InputError(f"{path}: HDF5, but not a file of blownwing (no schema_version)")
    if not np.isscalar(version) or version not in range(1, SCHEMA_VERSION + 1):
        raise InputError(
            f"{path}: has schema_version {version}, this version reads 1 to {SCHEMA_VERSION}"
        )
    if not isinstance(kind, str) or kind not in _WORDS:
        raise InputError(f"{path}: found kind {kind}; accepted are {', '.join(_WORDS)}")
    return cast("Kind", kind), int(cast("int", version))


def _write_group(file: Any, path: str, group: Group) -> None:
    here = not path or path in file  # made already for one inside it
    place = file[path or "/"] if here else file.create_group(path, track_order=True)
    scales = [name for name, quantity in group.items() if quantity.over == (name,)]
    for name in scales:
        _dataset(place, name, group[name]).make_scale(name)
    for name, quantity in group.items():
        if name in scales:
            continue
        data = _dataset(place, name, quantity)
        for axis, coordinate in enumerate(quantity.over):
            data.dims[axis].attach_scale(place[coordinate])


def _dataset(place: Any, name: str, quantity: Quantity) -> Any:
    import h5py

    values = np.asarray(quantity.value)
    if values.dtype.kind == "U":
        data = place.create_dataset(name, data=list(quantity.value), dtype=h5py.string_dtype())
    else:
        data = place.create_dataset(name, data=values)
    data.attrs["units"], data.attrs["long_name"] = quantity.units, quantity.long_name
    if values.dtype.kind == "f" and np.any(np.isnan(values)):
        data.attrs["_FillValue"] = np.array([np.nan])
    return data


def _groups(place: Any, path: str, depth: int) -> Iterator[tuple[str, Group]]:
    """Groups that hold something, by path, in the order in which they were written."""
    import h5py

    group: Group = {}
    inside: list[tuple[str, Any]] = []
    for name in place:
        if not isinstance(place.get(name, getlink=True), h5py.HardLink):
            continue
        item = place[name]
        if isinstance(item, h5py.Dataset):
            group[name] = _quantity(name, item)
        elif depth:
            inside.append((f"{path}/{name}".lstrip("/"), item))
    if path:
        for name, value in place.attrs.items():  # before version 3
            group[name] = Quantity(float(value), "", name)
    if group:
        yield path, group
    for where, item in inside:
        yield from _groups(item, where, depth - 1)


def _quantity(name: str, item: Any) -> Quantity:
    value: Any = item[()]
    if item.dtype.kind == "O":
        value = [text.decode() for text in value] if np.ndim(value) else value.decode()
    elif np.ndim(value) == 0 and item.dtype.kind in "fiu":
        value = float(value)
    over = tuple(key for dim in item.dims for key in dim.keys())  # no mapping
    units, meaning = (str(item.attrs.get(key, "")) for key in ("units", "long_name"))
    return Quantity(value, units, meaning, over or ((name,) if np.ndim(value) else ()))
