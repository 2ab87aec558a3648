"""The command doctor: what it says, and that a wrong answer shows."""

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from blownwing.cli import app
from blownwing.validation import installation, self_check


def run():
    return CliRunner().invoke(app, ["doctor"])


def test_the_stored_answers_are_what_is_computed():
    found = self_check.self_check()
    print(f"worst difference {found.worst:.1e}, {found.seconds[1]:.2f} s")
    assert found.agrees, (
        "after a wanted change of the physics: python -m blownwing.validation.self_check; "
        f"{found.rows}"
    )
    assert found.seconds[1] < 2.0  # bar: two seconds once kernels are compiled


def test_doctor_says_what_a_bug_report_needs():
    done = run()
    assert done.exit_code == 0, done.output
    for word in ("blownwing", "Python", "numpy", "numba", "optional dask", "threads",
                 "kernel cache", "memory", "environment", "self-check", "as stored"):  # fmt: skip
        assert word in done.output
    assert "NOT as stored" not in done.output


@pytest.mark.parametrize("name", ["CL", "CD_induced", "power"])
def test_a_wrong_answer_shows(monkeypatch, name):
    real = self_check._stored
    monkeypatch.setattr(
        self_check, "_stored", lambda path: real(path) | {name: real(path)[name] * (1 + 3e-6)}
    )
    done = run()
    assert done.exit_code == 1
    assert "NOT as stored" in done.output and "install blownwing anew" in done.output


@pytest.mark.parametrize("text", ["", "quantity,value\n", "quantity,value\nCL,x\n", "a,b\n1,2\n"])
def test_damaged_answers_are_said(tmp_path, text):
    (tmp_path / "answers.csv").write_text(text)
    with pytest.raises(self_check.InputError, match="install blownwing again"):
        self_check._stored(tmp_path / "answers.csv")


def test_answers_are_written_anew_as_they_stand():
    place = Path(self_check.__file__).with_name("self_check_data") / "answers.csv"
    text = place.read_text(encoding="utf-8")
    assert "python -m blownwing.validation.self_check" in text
    assert re.findall(r"^(\w+),-?[0-9.e-]+$", text, re.MULTILINE) == list(self_check.QUANTITIES)


def test_the_home_folder_and_missing_packages(monkeypatch, tmp_path):
    monkeypatch.setattr(Path, "home", lambda: tmp_path)
    assert installation._short(tmp_path / "x" / "y") == "~/x/y"
    assert installation._version("no-such-package-at-all") == "not installed"
