"""A sweep's rows are used again only while nothing they depend on has changed."""

import csv
import shutil

import numpy as np
import pytest
from sweeps import BLADE_CASE, STUDY, called, sections_and_blade, sweeps_in_this_process

from blownwing.study.reader import read_study
from blownwing.study.sweep import identity as identities
from blownwing.study.sweep.journal import Journal
from blownwing.study.sweep.run import Options, journal_path, run_sweep
from blownwing.study.sweep.table import StudyTable, load_table, save_csv


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    """A folder with a study that has been run once."""
    folder = tmp_path_factory.mktemp("finished")
    sections_and_blade(folder)
    (folder / "case.toml").write_text(BLADE_CASE, encoding="utf-8")
    (folder / "study.toml").write_text(STUDY, encoding="utf-8")
    with pytest.MonkeyPatch.context() as patched:
        sweeps_in_this_process(patched)
        run_sweep(read_study(folder / "study.toml"), folder / "study.h5", Options(workers=1))
    return folder


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    sweeps_in_this_process(monkeypatch)


@pytest.fixture
def folder(finished, tmp_path):
    shutil.copytree(finished, tmp_path / "copy")
    return tmp_path / "copy"


def replaced(path, old, new):
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


CHANGES = {
    "twist of the blade": ("blade.csv", "1.0,0.08,16.0", "1.0,0.08,8.0", "blade.csv"),
    "section named in the blade": ("sections/own.csv", ",0.9,", ",0.8,", "own.csv"),
    "airspeed of the case": ("case.toml", "airspeed = 30.0", "airspeed = 31.0", "case"),
    "values of the study": ("study.toml", "[2.0, 4.0]", "[2.0, 5.0]", "sweep's values"),
    "edits of the study": ("study.toml", "[edits]", "[edits]\nwing.stations.0.twist = 1.0", "case"),
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_finished_table_is_not_given_for_changed_inputs(folder, change):
    file, old, new, named = CHANGES[change]
    before = (folder / "study.h5").read_bytes()
    replaced(folder / file, old, new)
    done = called(folder, "sweep", "study.toml", "--workers", 1)
    assert done.exit_code == 2, done.output
    assert "before a change of: " in done.output and named in done.output
    assert "--restart" in done.output and done.output.count("\n") == 1
    assert (folder / "study.h5").read_bytes() == before


def test_restart_gives_the_truth_for_a_changed_blade(folder):
    old = load_table(folder / "study.h5").results["thrust"]
    replaced(folder / "blade.csv", "1.0,0.08,16.0", "1.0,0.08,8.0")
    done = called(folder, "sweep", "study.toml", "--workers", 1, "--restart")
    assert done.exit_code == 0, done.output
    new = load_table(folder / "study.h5").results["thrust"]
    # control: the blade decides the numbers, so that a stale row would be wrong
    assert np.all(np.abs(new / old - 1.0) > 0.05)


def test_an_unchanged_study_is_not_run_again_wherever_it_lies(folder):
    moved = folder.parent / "moved"
    folder.rename(moved)
    before = (moved / "study.h5").read_bytes()
    # comments are no inputs
    replaced(moved / "case.toml", "[flow]", "# a comment\n[flow]")
    done = called(moved, "sweep", "study.toml", "--workers", 1)
    assert done.exit_code == 0, done.output
    assert (moved / "study.h5").read_bytes() == before


def test_a_deleted_csv_is_written_again(folder):
    text = (folder / "study.csv").read_bytes()
    (folder / "study.csv").unlink()
    done = called(folder, "sweep", "study.toml", "--workers", 1)
    assert done.exit_code == 0 and "study.csv" in done.output
    assert (folder / "study.csv").read_bytes() == text


@pytest.mark.parametrize("part", [identities.VERSION, identities.KERNELS, identities.PROGRAM])
def test_another_program_does_not_take_rows_over(folder, monkeypatch, part):
    real = identities.identity
    monkeypatch.setattr(
        "blownwing.study.sweep.run.identity", lambda *given: real(*given) | {part: "another"}
    )
    done = called(folder, "sweep", "study.toml", "--workers", 1)
    assert done.exit_code == 2 and part in done.output


@pytest.mark.parametrize("file", ["blade.csv", "sections/own.csv"])
def test_a_resumed_sweep_does_not_mix_two_blades(folder, file):
    whole = load_table(folder / "study.h5")
    (folder / "study.h5").unlink()
    with Journal(journal_path(folder / "study.h5"), dict(whole.identity), "now"):
        pass  # as a run leaves it that was killed after its first line
    old, new = (",16.0,", ",8.0,") if file == "blade.csv" else (",0.9,", ",0.8,")
    replaced(folder / file, old, new)
    done = called(folder, "sweep", "study.toml", "--workers", 1)
    assert done.exit_code == 2 and file.split("/")[-1] in done.output, done.output
    assert not (folder / "study.h5").exists()


def test_a_file_that_changes_while_the_study_runs_ends_it(folder):
    study = read_study(folder / "study.toml")
    (folder / "study.h5").unlink()

    def meddle(done, _failed, _total):
        if done == 0:
            replaced(folder / "blade.csv", ",16.0,", ",9.0,")

    with pytest.raises(Exception, match=r"blade\.csv changed while the study ran"):
        run_sweep(study, folder / "study.h5", Options(workers=1), meddle)
    assert not (folder / "study.h5").exists()


def test_the_sources_digest_covers_what_decides_numbers():
    kernels, rest = identities.sources_digest(True), identities.sources_digest(False)
    assert len({kernels, rest}) == 2 and len(kernels) == 64


def test_a_sweep_that_fails_wholly_leaves_nothing(folder):
    replaced(folder / "study.toml", '"flow.alpha"', '"propellers.fan.rpm"')
    replaced(folder / "study.toml", "[2.0, 4.0]", "[9000.0, 9500.0]")  # tips beyond Mach 1
    for name in ("study.h5", "study.csv"):
        (folder / name).unlink()
    done = called(folder, "sweep", "study.toml", "--workers", 1)
    assert done.exit_code == 1 and "none of the 2 cases" in done.output, done.output
    assert sorted(p.name for p in folder.iterdir()) == [
        "blade.csv", "case.toml", "sections", "study.toml",
    ]  # fmt: skip


@pytest.mark.parametrize("lead", ["=", "+", "-", "@"])
def test_words_in_tables_cannot_become_formulas(tmp_path, lead):
    table = StudyTable(
        title="t", created="now", study_toml="", case_toml="", digest="", method="list",
        parameters={f"{lead}key": [f"{lead}1+2", "plain"], "number": np.array([-1.0, 2.0])},
        results={f"{lead}fan.thrust": np.array([-3.0, np.nan])},
        messages=("", f"\t\r{lead}cmd()\n"),
    )  # fmt: skip
    save_csv(table, tmp_path / "t.csv")
    with (tmp_path / "t.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.reader(stream))
    assert rows == [
        ["case", f"'{lead}key", "number", f"'{lead}fan.thrust [N]", "message"],
        ["0", f"'{lead}1+2", "-1.0", "-3.0", ""],
        ["1", "plain", "2.0", "", f"'{lead}cmd()"],
    ]
