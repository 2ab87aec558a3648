"""From a broken rule to one clear sentence: where, what was found, what is accepted."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from types import UnionType
from typing import Any, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from blownwing.case.units import found

Path = tuple[str | int, ...]

_MOST_NAMED = 8  # further mistakes of a file that are listed
_OPPOSITES = (("up", "down"), ("inboard", "outboard"), ("clockwise", "counterclockwise"),
              ("largest", "least"))  # fmt: skip


class Fault(ValueError):
    """A rule broken somewhere below the model that checks it.

    Args:
        path: keys and indices from that model down to the offending key.
        sentence: what was found and what is accepted.
    """

    def __init__(self, path: Path, sentence: str) -> None:
        super().__init__(sentence)
        self.path = path


def dotted(path: Iterable[str | int]) -> str:
    """A path as users write it: ``propellers[1].diameter``; indices count from 0."""
    text = ""
    for part in path:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else part
    return text


def nearest(word: str, names: Iterable[str]) -> str | None:
    """The accepted name most like what the user wrote, if any is near."""
    near = difflib.get_close_matches(word.lower(), list(names), n=1, cutoff=0.6)
    return near[0] if near else None


def did_you_mean(word: str, names: Iterable[str]) -> str:
    """A suggestion in parentheses, or the empty string when no name is near.

    Args:
        word: what the user wrote.
        names: what is accepted.
    """
    near = nearest(word, names)
    return f' (did you mean "{near}"?)' if near else ""


def listed(names: Iterable[str]) -> str:
    """Names as a list that ends in "or"."""
    names = list(names)
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " or " + names[-1]


def file_key(name: str, model: type[BaseModel]) -> str:
    """The key a file uses for a field of a model (``from`` for ``start``, else the name)."""
    return model.model_fields[name].serialization_alias or name


def accepted_keys(root: type[BaseModel], path: Path) -> list[str]:
    """Keys accepted in the table at a path; empty when the path leads to no table."""
    model: Any = root
    for part in path:
        if isinstance(part, int):
            continue
        if not (isinstance(model, type) and issubclass(model, BaseModel)):
            return []
        names = {file_key(name, model): name for name in model.model_fields}
        field = model.model_fields.get(names.get(part, part))
        if field is None:
            return []
        model = field.annotation
        if get_origin(model) is UnionType:  # an optional table
            model = get_args(model)[0]
        if get_origin(model) is tuple:
            model = get_args(model)[0]
    if not (isinstance(model, type) and issubclass(model, BaseModel)):
        return []
    return [file_key(name, model) for name in model.model_fields]


_BOUNDS: Mapping[str, tuple[str, str]] = {
    "greater_than": ("gt", "above"),
    "greater_than_equal": ("ge", "at least"),
    "less_than": ("lt", "below"),
    "less_than_equal": ("le", "at most"),
}


def _sentence(error: ErrorDetails, root: type[BaseModel], path: Path) -> str:
    kind, value, context = error["type"], error["input"], error.get("ctx", {})
    if kind == "missing":
        return "this key is missing"
    if kind == "extra_forbidden":
        keys = accepted_keys(root, path[:-1])
        return f"unknown key{did_you_mean(str(path[-1]), keys)}; accepted are {', '.join(keys)}"
    if kind in _BOUNDS:
        key, word = _BOUNDS[kind]
        return f"found {found(value)}; accepted is a value {word} {context[key]:g}"
    if kind == "literal_error":
        words = [
            option.strip("'") for option in context["expected"].replace(" or ", ", ").split(", ")
        ]
        near = did_you_mean(value, words) if isinstance(value, str) else ""
        if near and _opposite(str(value), near):
            near = ""
        return f"found {found(value)}; accepted is {listed(words)}{near}"
    if kind == "bool_type":
        return f"found {found(value)}; accepted is true or false"
    if kind == "string_type":
        return f"found {found(value)}; accepted is a text in quotes"
    if kind in ("model_type", "model_attributes_type"):
        return f"found {found(value)}; accepted is a table"
    if kind == "tuple_type":
        return (
            f"found {found(value)}; accepted is a list of tables, each headed "
            f"[[{dotted(part for part in path if isinstance(part, str))}]]"
        )
    if kind == "too_short":
        least, actual = context["min_length"], context["actual_length"]
        return f"found a list of {actual}; accepted is a list of {least} or more"
    return str(context["error"]) if kind == "value_error" else f"{error['msg']}"


def _opposite(value: str, suggestion: str) -> bool:
    """Whether a suggestion says the contrary of what was written."""
    written, meant = (set(re.findall(r"[a-z]+", text.lower())) for text in (value, suggestion))
    pairs = (*_OPPOSITES, *((b, a) for a, b in _OPPOSITES))
    return any(a in written and b in meant and a not in meant for a, b in pairs)


def faults(error: ValidationError, root: type[BaseModel]) -> list[tuple[Path, str]]:
    """All broken rules in a validation error, as path and sentence.

    Unknown keys come first, and a misspelt key does not count as a missing one as well. Nor is a
    list too short because an item of it is wrong, though pydantic reports both.

    Args:
        error: what pydantic raised.
        root: the model that was validated.
    """
    errors = sorted(error.errors(), key=lambda item: item["type"] != "extra_forbidden")
    misspelt: set[Path] = set()
    for item in errors:
        if item["type"] == "extra_forbidden":
            *table, key = item["loc"]
            meant = nearest(str(key), accepted_keys(root, tuple(table)))
            misspelt |= {(*table, meant)} if meant else set()
    result = []
    for item in errors:
        path: Path = item["loc"]
        below = any(len(e["loc"]) > len(path) and e["loc"][: len(path)] == path for e in errors)
        if (item["type"] == "missing" and path in misspelt) or (
            item["type"] == "too_short" and below
        ):
            continue
        cause = item.get("ctx", {}).get("error")
        if isinstance(cause, Fault):
            path = (*path, *cause.path)
        result.append((path, _sentence(item, root, path)))
    return result


def one_sentence(broken: list[tuple[Path, str]], where: str = "") -> str:
    """The first broken rule as the message a user sees, and where the others are.

    Args:
        broken: from `faults`, at least one.
        where: file and line, or nothing.
    """
    path, sentence = broken[0]
    text = ": ".join(part for part in (where, dotted(path), sentence) if part)
    others = list(dict.fromkeys(dotted(other) for other, _ in broken[1:]))
    if not others:
        return text
    shown = ", ".join(name or "the file" for name in others[:_MOST_NAMED])
    rest = ", ..." if len(others) > _MOST_NAMED else ""
    count = f"{len(others)} more mistake{'s' if len(others) > 1 else ''}"
    return f"{text}; and {count} in this file: {shown}{rest}"
