"""The commands sweep, optimize and solve --convergence, and the figures and tables they write."""

import csv

import numpy as np
import pytest
from numpy.testing import assert_allclose
from study_scenes import CASES, case_tables, parameter, written
from typer.testing import CliRunner

from blownwing import read_case
from blownwing.case.writer import toml_text
from blownwing.cli import app
from blownwing.report.study_figures import write_study_figures
from blownwing.solution.records import kind_of, read_records
from blownwing.study.relocation import relocated
from blownwing.study.sweep.table import load_table

RUN = CliRunner()
X = parameter("propellers.inner.position.x", **{"from": -0.9, "to": -0.5, "count": 3})
THRUST = parameter("propellers.all.thrust", values=[80.0, 120.0])
SPINS = parameter("spins", values='"every"')


def called(monkeypatch, folder, *arguments):
    monkeypatch.chdir(folder)
    return RUN.invoke(app, [str(a) for a in arguments])


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    folder = tmp_path_factory.mktemp("swept")
    study = written(folder, X + THRUST + SPINS)
    done = RUN.invoke(app, ["sweep", str(study), "-o", str(folder / "t.h5"), "--figures",
                            "--workers", "1"])  # fmt: skip
    return folder, done


def test_sweep_writes_table_and_figures_and_says_which_case_is_best(swept):
    folder, done = swept
    assert done.exit_code == 0, done.output
    assert "24 of 24 cases solved, on one lattice" in done.output and "largest CL" in done.output
    assert {p.name for p in (folder / "study_figures").iterdir()} == {
        "map.png", "spins.png", "parallel.png",
    }  # fmt: skip
    assert not (folder / "t.journal").exists()


def test_the_table_says_on_which_lattice_its_cases_were_solved(swept, tmp_path, monkeypatch):
    folder, _ = swept
    assert load_table(folder / "t.h5").lattice == "fixed"
    study = written(tmp_path, 'lattice = "following"\n' + THRUST)
    done = called(monkeypatch, tmp_path, "sweep", study, "--workers", 1)
    assert done.exit_code == 0, done.output
    assert "lattices following the slipstreams" in done.output
    assert load_table(tmp_path / "study.h5").lattice == "following"


def test_figures_follow_the_parameters(swept, tmp_path):
    folder, _ = swept
    table = load_table(folder / "t.h5")
    names = [p.name for p in write_study_figures(table, tmp_path / "f", "power", "least", "svg")]
    assert names == ["map.svg", "spins.svg", "parallel.svg"]


def test_a_single_parameter_is_drawn_as_lines(tmp_path, monkeypatch):
    study = written(tmp_path, 'rank_by = "inner.power"\nbest = "least"\n' + X)
    done = called(monkeypatch, tmp_path, "sweep", study, "--figures", "--workers", 1)
    assert done.exit_code == 0, done.output
    assert (tmp_path / "study_figures" / "lines.png").exists()


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["--format", "svg"], "applies to figures"),
        (["--workers", "2", "--scheduler", "tcp://x:1"], "leave one out"),
        (["-o", "t.csv"], "ends in .h5"),
    ],
)
def test_options_that_do_not_fit_are_wrong_input(tmp_path, monkeypatch, arguments, sentence):
    done = called(monkeypatch, tmp_path, "sweep", written(tmp_path, X), *arguments)
    assert done.exit_code == 2 and sentence in done.output


def test_an_unknown_ranking_is_refused_before_anything_runs(tmp_path, monkeypatch):
    study = written(tmp_path, 'rank_by = "CLL"\n' + X)
    done = called(monkeypatch, tmp_path, "sweep", study)
    assert done.exit_code == 2 and "rank_by" in done.output
    assert not list(tmp_path.glob("study.*")) or {p.suffix for p in tmp_path.glob("study.*")} == {
        ".toml"
    }


def test_convergence_beside_a_solve(tmp_path, monkeypatch):
    (tmp_path / "case.toml").write_text(toml_text(case_tables()), encoding="utf-8")
    done = called(monkeypatch, tmp_path, "solve", "case.toml", "--convergence")
    assert done.exit_code == 0, done.output
    assert "Grid convergence" in done.output
    with (tmp_path / "case_convergence.csv").open() as stream:
        names = [row["quantity"] for row in csv.DictReader(stream)]
    assert names == ["CL", "CD_induced", "CD", "thrust", "power"]


def handed_over(folder, monkeypatch, name, pictures, words):
    """The file of an optimum holds what its page and figures say, and they come from it alone."""
    groups = read_records(folder / name).groups
    assert kind_of(folder / name) == "optimum"
    before, after = (groups[side] for side in ("before", "after"))
    assert before.keys() == after.keys() and all(q.units for q in after.values())
    for side in ("before", "after"):  # Kutta and Joukowski: the loading adds up to the lift
        y, load = (groups[f"loading/{side}"][key].value for key in ("y", "load"))
        assert_allclose(np.trapezoid(load, y), groups[side]["lift"].value, rtol=0.03)
    assert called(monkeypatch, folder, "plot", name, "-o", "again").exit_code == 0
    assert {path.name for path in (folder / "again").iterdir()} == pictures
    assert called(monkeypatch, folder, "report", name, "-o", "page.html").exit_code == 0
    text = (folder / "page.html").read_text(encoding="utf-8")
    for part in (words, "Model: sections linear", "not for flight clearance", "The optimum as"):
        assert part in text
    assert text.count("<figure>") == len(pictures)


