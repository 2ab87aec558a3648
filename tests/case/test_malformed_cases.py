"""Every malformed case gives one sentence with line and key."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

from blownwing.case.reader import parse_case, read_case
from blownwing.errors import InputError

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
