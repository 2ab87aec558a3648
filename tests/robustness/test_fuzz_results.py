"""Result files damaged at random: read as they were or refused in one sentence, in time.

Damage runs in a process of its own: if the HDF5 library itself were to die of a file, that would
show as its exit code and not end the test run.
"""

import json
import subprocess
import sys

import pytest
from fuzzed import GOOD

from blownwing import solve
from blownwing.case.reader import parse_case

WORKER = """
import json, random, signal, sys, traceback
from pathlib import Path
import h5py, numpy as np
from blownwing import InputError, load

folder, good = Path(sys.argv[1]), Path(sys.argv[2])
number, seed = int(sys.argv[3]), int(sys.argv[4])
data, source = good.read_bytes(), random.Random(seed)
counts = {"read": 0, "refused": 0}
bad = []

def bytes_damaged(path):
    text = bytearray(data)
    for _ in range(source.choice((1, 4, 32))):
        at = source.randrange(len(text))
        text[at] = source.randrange(256)
    if source.random() < 0.3:
        del text[source.randrange(len(text)):]
    path.write_bytes(bytes(text))

def structure_damaged(path):
    path.write_bytes(data)
    with h5py.File(path, "r+") as file:
        names = []
        file.visit(names.append)
        name = source.choice(names)
        what = source.randrange(5)
        if what == 0:
            del file[name]
        elif what == 1:
            key = source.choice(list(file.attrs))
            file.attrs[key] = source.choice((1, 7.5, "x", np.zeros(3), "[flow]"))
        elif what == 2:
            del file[name]
            odd = (1.0, np.zeros(3), "text", np.nan, np.zeros((2, 2), dtype=complex), np.int8(3))
            file[name] = source.choice(odd)
        elif what == 3:
            group = file[name] if isinstance(file[name], h5py.Group) else file
            group["more"] = source.choice((1.0, "text"))
        else:
            del file[name]
            file[name] = h5py.SoftLink(source.choice(("/", "/nowhere", "/" + name)))

for k in range(number):
    path = folder / f"damaged_{seed}_{k}.h5"
    (bytes_damaged if k % 2 else structure_damaged)(path)
    signal.alarm(20)
    try:
        found = load(path)
        assert all(np.all(np.isfinite(v)) for v in found.totals.values())
        counts["read"] += 1
    except InputError as error:
        counts["refused"] += 1
        if not str(error) or chr(10) in str(error):
            bad.append(f"{path.name}: {error!r}")
    except Exception:
        bad.append(f"{path.name}: {traceback.format_exc()[-400:]}")
    signal.alarm(0)
    path.unlink()
print(json.dumps([counts, bad]))
"""


@pytest.fixture(scope="module")
def good(tmp_path_factory):
    folder = tmp_path_factory.mktemp("results")
    return solve(parse_case(GOOD, folder)).save(folder / "good.h5")


def damage(good, folder, number, seed):
    ran = subprocess.run(
        [sys.executable, "-c", WORKER, str(folder), str(good), str(number), str(seed)],
        capture_output=True, text=True, timeout=900, check=False,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr[-2000:]
    counts, bad = json.loads(ran.stdout)
    print(counts)
    assert bad == []
    assert counts["refused"] > 0.2 * number
    assert counts["read"] > 0  # control: damage that does no harm is not refused


def test_damaged_results(good, tmp_path):
    damage(good, tmp_path, 100, 1)


@pytest.mark.slow
def test_damaged_results_at_length(good, tmp_path):
    damage(good, tmp_path, 2000, 2)
