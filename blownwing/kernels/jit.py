"""The one place that decides how kernels are compiled, and how they share threads.

A kernel of which several threads take parts is compiled for one thread and without Python's lock;
threads of this process call it for their parts. Numba's own parallel loops would be compiled three
times each, may not be entered by two threads, and wait badly on a machine that is busy otherwise.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache, wraps
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
_PARTS = 4  # for every thread, so that an uneven load evens out


@lru_cache(maxsize=1)
def _helpers() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(numba.config.NUMBA_NUM_THREADS, "kernels")  # type: ignore[attr-defined]


if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_helpers.cache_clear)  # threads stay with the parent


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

        def work() -> None:
            for part in left:
                kernel(part, count, *arguments)

        helping = [_helpers().submit(work) for _ in range(threads - 1)]
        work()
        for help_ in helping:
            if not help_.cancel():
                help_.result()

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
