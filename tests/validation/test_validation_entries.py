"""The shipped entries keep their form, the fast ones their bands; the command says how it went."""

import time
from pathlib import Path

import pytest
from typer.testing import CliRunner

from blownwing.cli import app
from blownwing.errors import InputError
from blownwing.report.html_validation import validation_page
from blownwing.report.validation_table import accepted
from blownwing.validation import entry_folders, run_entries
from blownwing.validation.entries import default_folder

FOLDER = Path(__file__).parents[2] / "validation"
FAST = ("actuator_disc", "electric_range", "gust_load", "isolated_propellers", "plain_flap",
        "rectangular_wings", "swept_textbook_lattice", "warren_12")  # fmt: skip
ENTRY = """
from blownwing.validation import Row

def rows():
    return [Row("answer {quantity}", {computed}, 1.0, 0.01, "A. Author (1900)", "printed",
                note="{note}")]
"""


def made_entry(folder, name, computed=1.001, note="", readme="# A title\n\nWords.\n", code=None):
    place = folder / name
    place.mkdir(parents=True)
    (place / "README.md").write_text(readme, encoding="utf-8")
    text = ENTRY.format(quantity="<&>", computed=computed, note=note) if code is None else code
    (place / "entry.py").write_text(text, encoding="utf-8")
    return place


def test_twenty_entries_or_more_and_the_default_folder_is_theirs():
    assert default_folder() == FOLDER
    assert len(entry_folders(FOLDER)) >= 20


@pytest.mark.parametrize("name", FAST)
def test_fast_entries_are_inside_their_bands(name):
    (outcome,) = run_entries(entry_folders(FOLDER, (name,)))
    assert outcome.title and outcome.text
    for row in outcome.rows:
        print(f"{row.quantity}: {row.computed:.6g} for {row.published:.6g}")
        assert row.inside, row


@pytest.mark.slow
def test_all_entries_within_five_minutes():
    start = time.perf_counter()
    outcomes = list(run_entries(entry_folders(FOLDER)))
    assert time.perf_counter() - start < 300.0
    assert accepted(outcomes)
    assert all(row.source for outcome in outcomes for row in outcome.rows)


def test_unknown_and_broken_entries_are_refused(tmp_path):
    with pytest.raises(InputError, match="'warren' is not known; accepted are actuator_disc"):
        entry_folders(FOLDER, ("warren",))
    with pytest.raises(InputError, match="has no entries"):
        entry_folders(tmp_path)
    made_entry(tmp_path, "untitled", readme="No title\n")
    with pytest.raises(InputError, match="first line must be the title"):
        list(run_entries(entry_folders(tmp_path)))
    empty = tmp_path / "more"
    made_entry(empty, "nothing", code="def rows():\n    return []\n")
    with pytest.raises(InputError, match="compares nothing"):
        list(run_entries(entry_folders(empty)))
    other = tmp_path / "other"
    made_entry(other, "none", code="x = 1\n")
    with pytest.raises(InputError, match="has no function rows"):
        list(run_entries(entry_folders(other)))


def test_the_command_prints_writes_and_judges(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    made_entry(tmp_path / "good", "one")
    run = CliRunner().invoke
    ran = run(app, ["validate", "--folder", "good", "--report", "page.html"])
    assert ran.exit_code == 0, ran.output
    assert "printed by others: 1 of 1 values inside their bands" in " ".join(ran.output.split())
    assert "not for flight clearance" in " ".join(ran.output.split())
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert "answer &lt;&amp;&gt;" in page and "<&>" not in page and "A. Author (1900)" in page
    made_entry(tmp_path / "bad", "one", computed=2.0)
    ran = run(app, ["validate", "--folder", "bad"])
    assert ran.exit_code == 1 and "OUTSIDE" in ran.output and "not explained" in ran.output
    ran = run(app, ["validate", "--folder", "good", "--report", "page.txt"])
    assert ran.exit_code == 2 and "ends in .html or .htm" in " ".join(ran.output.split())
    ran = run(app, ["validate", "--folder", "good", "two"])
    assert ran.exit_code == 2


def test_an_explained_miss_is_accepted_among_many_hits(tmp_path):
    for k in range(9):
        made_entry(tmp_path, f"hit_{k}")
    made_entry(tmp_path, "miss", computed=1.2, note="read from a small figure")
    outcomes = list(run_entries(entry_folders(tmp_path)))
    assert accepted(outcomes)
    assert not accepted(outcomes[1:])  # 8 of 9
    assert 'class="miss"' in validation_page(outcomes)
