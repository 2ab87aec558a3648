"""Sweeps from file to table: kill and resume, failures, reading back, workers elsewhere."""

import os
import signal
import subprocess
import sys
import time

import numpy as np
import pytest
from study_scenes import parameter, written

from blownwing import InputError, SolveError, solve
from blownwing.study.reader import read_study
from blownwing.study.sweep.ranking import ranked
from blownwing.study.sweep.run import Options, journal_path, run_sweep
from blownwing.study.sweep.table import load_table

X = parameter("propellers.inner.position.x", **{"from": -0.9, "to": -0.5, "count": 4})
THRUST = parameter("propellers.all.thrust", values=[80.0, 120.0, 1e6])


def run(study, output, *options):
    command = [sys.executable, "-m", "blownwing.cli", "sweep", str(study), "-o", str(output)]
    return [*command, "--workers", "1", *options]


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    folder = tmp_path_factory.mktemp("small")
    study = read_study(written(folder, X + THRUST))
    seen = []
    table = run_sweep(study, folder / "out.h5", Options(workers=2), lambda *n: seen.append(n))
    return study, folder, table, seen


def test_cases_that_fail_say_why_and_stop_nothing(small):
    _, _, table, seen = small
    assert seen[0] == (0, 0, 12) and seen[-1] == (12, 4, 12)
    assert [bool(m) for m in table.messages] == [False, False, True] * 4
    assert "cannot be reached" in table.messages[2]
    assert np.all(np.isnan(table.results["CL"]) == ~table.solved)


def test_the_table_reads_back_equal(small):
    _, folder, table, _ = small
    again = load_table(folder / "out.h5")
    assert again.messages == table.messages and again.shape == (4, 3)
    for kind in ("parameters", "results"):
        mine, other = getattr(table, kind), getattr(again, kind)
        assert list(mine) == list(other)
        for name in mine:
            assert np.array_equal(mine[name], other[name], equal_nan=True)


def test_xarray_opens_every_group(small):
    import xarray

    _, folder, table, _ = small
    for group in ("parameters", "results", "status"):
        with xarray.open_dataset(folder / "out.h5", group=group, engine="h5netcdf") as data:
            assert data.sizes["case"] == 12
    with xarray.open_dataset(folder / "out.h5", group="results", engine="h5netcdf") as data:
        assert np.array_equal(data["CL"].values, table.results["CL"], equal_nan=True)
        assert data["first.thrust" if "first.thrust" in data else "inner.thrust"].units == "N"


def test_csv_has_a_row_per_case_and_gaps_for_failures(small):
    _, folder, table, _ = small
    lines = (folder / "out.csv").read_text().splitlines()
    assert len(lines) == 13
    names = lines[0].split(",")
    row = lines[1].split(",")
    assert float(row[names.index("CL [1]")]) == table.results["CL"][0]
    assert lines[3].split(",")[names.index("CL [1]")] == ""


def test_a_finished_study_is_not_run_again(small):
    study, folder, table, _ = small
    calls = []
    again = run_sweep(study, folder / "out.h5", Options(), lambda *n: calls.append(n))
    assert not calls and again.created == table.created


def test_another_file_in_the_way_is_not_replaced(small, tmp_path):
    study = small[0]
    (tmp_path / "out.h5").write_text("precious")
    with pytest.raises(InputError, match="not replaced"):
        run_sweep(study, tmp_path / "out.h5", Options())
    assert (tmp_path / "out.h5").read_text() == "precious"


def test_order_of_cases(small):
    table = small[2]
    order = ranked(table, "CL", "largest")
    values = table.results["CL"][order]
    assert order.size == 8 and np.all(np.diff(values) <= 0.0)
    with pytest.raises(InputError, match='found "CLL"; accepted are'):
        ranked(table, "CLL", "least")


def test_nothing_solved_is_an_error_and_leaves_no_table(tmp_path):
    sweep = X + parameter("propellers.all.thrust", values=[1e6])
    study = read_study(written(tmp_path, sweep))
    with pytest.raises(SolveError, match="none of the 4 cases"):
        run_sweep(study, tmp_path / "out.h5", Options(workers=1))
    assert not (tmp_path / "out.h5").exists()


