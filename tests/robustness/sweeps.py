"""A small case with a blade, a section named in the blade, and a study of it."""

import os

from typer.testing import CliRunner

from blownwing.cli import app
from blownwing.kernels import threads
from blownwing.study.sweep import executor

BLADE = """# source: invented for the tests
r/R,c/R,twist_deg,section
0.2,0.15,45.0,sections/own.csv
0.6,0.12,24.0,naca4412
1.0,0.08,16.0,sections/own.csv
"""
SECTION = """# source: invented for the tests
# moment: -0.05
reynolds,alpha_deg,cl,cd,cm
100000,-10,-0.7,0.03,
100000,0,0.2,0.012,
100000,8,0.9,0.02,
100000,14,1.1,0.08,
"""
BLADE_CASE = """title = "One pair"
[flow]
airspeed = 30.0
alpha = 4.0
[wing]
[[wing.stations]]
y = 0.0
chord = 1.0
airfoil = "sections/own.csv"
[[wing.stations]]
y = 3.0
chord = 1.0
[[propellers]]
name = "fan"
position = [-0.6, 1.5, 0.0]
diameter = 0.8
blades = 4
blade = "blade.csv"
spin = "inboard_up"
mirror = true
rpm = 3000.0
[model]
jet_edge = false
chordwise = 2
spanwise = 8
radial = 8
azimuth = 6
"""
STUDY = """title = "angles"
case = "case.toml"
[edits]
[sweep]
[[sweep.parameters]]
key = "flow.alpha"
values = [2.0, 4.0]
"""


def sections_and_blade(folder):
    """Write the blade and its section."""
    (folder / "sections").mkdir()
    (folder / "sections" / "own.csv").write_text(SECTION, encoding="utf-8")
    (folder / "blade.csv").write_text(BLADE, encoding="utf-8")


def called(folder, *arguments):
    """Run a command inside a folder."""
    here = os.getcwd()
    os.chdir(folder)
    try:
        return CliRunner().invoke(app, [str(a) for a in arguments])
    finally:
        os.chdir(here)


def sweeps_in_this_process(monkeypatch):
    """Let a sweep's cases run here, without workers."""

    def runs(payload, tasks, _workers=None):
        for task in tasks:
            yield executor.run_chunk(payload, [task])[0]

    monkeypatch.setattr("blownwing.study.sweep.run.local_runs", runs)
    monkeypatch.setattr(threads, "one_thread", lambda: None)