def test_optimize_writes_a_case_that_runs(tmp_path, monkeypatch):
    tables = case_tables(jet_edge=True, jet_around=8, jet_rings=8)
    (tmp_path / "case.toml").write_text(toml_text(tables), encoding="utf-8")
    study = tmp_path / "shape.toml"
    study.write_text('case = "case.toml"\n[optimize]\nstarts = 1\ncontrols = 5\n')
    done = called(monkeypatch, tmp_path, "optimize", study, "--figures")
    assert done.exit_code == 0, done.output
    assert "Saved:" in done.output and "with slipstream edges" in done.output
    optimum = read_case(tmp_path / "shape_optimum.toml")
    assert len(optimum.wing.stations) > 30
    assert optimum.wing.stations[-1].twist != 0.0
    assert (tmp_path / "shape_shape.csv").exists()
    pictures = {path.name for path in (tmp_path / "shape_optimum_figures").iterdir()}
    assert pictures == {"loading.png", "shape.png"}
    handed_over(tmp_path, monkeypatch, "shape_optimum.h5", pictures, "Saved:")


def test_a_study_without_the_table_asked_for_is_wrong_input(tmp_path, monkeypatch):
    done = called(monkeypatch, tmp_path, "optimize", written(tmp_path, X))
    assert done.exit_code == 2 and "exactly one of [optimize]" in done.output


def test_a_placement_search_writes_its_optimum(tmp_path, monkeypatch):
    (tmp_path / "case.toml").write_text(toml_text(case_tables()), encoding="utf-8")
    study = tmp_path / "place.toml"
    study.write_text(
        'case = "case.toml"\n[placement]\nobjective = "power"\nstarts = 1\n'
        '[[placement.parameters]]\nkey = "propellers.all.diameter"\nfrom = 0.6\nto = 0.9\n'
    )
    done = called(monkeypatch, tmp_path, "optimize", study, "--figures")
    assert done.exit_code == 0, done.output
    assert "propellers.all.diameter" in done.output
    assert "Gained:" in done.output and "By the full coupling on 2 x 2 times" in done.output
    assert "confirm with" in " ".join(done.output.split())
    pictures = {path.name for path in (tmp_path / "place_optimum_figures").iterdir()}
    assert pictures == {"loading.png"}
    handed_over(tmp_path, monkeypatch, "place_optimum.h5", pictures, "Gained:")
    optimum = read_case(tmp_path / "place_optimum.toml")
    assert [p.diameter for p in optimum.propellers] == pytest.approx([0.9, 0.9])


@pytest.mark.parametrize(
    ("lines", "sentence"),
    [
        ('objective = "power"\n', "given by its thrust"),
        ('objective = "thrust"\n', "accepted"),
    ],
)
def test_shape_searches_that_do_not_fit_are_wrong_input(tmp_path, monkeypatch, lines, sentence):
    tables = case_tables()
    for item in tables["propellers"]:
        del item["thrust"]
        item["rpm"] = 3000.0
    (tmp_path / "case.toml").write_text(toml_text(tables), encoding="utf-8")
    study = tmp_path / "shape.toml"
    study.write_text(f'case = "case.toml"\n[optimize]\n{lines}')
    done = called(monkeypatch, tmp_path, "optimize", study)
    assert done.exit_code == 2 and sentence in " ".join(done.output.split())
    assert {path.suffix for path in tmp_path.iterdir()} == {".toml"}


def test_a_placement_range_without_any_place_says_why(tmp_path, monkeypatch):
    tables = case_tables(jet_edge=True, jet_around=8, jet_rings=8)
    (tmp_path / "case.toml").write_text(toml_text(tables), encoding="utf-8")
    study = tmp_path / "place.toml"
    study.write_text(
        'case = "case.toml"\n[placement]\nstarts = 1\n'
        '[[placement.parameters]]\nkey = "propellers.outer.position.y"\nfrom = 1.3\nto = 1.7\n'
    )
    done = called(monkeypatch, tmp_path, "optimize", study)
    assert done.exit_code == 1 and "cuts disc" in done.output, done.output
    assert {path.suffix for path in tmp_path.iterdir()} == {".toml"}


def test_a_case_written_elsewhere_finds_its_files(tmp_path):
    case = read_case(CASES / "short_field_eight.toml")
    moved = relocated(case, tmp_path)
    (tmp_path / "moved.toml").write_text(moved.to_toml(), encoding="utf-8")
    again = read_case(tmp_path / "moved.toml")
    assert [p.resolve() for _, p in again.files()] == [p.resolve() for _, p in case.files()]
    assert again.wing == case.wing and again.flow == case.flow
