"""Named quantities with units, and words on them, as HDF5 files that describe themselves."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from blownwing import __version__
from blownwing.errors import InputError, SolveError
from blownwing.solution.files import check_seal, hdf5_file, write_whole
from blownwing.solution.model import CAUTION, now

SCHEMA_VERSION = 1

Line = tuple[str, str, str]


@dataclass(frozen=True)
class Quantity:
    """A number or array with its unit and meaning; `over` names the coordinates of its axes."""

    value: float | NDArray[np.float64]
    units: str
    long_name: str
    over: tuple[str, ...] = ()


Group = dict[str, Quantity]


def finite(name: str, value: Any) -> Any:
    """The value, or a SolveError when it is not finite: NaN is never a result."""
    if not np.all(np.isfinite(value)):
        raise SolveError(f"{name} is not finite, so there is no result")
    return value


@dataclass(frozen=True)
class Words:
    """What a report says: a line on the aircraft, sections of rows, lists of sentences.

    A row is name, value, explanation. lists: warnings and the like, each under its heading.
    """

    lead: str
    sections: tuple[tuple[str, tuple[Line, ...]], ...]
    lists: tuple[tuple[str, tuple[str, ...]], ...]


def save_groups(
    groups: Mapping[str, Group],
    title: str,
    case_toml: str,
    path: str | Path,
    words: Words | None = None,
    kind: Literal["aircraft", "optimum"] = "aircraft",
    texts: Mapping[str, str] | None = None,
) -> Path:
    """Write groups of quantities to an HDF5 file, complete or not at all.

    Every dataset has `units` and `long_name`; coordinates are dimension scales of their group.

    Args:
        groups: by path. title, case_toml: of the case. path: of the file.
        words: what a report says of them, see `Words`. kind: of results.
        texts: others that the file is to carry, by name.

    Raises:
        InputError: the folder is missing or not writable.
        SolveError: the system refused while writing.
    """

    def write(partial: Path) -> None:
        with hdf5_file(partial) as file:
            file.attrs["title"] = title
            file.attrs["blownwing_version"] = __version__
            file.attrs["created"] = now()
            file.attrs["case_toml"] = case_toml
            file.attrs["kind"] = kind
            file.attrs["schema_version"] = SCHEMA_VERSION
            file.attrs["caution"] = CAUTION
            for name, text in (texts or {}).items():
                file.attrs[name] = text
            if words is not None:
                file.attrs["words"] = json.dumps(asdict(words), ensure_ascii=False)
            for name, group in groups.items():
                _write_group(file.require_group(name), group)

    return write_whole(path, write)


def _write_group(place: object, group: Group) -> None:
    import h5py

    if not isinstance(place, h5py.Group):
        raise TypeError("a group of an HDF5 file is needed")
    ordered = sorted(group.items(), key=lambda item: item[1].over != (item[0],))
    for name, quantity in ordered:
        data = place.create_dataset(name, data=quantity.value)
        data.attrs["units"] = quantity.units
        data.attrs["long_name"] = quantity.long_name
        if quantity.over == (name,):
            data.make_scale(name)
            continue
        for axis, coordinate in enumerate(quantity.over):
            data.dims[axis].attach_scale(place[coordinate])


def load_words(path: str | Path) -> tuple[str, str, str, Words]:
    """Title, date, case text and words of such a file.

    Raises:
        InputError: the file is missing, is not such a result, or has no words.
    """
    import h5py

    path = Path(path)
    load_groups(path)  # refuses what is missing, damaged or something else
    with h5py.File(path, "r") as file:
        text = file.attrs.get("words")
        title, created = str(file.attrs["title"]), str(file.attrs["created"])
        toml = str(file.attrs["case_toml"])
    if text is None:  # of a version that stored none: numbers and figures remain
        return title, created, toml, Words("", (), ())
    try:
        raw = json.loads(str(text))
        sections = tuple(
            (str(name), tuple((str(a), str(b), str(c)) for a, b, c in rows))
            for name, rows in raw["sections"]
        )
        lists = tuple((str(name), tuple(map(str, lines))) for name, lines in raw["lists"])
        return title, created, toml, Words(str(raw["lead"]), sections, lists)
    except (ValueError, KeyError, TypeError) as error:
        raise InputError(f"{path}: the words of the report cannot be read ({error})") from error


def load_groups(path: str | Path) -> dict[str, Group]:
    """Groups of a file as `save_groups` wrote them.

    Raises:
        InputError: the file is missing or is not such a result.
    """
    import h5py

    path = Path(path)
    if not path.is_file():
        raise InputError(f"{path}: no such result file")
    groups: dict[str, Group] = {}
    try:
        check_seal(path)
        with h5py.File(path, "r") as file:
            if file.attrs.get("kind") not in ("aircraft", "optimum"):
                raise InputError(f"{path}: is no result of 'blownwing aircraft' or 'optimize'")

            def visit(name: str, item: object) -> None:
                if not isinstance(item, h5py.Dataset):
                    return
                group, _, own = name.rpartition("/")
                value = item[()]
                scales = [dim.keys() for dim in item.dims]
                over = tuple(key for keys in scales for key in keys) or (
                    (own,) if np.ndim(value) else ()
                )
                plain = float(value) if np.ndim(value) == 0 else np.asarray(value)
                groups.setdefault(group, {})[own] = Quantity(
                    plain, str(item.attrs["units"]), str(item.attrs["long_name"]), over
                )

            file.visititems(visit)
    except InputError:
        raise
    except (OSError, KeyError, RuntimeError, TypeError, ValueError, AttributeError) as error:
        reason = " ".join(str(error).split()).strip("'\"")
        raise InputError(f"{path}: truncated, damaged or incomplete ({reason})") from error
    return groups
