"""Files of named quantities of an aircraft or an optimum, with the words of their report."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Literal

from blownwing.errors import InputError
from blownwing.solution.model import now
from blownwing.solution.records import Group, Records, write_records

Line = tuple[str, str, str]


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
    """Write groups of quantities to a file, complete or not at all.

    Args:
        groups: by path. title, case_toml: of the case. path: of the file.
        words: what a report says of them, see `Words`. kind: of results.
        texts: others that the file is to carry, by name.

    Raises:
        InputError: the folder is missing or not writable.
        SolveError: the system refused while writing.
    """
    attributes = {"title": title, "created": now(), "case_toml": case_toml, **(texts or {})}
    if words is not None:
        attributes["words"] = json.dumps(asdict(words), ensure_ascii=False)
    return write_records(path, kind, groups, attributes)


def words_of(found: Records, path: str | Path) -> Words:
    """The words of such a file, read from `path`; none of a version that stored none.

    Raises:
        InputError: they cannot be read.
    """
    if "words" not in found.attributes:
        return Words("", (), ())
    try:
        raw = json.loads(found.text("words"))
        sections = tuple(
            (str(name), tuple((str(a), str(b), str(c)) for a, b, c in rows))
            for name, rows in raw["sections"]
        )
        lists = tuple((str(name), tuple(map(str, lines))) for name, lines in raw["lists"])
        return Words(str(raw["lead"]), sections, lists)
    except (ValueError, KeyError, TypeError) as error:
        raise InputError(f"{path}: the words of the report cannot be read ({error})") from error
