"""The one place that decides how kernels are compiled."""

from __future__ import annotations

from typing import Any

import numba

# `contract` (fused multiply-add) gives all of the speed; full fastmath would break NaN checks.
_OPTIONS: dict[str, Any] = {"cache": True, "fastmath": {"contract"}, "error_model": "numpy"}

serial = numba.njit(**_OPTIONS)
parallel = numba.njit(parallel=True, **_OPTIONS)
# Sums may be reordered so that they vectorise; NaN and infinity keep their meaning.
summing = numba.njit(parallel=True, **{**_OPTIONS, "fastmath": {"contract", "reassoc", "nsz"}})
inline = numba.njit(inline="always", **_OPTIONS)
prange = numba.prange