def killed_runs(folder, study, kills, least, seed):
    """Run the command line, kill it −9 at random moments after `least` new cases; then finish."""
    output, rng = folder / "killed.h5", np.random.default_rng(seed)
    journal = journal_path(output)
    for _ in range(kills):
        begun = journal.read_bytes().count(b"\n") if journal.exists() else 0
        wanted = begun + least + int(rng.integers(0, least))
        process = subprocess.Popen(run(study, output), cwd=folder)
        limit = time.monotonic() + 120.0
        while process.poll() is None and time.monotonic() < limit:
            if journal.exists() and journal.read_bytes().count(b"\n") >= wanted:
                break
            time.sleep(0.002)
        assert process.poll() is None, "the study ended before it was killed"
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
    lines = journal.read_bytes()
    done = subprocess.run(run(study, output), cwd=folder, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return output, lines


def assert_same_tables(one, other):
    assert one.with_suffix(".csv").read_bytes() == other.with_suffix(".csv").read_bytes()
    a, b = load_table(one), load_table(other)
    assert a.digest == b.digest and a.messages == b.messages
    for name, values in a.results.items():
        assert values.tobytes() == b.results[name].tobytes(), name


@pytest.mark.slow
def test_killed_and_resumed_gives_the_same_table(tmp_path):
    sweep = parameter("propellers.inner.position.x", **{"from": -0.9, "to": -0.5, "count": 60})
    study = written(tmp_path, sweep + THRUST.replace("120.0, ", ""))
    output, lines = killed_runs(tmp_path, study, 1, 20, 1)
    assert 1 < lines.count(b"\n") < 121
    whole = tmp_path / "whole.h5"
    subprocess.run(run(study, whole), cwd=tmp_path, capture_output=True, check=True)
    assert_same_tables(output, whole)
    assert not journal_path(output).exists()


@pytest.mark.slow
def test_two_thousand_cases_killed_three_times(tmp_path):
    sweep = parameter("propellers.inner.position.x", **{"from": -0.9, "to": -0.5, "count": 50})
    sweep += parameter("propellers.all.thrust", **{"from": 50.0, "to": 150.0, "count": 40})
    study = written(tmp_path, sweep)
    output, lines = killed_runs(tmp_path, study, 3, 300, 2)
    assert 900 < lines.count(b"\n") < 2001
    whole = tmp_path / "whole.h5"
    subprocess.run(run(study, whole), cwd=tmp_path, capture_output=True, check=True)
    assert_same_tables(output, whole)


def test_workers_end_with_the_program_that_started_them(tmp_path):
    sweep = parameter("propellers.inner.position.x", **{"from": -0.9, "to": -0.5, "count": 3000})
    study = written(tmp_path, sweep)
    process = subprocess.Popen(run(study, tmp_path / "o.h5"), cwd=tmp_path)
    journal, limit = tmp_path / "o.journal", time.monotonic() + 60.0
    while not (journal.exists() and journal.read_bytes().count(b"\n") > 5):
        assert time.monotonic() < limit and process.poll() is None
        time.sleep(0.01)
    children = [
        int(pid)
        for pid in os.listdir("/proc")
        if pid.isdigit() and parent_of(int(pid)) == process.pid
    ]
    assert children
    process.kill()
    process.wait()
    while any(alive(pid) for pid in children):
        assert time.monotonic() < limit, "a worker outlived its program"
        time.sleep(0.05)


def parent_of(pid):
    try:
        with open(f"/proc/{pid}/stat") as stream:
            return int(stream.read().rsplit(")", 1)[1].split()[1])
    except (FileNotFoundError, ProcessLookupError):
        return None


def alive(pid):
    try:
        with open(f"/proc/{pid}/stat") as stream:
            return stream.read().rsplit(")", 1)[1].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False


def test_the_following_lattice_is_the_plain_solve(tmp_path):
    study = read_study(written(tmp_path, 'lattice = "following"\n' + X))
    table = run_sweep(study, tmp_path / "out.h5", Options(workers=1))
    case = study.base.replace(**{"propellers.inner.position.x": -0.5})
    assert table.results["CL"][3] == pytest.approx(solve(case).totals["CL"], rel=2e-4)
