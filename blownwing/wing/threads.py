"""How many threads the linear algebra library may use.

Its idle threads spin for a while after each call and then take the processor from the kernels, so
small problems run it on one thread; only large factorisations gain from more.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache

import threadpoolctl

_LARGE = 1500  # unknowns from which a factorisation gains from more threads


@lru_cache(maxsize=1)
def _library() -> threadpoolctl.ThreadpoolController:
    return threadpoolctl.ThreadpoolController().select(user_api="blas")


@contextmanager
def algebra_threads(unknowns: int) -> Iterator[None]:
    """Within it the linear algebra library uses one thread unless the problem is large."""
    if unknowns >= _LARGE:
        yield
        return
    with _library().limit(limits=1):
        yield
