"""Files that are complete or absent: written beside, flushed to disk, renamed into place."""

from __future__ import annotations

import csv
import io
import os
import secrets
import zlib
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from blownwing.errors import InputError, SolveError

LONGEST_NAME = 255  # bytes, where the system does not say
_SEAL = b"\nblownwing crc32 "
HDF5 = b"\x89HDF\r\n\x1a\n"
_SUPERBLOCK = 56  # bytes of it that are looked at
_CHUNK = 1 << 20  # bytes
PICTURE_SUFFIXES = (".png", ".svg", ".pdf")


def check_writable(path: str | Path) -> Path:
    """Return ``path`` as a Path if a file can be written there.

    Raises:
        InputError: its folder is missing or cannot be written, or it is itself a folder.
    """
    path = Path(path)
    folder = path.parent
    check_folder(folder)
    longest = os.pathconf(folder, "PC_NAME_MAX") if hasattr(os, "pathconf") else LONGEST_NAME
    if len(os.fsencode(path.name)) > longest:
        raise InputError(
            f"{str(path)[:40]}...: a name of {len(path.name)} characters is too long for this file "
            f"system; accepted are up to {longest} bytes"
        )
    if path.is_dir():
        raise InputError(f"{path}: is a folder; give the name of a file to write")
    if path.exists() and not path.is_file():
        raise InputError(f"{path}: is a pipe or a device; give the name of a file to write")
    return path


def check_outputs(
    outputs: Iterable[Path], inputs: Iterable[Path], pictures: Path | None = None
) -> None:
    """Check, before any work, that all files to be written can be and that none is an input.

    Args:
        outputs: files that a command writes.
        inputs: files that it reads, and those that they name.
        pictures: a folder that figures go to.

    Raises:
        InputError: an output is an input, by whatever name, or cannot be written.
    """
    used = [Path(path) for path in inputs]
    places = {path.resolve() for path in used}
    for output in map(check_writable, outputs):
        same = output.exists() and any(
            path.exists() and os.path.samefile(path, output) for path in used
        )
        if same or output.resolve() in places:
            raise InputError(
                f"{output}: is an input, or named in one, and would be overwritten; give another "
                "name or folder for what is written"
            )
    if pictures is None:
        return
    check_picture_folder(pictures)
    for path in places:
        if path.parent == pictures.resolve() and path.suffix.lower() in PICTURE_SUFFIXES:
            raise InputError(
                f"{path}: is an input and lies where figures are written; give another folder"
            )


def check_picture_folder(folder: Path) -> None:
    """Check that figures can be written to ``folder``, which need not exist yet.

    Raises:
        InputError: as `check_folder`.
    """
    if folder.is_dir():
        check_folder(folder)
    elif folder.exists():
        raise InputError(f"{folder}: is a file, not a folder to write to")
    else:
        check_writable(folder)


def check_folder(folder: Path) -> None:
    """Check that files can be made in ``folder``.

    Raises:
        InputError: the folder is missing, is a file or is not writable.
    """
    if not os.path.lexists(folder):
        raise InputError(
            f"{_short(folder)}: no such folder to write to; make it first or give another"
        )
    if not folder.is_dir():
        raise InputError(f"{_short(folder)}: is a file, not a folder to write to")
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
    partial = path.with_name(f".{path.stem[:40]}-{secrets.token_hex(4)}.partial{path.suffix}")
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


def write_text(path: str | Path, text: str) -> Path:
    """`write_whole` a text as UTF-8; InputError and SolveError as there."""
    return write_whole(path, lambda partial: _put(partial, text))


def write_rows(path: str | Path, rows: Iterable[Iterable[Any]]) -> Path:
    """`write_whole` rows of cells as CSV, lines ending in a line feed; errors as there."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return write_text(path, text.getvalue())


def _put(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="")


@contextmanager
def hdf5_file(path: Path) -> Iterator[Any]:
    """Give an HDF5 file open for writing that reaches ``path`` when all of it is there.

    It is made in memory: on a full disk the HDF5 library itself would not end cleanly.
    """
    import h5py

    memory = io.BytesIO()
    with h5py.File(memory, "w") as file:
        yield file
    data = memory.getvalue()
    path.write_bytes(data + _seal(zlib.crc32(data)))


def check_seal(path: Path) -> None:
    """Check that a file of `hdf5_file` holds what was written, before the HDF5 library reads it.

    Some damage makes that library loop for ever or end the program, where nothing can be caught.
    The seal stands behind the end of the HDF5 data, where other readers do not look; a program
    that changes the file cuts it off, and a file without one is read if its length is right.

    Raises:
        InputError: a byte is not as it was written, or some are missing.
        OSError: the file cannot be read.
    """
    length = len(_seal(0))
    with path.open("rb") as stream:
        size = os.fstat(stream.fileno()).st_size
        head = stream.read(_SUPERBLOCK)
        if not head.startswith(HDF5):
            return  # the reader says what it is instead
        end = _stored_end(head)
        stream.seek(0)
        held = 0 if end is None else min(end, size)
        left, crc = held, 0
        while left > 0:
            data = stream.read(min(left, _CHUNK))
            if not data:
                break
            left -= len(data)
            crc = zlib.crc32(data, crc)
        rest = stream.read(length + 1)
    if end is None or held != end or rest not in (b"", _seal(crc)):
        raise InputError(f"{path}: truncated, damaged or incomplete: it is not as it was written")


def _stored_end(head: bytes) -> int | None:
    """Length of the HDF5 data by their superblock, None where that is damaged.

    Source: The HDF Group, "HDF5 File Format Specification", version 3.0, section II.A (disk format
    of the superblock, versions 0 to 3); from memory, held by the tests.
    """
    places = {0: (13, 40), 1: (13, 44), 2: (9, 28), 3: (9, 28)}
    if len(head) < _SUPERBLOCK or head[8] not in places:
        return None
    size, at = places[head[8]]
    return int.from_bytes(head[at : at + 8], "little") if head[size] == 8 else None


def _seal(crc: int) -> bytes:
    return _SEAL + b"%08x\n" % crc


def _short(path: Path) -> str:
    text = str(path)
    return text if len(text) <= 300 else f"{text[:40]}... of {len(text)} characters"


def _flush(path: Path, mode: int) -> None:
    """Wait until the file or folder is on the disk itself."""
    handle = os.open(path, mode)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
