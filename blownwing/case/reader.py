"""Case files: TOML in, a validated `Case` or one clear sentence out."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from blownwing.case.lines import key_lines, line_of
from blownwing.case.messages import Path as KeyPath
from blownwing.case.messages import faults, one_sentence
from blownwing.case.model import Case
from blownwing.case.textfiles import input_text
from blownwing.errors import InputError


def read_text(path: str | os.PathLike[str]) -> str:
    """Text of an input file.

    Args:
        path: a UTF-8 text file.

    Raises:
        InputError: when it is missing, no regular file, too large, unreadable or not UTF-8.
    """
    return input_text(path, "a TOML file")


def parse_toml(text: str, name: str) -> dict[str, Any]:
    """Tables of a TOML text.

    Args:
        text: TOML.
        name: how messages call it.

    Raises:
        InputError: for a syntax error, with its line.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        reason = re.sub(r"\s*\(at [^)]*\)$", "", str(error))
        place = re.search(r"at line (\d+)", str(error))
        line = int(place[1]) if place else text.rstrip().count("\n") + 1
        reason = re.sub(r"\('([^()]*)',\)", r"[\1]", reason)  # tomllib shows keys as tuples
        reason = reason[:1].lower() + reason[1:]
        raise InputError(f"{name}, line {line}: not valid TOML: {reason}") from None
    except ValueError:  # Python's limit on the conversion of long whole numbers
        raise InputError(f"{name}: a whole number has too many digits to be read") from None
    except RecursionError:
        raise InputError(f"{name}: not valid TOML: nested too deeply") from None


def _where(name: str, text: str, path: KeyPath) -> str:
    line = line_of(path, key_lines(text))
    return name if line is None else f"{name}, line {line}"


def parse_case(text: str, folder: str | os.PathLike[str] = ".", name: str = "case") -> Case:
    """A case from TOML text; the files it names are not looked for.

    Args:
        text: the case file's text.
        folder: where relative file names start.
        name: how messages call the text.

    Raises:
        InputError: for the first broken rule, with line, dotted key, what was found and what is
            accepted, and the count of further ones.
    """
    tables = parse_toml(text, name)
    try:
        case = Case.model_validate(tables)
    except ValidationError as error:
        broken = faults(error, Case)
        raise InputError(one_sentence(broken, _where(name, text, broken[0][0]))) from None
    return case.with_source(Path(folder), text)


def read_case(path: str | os.PathLike[str]) -> Case:
    """A case from a TOML file, the files it names checked to exist.

    Args:
        path: the case file; relative file names in it start at its folder.

    Raises:
        InputError: as `parse_case`, and for a file that is missing or unreadable.
    """
    text = read_text(path)
    _refuse_study(parse_toml(text, str(path)), str(path))
    case = parse_case(text, Path(path).parent, str(path))
    missing = [(key, file) for key, file in case.files() if not os.path.isfile(file)]
    if missing:
        broken = [
            (key, f"there is no file {_named(file)}; accepted is a file") for key, file in missing
        ]
        raise InputError(one_sentence(broken, _where(str(path), text, missing[0][0])))
    return case


_STUDIES = {"sweep": "sweep", "optimize": "optimize", "placement": "optimize"}


def _refuse_study(tables: Mapping[str, Any], name: str) -> None:
    """Raise InputError with the command to use for a study that is given as a case."""
    found = [key for key in _STUDIES if key in tables]
    if "case" in tables and found and "wing" not in tables:
        raise InputError(
            f"{name}: this is a study with [{found[0]}]; accepted here is a case, and a study is "
            f"run by 'blownwing {_STUDIES[found[0]]} {name}'"
        )


def _named(file: Path) -> str:
    text = str(file)
    return text if len(text) <= 300 else f"{text[:40]}... of {len(text)} characters"
