"""The one place that decides how kernels are compiled, and from where they may be called.

Kernels that run on several threads are called one at a time: a simple threading layer may not be
entered twice, and each call has all processors anyway. A process that was forked after such a
kernel ran cannot use the threads of its parent: it is told so in a sentence, where the layer can
not be used again.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from functools import wraps
from typing import Any

import numba
from numba import threading_layer  # type: ignore[attr-defined]

from blownwing.errors import SolveError


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
_CALLS: dict[str, Any] = {"lock": threading.RLock(), "ran": False, "forked": False}


def _after_fork() -> None:
    _CALLS["lock"] = threading.RLock()
    _CALLS["forked"] = _CALLS["ran"]


if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_after_fork)


def _guarded(kernel: Callable[..., Any]) -> Callable[..., Any]:
    @wraps(kernel)
    def call(*arguments: Any) -> Any:
        if _CALLS["forked"] and threading_layer() == "omp":
            raise SolveError(
                "this process was forked from one that had already computed, whose threads it "
                'cannot use: start processes with multiprocessing.get_context("spawn"), or fork '
                "before the first calculation"
            )
        with _CALLS["lock"]:
            result = kernel(*arguments)
            _CALLS["ran"] = True
        return result

    call.py_func = getattr(kernel, "py_func", kernel)  # type: ignore[attr-defined]
    return call


def parallel(function: Callable[..., Any]) -> Callable[..., Any]:
    """Compile a kernel whose `prange` loops run on all threads.

    The kernel raises SolveError in a process forked from one in which such a kernel has run.
    """
    return _guarded(numba.njit(parallel=True, **_OPTIONS)(function))


def summing(function: Callable[..., Any]) -> Callable[..., Any]:
    """The same with sums in any order, so that they vectorise; NaN and infinity stay such.

    Errors as for `parallel`.
    """
    loose = {**_OPTIONS, "fastmath": {"contract", "reassoc", "nsz"}}
    return _guarded(numba.njit(parallel=True, **loose)(function))


serial = numba.njit(**_OPTIONS)
inline = numba.njit(inline="always", **_OPTIONS)
prange = numba.prange
