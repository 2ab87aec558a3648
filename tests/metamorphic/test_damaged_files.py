"""Bit flips and truncations of every kind of file: read, or refused in one sentence, in time.

Damage runs in a process of its own: if the HDF5 library itself were to die of a file, that would
show as its exit code and not end the test run.
"""

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

WORKER = """
import json, random, signal, sys, traceback
from pathlib import Path
from blownwing import InputError, SolveError, load, read_case
from blownwing.airfoil.library import section_for
from blownwing.airfoil.camber import read_coordinates
from blownwing.propeller.blade import read_blade
from blownwing.propeller.specification import read_specification
from blownwing.solution.map_files import load_map
from blownwing.solution.records import read_records
from blownwing.study.sweep.identity import identity
from blownwing.study.sweep.journal import Journal
from blownwing.study.sweep.plan import planned
from blownwing.study.reader import read_study
from blownwing.study.sweep.table import load_table

def journal(path):
    study = read_study(path.with_name("study.toml"))
    with Journal(path, identity(study, planned(study)), "now"):
        pass

READERS = {"case.toml": read_case, "study.toml": lambda p: planned(read_study(p)),
    "spec.toml": read_specification, "blade.csv": read_blade,
    "section.csv": lambda p: section_for(p.name, p.parent), "outline.dat": read_coordinates,
    "result.h5": load, "table.h5": load_table, "map.h5": load_map, "aircraft.h5": read_records,
    "rows.journal": journal}
folder, name, number = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
path, read = folder / name, READERS[name]
data, source = path.read_bytes(), random.Random(name)
counts, bad = {"read": 0, "refused": 0}, []

class Late(BaseException):
    pass

def late(_number, _frame):
    raise Late

signal.signal(signal.SIGALRM, late)
for k in range(number):
    text = bytearray(data)
    if k % 3 == 0:
        del text[source.randrange(len(text)):]
    for _ in range(source.choice((0, 1, 4, 32)) if k % 3 == 0 else source.choice((1, 2, 16))):
        if text:
            at = source.randrange(len(text))
            text[at] ^= 1 << source.randrange(8)
    path.write_bytes(bytes(text))
    signal.alarm(20)
    try:
        read(path)
        counts["read"] += 1
    except (InputError, SolveError) as error:
        counts["refused"] += 1
        if not str(error) or chr(10) in str(error) or len(str(error)) > 1500:
            bad.append(f"{k}: {error!r}"[:500])
    except BaseException:
        bad.append(f"{k}: {traceback.format_exc()[-600:]}")
    signal.alarm(0)
path.write_bytes(data)
read(path)  # control: undamaged it is read
print(json.dumps([counts, bad]))
"""
KINDS = ("case.toml", "study.toml", "spec.toml", "blade.csv", "section.csv", "outline.dat",
         "result.h5", "table.h5", "map.h5", "aircraft.h5", "rows.journal")  # fmt: skip
MAKER = """
import sys
from pathlib import Path
sys.path[:0] = sys.argv[2:]
import numpy as np
from sweeps import BLADE, BLADE_CASE, SECTION, STUDY
from aircraft_scene import TABLES
from blownwing import read_case, solve
from blownwing.solution.groups import save_groups
from blownwing.airfoil.camber import naca_digits
from blownwing.propeller.blade import read_blade
from blownwing.propeller.map import map_grid, performance_map
from blownwing.propeller.rotor import build_rotor
from blownwing.case.air import air_at
from blownwing.solution.map_files import save_map
from blownwing.solution.records import Quantity
from blownwing.study.sweep.identity import identity
from blownwing.study.sweep.journal import Journal, Outcome
from blownwing.study.sweep.plan import planned
from blownwing.study.reader import read_study
from blownwing.study.sweep.run import Options, run_sweep

if __name__ == "__main__":
    folder = Path(sys.argv[1])
    (folder / "sections").mkdir()
    (folder / "sections" / "own.csv").write_text(SECTION)
    (folder / "section.csv").write_text(SECTION)
    (folder / "blade.csv").write_text(BLADE)
    (folder / "case.toml").write_text(BLADE_CASE)
    (folder / "study.toml").write_text(STUDY)
    (folder / "spec.toml").write_text(
        '[point]\\nairspeed = 28.0\\nthrust = 90.0\\n[propeller]\\ndiameter = 0.8\\nblades = 5\\n'
        'rpm = 3600\\nsection = "naca4412"\\n[wing]\\nspan = 6.0\\nchord = 1.0\\nahead = 0.5\\n')
    x = np.concatenate([np.linspace(1.0, 0.0, 15), np.linspace(0.0, 1.0, 15)[1:]])
    z = 0.1 * np.sqrt(x) * (1.0 - x) * np.where(np.arange(x.size) < 15, 1.0, -1.0)
    (folder / "outline.dat").write_text("\\n".join(f"{a:.5f} {b:.5f}" for a, b in zip(x, z)))
    solve(read_case(folder / "case.toml")).save(folder / "result.h5")
    study = read_study(folder / "study.toml")
    run_sweep(study, folder / "table.h5", Options(workers=1))
    with Journal(folder / "rows.journal", identity(study, planned(study)), "now") as rows:
        rows.add([(0, Outcome(values={"CL": 0.5, "CD": 0.02}))])
    rotor = build_rotor(read_blade(folder / "blade.csv"), 0.8, 4, 8)
    grid = map_grid((0.0, 1.0), (-0.1, 0.2), 6, 5)
    save_map(performance_map(rotor, air_at(), 300.0, *grid), folder / "map.h5")
    groups = {"cruise": {"speed": Quantity(np.array([1.0, 2.0]), "m/s", "speed", ("speed",)),
                         "power": Quantity(np.array([3.0, 4.0]), "W", "power", ("speed",)),
                         "range": Quantity(5.0, "km", "range", ())}}
    save_groups(groups, "aircraft", "", folder / "aircraft.h5")
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("kinds")
    tests = Path(__file__).parents[1]
    script = place / "make.py"
    script.write_text(MAKER, encoding="utf-8")
    beside = [str(tests / "robustness"), str(tests / "aircraft")]
    ran = subprocess.run([sys.executable, str(script), str(place), *beside], capture_output=True,
                         text=True, check=False)  # fmt: skip
    assert ran.returncode == 0, ran.stderr[-2000:]
    return place


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_damage(folder, tmp_path, kind):
    place = tmp_path / "copy"
    shutil.copytree(folder, place)
    number = 600
    ran = subprocess.run(
        [sys.executable, "-c", WORKER, str(place), kind, str(number)],
        capture_output=True, text=True, timeout=900, check=False,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr[-2000:]
    counts, bad = json.loads(ran.stdout.splitlines()[-1])
    print(kind, counts)
    assert bad == []
    assert sum(counts.values()) == number and counts["refused"] > 0.05 * number
