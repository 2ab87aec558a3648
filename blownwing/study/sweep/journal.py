"""The record of a running study: one checked line per finished case, only ever added to.

A line is ``<crc32> <json>``. Whatever moment the program dies at, the file holds whole lines and
at most one torn one at its end, which is cut off when the study goes on.
"""

from __future__ import annotations

import json
import os
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO

from blownwing.errors import InputError, SolveError
from blownwing.study.sweep.identity import changed, digest

_FORMAT = 2


@dataclass(frozen=True)
class Outcome:
    """What became of one case: its values, or the sentence that says why there are none."""

    values: Mapping[str, float] | None = None
    failure: str | None = None


class Journal:
    """An open journal; holds its file alone until it is closed.

    Args:
        path: the file, made if it is missing.
        parts: identity of the study that it belongs to.
        created: time to write into a new journal.

    Raises:
        InputError: the file is another study's, not a journal, or in use by another run.
        SolveError: the system refused to open it.
    """

    def __init__(self, path: Path, parts: Mapping[str, str], created: str) -> None:
        self.path = path
        self.outcomes: dict[int, Outcome] = {}
        try:
            handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
        except OSError as error:
            raise SolveError(f"{path}: could not be opened ({error.strerror})") from error
        self._file: BinaryIO = os.fdopen(handle, "r+b")
        try:
            self._lock()
            self.created = self._replay(parts, created)
        except BaseException:
            self._file.close()
            raise

    def __enter__(self) -> Journal:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._file.close()

    def add(self, outcomes: Iterable[tuple[int, Outcome]]) -> None:
        """Write finished cases and wait until they are on the disk.

        Raises:
            SolveError: the disk is full or refuses.
        """
        lines = []
        for index, outcome in outcomes:
            what = {"v": dict(outcome.values)} if outcome.values is not None else {}
            failure = {} if outcome.failure is None else {"e": outcome.failure}
            lines.append(_line({"i": index, **what, **failure}))
            self.outcomes[index] = outcome
        self._write(b"".join(lines))

    def remove(self) -> None:
        """Delete the file: its study is finished and written elsewhere."""
        self.path.unlink(missing_ok=True)
        self._file.close()

    def _write(self, data: bytes) -> None:
        try:
            self._file.write(data)
            self._file.flush()
            os.fsync(self._file.fileno())
        except OSError as error:
            raise SolveError(
                f"{self.path}: could not be written ({error.strerror}); what it holds is kept, run "
                "the study again to go on"
            ) from error

    def _lock(self) -> None:
        if os.name != "posix":
            return
        import fcntl

        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise InputError(f"{self.path}: another run of this study is going on") from None

    def _replay(self, parts: Mapping[str, str], created: str) -> str:
        """Read what is there, cut a torn end off; return the time the study began."""
        whole = 0
        begun: str | None = None
        for line in self._file:
            entry = _entry(line)
            if entry is None:
                break
            whole += len(line)
            if begun is None:
                begun = self._header(entry, parts)
                continue
            self.outcomes[int(entry["i"])] = Outcome(entry.get("v"), entry.get("e"))
        end = self._file.seek(0, os.SEEK_END)
        if begun is None and end > 0 and not self._torn_header():
            raise InputError(f"{self.path}: is not a study's journal; give another output name")
        self._file.seek(whole)
        self._file.truncate()
        if begun is None:
            begun = created
            self._write(_line({"format": _FORMAT, "created": created, "study": dict(parts)}))
        return begun

    def _header(self, entry: Mapping[str, Any], parts: Mapping[str, str]) -> str:
        if entry.get("format") != _FORMAT or not isinstance(entry.get("study"), dict):
            raise InputError(
                f"{self.path}: was begun by another version of blownwing; start over with "
                "--restart or give another output name"
            )
        if digest(entry["study"]) != digest(parts):
            raise InputError(
                f"{self.path}: holds cases from before a change of: "
                f"{changed(entry['study'], parts)}; start over with --restart or give another "
                "output name"
            )
        return str(entry["created"])

    def _torn_header(self) -> bool:
        """Whether the program died while it wrote the first line."""
        self._file.seek(0)
        text = self._file.read(4096)
        return b"\n" not in text and b' {"format"'.startswith(text[8:18])


def _line(entry: Mapping[str, Any]) -> bytes:
    text = json.dumps(entry, ensure_ascii=True, allow_nan=False).encode()
    return b"%08x %s\n" % (zlib.crc32(text), text)


def _entry(line: bytes) -> dict[str, Any] | None:
    """The line's content, or None for a torn or damaged one."""
    if not line.endswith(b"\n") or line[8:9] != b" ":
        return None
    text = line[9:-1]
    try:
        known = int(line[:8], 16)
    except ValueError:
        return None
    if zlib.crc32(text) != known:
        return None
    found = json.loads(text)
    return found if isinstance(found, dict) else None
