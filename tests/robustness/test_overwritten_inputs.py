"""No command writes over a file that it reads, or that one of these names."""

import os
import shutil
from pathlib import Path

import pytest
from sweeps import BLADE_CASE, SECTION, STUDY, called, sections_and_blade

from blownwing.solution.files import check_outputs

SHAPE = 'case = "case.toml"\n[optimize]\nstarts = 1\ncontrols = 4\n'
PLACE = """case = "case.toml"
[placement]
objective = "power"
starts = 1
[[placement.parameters]]
key = "propellers.all.diameter"
from = 0.6
to = 0.9
"""
SPEC = """title = "blade"
[point]
airspeed = 28.0
thrust = 90.0
[propeller]
diameter = 0.8
blades = 5
rpm = 3600
section = "{section}"
[wing]
span = 6.0
chord = 1.0
ahead = 0.5
"""


@pytest.fixture
def folder(tmp_path):
    sections_and_blade(tmp_path)
    (tmp_path / "case.toml").write_text(BLADE_CASE, encoding="utf-8")
    (tmp_path / "study.toml").write_text(STUDY, encoding="utf-8")
    (tmp_path / "shape.toml").write_text(SHAPE, encoding="utf-8")
    (tmp_path / "place.toml").write_text(PLACE, encoding="utf-8")
    return tmp_path


def renamed(folder, file, old, new, where="case.toml"):
    """Give an input another name, in its own place and in the file that names it."""
    path = folder / new
    path.parent.mkdir(exist_ok=True)
    (folder / old).rename(path)
    text = (folder / where).read_text(encoding="utf-8")
    inside = os.path.relpath(path, (folder / where).parent)
    assert file in text
    (folder / where).write_text(text.replace(file, inside), encoding="utf-8")


def contents(folder):
    return {p.relative_to(folder): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


BLADE, SECTION_FILE = ("blade.csv", "blade.csv"), ("sections/own.csv", "sections/own.csv")
# command, the input's own name, its new one, the file that names it
ATTACKS = {
    "sweep csv, blade": ("sweep study.toml", *BLADE, "study.csv", "case.toml"),
    "sweep csv, section in the blade": (
        "sweep study.toml", *SECTION_FILE, "study.csv", "blade.csv"),
    "sweep journal": ("sweep study.toml --restart", *BLADE, "study.journal", "case.toml"),
    "sweep -o, blade": ("sweep study.toml -o b.h5", *BLADE, "b.h5", "case.toml"),
    "sweep -o, its case": ("sweep study.toml -o c.h5", "case.toml", "case.toml", "c.h5",
                           "study.toml"),
    "sweep figures": ("sweep study.toml --figures", *BLADE, "study_figures/lines.png",
                      "case.toml"),
    "solve --csv, strips": ("solve case.toml --csv", *BLADE, "case_strips.csv", "case.toml"),
    "solve --csv, propeller": (
        "solve case.toml --csv", *SECTION_FILE, "case_propeller_fan.csv", "blade.csv"),
    "solve --convergence": (
        "solve case.toml --convergence", *BLADE, "case_convergence.csv", "case.toml"),
    "solve --vtk": ("solve case.toml --vtk", *BLADE, "case_wing.vtu", "case.toml"),
    "solve -o, section in the blade": (
        "solve case.toml -o s.h5", *SECTION_FILE, "s.h5", "blade.csv"),
    "solve -o, by another name": (
        "solve case.toml -o sections/../b.h5", *BLADE, "b.h5", "case.toml"),
    "solve figures": ("solve case.toml --figures", *BLADE, "case_figures/span.png", "case.toml"),
    "aircraft -o": ("aircraft case.toml -o b.h5", *BLADE, "b.h5", "case.toml"),
    "aircraft default": ("aircraft case.toml", *BLADE, "case_aircraft.h5", "case.toml"),
    "shape optimum": ("optimize shape.toml", "case.toml", "case.toml", "shape_optimum.toml",
                      "shape.toml"),
    "shape csv": ("optimize shape.toml", *BLADE, "shape_shape.csv", "case.toml"),
    "placement optimum": ("optimize place.toml", "case.toml", "case.toml",
                          "place_optimum.toml", "place.toml"),
    "placement figure": ("optimize place.toml --figures", *BLADE,
                         "place_optimum_figures/loading.png", "case.toml"),
}  # fmt: skip


@pytest.mark.parametrize("attack", ATTACKS)
def test_an_output_that_is_an_input_is_refused_before_any_work(folder, attack):
    command, named, old, new, where = ATTACKS[attack]
    if where == "blade.csv":  # two attacks name it twice: in the case as well
        renamed_case = (
            (folder / "case.toml").read_text().replace('airfoil = "sections/own.csv"\n', "")
        )
        (folder / "case.toml").write_text(renamed_case)
    renamed(folder, named, old, new, where)
    before = contents(folder)
    done = called(folder, *command.split())
    assert done.exit_code == 2, done.output
    assert done.output.count("\n") == 1 and "input" in done.output
    assert contents(folder) == before


def test_a_link_to_an_input_is_that_input(folder):
    os.link(folder / "blade.csv", folder / "hard.h5")
    os.symlink(folder / "sections" / "own.csv", folder / "soft.h5")
    before = contents(folder)
    for name in ("hard.h5", "soft.h5"):
        done = called(folder, "solve", "case.toml", "-o", name)
        assert done.exit_code == 2 and "is an input" in done.output
    assert contents(folder) == before


@pytest.mark.parametrize("name", ["minimum_loss.csv", "high_lift_map.h5", "blades.png"])
def test_a_designed_propeller_does_not_replace_its_section(tmp_path, name):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / name).write_text(SECTION)
    (tmp_path / "spec.toml").write_text(SPEC.format(section=f"out/{name}"))
    before = contents(tmp_path)
    done = called(tmp_path, "design-propeller", "spec.toml", "-o", "out")
    assert done.exit_code == 2 and "input" in done.output, done.output
    assert contents(tmp_path) == before


