"""The entries of a validation folder: found, loaded, run.

An entry is a folder with a ``README.md``, whose first line is its title, and an ``entry.py`` that
has a function ``rows() -> list[Row]``.
"""

from __future__ import annotations

import importlib.util
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

import blownwing
from blownwing.case.textfiles import input_text
from blownwing.errors import InputError, SolveError
from blownwing.validation.rows import Row

ENTRY, README = "entry.py", "README.md"


@dataclass(frozen=True)
class Outcome:
    """What one entry gave: folder name, title, rows, wall time in seconds, what is compared."""

    name: str
    title: str
    rows: tuple[Row, ...]
    seconds: float
    text: str


def default_folder() -> Path:
    """Return the validation folder of this installation, else that of the current folder.

    Raises:
        InputError: there is neither.
    """
    beside = Path(blownwing.__file__).resolve().parents[1] / "validation"
    for folder in (beside, Path("validation")):
        if any(folder.glob(f"*/{ENTRY}")):
            return folder
    raise InputError(
        "there is no validation folder beside the package or here; it comes with the source: "
        "run this in a clone of the repository or give --folder"
    )


def entry_folders(folder: str | Path, only: tuple[str, ...] = ()) -> list[Path]:
    """Return the entries of a folder by name, or those named.

    Raises:
        InputError: no entries, or a name that is none of them.
    """
    found = {path.parent.name: path.parent for path in sorted(Path(folder).glob(f"*/{ENTRY}"))}
    if not found:
        raise InputError(f"{folder}: has no entries (folders with {ENTRY})")
    unknown = [name for name in only if name not in found]
    if unknown:
        raise InputError(f"entry {unknown[0]!r} is not known; accepted are {', '.join(found)}")
    return [path for name, path in found.items() if not only or name in only]


def run_entries(
    folders: list[Path], before: Callable[[str], None] | None = None
) -> Iterator[Outcome]:
    """Run entries one after the other.

    Args:
        folders: of the entries.
        before: told the name of each entry before it runs.

    Raises:
        InputError: an entry without a readable README or without ``rows``.
        SolveError: an entry whose calculation failed; the entry is named.
    """
    for folder in folders:
        if before is not None:
            before(folder.name)
        title, text = _readme(folder)
        start = time.perf_counter()
        try:
            rows = tuple(_rows(folder))
        except SolveError as error:
            raise SolveError(f"validation entry {folder.name}: {error}") from error
        if not rows:
            raise InputError(f"{folder}: the entry compares nothing")
        yield Outcome(folder.name, title, rows, time.perf_counter() - start, text)


def _readme(folder: Path) -> tuple[str, str]:
    """Title and text of an entry's README."""
    path = folder / README
    head, _, rest = input_text(path).partition("\n")
    if not head.startswith("# "):
        raise InputError(f'{path}: the first line must be the title, "# ..."')
    return head[2:].strip(), rest.strip()


def _rows(folder: Path) -> list[Row]:
    module = load_script(folder / ENTRY, f"blownwing_validation_{folder.name}")
    if not callable(getattr(module, "rows", None)):
        raise InputError(f"{folder / ENTRY}: has no function rows()")
    rows: list[Row] = module.rows()
    return rows


def load_script(path: Path, name: str) -> ModuleType:
    """Return a Python file as a module of the given name, loaded anew.

    Raises:
        InputError: there is no such file.
    """
    spec = importlib.util.spec_from_file_location(name, path)
    if spec is None or spec.loader is None or not path.is_file():
        raise InputError(f"{path}: there is no such Python file")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module  # dataclasses look their module up
    try:
        spec.loader.exec_module(module)
    finally:
        del sys.modules[name]
    return module
