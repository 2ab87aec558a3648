"""The same study on a Dask cluster with real worker processes."""

import os
import pickle
import signal
import socket
import subprocess
import sys

import numpy as np
import pytest
from study_scenes import parameter, written

from blownwing import InputError, SolveError
from blownwing.study.reader import read_study
from blownwing.study.sweep import executor, identity
from blownwing.study.sweep.executor import cluster_runs
from blownwing.study.sweep.run import Options, run_sweep

distributed = pytest.importorskip("distributed", reason="needs the extra 'cluster'")

X = parameter("propellers.inner.position.x", **{"from": -0.9, "to": -0.5, "count": 6})


@pytest.mark.filterwarnings("ignore::DeprecationWarning")  # inside the cluster library
@pytest.mark.filterwarnings("ignore::ResourceWarning")
@pytest.mark.slow
def test_a_cluster_gives_the_table_of_this_machine(tmp_path):
    study = read_study(written(tmp_path, X))
    here = run_sweep(study, tmp_path / "here.h5", Options(workers=1))
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=2, processes=True, dashboard_address=None
    ) as cluster:
        options = Options(scheduler=cluster.scheduler_address)
        there = run_sweep(study, tmp_path / "there.h5", options)
    assert here.solved.all() and list(here.results) == list(there.results)
    for name, values in here.results.items():
        assert np.array_equal(values, there.results[name]), name


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
@pytest.mark.filterwarnings("ignore::ResourceWarning")
@pytest.mark.parametrize("kills", [1, 2])
def test_killed_workers_lose_no_row(tmp_path, kills):
    grid = parameter("propellers.inner.position.x", **{"from": -0.9, "to": -0.5, "count": 40})
    grid += parameter("flow.alpha", **{"from": 1.0, "to": 6.0, "count": 8})
    sweep = 'lattice = "following"\n' + grid
    study = read_study(written(tmp_path, sweep))
    here = run_sweep(study, tmp_path / "here.h5", Options(workers=2))
    killed = []
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster, set_as_default=False) as client,
    ):
        workers = list(client.run(os.getpid).values())

        def kill(done, _failed, total):
            if len(killed) < kills and done > (len(killed) + 1) * total // 8:
                os.kill(workers[len(killed)], signal.SIGKILL)
                killed.append(done)

        options = Options(scheduler=cluster.scheduler_address)
        there = run_sweep(study, tmp_path / "there.h5", options, kill)
    print(f"workers killed after {killed} of {len(here.messages)} cases")
    assert len(killed) == kills and killed[-1] < len(here.messages) // 2
    assert here.solved.all() and there.solved.all()
    for name, values in here.results.items():
        assert np.array_equal(values, there.results[name]), name


def test_a_worker_with_other_files_or_another_version_is_refused(tmp_path):
    base = read_study(written(tmp_path, X)).base
    good = identity.program() | identity.file_digests(base)
    assert executor.run_chunk(pickle.dumps((base, ("fixed", None), good)), [])[0] == []  # control
    for name in good:
        with pytest.raises(SolveError, match="has another state of"):
            executor.run_chunk(pickle.dumps((base, ("fixed", None), good | {name: "other"})), [])


@pytest.mark.parametrize(
    "address",
    ["", "x", "nonsense://nowhere:1", "tcp://host", "tcp://[::1", "tcp://host:99999",
     "tcp://host:0", "http://localhost:80", "tcp://a b:1", "tcp://h:1/path", "tcp://" + "h" * 9999],
)  # fmt: skip
def test_what_is_no_address_is_said_before_anything_is_tried(address):
    with pytest.raises(InputError, match=r"accepted is an address such as tcp://host:8786"):
        list(cluster_runs(b"", [(0, {})], address))


def test_a_scheduler_that_is_not_there_is_one_sentence_and_leaves_nothing(tmp_path):
    study = written(tmp_path, X)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    done = subprocess.run(
        [sys.executable, "-m", "blownwing.cli", "sweep", str(study), "--scheduler",
         f"tcp://127.0.0.1:{port}"],
        cwd=tmp_path, capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert done.returncode == 2 and done.stdout == ""
    assert done.stderr.count("\n") == 1 and "does not answer" in done.stderr
    assert {path.suffix for path in tmp_path.iterdir()} == {".toml"}


@pytest.mark.slow
def test_a_listener_that_is_no_scheduler_is_one_sentence(tmp_path):
    study = written(tmp_path, X)
    with socket.create_server(("127.0.0.1", 0)) as deaf:
        port = deaf.getsockname()[1]
        done = subprocess.run(
            [sys.executable, "-m", "blownwing.cli", "sweep", str(study), "--scheduler",
             f"tcp://127.0.0.1:{port}"],
            cwd=tmp_path, capture_output=True, text=True, check=False, timeout=60,
        )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1 and "no answer within" in done.stderr