@pytest.mark.parametrize("key", ["chord = 1.0", "span = 6.0"])
def test_a_design_whose_wing_fails_leaves_nothing(tmp_path, key):
    text = SPEC.format(section="naca4412").replace(key, f"{key}e-20")
    (tmp_path / "spec.toml").write_text(text)
    done = called(tmp_path, "design-propeller", "spec.toml", "-o", "out")
    assert done.exit_code in (1, 2) and done.output.count("\n") == 1, done.output
    assert [p.name for p in tmp_path.iterdir()] == ["spec.toml"]


@pytest.mark.parametrize(
    ("command", "result"),
    [("report r.html", "r.html"), ("plot r_figures/r.png -o r_figures", "r_figures/r.png")],
)
def test_pages_and_figures_do_not_replace_the_result_they_show(tmp_path, stored, command, result):
    (tmp_path / result).parent.mkdir(exist_ok=True)
    shutil.copy(stored, tmp_path / result)
    before = contents(tmp_path)
    done = called(tmp_path, *command.split())
    assert done.exit_code == 2 and "input" in done.output, done.output
    assert contents(tmp_path) == before


@pytest.fixture(scope="module")
def stored(tmp_path_factory):
    folder = tmp_path_factory.mktemp("stored")
    sections_and_blade(folder)
    (folder / "case.toml").write_text(BLADE_CASE, encoding="utf-8")
    done = called(folder, "solve", "case.toml")
    assert done.exit_code == 0, done.output
    return folder / "case.h5"


def test_a_validation_page_does_not_replace_a_file_of_an_entry(tmp_path):
    entry = tmp_path / "entries" / "one"
    entry.mkdir(parents=True)
    for name in ("README.md", "entry.py", "data.html"):
        (entry / name).write_text("# one\n")
    before = contents(tmp_path)
    done = called(tmp_path, "validate", "--folder", "entries", "--report", "entries/one/data.html")
    assert done.exit_code == 2 and "input" in done.output, done.output
    assert contents(tmp_path) == before


def test_a_place_that_cannot_be_written_is_refused_before_any_work(folder):
    (folder / "case_strips.csv").mkdir()
    done = called(folder, "solve", "case.toml", "--csv")
    assert done.exit_code == 2 and "is a folder" in done.output
    assert not (folder / "case.h5").exists()


def test_other_files_are_written(folder):
    # control: the check refuses nothing that is no input
    inputs = [Path("a.csv"), Path("b/c.png")]
    check_outputs([folder / "a.csv", folder / "b.h5"], inputs, folder / "figures")
    done = called(folder, "solve", "case.toml", "--csv")
    assert done.exit_code == 0 and (folder / "case_strips.csv").is_file(), done.output
