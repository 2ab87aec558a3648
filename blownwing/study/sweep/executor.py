"""Where the cases run: processes of this machine, or a Dask cluster.

Cases are independent and each is computed by one thread, so that a result does not depend on
where, in which order or beside what it was computed.
"""

from __future__ import annotations

import contextlib
import importlib
import os
import pickle
import platform
import re
import socket
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache, partial
from typing import Any

from blownwing.errors import InputError, SolveError
from blownwing.study.sweep.identity import changed, file_digests, program
from blownwing.study.sweep.journal import Outcome

Task = tuple[int, dict[str, Any]]
Done = list[tuple[int, Outcome]]

CHUNK_TIME = 0.25  # s that a chunk of cases should take
MOST_PER_CHUNK = 200
LONGEST_WAIT = 15.0  # s, for a scheduler to answer
_AHEAD = 2  # chunks that wait for each worker
_LOCK = threading.Lock()  # threads share a runner, which keeps what cases have in common


def run_chunk(payload: bytes, tasks: list[Task]) -> tuple[Done, float]:
    """Outcomes of some cases and the time they took, s; runs in a worker.

    Args:
        payload: pickled (base case, `Study.how`, digests of the program and of the case's files,
            which must be the worker's own).
        tasks: (index, edits) of every case.

    Raises:
        InputError: a file of the case cannot be read.
        SolveError: the worker's program or files differ from those of the digests.
    """
    with _LOCK:
        start = time.perf_counter()
        runner = _runner(payload)
        done = [(index, runner(edits)) for index, edits in tasks]
        return done, time.perf_counter() - start


@lru_cache(maxsize=1)
def _runner(payload: bytes) -> Callable[[dict[str, Any]], Outcome]:
    from blownwing.kernels.threads import one_thread
    from blownwing.study.runner import prepared_runner

    one_thread()
    base, how, wanted = pickle.loads(payload)
    other = changed(wanted, program() | file_digests(base))
    if other:
        raise SolveError(
            f"a worker on {platform.node()} has another state of: {other}; accepted are workers "
            "with the same version of blownwing that see the same files"
        )
    return prepared_runner(base, *how)


def local_runs(payload: bytes, tasks: Sequence[Task], workers: int | None = None) -> Iterator[Done]:
    """Run cases in processes of this machine; yields outcomes as they come.

    Args:
        payload: as for `run_chunk`.
        tasks: all cases to run.
        workers: number of processes; by default one per usable core.

    Raises:
        SolveError: a process died.
    """
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor
    from concurrent.futures.process import BrokenProcessPool

    count = min(workers or usable_cores(), max(len(tasks), 1))
    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(count, mp_context=context, initializer=_watch_parent)
    try:
        yield from _fed(lambda chunk: pool.submit(run_chunk, payload, chunk), tasks, count)
    except BrokenProcessPool:
        raise SolveError(
            "a worker process died, perhaps for want of memory; finished cases are kept, run the "
            "study again to go on, with fewer --workers"
        ) from None
    finally:
        pool.shutdown(wait=False, cancel_futures=True)


@contextlib.contextmanager
def beside(workers: int) -> Iterator[Callable[..., Callable[[], Any]]]:
    """A way to start calculations in processes of this machine while this one goes on.

    It makes of a function and its arguments one to be called once, for the result; a calculation
    that no process has begun by then is done here. workers: processes; without any all is.

    Raises:
        SolveError: a process died.
    """
    if workers < 1:
        yield partial
        return
    import multiprocessing
    from concurrent.futures import Future, ProcessPoolExecutor
    from concurrent.futures.process import BrokenProcessPool

    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(workers, mp_context=context, initializer=_alone)
    for _ in range(workers):
        pool.submit(int)  # they start while this one still makes ready

    def result(future: Future[Any], here: Callable[[], Any]) -> Any:
        if future.cancel():
            return here()
        try:
            return future.result()
        except BrokenProcessPool:
            raise SolveError("a worker process died, perhaps for want of memory") from None

    def later(function: Callable[..., Any], *arguments: Any) -> Callable[[], Any]:
        future = pool.submit(function, *arguments)
        return partial(result, future, partial(function, *arguments))

    try:
        yield later
    finally:
        pool.shutdown(wait=False, cancel_futures=True)


