"""Every malformed case gives one sentence with line and key."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

from blownwing.case.reader import parse_case, read_case
from blownwing.errors import InputError
from blownwing.study.reader import read_study

_spec = importlib.util.spec_from_file_location(
    "malformed", Path(__file__).with_name("malformed.py")
)
malformed = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(malformed)


def test_the_valid_case_is_accepted() -> None:
    # Control: the edits, not the text they start from, are what is refused.
    case = parse_case(malformed.GOOD)
    assert case.is_symmetric and len(case.propeller_list()) == 4


def test_table_is_long_enough_and_ids_are_unique() -> None:
    ids = [row[0] for row in malformed.MALFORMED]
    assert len(ids) >= 40 and len(set(ids)) == len(ids)


@pytest.mark.parametrize(
    ("text", "fragment"),
    [row[1:] for row in malformed.MALFORMED],
    ids=[r[0] for r in malformed.MALFORMED],
)
def test_malformed_case_is_refused_in_one_sentence(
    text: str, fragment: str, tmp_path: Path
) -> None:
    file = tmp_path / "bad.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_case(file)
    message = str(caught.value)
    assert message.startswith(str(file))
    assert fragment in message
    assert "\n" not in message and len(message) < len(str(file)) + 400
    assert list(tmp_path.iterdir()) == [file]


def test_further_mistakes_are_counted_and_named() -> None:
    text = malformed.GOOD.replace("airspeed = 30.0", 'airspeed = "fast"').replace(
        "chord = 1.2", "chord = -1"
    )
    with pytest.raises(InputError) as error:
        parse_case(text.replace("spanwise = 24", "spanwise = 0"))
    words = str(error.value)
    assert "; and 2 more mistakes in this file: " in words
    assert "wing.stations[0].chord" in words and "model.spanwise" in words


@pytest.mark.parametrize(("wrong", "near"), [("inboard_down", ""), ("inbord_up", '"inboard_up"')])
def test_a_suggestion_never_says_the_opposite(wrong: str, near: str) -> None:
    with pytest.raises(InputError) as error:
        parse_case(malformed.GOOD.replace('spin = "inboard_up"', f'spin = "{wrong}"'))
    assert ("did you mean" in str(error.value)) is bool(near) and near in str(error.value)


def test_a_study_and_a_case_name_the_command_that_takes_them(tmp_path: Path) -> None:
    (tmp_path / "study.toml").write_text('case = "a.toml"\n[sweep]\nmethod = "grid"\n')
    with pytest.raises(InputError, match="run by 'blownwing sweep"):
        read_case(tmp_path / "study.toml")
    (tmp_path / "case.toml").write_text(malformed.GOOD)
    with pytest.raises(InputError, match="solved by 'blownwing solve"):
        read_study(tmp_path / "case.toml")
