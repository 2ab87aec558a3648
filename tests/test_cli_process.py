"""The command as a process of its own: start-up cost, exit codes, terminals without colour."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from report.sample import case_text, single

import blownwing

COMMAND = [sys.executable, "-c", "from blownwing.cli import main; main()"]


def run(
    *arguments: str, cwd: Path | None = None, **environment: str
) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*COMMAND, *arguments],
        cwd=cwd,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys\nfrom blownwing.cli import app\n"
        "try:\n    app(['--help'])\nexcept SystemExit:\n    pass\n"
        "print('LOADED', *sorted({m.partition('.')[0] for m in sys.modules}))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.rpartition("LOADED")[2].split())
    assert "typer" in loaded
    heavy = {"numpy", "numba", "scipy", "matplotlib", "h5py", "pydantic", "rich"}
    assert not loaded & heavy


def test_help_is_quick() -> None:
    """Budget 0.25 s for the whole process; the best of several, since the machine is shared."""
    times = []
    for _ in range(5):
        start = time.perf_counter()
        assert run("--help").returncode == 0
        times.append(time.perf_counter() - start)
    assert min(times) <= 0.25


def test_wrong_input_is_one_sentence_and_no_traceback(tmp_path: Path) -> None:
    (tmp_path / "bad.toml").write_text(case_text().replace("chord = 1.2", "chord = -1.2"))
    done = run("solve", "bad.toml", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("blownwing: bad.toml, line ") and done.stderr.count("\n") == 1
    assert [p.name for p in tmp_path.iterdir()] == ["bad.toml"]


@pytest.mark.parametrize(
    "setting", [{"NO_COLOR": "1"}, {"PYTHONIOENCODING": "ascii"}, {"TERM": "dumb"}]
)
def test_check_on_plain_terminals(setting: dict[str, str], tmp_path: Path) -> None:
    (tmp_path / "wing.toml").write_text(case_text())
    (tmp_path / "blade.csv").touch()
    done = run("check", "wing.toml", cwd=tmp_path, **setting)
    assert done.returncode == 0, done.stderr
    assert "unknowns" in done.stdout and "\x1b" not in done.stdout


def test_truncated_result(tmp_path: Path) -> None:
    path = single().save(tmp_path / "one.h5")
    path.write_bytes(path.read_bytes()[:3000])
    done = run("plot", "one.h5", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert "one.h5: truncated" in done.stderr and "Traceback" not in done.stderr


@pytest.mark.slow
def test_plot_needs_no_display(tmp_path: Path) -> None:
    single().save(tmp_path / "one.h5")
    done = run("plot", "one.h5", cwd=tmp_path, DISPLAY="", MPLBACKEND="tkagg")
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "one_figures" / "plan_view.png").exists()


def test_module_and_command_agree_on_the_version() -> None:
    assert run("--version").stdout == f"blownwing {blownwing.__version__}\n"
