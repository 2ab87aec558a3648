"""How many threads may work: the one rule, for the kernels and for the linear algebra library.

The library's idle threads spin for a while after each call and then take the processor from the
kernels; a kernel whose second thread has to wait for a busy core loses a time slice, a hundred
times what it saves on a small problem. So a problem below `LARGE` runs on one thread, and on a
machine that is busy otherwise kernels of any size do. The numbers are the same either way.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from functools import lru_cache
from typing import TypeVar

import numba
import threadpoolctl

Value = TypeVar("Value")

_TURN = 5e-4  # s after which a thread of Python's gives way: kernels beside it wait no longer
LARGE = 1500  # unknowns from which more threads gain: circulations to factor, or all for kernels


@lru_cache(maxsize=1)
def _library() -> threadpoolctl.ThreadpoolController:
    return threadpoolctl.ThreadpoolController().select(user_api="blas")


def cores_free() -> bool:
    """Whether other work leaves cores to share this one."""
    try:
        return os.getloadavg()[0] <= (os.cpu_count() or 1) + 0.5
    except (AttributeError, OSError):  # not every system tells
        return True


@contextmanager
def threads_for(factored: int, unknowns: int | None = None) -> Iterator[None]:
    """Within it only problems that gain from it have more than one thread.

    factored: unknowns of the matrices that are factored; unknowns: all that kernels work on, None
    for the same.
    """
    kernels = factored if unknowns is None else unknowns
    before = numba.get_num_threads()
    with ExitStack() as stack:
        if factored < LARGE:
            stack.enter_context(_library().limit(limits=1))
        if kernels < LARGE or not cores_free():
            stack.callback(numba.set_num_threads, before)
            numba.set_num_threads(1)
        yield


def together(calls: Sequence[Callable[[], Value]]) -> list[Value]:
    """Results of calculations that take about as long, in order; side by side on cores that wait.

    Each has one thread. Raises what the first of those that fail raises.
    """
    if len(calls) < 2 or numba.get_num_threads() < 2 or not cores_free():
        return [call() for call in calls]
    turn, most = sys.getswitchinterval(), min(len(calls), numba.get_num_threads())
    pool = ThreadPoolExecutor(most, "beside", numba.set_num_threads, (1,))
    with _library().limit(limits=1), pool:
        sys.setswitchinterval(_TURN)
        try:
            return list(pool.map(lambda call: call(), calls))
        finally:
            sys.setswitchinterval(turn)


def one_thread() -> None:
    """From now on this process has one thread: others like it have the other cores."""
    numba.set_num_threads(1)
    threadpoolctl.threadpool_limits(1)
