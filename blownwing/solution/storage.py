"""Solutions as HDF5 files that describe themselves.

Groups ``/totals``, ``/strips``, ``/profile``, ``/propellers/<name>``, ``/slipstreams/<name>`` and
``/convergence`` (in a polar ``/convergence/alpha_00`` and so on, since histories differ in length);
where there are surfaces beside the wing ``/surfaces/<name>``, of a trim ``/balance/<unknown>`` and
``/derivatives/<variable>``, and where they were asked for, ``/peaks/<name>`` and
``/bands/<quantity>``. Every dataset carries
``units`` and ``long_name``; coordinates are netCDF-style dimension scales inside each group, so
that a netCDF-4 reader opens any group by itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from blownwing.errors import InputError, SolveError
from blownwing.solution.files import check_seal, hdf5_file, write_whole
from blownwing.solution.model import CAUTION, LATER, Solution, history_key
from blownwing.solution.variables import (
    OF_ITS_TOTAL,
    OF_ONE_ANGLE,
    POLAR_COORDINATE,
    POLAR_DIMENSION,
    VARIABLES,
    Variable,
)

SCHEMA_VERSION = 2
# Names that files of schema 1 have otherwise: beside `cl` of strips they differed by case only.
_OLD_NAMES = {"Cl": "C_roll", "Cm": "C_pitch", "Cn": "C_yaw", "Cm_unblown": "C_pitch_unblown"}
_TEXTS = ("title", "blownwing_version", "created", "case_toml")


def save(solution: Solution, path: str | Path) -> Path:
    """Write ``solution`` to ``path`` and return it; the file is complete or absent.

    Raises:
        InputError: the folder is missing or not writable, or the path is a folder.
        SolveError: the system refused while writing.
    """
    return write_whole(path, lambda partial: _write(solution, partial))


def load(path: str | Path) -> Solution:
    """Read a solution written by :func:`save`.

    Raises:
        InputError: the file is missing, a folder, not HDF5, damaged, or not such a result.
    """
    import h5py

    path = Path(path)
    if path.is_dir():
        raise InputError(f"{path}: is a folder; give a result file (.h5)")
    if not path.exists():
        raise InputError(f"{path}: no such result file")
    if not path.is_file():
        raise InputError(f"{path}: is a pipe or a device; give a result file (.h5)")
    try:
        if not path.stat().st_size:
            raise InputError(f"{path}: is empty, not a result file")
        with path.open("rb") as stream:
            signature = stream.read(8)
        if signature != b"\x89HDF\r\n\x1a\n"[: len(signature)]:
            raise InputError(f"{path}: is not an HDF5 file; give a result of 'blownwing solve'")
        check_seal(path)
        with h5py.File(path, "r") as file:
            return _read(file, path)
    except PermissionError as error:
        raise InputError(f"{path}: no permission to read this file") from error
    except (OSError, KeyError, RuntimeError, TypeError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        if isinstance(error, SolveError):  # a stored value that is not finite
            raise InputError(f"{path}: {error}") from error
        reason = " ".join(str(error).split()).strip("'\"")
        raise InputError(f"{path}: truncated, damaged or incomplete ({reason})") from error


def _write(solution: Solution, path: Path) -> None:
    with hdf5_file(path) as file:
        file.attrs["title"] = solution.title
        file.attrs["blownwing_version"] = solution.version
        file.attrs["created"] = solution.created
        file.attrs["case_toml"] = solution.case_toml
        file.attrs["schema_version"] = SCHEMA_VERSION
        file.attrs["caution"] = CAUTION
        alphas = solution.alphas
        _write_group(file, "totals", "totals", solution.totals, alphas)
        _write_group(file, "strips", "strips", solution.strips, alphas)
        if solution.profile:
            _write_group(file, "profile", "profile", solution.profile, alphas)
        for kind in ("propellers", "slipstreams"):
            file.create_group(kind)
            for name, values in getattr(solution, kind).items():
                _write_group(file, f"{kind}/{name}", kind, values, alphas)
        for kind in LATER:
            for name, values in getattr(solution, kind).items():
                _write_group(file, f"{kind}/{name}", kind, values, alphas)
        for kind in OF_ONE_ANGLE:
            for name, values in getattr(solution, kind).items():
                _write_group(file, f"{kind}/{name}", kind, values, ())
        if not solution.polar:
            _write_group(file, "convergence", "convergence", solution.convergence, ())
            return
        for key, alpha, history in zip(
            solution.convergence, alphas, solution.histories, strict=True
        ):
            group = _write_group(file, f"convergence/{key}", "convergence", history, ())
            group.attrs[POLAR_DIMENSION] = alpha


def _write_group(
    file: Any, where: str, kind: str, values: Mapping[str, Any], alphas: tuple[float, ...]
) -> Any:
    group = file.create_group(where, track_order=True)
    table = VARIABLES[kind]
    scales: dict[str, Any] = {}
    if alphas:
        scales[POLAR_DIMENSION] = _dataset(group, POLAR_DIMENSION, alphas, POLAR_COORDINATE)
    for name in values:
        if table[name].dim == name:
            scales[name] = _dataset(group, name, values[name], table[name])
    for name, scale in scales.items():
        scale.make_scale(name)
    for name, value in values.items():
        if name in scales:
            continue
        variable = table[name]
        if variable.units == OF_ITS_TOTAL:
            own = VARIABLES["totals"][where.rpartition("/")[2]].units
            variable = replace(variable, units=own)
        dataset = _dataset(group, name, value, variable)
        dims = [POLAR_DIMENSION] if alphas and variable.per_alpha else []
        dims += [variable.dim] if variable.dim is not None else []
        for axis, dim in enumerate(dims):
            dataset.dims[axis].attach_scale(scales[dim])
    return group


def _dataset(group: Any, name: str, value: Any, variable: Variable) -> Any:
    dataset = group.create_dataset(name, data=np.asarray(value, dtype=np.float64))
    dataset.attrs["units"] = variable.units
    dataset.attrs["long_name"] = variable.long_name
    return dataset


def _read(file: Any, path: Path) -> Solution:
    found = file.attrs.get("schema_version")
    if found is None:
        raise InputError(f"{path}: HDF5, but not a result of blownwing (no schema_version)")
    if not np.isscalar(found) or found not in (1, SCHEMA_VERSION):
        raise InputError(
            f"{path}: has schema_version {found}, this version reads 1 to {SCHEMA_VERSION}"
        )
    old = _OLD_NAMES if found == 1 else {}
    texts = {}
    for name in _TEXTS:
        value = file.attrs.get(name)
        if not isinstance(value, str):
            raise InputError(f"{path}: the root attribute {name!r} is missing or not text")
        texts[name] = value

    def group(where: str) -> Mapping[str, Any]:
        item = file.get(where)
        if not isinstance(item, Mapping):  # absent, or a dataset of that name
            raise InputError(f"{path}: the group /{where} is missing")
        return item

    def values(where: str) -> dict[str, Any]:
        items = group(where).items()
        return {old.get(k, k): item[()] for k, item in items if k != POLAR_DIMENSION}

    def named(kind: str) -> dict[str, dict[str, Any]]:
        return {old.get(name, name): values(f"{kind}/{name}") for name in group(kind)}

    alphas: tuple[float, ...] = ()
    totals = group("totals")
    if POLAR_DIMENSION in totals:
        alphas = tuple(float(a) for a in totals[POLAR_DIMENSION][()])
    convergence: dict[str, Any] = values("convergence") if not alphas else {}
    for key in map(history_key, range(len(alphas))):
        convergence[key] = values(f"convergence/{key}")
    return Solution(
        title=texts["title"],
        case_toml=texts["case_toml"],
        totals=values("totals"),
        strips=values("strips"),
        propellers=named("propellers"),
        slipstreams=named("slipstreams"),
        convergence=convergence,
        **{k: named(k) if k in file else {} for k in LATER},
        alphas=alphas,
        version=texts["blownwing_version"],
        created=texts["created"],
        profile=values("profile") if "profile" in file else {},
        **{kind: named(kind) for kind in OF_ONE_ANGLE if kind in file},
    )
