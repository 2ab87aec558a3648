"""Long work says how far it is: a changing line on a terminal, a line now and then in a log."""

import io

import pytest
from rich.console import Console

from blownwing.cli import base


@pytest.fixture
def log():
    return Console(file=io.StringIO(), force_terminal=False)


def test_a_log_gets_a_line_now_and_then(log, monkeypatch, capsys):
    clock = iter(float(t) for t in range(0, 1000, 7))
    monkeypatch.setattr(base.time, "monotonic", lambda: next(clock))
    with base.counted(log, "Searching", about=8) as tick:
        for alpha in range(6):
            tick(f"CL 1.0 at {alpha} deg")
    said = capsys.readouterr()
    assert said.out == ""
    lines = said.err.splitlines()
    assert 1 <= len(lines) < 6
    assert all(line.startswith("Searching: CL 1.0 at ") for line in lines)
    assert all(" of about 8 solved in " in line and line.endswith(" s to go") for line in lines)


def test_quick_work_says_nothing_in_a_log(log, capsys):
    with base.steps(log) as step:
        step("take-off")
    assert capsys.readouterr() == ("", "")


def test_a_terminal_shows_the_line_that_changes():
    screen = Console(file=io.StringIO(), force_terminal=True, width=120)
    with base.counted(screen, "Searching", about=3) as tick:
        tick("CL 2.1 at 14.0 deg")
    assert "Searching" in screen.file.getvalue()
