"""The one place that decides how kernels are compiled, and how they share threads.

A kernel of which several threads take parts is compiled for one thread and without Python's lock;
threads of this process call it for their parts. Numba's own parallel loops would be compiled three
times each, may not be entered by two threads, and wait badly on a machine that is busy otherwise.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from functools import lru_cache, wraps
from queue import SimpleQueue
from typing import Any

import numba


def _writable_cache() -> bool:
    """Whether compiled kernels can be kept on disk; said once where they cannot."""

    def probe() -> None:
        """Something to compile."""

    try:
        numba.njit(cache=True)(probe)
    except RuntimeError as error:
        if "cannot cache" not in str(error):
            raise
        import warnings

        warnings.warn(
            "no folder for compiled kernels can be written: they are compiled anew in every "
            "process; set NUMBA_CACHE_DIR to a folder that can",
            RuntimeWarning,
            stacklevel=2,
        )
        return False
    return True


# `contract` (fused multiply-add) gives all of the speed; full fastmath would break NaN checks.
_OPTIONS: dict[str, Any] = {
    "cache": _writable_cache(),
    "fastmath": {"contract"},
    "error_model": "numpy",
}
_PARTS = 2  # for every thread, so that an uneven load evens out


@lru_cache(maxsize=1)
def _tasks() -> SimpleQueue[Callable[[], None]]:
    """Where threads wait for tasks; the pool of the standard library takes twice as long to start.

    A thread ends with its process.
    """
    tasks: SimpleQueue[Callable[[], None]] = SimpleQueue()

    def helper() -> None:
        while True:
            tasks.get()()

    for _ in range(numba.config.NUMBA_NUM_THREADS - 1):  # type: ignore[attr-defined]
        threading.Thread(target=helper, name="kernels", daemon=True).start()
    return tasks


if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_tasks.cache_clear)  # threads stay with the parent


def _shared(kernel: Callable[..., Any]) -> Callable[..., Any]:
    """Call a kernel for all of its parts, of which each thread takes the next one that is left."""

    @wraps(kernel)
    def call(*arguments: Any) -> None:
        threads = numba.get_num_threads()
        if threads == 1:
            kernel(0, 1, *arguments)
            return
        count = _PARTS * threads
        left = iter(range(count))
        ended: SimpleQueue[BaseException | None] = SimpleQueue()

        def work() -> None:
            for part in left:
                try:
                    kernel(part, count, *arguments)
                except BaseException as error:
                    ended.put(error)
                else:
                    ended.put(None)

        for _ in range(threads - 1):
            _tasks().put(work)
        work()
        for _ in range(count):  # a helper that comes too late is not waited for
            if (error := ended.get()) is not None:
                raise error

    return call


def parallel(function: Callable[..., Any]) -> Callable[..., Any]:
    """Compile a kernel that fills a part of its output: the part's number and how many there are.

    Both come first; whoever calls the kernel leaves them out.
    """
    return _shared(numba.njit(nogil=True, **_OPTIONS)(function))


def summing(function: Callable[..., Any]) -> Callable[..., Any]:
    """The same with sums in any order, so that they vectorise; NaN and infinity stay such."""
    loose = {**_OPTIONS, "fastmath": {"contract", "reassoc", "nsz"}}
    return _shared(numba.njit(nogil=True, **loose)(function))


serial = numba.njit(**_OPTIONS)
inline = numba.njit(inline="always", **_OPTIONS)
