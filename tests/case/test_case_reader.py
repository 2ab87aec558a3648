"""Reading: files that are no case, line numbers in every way TOML can be written."""

from __future__ import annotations

from pathlib import Path

import pytest

from blownwing.case.lines import key_lines, line_of
from blownwing.case.reader import parse_case, read_case
from blownwing.errors import InputError

CASES = Path(__file__).parents[2] / "cases"
WING = "[flow]\nairspeed = 30\n[wing]\nstations = [{y = 0, chord = 1}, {y = 4, chord = 1}]\n"


def refused(path: Path | str) -> str:
    with pytest.raises(InputError) as caught:
        read_case(path)
    return str(caught.value)


def test_missing_file_folder_and_bytes(tmp_path: Path) -> None:
    assert "there is no such file" in refused(tmp_path / "none.toml")
    assert "this is a folder" in refused(tmp_path)
    file = tmp_path / "latin.toml"
    file.write_bytes(b'title = "ok"\n# caf\xe9\n')
    assert refused(file).startswith(f"{file}, line 2: not UTF-8 text")
    assert "this is a folder, or leads through a file" in refused(file / "inside.toml")
    assert "cannot be read" in refused("a\0b.toml")
    assert "cannot be read" in refused("x" * 5000)


def test_named_files_must_exist(tmp_path: Path) -> None:
    file = tmp_path / "case.toml"
    file.write_text(WING.replace("chord = 1}]", 'chord = 1, airfoil = "mine.dat"}]'))
    message = refused(file)
    assert message.startswith(f"{file}, line 4: wing.stations[1].airfoil: there is no file ")
    assert str(tmp_path / "mine.dat") in message
    (tmp_path / "mine.dat").write_text("")
    case = read_case(file)
    assert case.folder == tmp_path
    # A text alone, such as the one kept in a result, is read without its files.
    assert parse_case(file.read_text()) == case


def test_count_of_further_faults() -> None:
    text = WING.replace("30", "-30") + "[model]\nchordwise = 0\nspanwise = 0\n"
    with pytest.raises(
        InputError, match=r"line 2: flow.airspeed: .*; and 2 more mistakes in this file: "
    ):
        parse_case(text)


def test_one_misspelling_is_one_fault() -> None:
    for text in (WING.replace("airspeed", "airspead"), WING.replace("chord = 1}]", "chrd = 1}]")):
        with pytest.raises(InputError, match=r"^case, line \d: .*unknown key") as caught:
            parse_case(text)
        assert "more mistake" not in str(caught.value)


def test_byte_order_and_line_ends(tmp_path: Path) -> None:
    file = tmp_path / "dos.toml"
    file.write_bytes(WING.replace("30", "-30").replace("\n", "\r\n").encode())
    assert "line 2: flow.airspeed" in refused(file)


def test_lines_of_keys() -> None:
    text = '''\
# [flow] in a comment
title = """
[flow]
airspeed = 3
"""
"flow".airspeed = 30
flow . alpha = [  # [[
  0,
  4,
]
[ wing ]  # the wing
note = '[x]'
[[wing.stations]]
y = 0
[[ wing . stations ]]
y = 1
stuff = { a = 1, b = [1, 2] }
[wing.stations.more]
deep = 1
[[propellers]]
[[propellers]]
name = "]]"
rpm = 1
'''
    lines = key_lines(text)
    expected = {
        ("title",): 2,
        ("flow",): 6,
        ("flow", "airspeed"): 6,
        ("flow", "alpha"): 7,
        ("wing",): 11,
        ("wing", "note"): 12,
        ("wing", "stations"): 13,
        ("wing", "stations", 0): 13,
        ("wing", "stations", 0, "y"): 14,
        ("wing", "stations", 1): 15,
        ("wing", "stations", 1, "y"): 16,
        ("wing", "stations", 1, "stuff"): 17,
        ("wing", "stations", 1, "more"): 18,
        ("wing", "stations", 1, "more", "deep"): 19,
        ("propellers",): 20,
        ("propellers", 0): 20,
        ("propellers", 1): 21,
        ("propellers", 1, "name"): 22,
        ("propellers", 1, "rpm"): 23,
    }
    assert lines == expected
    assert line_of(("wing", "stations", 1, "stuff", "b", 1), lines) == 17
    assert line_of(("propellers", 1, "diameter"), lines) == 21
    assert line_of(("model",), lines) is None


def test_inline_tables_name_the_line_of_their_key() -> None:
    with pytest.raises(InputError, match=r"line 4: wing.stations\[1\].chord: found -1"):
        parse_case(WING.replace("chord = 1}]", "chord = -1}]"))


@pytest.mark.parametrize("file", sorted(CASES.glob("*.toml")), ids=lambda file: file.stem)
def test_cases_of_the_project(file: Path) -> None:
    case = read_case(file)
    assert case.title and case.propellers
    # one propeller with blades on the centre line has no mirror image
    assert case.is_symmetric is (file.stem != "tail_propeller")
    assert parse_case(case.replace(title=case.title).to_toml()) == case


def test_baseline_matches_the_row_of_eight() -> None:
    eight = read_case(CASES / "short_field_eight.toml")
    twin = read_case(CASES / "twin_conventional.toml")
    assert eight.wing == twin.wing and eight.flow == twin.flow
    for total in (lambda p: p.definition.diameter**2, lambda p: p.definition.thrust):
        assert sum(map(total, eight.propeller_list())) == pytest.approx(
            sum(map(total, twin.propeller_list())), rel=1e-12
        )
    assert len(eight.propeller_list()) == 8 and len(twin.propeller_list()) == 2
