"""Where in a TOML text a key stands, so that a message can name the line."""

from __future__ import annotations

import re

_HEADER = re.compile(r"\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?\s*(?:#.*)?")
_KEY = re.compile(
    r"""\s*((?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*'))*)\s*="""
)
_PART = re.compile(r"""[A-Za-z0-9_-]+|"[^"]*"|'[^']*'""")
_STRING_OR_COMMENT = re.compile(
    r'''"""(?:\\.|[^\\])*?"""|\'\'\'.*?\'\'\'|"(?:\\.|[^"\\\n])*"|'[^'\n]*'|#[^\n]*''', re.DOTALL
)

Path = tuple[str | int, ...]


def _blanked(text: str) -> str:
    """The text with the insides of values' strings and comments blanked, lines kept."""

    def blank(match: re.Match[str]) -> str:
        return re.sub(r"[^\n\"']", " ", match[0]) if match[0][0] != "#" else " " * len(match[0])

    return _STRING_OR_COMMENT.sub(blank, text)


def _parts(dotted: str) -> list[str]:
    return [part.strip("\"'") for part in _PART.findall(dotted)]


def key_lines(text: str) -> dict[Path, int]:
    """Line number, from 1, of every table header and key in a valid TOML text.

    Keys inside inline tables are not listed; the key that holds the inline table is.

    Args:
        text: valid TOML.

    Returns:
        Path (keys, and indices into arrays of tables) -> line number.
    """
    lines: dict[Path, int] = {}
    counts: dict[Path, int] = {}  # tables so far in each array of tables
    table: Path = ()
    depth = 0  # open brackets and braces of a value that runs over several lines
    originals = text.split("\n")
    for number, (line, plain) in enumerate(
        zip(originals, _blanked(text).split("\n"), strict=True), start=1
    ):
        if depth == 0:
            header, key = _HEADER.fullmatch(line), _KEY.match(line)
            if header and plain.strip():
                table = _entered(_parts(header[2]), header[1] == "[[", counts)
                lines.setdefault(table, number)
                if isinstance(table[-1], int):
                    lines.setdefault(table[:-1], number)
                continue
            if not key or not plain.strip():
                continue
            path = table
            for part in _parts(key[1]):
                path = (*path, part)
                lines.setdefault(path, number)
        depth += sum(plain.count(mark) for mark in "[{") - sum(plain.count(mark) for mark in "]}")
    return lines


def _entered(parts: list[str], repeated: bool, counts: dict[Path, int]) -> Path:
    """Path of the table a header opens; arrays of tables on the way mean their latest item."""
    path: Path = ()
    for position, part in enumerate(parts):
        path = (*path, part)
        if repeated and position == len(parts) - 1:
            counts[path] = counts.get(path, 0) + 1
        if path in counts:
            path = (*path, counts[path] - 1)
    return path


def line_of(path: Path, lines: dict[Path, int]) -> int | None:
    """Line of a key, or of the innermost table or key around it that the text shows.

    Args:
        path: keys and indices.
        lines: from `key_lines`.
    """
    for end in range(len(path), 0, -1):
        if path[:end] in lines:
            return lines[path[:end]]
    return None
