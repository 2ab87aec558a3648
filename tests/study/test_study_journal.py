"""The journal survives death at any byte, and belongs to one study and one run."""

import pytest

from blownwing import InputError
from blownwing.study.sweep.journal import Journal, Outcome

STUDY = {"case": "a", "blade.csv": "b"}
OUTCOMES = {
    3: Outcome(values={"CL": 0.1 + 0.2, "CD": 5e-324}),
    0: Outcome(failure="propeller p: the disc “cuts” the wing"),
    7: Outcome(values={"CL": -0.0}),
}


def filled(path):
    with Journal(path, STUDY, "now") as journal:
        for index, outcome in OUTCOMES.items():
            journal.add([(index, outcome)])
    return path.read_bytes()


def test_values_come_back_bit_for_bit(tmp_path):
    filled(tmp_path / "j")
    with Journal(tmp_path / "j", STUDY, "later") as journal:
        assert journal.outcomes == OUTCOMES
        assert str(journal.outcomes[7].values["CL"]) == "-0.0"
        assert journal.created == "now"


def test_a_file_cut_at_any_byte_keeps_every_whole_line(tmp_path):
    path = tmp_path / "j"
    text = filled(path)
    for cut in range(len(text) + 1):
        path.write_bytes(text[:cut])
        with Journal(path, STUDY, "now") as journal:
            whole = max(text[:cut].count(b"\n") - 1, 0)
            assert list(journal.outcomes) == list(OUTCOMES)[:whole]
            missing = [(i, o) for i, o in OUTCOMES.items() if i not in journal.outcomes]
            journal.add(missing)
        assert path.read_bytes() == text


def test_a_damaged_line_and_what_follows_are_done_again(tmp_path):
    path = tmp_path / "j"
    text = bytearray(filled(path))
    text[text.index(b"5e-324")] ^= 1
    path.write_bytes(text)
    with Journal(path, STUDY, "now") as journal:
        assert not journal.outcomes


def test_another_study_is_refused_and_left_alone(tmp_path):
    text = filled(tmp_path / "j")
    other = {"case": "a", "blade.csv": "changed"}
    with pytest.raises(InputError, match=r"before a change of: blade\.csv; .*--restart"):
        Journal(tmp_path / "j", other, "now")
    assert (tmp_path / "j").read_bytes() == text


def test_a_file_that_is_no_journal_is_refused_and_left_alone(tmp_path):
    (tmp_path / "j").write_text("y,chord\n0,1\n")
    with pytest.raises(InputError, match="not a study's journal"):
        Journal(tmp_path / "j", STUDY, "now")
    assert (tmp_path / "j").read_text() == "y,chord\n0,1\n"


def test_two_runs_do_not_share_a_journal(tmp_path):
    with Journal(tmp_path / "j", STUDY, "now"):
        with pytest.raises(InputError, match="going on"):
            Journal(tmp_path / "j", STUDY, "now")
    with Journal(tmp_path / "j", STUDY, "now") as journal:
        assert not journal.outcomes
