"""What all tests share: the same examples in every run, and one thread for each of its workers."""

import os

import numba
from hypothesis import settings

# DEVELOPERS.md tells how to look for new examples.
settings.register_profile("seeded", derandomize=True, database=None)
settings.register_profile("explore", derandomize=False, database=None)
settings.load_profile("seeded")

if "PYTEST_XDIST_WORKER" in os.environ:
    numba.set_num_threads(1)  # workers that share the cores
