"""Commands killed at any moment (SIGKILL) leave whole files or none, and inputs as they were."""

import random
import shutil
import subprocess
import sys
import time
from pathlib import Path

import h5py
import pytest
from aircraft_scene import TABLES
from sweeps import BLADE_CASE, called, sections_and_blade

from blownwing import read_case
from blownwing.case.writer import toml_text

pytestmark = pytest.mark.slow
PLACE = """case = "case.toml"
[placement]
objective = "power"
starts = 2
[[placement.parameters]]
key = "propellers.all.diameter"
from = 0.6
to = 0.9
"""
SHAPE = 'case = "case.toml"\n[optimize]\nstarts = 2\ncontrols = 5\n'
ROOT = Path(__file__).parents[2]
COMMANDS = {
    "aircraft": "aircraft plane.toml --figures",
    "aircraft trade": "aircraft row.toml --trade propellers=2..4",
    "optimize shape": "optimize shape.toml --figures",
    "optimize placement": "optimize place.toml --figures",
}


def whole(path):
    """Raise unless a file can be read to its end."""
    if path.suffix == ".h5":
        with h5py.File(path, "r") as file:
            file.visititems(
                lambda _name, item: item[()] if isinstance(item, h5py.Dataset) else None
            )
    elif path.suffix == ".toml":
        read_case(path)
    elif path.suffix == ".png":
        assert path.read_bytes()[-8:-4] == b"IEND"
    elif path.suffix == ".csv":
        assert path.read_bytes().endswith(b"\n")
    else:
        raise AssertionError(f"what is {path}?")


@pytest.mark.parametrize("name", COMMANDS)
def test_killed_at_any_moment(tmp_path, name):
    sections_and_blade(tmp_path)
    case = BLADE_CASE.replace("rpm = 3000.0", "thrust = 60.0")
    case = case.replace('airfoil = "sections/own.csv"\n', "")
    (tmp_path / "case.toml").write_text(case, encoding="utf-8")
    (tmp_path / "plane.toml").write_text(toml_text(TABLES), encoding="utf-8")
    shutil.copytree(ROOT / "shared", tmp_path / "shared")
    row = (ROOT / "cases" / "aircraft_twin.toml").read_text(encoding="utf-8")
    (tmp_path / "row.toml").write_text(row.replace("../shared", "shared"), encoding="utf-8")
    (tmp_path / "shape.toml").write_text(SHAPE, encoding="utf-8")
    (tmp_path / "place.toml").write_text(PLACE, encoding="utf-8")
    inputs = {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}
    command = [sys.executable, "-m", "blownwing.cli", *COMMANDS[name].split()]
    start = time.monotonic()
    done = called(tmp_path, *COMMANDS[name].split())  # control, and how long it takes
    assert done.exit_code == 0, done.output
    made = {p for p in tmp_path.rglob("*") if p.is_file()} - set(inputs)
    assert made
    for path in made:
        whole(path)
        path.unlink()
    lasts, draw, killed = time.monotonic() - start + 1.5, random.Random(name), 0
    for turn in range(8):
        # half of the kills fall where files are written, at the end
        wait = lasts * (draw.uniform(0.8, 1.05) if turn % 2 else draw.uniform(0.1, 0.8))
        process = subprocess.Popen(command, cwd=tmp_path, stdout=subprocess.DEVNULL)
        time.sleep(wait)
        killed += process.poll() is None
        process.kill()
        process.wait()
        left = [p for p in tmp_path.rglob("*") if p.is_file() and p not in inputs]
        for path in left:
            if ".partial" not in path.name:
                whole(path)
        assert {p: p.read_bytes() for p in inputs} == inputs
    print(f"{name}: {killed} of 8 killed at work; takes {lasts:.1f} s")
    assert killed >= 3
