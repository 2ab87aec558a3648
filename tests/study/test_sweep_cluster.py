"""The same study on a Dask cluster with real worker processes."""

import numpy as np
import pytest
from study_scenes import parameter, written

from blownwing import InputError
from blownwing.study.executor import cluster_runs
from blownwing.study.reader import read_study
from blownwing.study.sweep import Options, run_sweep

distributed = pytest.importorskip("distributed", reason="needs the extra 'cluster'")

X = parameter("propellers.inner.position.x", **{"from": -0.9, "to": -0.5, "count": 6})


@pytest.mark.filterwarnings("ignore::DeprecationWarning")  # inside the cluster library
@pytest.mark.filterwarnings("ignore::ResourceWarning")
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


def test_a_scheduler_that_does_not_answer_is_a_wrong_input():
    with pytest.raises(InputError, match="does not answer"):
        list(cluster_runs(b"", [(0, {})], "nonsense://nowhere:1"))
