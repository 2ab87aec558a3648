"""What a bug report needs to say about an installation: versions, threads, caches, memory."""

from __future__ import annotations

import importlib.metadata
import os
import platform
import sys
from pathlib import Path

from blownwing import __version__
from blownwing.study.sweep.executor import usable_cores
from blownwing.study.sweep.identity import sources_digest

NEEDED = ("numpy", "scipy", "numba", "llvmlite", "h5py", "matplotlib", "pydantic", "typer", "rich",
          "psutil", "threadpoolctl")  # fmt: skip
OPTIONAL = {"dask": "sweeps on a cluster", "distributed": "sweeps on a cluster",
            "xarray": "reading results", "h5netcdf": "reading results"}  # fmt: skip
VARIABLES = ("NUMBA_CACHE_DIR", "NUMBA_NUM_THREADS", "NUMBA_DISABLE_JIT",
             "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "COLUMNS",
             "BLOWNWING_TRACEBACK", "MPLBACKEND")  # fmt: skip


def installation() -> list[tuple[str, str]]:
    """(what, value) in the order to print them; loads numba and h5py.

    The user's own folder is written as ``~``, so that the text can be handed on.
    """
    import psutil

    memory = psutil.virtual_memory()
    return [
        ("blownwing", f"{__version__}, kernels {sources_digest(True)[:12]}, program "
         f"{sources_digest(False)[:12]}"),
        ("installed in", _short(Path(__file__).parents[1])),
        ("Python", f"{platform.python_version()} ({sys.implementation.name}), "
         f"{platform.platform()}"),
        ("packages", ", ".join(f"{name} {_version(name)}" for name in NEEDED)),
        *((f"optional {name}", f"{_version(name)}, for {use}") for name, use in OPTIONAL.items()),
        ("processor", f"{platform.machine()}, {usable_cores()} of {os.cpu_count()} cores usable"),
        ("memory", f"{memory.available / 2**30:.1f} of {memory.total / 2**30:.1f} GiB free"),
        *_threads(),
        *_caches(),
        ("environment", ", ".join(f"{name}={_short(os.environ[name])}" for name in VARIABLES
                                  if name in os.environ) or "none of the variables that matter"),
    ]  # fmt: skip


def _version(name: str) -> str:
    try:
        return importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return "not installed"


def _threads() -> list[tuple[str, str]]:
    import numba
    import scipy.linalg  # noqa: F401  # loads the linear algebra that is asked about
    import threadpoolctl

    pools = [
        f"{pool['internal_api']} {pool.get('version') or ''} ({pool['num_threads']} threads)"
        for pool in threadpoolctl.threadpool_info()
        if pool["user_api"] == "blas"
    ]
    return [
        ("kernels", f"{numba.get_num_threads()} threads"),
        ("linear algebra", ", ".join(dict.fromkeys(pools)) or "unknown"),
    ]


def _caches() -> list[tuple[str, str]]:
    """Where compiled kernels are kept, from a kernel itself."""
    from blownwing.kernels import vortex

    kernel = next(item for item in vars(vortex).values() if hasattr(item, "stats"))
    place = kernel.stats.cache_path
    if place is None:
        return [("kernel cache", "none that can be written: kernels are compiled in every run")]
    folder = Path(place)
    held = [path.stat().st_size for path in folder.glob("*.nbc")]
    return [
        ("kernel cache", f"{_short(folder)}, {len(held)} files, {sum(held) / 2**20:.1f} MiB"),
    ]


def _short(path: str | Path) -> str:
    text, home = str(path), str(Path.home())
    return f"~{text.removeprefix(home)}" if home != "/" and text.startswith(home) else text
