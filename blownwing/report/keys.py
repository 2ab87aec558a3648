"""The reference of input keys, made from the models that read them, and of stored quantities."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from annotated_types import Ge, Gt, Le, Lt, MinLen
from pydantic import AfterValidator, BaseModel
from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined
from rich.console import Console

from blownwing.case.fields import Accepted, Unit, file_name
from blownwing.case.model import Case
from blownwing.case.writer import value_text
from blownwing.errors import InputError
from blownwing.propeller.specification import Specification
from blownwing.report.columns import print_columns
from blownwing.solution.variables import (
    OF_ONE_ANGLE,
    POLAR_DIMENSION,
    PURPOSES,
    VARIABLES,
    Variable,
)
from blownwing.study.model import Study


class InputFile(Enum):
    """The files that a user writes, and the results that a solve or a study of aircraft writes."""

    CASE = "case"
    STUDY = "study"
    PROPELLER = "propeller"
    RESULT = "result"


MODELS: dict[InputFile, type[BaseModel]] = {
    InputFile.CASE: Case,
    InputFile.STUDY: Study,
    InputFile.PROPELLER: Specification,
}


_HEADS = ("key", "unit", "default", "accepted", "meaning")
_RESULT_HEADS = ("name", "unit", "over", "exists", "meaning")
_AIRCRAFT = "whole_aircraft"
_ONE_ANGLE = (*OF_ONE_ANGLE, "derivatives", "convergence", _AIRCRAFT)


@dataclass(frozen=True)
class Key:
    """One key of an input file, or name in a result, in words under `_HEADS` or `_RESULT_HEADS`."""

    name: str
    unit: str
    default: str
    accepted: str
    meaning: str


@dataclass(frozen=True)
class KeyTable:
    """One table of an input file, or group of a result: file, header, purpose, keys."""

    file: InputFile
    path: str
    header: str
    purpose: str
    keys: tuple[Key, ...]


def key_tables(wanted: str | None = None) -> list[KeyTable]:
    """Return the tables of all input files, or those that a word names.

    Args:
        wanted: a file (case, study, propeller), a table such as ``wing.flaps``, or a key; result,
            one of its groups such as ``strips``, or a quantity.

    Raises:
        InputError: nothing has that name.
    """
    tables = [table for file, model in MODELS.items() for table in _tables(file, model)]
    if wanted is None:
        return tables
    word = wanted.strip().strip("[]")
    results = result_tables()
    chosen = _named(tables, word) + _named(results, word)
    if not chosen or word == InputFile.RESULT.value:
        chosen += _named(result_tables(whole_aircraft=True), word)
    if not chosen:
        paths = [table.path for table in (*tables, *results)] + [_AIRCRAFT]
        names = dict.fromkeys([file.value for file in InputFile] + paths)
        accepted = ", ".join(name for name in names if name)
        raise InputError(f"found {wanted!r}; accepted are a key or one of {accepted}")
    return chosen


def result_tables(whole_aircraft: bool = False) -> list[KeyTable]:
    """Groups of stored quantities of results, or numbers of whole aircraft in studies and trades.

    whole_aircraft: the latter instead; they take a second to load.
    """
    tables, purposes = VARIABLES, PURPOSES
    if whole_aircraft:
        from blownwing.aircraft.scalars import VARIABLES as NUMBERS

        tables = {_AIRCRAFT: NUMBERS}
        purposes = {_AIRCRAFT: "numbers of a whole aircraft, in studies and trades"}
    return [
        KeyTable(
            InputFile.RESULT,
            path,
            path,
            purposes[path],
            tuple(_stored(path, name, variable) for name, variable in table.items()),
        )
        for path, table in tables.items()
    ]


def _stored(path: str, name: str, variable: Variable) -> Key:
    angles = variable.per_alpha and path not in _ONE_ANGLE
    over = [f"({POLAR_DIMENSION})"] if angles else []
    over += [variable.dim] if variable.dim else []
    exists = "always" if variable.required else "where it has a value"
    return Key(name, variable.units, " ".join(over) or "–", exists, variable.long_name)


def _named(tables: list[KeyTable], word: str) -> list[KeyTable]:
    """Those of a file, of a path, or with a key; the first of these that any are."""
    chosen = [t for t in tables if word == t.file.value]
    chosen = chosen or [t for t in tables if t.path == word or t.path.startswith(f"{word}.")]
    return chosen or [_only(t, word) for t in tables if any(k.name == word for k in t.keys)]


def print_keys(tables: list[KeyTable], console: Console) -> None:
    """Print tables of keys."""
    for number, table in enumerate(tables):
        if number:
            console.print()
        rows = [(k.name, k.unit, k.default, k.accepted, k.meaning) for k in table.keys]
        heads = _RESULT_HEADS if table.file is InputFile.RESULT else _HEADS
        title = f"{table.file.value} file, {table.header or 'top level'}: {table.purpose}"
        print_columns(console, heads, rows, title, left=range(len(heads)))
    if any(table.file is InputFile.RESULT for table in tables):
        console.print(f"\n({POLAR_DIMENSION}): in a polar also over the angles of attack")


def _only(table: KeyTable, name: str) -> KeyTable:
    keys = tuple(key for key in table.keys if key.name == name)
    return KeyTable(table.file, table.path, table.header, table.purpose, keys)


def _tables(
    file: InputFile, model: type[BaseModel], path: str = "", many: bool = False
) -> Iterator[KeyTable]:
    """The table of a model, then those inside it."""
    header = f"[[{path}]]" if many else f"[{path}]" if path else ""
    named = [
        (field.serialization_alias or name, field) for name, field in model.model_fields.items()
    ]
    inner = [(name, field, _models(field.annotation)) for name, field in named]
    keys = tuple(_key(name, field) for name, field, models in inner if not models)
    purpose = (model.__doc__ or "").strip().splitlines()[0]
    yield KeyTable(file, path, header, purpose, keys)
    for name, field, models in inner:
        for each in models:
            several = get_origin(field.annotation) is tuple
            yield from _tables(file, each, f"{path}.{name}" if path else name, several)


def _models(kind: Any) -> list[type[BaseModel]]:
    """Models that an annotation holds."""
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        return [kind]
    return [model for part in get_args(kind) for model in _models(part)]


def _key(name: str, field: FieldInfo) -> Key:
    marks = [*field.metadata, *_marks(field.annotation)]
    unit = next((mark.text for mark in marks if isinstance(mark, Unit)), "")
    return Key(name, unit, _default(field), _accepted(field, marks), field.description or "")


def _marks(kind: Any) -> list[Any]:
    """What stands beside the types inside an annotation."""
    own = list(kind.__metadata__) if get_origin(kind) is Annotated else []
    own = [m for mark in own for m in (mark.metadata if isinstance(mark, FieldInfo) else [mark])]
    return own + [mark for part in get_args(kind) for mark in _marks(part)]


def _default(field: FieldInfo) -> str:
    value = field.get_default(call_default_factory=True)
    if value is PydanticUndefined:
        return "needed"
    return "–" if value is None or value in ((), {}) else str(value_text(value))


def _accepted(field: FieldInfo, marks: list[Any]) -> str:
    """Range or choices of a key, in words."""
    said = [mark.text for mark in marks if isinstance(mark, Accepted)]
    if said:
        return said[0]
    words = _choices(field.annotation)
    limits = {type(mark): mark for mark in reversed(marks)}
    low = limits[Ge].ge if Ge in limits else None
    high = limits[Le].le if Le in limits else None
    if low is not None and high is not None:
        words.append(f"{low:g} to {high:g}")
    else:
        for kind, text, value in (
            (Gt, "above", "gt"), (Ge, "at least", "ge"), (Lt, "below", "lt"), (Le, "at most", "le"),
        ):  # fmt: skip
            if kind in limits:
                words.append(f"{text} {getattr(limits[kind], value):g}")
    if any(isinstance(mark, AfterValidator) and mark.func is file_name for mark in marks):
        words = ["file"]
    kinds = _plain(field.annotation)
    if tuple in kinds or list in kinds:
        least = f"{limits[MinLen].min_length} or more" if MinLen in limits else ""
        words = [" ".join(filter(None, ("list", least, *words)))] if float not in kinds else words
    if not words:
        names = {
            bool: "true, false",
            str: "text",
            int: "whole number",
            float: "number",
            dict: "table",
        }
        words = [text for kind, text in names.items() if kind in kinds]
    return ", ".join(words)


def _choices(kind: Any) -> list[str]:
    if get_origin(kind) is Literal:
        return [value_text(value) for value in get_args(kind)]
    return [word for part in get_args(kind) for word in _choices(part)]


def _plain(kind: Any) -> set[Any]:
    """Plain types of an annotation, those inside lists left out."""
    origin = get_origin(kind)
    if origin is Annotated:
        return _plain(get_args(kind)[0])
    if origin in (Union, UnionType):
        return {each for part in get_args(kind) for each in _plain(part)}
    return {origin or kind}
