"""Files that are complete or absent: written beside, flushed to disk, renamed into place."""

from __future__ import annotations

import io
import os
import secrets
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from blownwing.errors import InputError, SolveError


def check_writable(path: str | Path) -> Path:
    """Return ``path`` as a Path if a file can be written there.

    Raises:
        InputError: its folder is missing or cannot be written, or it is itself a folder.
    """
    path = Path(path)
    folder = path.parent
    if path.is_dir():
        raise InputError(f"{path}: is a folder; give the name of a file to write")
    check_folder(folder)
    return path


def check_folder(folder: Path) -> None:
    """Check that files can be made in ``folder``.

    Raises:
        InputError: the folder is missing, is a file or is not writable.
    """
    if not folder.exists():
        raise InputError(f"{folder}: no such folder to write to; make it first or give another")
    if not folder.is_dir():
        raise InputError(f"{folder}: is a file, not a folder to write to")
    if not os.access(folder, os.W_OK | os.X_OK):
        raise InputError(f"{folder}: no permission to write to this folder")


def write_whole(path: str | Path, write: Callable[[Path], None]) -> Path:
    """Let ``write`` fill a temporary file beside ``path``, then move it into place.

    A failure of any kind, an interrupt included, leaves an earlier file as it was and removes the
    temporary one. The temporary name keeps the suffix, since writers choose formats by it.

    Raises:
        InputError: the place cannot be written.
        SolveError: the system refused while writing, for example with the disk full.
    """
    path = check_writable(path)
    partial = path.with_name(f".{path.stem}-{secrets.token_hex(4)}.partial{path.suffix}")
    try:
        write(partial)
        _flush(partial, os.O_RDWR)
        os.replace(partial, path)
        _flush(path.parent, os.O_RDONLY)
    except OSError as error:
        reason = error.strerror or str(error).splitlines()[0]
        raise SolveError(f"{path}: could not be written ({reason})") from error
    finally:
        partial.unlink(missing_ok=True)
    return path


@contextmanager
def hdf5_file(path: Path) -> Iterator[Any]:
    """Give an HDF5 file open for writing that reaches ``path`` when all of it is there.

    It is made in memory: on a full disk the HDF5 library itself would not end cleanly.
    """
    import h5py

    memory = io.BytesIO()
    with h5py.File(memory, "w") as file:
        yield file
    path.write_bytes(memory.getvalue())


def _flush(path: Path, mode: int) -> None:
    """Wait until the file or folder is on the disk itself."""
    handle = os.open(path, mode)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
