"""A case's own text with some values changed: comments, order and layout stay."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from blownwing.case.lines import Path as KeyPath
from blownwing.case.lines import key_lines
from blownwing.case.model import Case
from blownwing.case.reader import parse_case
from blownwing.case.writer import value_text
from blownwing.errors import InputError

_STRING_OR_COMMENT = re.compile(r"\"(?:\\.|[^\"\\])*\"|'[^']*'|#.*")
_MISSING = object()


def rewritten(text: str, case: Case, folder: Path = Path()) -> str:
    """The text of a case file with its values changed to those of `case`, comments kept.

    Where that cannot be done line by line (propellers added, a value over several lines), the
    case's plain text with every input that is set. Either reads back to an equal case.

    Args:
        text: of the case file that `case` was made from.
        case: the changed case.
        folder: where relative file names of both start.
    """
    try:
        before = parse_case(text, folder)
        changed = _changed(text, _plain(before), _plain(case))
        if changed is not None and parse_case(changed, folder) == case:
            return changed
    except InputError:
        pass  # lines that do not fit together: the plain text below says the same
    return case.to_toml()


def _plain(case: Case) -> dict[KeyPath, Any]:
    return _flat(case.model_dump(by_alias=True, exclude_none=True))


def _flat(value: Any, path: KeyPath = ()) -> dict[KeyPath, Any]:
    """Leaves by path; lists of numbers or words are leaves."""
    if isinstance(value, Mapping):
        items: Any = value.items()
    elif isinstance(value, list | tuple) and value and isinstance(value[0], Mapping):
        items = enumerate(value)
    else:
        return {path: list(value) if isinstance(value, tuple) else value}
    found: dict[KeyPath, Any] = {}
    for key, item in items:
        found |= _flat(item, (*path, key))
    return found


def _changed(text: str, before: Mapping[KeyPath, Any], after: Mapping[KeyPath, Any]) -> str | None:
    """The text with every difference written into its line; None where one has no line."""
    places = key_lines(text)
    lines = text.split("\n")
    gone: set[int] = set()
    added: dict[int, list[str]] = {}
    for path in dict.fromkeys((*before, *after)):
        old, new = before.get(path, _MISSING), after.get(path, _MISSING)
        if old == new:
            continue
        at = places.get(path)
        if at is not None:
            line = _with_value(lines[at - 1], None if new is _MISSING else new)
            if line is None:
                return None
            lines[at - 1] = line
            if new is _MISSING:
                gone.add(at - 1)
        elif new is not _MISSING:
            header = 0 if len(path) == 1 else places.get(path[:-1])
            if header is None:
                return None
            added.setdefault(_end_of(path, header, places), []).append(
                f"{path[-1]} = {value_text(new)}"
            )
    out: list[str] = list(added.get(0, []))
    for number, line in enumerate(lines, start=1):
        if number - 1 not in gone:
            out.append(line)
        out += added.get(number, [])
    return "\n".join(out)


def _end_of(path: KeyPath, header: int, places: Mapping[KeyPath, int]) -> int:
    """Last line of a table's own keys, behind which a new one goes."""
    own = [
        line for key, line in places.items()
        if len(key) == len(path) and key[:-1] == path[:-1] and isinstance(key[-1], str)
    ]  # fmt: skip
    inside = [line for line in own if line >= header]
    return max([header, *inside])


def _with_value(line: str, value: Any) -> str | None:
    """A line ``key = value  # comment`` with another value; None where the value goes on below."""
    head, equals, rest = line.partition("=")
    if not equals:
        return None
    comment = ""
    for match in _STRING_OR_COMMENT.finditer(rest):
        if match[0].startswith("#"):
            comment, rest = match[0], rest[: match.start()]
            break
    if rest.count("[") != rest.count("]") or '"""' in rest or "'''" in rest or "{" in rest:
        return None
    text = f"{head}= {'' if value is None else value_text(value)}"
    if not comment:
        return text
    place = len(line) - len(comment)
    return f"{text.ljust(place - 2)}  {comment}"
