"""Summaries of many solves say whose blade sections nobody measured."""

import inspect
from pathlib import Path

import pytest

from blownwing import read_case
from blownwing.cli.sweep import sweep
from blownwing.report.aircraft_summary import aircraft_words
from blownwing.report.aircraft_trade import trade_words
from blownwing.report.assumed import assumed
from blownwing.report.general_section import general_section_note
from blownwing.report.placement_report import placement_words
from blownwing.report.sensitivity_report import sensitivity_words
from blownwing.report.shape_report import shape_words
from blownwing.report.trust import GENERAL_SECTION

ROOT = Path(__file__).parents[2]


def test_the_note_names_the_propellers():
    case = read_case(ROOT / "cases" / "short_field_eight.toml")
    assert general_section_note(case) == f"The section of all propellers {GENERAL_SECTION}"
    named = case.replace(**{"propellers.first.blade": "../shared/blades/uiuc_apce_10x7.csv"})
    assert "all propellers" in general_section_note(named)
    assert general_section_note(read_case(ROOT / "cases" / "eight_measured.toml")) == ""


def test_a_measured_section_needs_no_note(tmp_path):
    case = read_case(ROOT / "cases" / "short_field_eight.toml")
    text = (ROOT / "shared" / "sections" / "small_propeller.csv").read_text(encoding="utf-8")
    section = tmp_path / "own.csv"
    section.write_text(text.replace("# source: constructed", "# source: a tunnel"), "utf-8")
    blade = tmp_path / "blade.csv"
    blade.write_text(
        "# source: a test\nr/R,c/R,twist_deg,section\n0.2,0.2,40,own.csv\n1,0.1,15,own.csv\n",
        encoding="utf-8",
    )
    edits = {f"propellers.{item.name}.blade": str(blade) for item in case.propellers[1:]}
    note = general_section_note(case.replace(**edits))
    assert note.startswith(f"The section of {case.propellers[0].name} is a constructed table")


@pytest.mark.parametrize(
    "words", [aircraft_words, trade_words, sensitivity_words, placement_words, shape_words]
)
def test_words_on_many_solves_say_it(words):
    assert "assumed(" in inspect.getsource(words)
    assert "print_general_section(" in inspect.getsource(sweep)
    case = read_case(ROOT / "cases" / "short_field_eight.toml")
    assert general_section_note(case) in assumed(case)
