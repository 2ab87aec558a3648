"""Reading the text files of an input: regular files of a bounded size, whole or not at all."""

from __future__ import annotations

import csv
import errno
import os
import stat
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from blownwing.errors import InputError

LARGEST_FILE = 20_000_000  # bytes; the largest section table in use has a tenth of a million
LONGEST_ROW = 10_000  # characters


def input_bytes(path: str | os.PathLike[str], accepted: str = "a text file") -> bytes:
    """What an input file holds.

    A pipe or a device is never waited for, and a file that grows while it is read ends at the
    bound.

    Args:
        path: the file.
        accepted: what a message says is accepted in its place.

    Raises:
        InputError: it is missing, no regular file, unreadable or larger than `LARGEST_FILE`.
    """
    file = Path(path)
    try:
        # without O_NONBLOCK, opening a pipe would wait for its writer
        handle = os.open(file, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
    except FileNotFoundError:
        raise InputError(f"{file}: there is no such file; accepted is {accepted}") from None
    except (IsADirectoryError, NotADirectoryError):
        raise InputError(
            f"{file}: this is a folder, or leads through a file; accepted is {accepted}"
        ) from None
    except OSError as error:
        raise InputError(
            f"{_short(file, error)} ({error.strerror}); accepted is {accepted}"
        ) from None
    except ValueError as error:  # a zero byte in the name
        raise InputError(f"{str(file)!r}: cannot be read ({error})") from None
    try:
        mode = os.fstat(handle).st_mode
        if stat.S_ISDIR(mode):
            raise InputError(f"{file}: this is a folder; accepted is {accepted}")
        if not stat.S_ISREG(mode):
            raise InputError(f"{file}: is a pipe or a device; accepted is {accepted}")
        with os.fdopen(handle, "rb", closefd=False) as stream:
            data = stream.read(LARGEST_FILE + 1)
    except OSError as error:
        raise InputError(f"{file}: cannot be read ({error.strerror})") from None
    finally:
        os.close(handle)
    if len(data) > LARGEST_FILE:
        raise InputError(
            f"{file}: is larger than {LARGEST_FILE // 1_000_000} MB; accepted is {accepted}"
        )
    return data


def input_text(path: str | os.PathLike[str], accepted: str = "a text file") -> str:
    """The UTF-8 text of an input file.

    Raises:
        InputError: as `input_bytes`, and where it is not UTF-8, with the line.
    """
    data = input_bytes(path, accepted)
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise InputError(f"{path}, line {line}: not UTF-8 text; accepted is {accepted}") from None


def row_words(line: str, where: str) -> list[str]:
    """The cells of one line of a comma-separated file, blanks round them removed.

    Args:
        line: the line. where: file and line number for a message.

    Raises:
        InputError: the line is longer than `LONGEST_ROW`, holds a zero byte, or its quotes do not
            close.
    """
    if len(line) > LONGEST_ROW:
        raise InputError(
            f"{where}: found {len(line)} characters; accepted are lines of up to {LONGEST_ROW}"
        )
    if "\0" in line:
        raise InputError(f"{where}: found a zero byte; accepted is text")
    try:
        return [word.strip() for word in next(csv.reader([line], strict=True))]
    except (csv.Error, StopIteration) as error:
        raise InputError(f"{where}: not a row of comma-separated values ({error})") from None


class TextRow(NamedTuple):
    """A line of a comma-separated file: where it stands, text, cells, number."""

    where: str
    line: str
    words: list[str]
    number: int


def table_rows(
    path: str | os.PathLike[str], accepted: str = "a text file"
) -> tuple[dict[str, str], list[TextRow]]:
    """Notes and rows of a comma-separated file, the header first.

    Lines that start with `#` are comments; `# key: value` among them are notes, of which the first
    of a key counts. Blank lines are passed over.

    Args:
        path: the file.
        accepted: what a message says is accepted in its place.

    Raises:
        InputError: as `input_text` and `row_words`.
    """
    notes: dict[str, str] = {}
    rows: list[TextRow] = []
    text = input_text(path, accepted).removeprefix("\ufeff")
    for number, line in enumerate(text.splitlines(), start=1):
        where = f"{path}, line {number}"
        if line.lstrip().startswith("#"):
            key, _, value = line.lstrip()[1:].partition(":")
            if value.strip():
                notes.setdefault(key.strip().lower(), value.strip())
        elif line.strip():
            rows.append(TextRow(where, line, row_words(line, where), number))
    return notes, rows


def rows_below(
    path: str | os.PathLike[str], columns: Sequence[str]
) -> tuple[dict[str, str], list[TextRow]]:
    """Notes and rows of a file that has just this header.

    Raises:
        InputError: as `table_rows`, and for another header.
    """
    notes, rows = table_rows(path)
    if rows and rows[0].words != list(columns):
        raise InputError(
            f'{rows[0].where}: found header "{rows[0].line.strip()[:60]}"; accepted is '
            f'"{",".join(columns)}"'
        )
    return notes, rows[1:]


def noted_source(path: str | os.PathLike[str], notes: Mapping[str, str], what: str) -> str:
    """The source that a file names in a line `# source: …`.

    Raises:
        InputError: it names none; `what` says what must.
    """
    if "source" not in notes:
        raise InputError(f'{path}: found no line "# source: …"; every {what} must name its source')
    return notes["source"]


def _short(file: Path, error: OSError) -> str:
    """The start of a message; a name that is too long is not printed in full."""
    if error.errno == errno.ENAMETOOLONG:
        return f"{str(file)[:40]}...: a name of {len(file.name)} characters cannot be read"
    return f"{file}: cannot be read"
