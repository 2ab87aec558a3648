"""Small problems run on one thread: starting others costs more than they save."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

LARGE = 1500  # panels from which kernels gain from more threads


@contextmanager
def few_threads(panels: int) -> Iterator[None]:
    """Within it kernels and linear algebra use one thread unless the problem is large."""
    if panels >= LARGE:
        yield
        return
    import numba
    import threadpoolctl

    before = numba.get_num_threads()
    numba.set_num_threads(1)
    try:
        with threadpoolctl.threadpool_limits(1):
            yield
    finally:
        numba.set_num_threads(before)