def _alone() -> None:
    from blownwing.kernels.threads import one_thread

    _watch_parent()
    one_thread()


def usable_cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _watch_parent() -> None:
    """Let a worker end with the program that started it, however that ends."""
    import multiprocessing

    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def follow() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=follow, daemon=True).start()


def cluster_runs(payload: bytes, tasks: Sequence[Task], address: str) -> Iterator[Done]:
    """Run cases on a Dask cluster; yields outcomes as they come.

    Args:
        payload, tasks: as for `local_runs`.
        address: of the scheduler, such as ``tcp://host:8786``.

    Raises:
        InputError: Dask is not installed or the scheduler does not answer.
        SolveError: the cluster lost a case for good.
    """
    try:
        # loaded by name: the library is an extra and only partly typed
        library: Any = importlib.import_module("distributed")
        killed: Any = importlib.import_module("distributed.scheduler").KilledWorker
    except ImportError:
        raise InputError(
            "--scheduler needs Dask, which is not installed; pip install 'blownwing[cluster]'"
        ) from None
    client = _client(library.Client, address)
    with contextlib.closing(client):
        count = len(client.scheduler_info(n_workers=-1)["workers"])
        if count == 0:
            raise InputError(f"--scheduler: {address} has no workers")
        pool = client.get_executor(pure=False)
        try:
            yield from _fed(lambda chunk: pool.submit(run_chunk, payload, chunk), tasks, count)
        except killed:
            raise SolveError(
                "the cluster lost a worker several times on the same cases; finished cases are "
                "kept, run the study again to go on"
            ) from None


_ADDRESS = re.compile(r"(?:(?:tcp|tls|wss?)://)?([^\s/:\[\]@]+|\[[0-9A-Fa-f:.]+\]):(\d{1,5})")


def _client(kind: Any, address: str) -> Any:
    """A client of the scheduler at an address.

    The address and whether anything listens there are looked at first: a client that could not
    connect keeps on trying in the background and prints its own traceback.

    Raises:
        InputError: it is no address, or no scheduler answers.
    """
    parts = _ADDRESS.fullmatch(address)
    if parts is None or not 0 < int(parts[2]) < 65536:
        raise InputError(
            f'--scheduler: found "{address[:100]}"; accepted is an address such as tcp://host:8786'
        )
    try:
        socket.create_connection((parts[1].strip("[]"), int(parts[2])), timeout=10.0).close()
    except (OSError, UnicodeError) as error:
        raise InputError(f"--scheduler: {address} does not answer ({_reason(error)})") from None
    client = kind.__new__(kind)
    failed: list[Exception] = []

    def connect() -> None:
        try:
            client.__init__(address, timeout="10s", set_as_default=False)
        except Exception as error:  # TypeError among them, for tls without keys
            failed.append(error)

    # in a thread, since what listens but is no scheduler is waited for without an end
    thread = threading.Thread(target=connect, daemon=True)
    thread.start()
    thread.join(LONGEST_WAIT)
    if thread.is_alive() or failed:
        client.status = "closed"  # or its finaliser waits, and prints a traceback
        reason = _reason(failed[0]) if failed else f"no answer within {LONGEST_WAIT:g} s"
        raise InputError(f"--scheduler: {address} does not answer ({reason})")
    return client


def _reason(error: BaseException) -> str:
    return " ".join(str(error).split()) or type(error).__name__


def _fed(
    submit: Callable[[list[Task]], Any], tasks: Sequence[Task], workers: int
) -> Iterator[Done]:
    """Keep every worker supplied with chunks that take about CHUNK_TIME."""
    from concurrent.futures import FIRST_COMPLETED, wait

    position = 0
    size = 1
    running: set[Any] = set()
    while position < len(tasks) or running:
        while position < len(tasks) and len(running) < _AHEAD * workers:
            left = -(-(len(tasks) - position) // (2 * workers))
            take = max(1, min(size, left))
            running.add(submit(list(tasks[position : position + take])))
            position += take
        finished, running = wait(running, return_when=FIRST_COMPLETED)
        ready: Done = []
        for future in finished:
            done, seconds = future.result()
            ready += done
            wanted = round(len(done) * CHUNK_TIME / max(seconds, 1e-6))
            size = max(1, min(wanted, 4 * len(done), MOST_PER_CHUNK))
        yield ready
