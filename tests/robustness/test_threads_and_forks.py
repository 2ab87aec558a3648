"""Several threads, a forked child, no folder for compiled kernels: it works or says why not."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

CASE = Path(__file__).parents[2] / "cases" / "twin_tip.toml"
COARSE = '{"model.chordwise": 2, "model.spanwise": 10, "model.jet_edge": False}'
HEAD = f"""
import blownwing
case = blownwing.read_case({str(CASE)!r}).replace(**{COARSE})
solve = lambda: blownwing.solve(case).totals["CL"]
"""
THREADS = """
import threading
solve()
found = []
threads = [threading.Thread(target=lambda: found.append(solve())) for _ in range(4)]
for thread in threads: thread.start()
for thread in threads: thread.join()
assert len(found) == 4 and len(set(found)) == 1, found
print("same answers")
"""
FORK = """
import os, numba
numba.set_num_threads(numba.config.NUMBA_NUM_THREADS)
wanted = solve()
child = os.fork()
if child == 0:
    os._exit(0 if solve() == wanted else 3)
_, status = os.waitpid(child, 0)
print(os.waitstatus_to_exitcode(status))
"""


def run(program, **environment):
    return subprocess.run(
        [sys.executable, "-c", HEAD + program],
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


@pytest.mark.parametrize("layer", ["workqueue", "omp"])
def test_solves_in_several_threads(layer):
    done = run(THREADS, NUMBA_THREADING_LAYER=layer)
    if "No threading layer could be loaded" in done.stderr:
        pytest.skip(f"the threading layer {layer} is not installed")
    assert (done.returncode, done.stdout, done.stderr) == (0, "same answers\n", "")


def test_a_forked_child_solves_too():
    # Kernels that several threads share stand in `solve` at two threads: few unknowns want one.
    program = "import blownwing.kernels.threads as t\nt.LARGE = 0\nt.cores_free = lambda: True\n"
    done = run(program + FORK, NUMBA_NUM_THREADS="2")
    assert (done.returncode, done.stdout, done.stderr) == (0, "0\n", "")


def test_without_a_folder_for_compiled_kernels(tmp_path):
    # The probe finds none; that kernels then compile and run is the same path in every process.
    program = """
import numba, warnings
real = numba.njit
def refusing(*arguments, **options):
    if options.pop("cache", False):
        def refuse(function):
            raise RuntimeError("cannot cache function: no locator available")
        return refuse
    return real(*arguments, **options)
numba.njit = refusing
with warnings.catch_warnings(record=True) as told:
    warnings.simplefilter("always")
    from blownwing.kernels import jit
print(len(told), told[0].message)
print(jit._OPTIONS["cache"])
"""
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=60, check=True
    )
    first, second = done.stdout.splitlines()
    assert first.startswith("1 ") and "NUMBA_CACHE_DIR" in first and second == "False"
