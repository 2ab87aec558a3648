"""`blownwing aircraft`: files, words, exit codes."""

from __future__ import annotations

import pytest
from aircraft_scene import scene, small_result
from typer.testing import CliRunner

from blownwing.cli import app
from blownwing.solution.model import CAUTION
from blownwing.solution.records import read_records


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "small.toml").write_text(scene().to_toml(), encoding="utf-8")
    return tmp_path


def run(*arguments):
    return CliRunner().invoke(app, [str(a) for a in arguments])


def test_an_aircraft_is_evaluated_stored_and_printed(folder, monkeypatch):
    """The evaluation itself, tested elsewhere, is taken from the shared one to save its seconds."""
    asked = []

    def known(case, progress, later):
        asked.append(case)
        return small_result()

    monkeypatch.setattr("blownwing.aircraft.performance.evaluated", known)
    result = run("aircraft", "small.toml", "-o", "out.h5")
    assert result.exit_code == 0, result.output
    assert asked == [scene()]
    assert "Small test aircraft" in result.stdout and "Written: out.h5" in result.stdout
    assert " ".join(result.stdout.split()).endswith(" ".join(CAUTION.split()))
    assert read_records("out.h5").groups["take_off"]["distance"].units == "m"
    assert {p.name for p in folder.iterdir()} == {"small.toml", "out.h5"}
    # the file alone gives figures and the page that is handed over
    assert run("plot", "out.h5", "-o", "pictures").exit_code == 0
    assert (folder / "pictures" / "mission.png").stat().st_size > 10_000
    page = run("report", "out.h5")
    assert page.exit_code == 0, page.output
    text = (folder / "out.html").read_text(encoding="utf-8")
    for word in ("Small test aircraft", "VMC", "C-rate", "accelerate-stop", "specific_energy"):
        assert word in text
    assert text.count(CAUTION) >= 2 and "http" not in text.replace("http://www.w3.org", "")


@pytest.mark.parametrize(
    ("arguments", "fragment"),
    [
        (("--trade", "propellers=3"), "accepted is propellers="),
        (("--keep", "coverage"), "--keep: applies to --trade"),
        (("--format", "svg"), "--format: applies to figures"),
        (("-o", "out.txt"), "ends in .h5"),
        (("--trade", "propellers=2..4"), "one mirrored row of equal blades"),
    ],
)
def test_bad_options_are_refused(folder, arguments, fragment):
    result = run("aircraft", "small.toml", *arguments)
    assert result.exit_code == 2, result.output
    assert fragment in result.stderr and result.stderr.count("\n") == 1
    assert [p.name for p in folder.iterdir()] == ["small.toml"]


def test_a_case_without_an_aircraft(folder):
    case = scene()
    text = case.to_toml()
    (folder / "bare.toml").write_text(text[: text.index("[aircraft]")], encoding="utf-8")
    result = run("aircraft", "bare.toml")
    assert result.exit_code == 2 and "aircraft: this table is missing" in result.stderr
