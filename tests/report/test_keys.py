"""The reference of input keys, held against the files that users are shown and the validators."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any

import pytest
from pydantic import TypeAdapter, ValidationError
from report.sample import polar
from typer.testing import CliRunner

from blownwing.cli import app
from blownwing.errors import InputError
from blownwing.report.keys import MODELS, InputFile, KeyTable, key_tables
from blownwing.solution.storage import groups_of
from blownwing.solution.variables import VARIABLES

ROOT = Path(__file__).parents[2]
TABLES = key_tables()
OPEN = {"controls", "edits"}  # names inside are the user's own
SAMPLES = {
    InputFile.CASE: sorted((ROOT / "cases").glob("*.toml")),
    InputFile.STUDY: sorted((ROOT / "cases/studies").glob("*.toml")),
    InputFile.PROPELLER: sorted((ROOT / "cases/propellers").glob("*.toml")),
}


def used(value: Mapping[str, Any], path: tuple[str, ...] = ()) -> Iterator[tuple[str, str]]:
    """Tables and keys that a file uses."""
    for name, entry in value.items():
        rows = entry if isinstance(entry, list) else [entry]
        if all(isinstance(row, dict) for row in rows) and not (name in OPEN and not path):
            for row in rows:
                yield from used(row, (*path, name))
        else:
            yield ".".join(path), name


@pytest.mark.parametrize("file", list(SAMPLES))
def test_every_key_of_the_shipped_files_is_told(file: InputFile) -> None:
    told = {(t.path, key.name) for t in TABLES if t.file is file for key in t.keys}
    assert SAMPLES[file]
    for path in SAMPLES[file]:
        found = set(used(tomllib.loads(path.read_text(encoding="utf-8"))))
        if file is InputFile.STUDY:
            found = {(t, k) for t, k in found if t.split(".")[0] != "edits"}
        assert found <= told, path.name


@pytest.mark.parametrize("table", TABLES, ids=lambda t: f"{t.file.value}.{t.path}")
def test_every_key_has_a_meaning_and_says_what_it_accepts(table: KeyTable) -> None:
    assert table.purpose
    for key in table.keys:
        assert key.meaning, key.name
        assert key.accepted, key.name


def refuses(field: Any, value: float) -> bool:
    try:
        TypeAdapter(Annotated[field.annotation, *field.metadata]).validate_python(value)
    except (ValidationError, InputError):
        return True
    return False


def test_ranges_that_are_told_are_those_that_are_kept() -> None:
    """Just outside a told range a value is refused, on its ends it is taken."""
    seen = 0
    by_path = {(t.file, t.path, k.name): k for t in TABLES for k in t.keys}
    for (file, path, name), key in by_path.items():
        low, _, high = key.accepted.partition(" to ")
        if not high or "list" in key.accepted or ", " in key.accepted:
            continue
        model: Any = MODELS[file]
        for step in filter(None, path.split(".")):
            annotation = model.model_fields[step].annotation
            parts = [annotation, *getattr(annotation, "__args__", ())]
            model = next(part for part in parts if hasattr(part, "model_fields"))
        field = model.model_fields.get(name)
        if field is None:
            continue
        whole = isinstance(field.default, int) or "int" in str(field.annotation)
        kind = int if whole else float
        margin = 1 if whole else 1e-6 * max(abs(float(low)), abs(float(high)))
        assert not refuses(field, kind(float(low))), (path, name)
        assert not refuses(field, kind(float(high))), (path, name)
        assert refuses(field, kind(float(low)) - margin), (path, name)
        assert refuses(field, kind(float(high)) + margin), (path, name)
        seen += 1
    assert seen > 40


def test_a_table_a_file_or_a_key_can_be_asked_for() -> None:
    assert [t.header for t in key_tables("wing.flaps")] == ["[[wing.flaps]]"]
    assert {t.file for t in key_tables("study")} == {InputFile.STUDY}
    assert {k.name for t in key_tables("jet_edge") for k in t.keys} == {"jet_edge"}
    with pytest.raises(InputError, match="accepted are a key or one of case, study, propeller"):
        key_tables("wings")


def test_stored_quantities_are_told_as_they_are_stored() -> None:
    (strips,) = [t for t in key_tables("result") if t.path == "strips"]
    told = {key.name: key for key in strips.keys}
    for name, quantity in groups_of(polar())["strips"].items():
        if name == "flow_alpha":
            continue
        key = told[name]
        assert (key.unit, key.meaning) == (quantity.units, quantity.long_name)
        assert key.default.replace("(", "").replace(")", "").split() == list(quantity.over)
    assert told["chord"].accepted == "always"
    # a word that names a key and a group says both
    files = [t.file for t in key_tables("strips")]
    assert files == [InputFile.CASE, InputFile.RESULT]
    totals = [t.path for t in key_tables("CD_induced")]
    assert totals == ["totals", "surfaces"]
    assert [t.path for t in key_tables("take_off_distance")] == ["whole_aircraft"]
    paths = [t.path for t in key_tables("result")]
    assert paths == [*VARIABLES, "whole_aircraft"]


def test_the_command_prints_units_defaults_and_ranges() -> None:
    result = CliRunner().invoke(app, ["keys", "flow"], env={"COLUMNS": "120"})
    assert result.exit_code == 0
    line = next(line for line in result.output.splitlines() if line.startswith("altitude"))
    assert line.split() == ["altitude", "m", "0.0", "-5000", "to", "20000", "pressure", "altitude"]
