"""Commands killed at any moment (SIGKILL) leave whole files or none, and inputs as they were."""

import random
import subprocess
import sys
import time

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
COMMANDS = {
    "aircraft": "aircraft plane.toml --figures",
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
    (tmp_path / "shape.toml").write_text(SHAPE, encoding="utf-8")
    (tmp_path / "place.toml").write_text(PLACE, encoding="utf-8")
    inputs = {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}
    command = [sys.executable, "-m", "blownwing.cli", *COMMANDS[name].split()]
    done = called(tmp_path, *COMMANDS[name].split())  # control, and what it writes
    assert done.exit_code == 0, done.output
    assert made(tmp_path, inputs)
    lasts, draw, early, late = 60.0, random.Random(name), 0, 0
    for turn in range(16):
        for path in made(tmp_path, inputs):
            whole(path)
        for path in made(tmp_path, inputs, True):
            path.unlink()
        process = subprocess.Popen(command, cwd=tmp_path, stdout=subprocess.DEVNULL)
        start = time.monotonic()
        if turn % 2:  # while it calculates
            wait = lasts * draw.uniform(0.05, 0.9)
            while process.poll() is None and time.monotonic() < start + wait:
                time.sleep(0.01)
        else:  # while it writes: soon after the first new file shows
            while process.poll() is None and not made(tmp_path, inputs, True):
                time.sleep(0.0005)
            time.sleep(draw.choice((0.0, 0.0, 0.002, 0.02, 0.1)))
        if process.poll() is None:
            process.kill()
            early, late = early + turn % 2, late + 1 - turn % 2
        else:
            lasts = min(lasts, time.monotonic() - start)
        process.wait()
        assert {p: p.read_bytes() for p in inputs} == inputs
        if early >= 4 and late >= 4:
            break
    for path in made(tmp_path, inputs):
        whole(path)
    print(f"{name}: {early} killed at work, {late} while writing, of {turn + 1} runs")
    assert early >= 3 and late >= 3


def made(folder, inputs, partial=False):
    """Files that a run made; those half written, under a name of their own, only when asked."""
    found = [p for p in folder.rglob("*") if p not in inputs and p.is_file()]
    return [p for p in found if partial or ".partial" not in p.name]
