"""What a sweep's rows depend on, so that none is used again after any of it has changed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from functools import lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable

from blownwing import __version__
from blownwing.case.model import Case
from blownwing.case.textfiles import input_bytes
from blownwing.propeller.sources import input_files
from blownwing.study.model import Study
from blownwing.study.sweep.plan import Plan

VERSION, KERNELS, PROGRAM = "version of blownwing", "kernels' sources", "program's sources"
CASE, SWEEP = "case", "sweep's values or options"
_SHOWN = {"cli", "explore", "report", "validation"}  # these change no number


def identity(study: Study, plan: Plan) -> dict[str, str]:
    """Name -> digest of everything that decides a study's rows.

    Args:
        study: with its case. plan: its cases.

    Returns:
        The program's version and sources, the case with the study's edits, the planned values,
        and the contents of every file that the case names or that its blades name.

    Raises:
        InputError: a file cannot be read.
    """
    sweep = study.sweep
    options = None if sweep is None else [sweep.method, *study.how]
    return {
        **program(),
        CASE: _of_json(study.base.model_dump(mode="json")),
        SWEEP: _of_json([options, plan.keys, plan.rows]),
        **file_digests(study.base),
    }


def program() -> dict[str, str]:
    """The program's version and digests of its sources, by name."""
    return {
        VERSION: __version__,
        KERNELS: sources_digest(True),
        PROGRAM: sources_digest(False),
    }


def file_digests(case: Case) -> dict[str, str]:
    """Digest of the contents of every file that a case depends on, by its path.

    Raises:
        InputError: a file cannot be read.
    """
    return {str(path): _of(input_bytes(path)) for path in input_files(case)}


def digest(parts: Mapping[str, str]) -> str:
    """One digest of all parts of an identity.

    Paths do not count, so that a study may be moved with its files.
    """
    return _of_json(list(parts.values()))


def changed(before: Mapping[str, str], now: Mapping[str, str]) -> str:
    """The names of what differs between two identities, as words for a message."""
    names = [name for name in now if before.get(name) != now[name]]
    names += [name for name in before if name not in now]
    return ", ".join(names)


@lru_cache(maxsize=2)
def sources_digest(kernels: bool) -> str:
    """Digest of the package's own files: of the kernels, or of all else that decides a number."""
    found = hashlib.sha256()
    for layer in sorted(files("blownwing").iterdir(), key=lambda item: item.name):
        if layer.is_dir() and layer.name not in _SHOWN and (layer.name == "kernels") == kernels:
            for name, data in _contents(layer, layer.name):
                found.update(f"{name} {len(data)}\n".encode() + data)
    return found.hexdigest()


def _contents(folder: Traversable, lead: str) -> list[tuple[str, bytes]]:
    result = []
    for item in sorted(folder.iterdir(), key=lambda item: item.name):
        name = f"{lead}/{item.name}"
        if item.is_dir() and item.name != "__pycache__":
            result += _contents(item, name)
        elif item.name.endswith((".py", ".csv")):
            result.append((name, item.read_bytes()))
    return result


def _of(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _of_json(data: object) -> str:
    return _of(json.dumps(data).encode())
