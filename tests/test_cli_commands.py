"""The command line with the solve itself replaced: files, exit codes, one sentence per failure."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable
from contextlib import chdir
from pathlib import Path
from types import ModuleType

import pytest
from case.malformed import MALFORMED
from report.sample import case_text, polar, single
from typer.testing import CliRunner, Result

import blownwing
from blownwing.cli import app
from blownwing.errors import InputError, SolveError
from blownwing.solution import Solution

POLAR_TEXT = case_text().replace("alpha = 4.0", "alpha = [0.0, 4.0, 8.0]")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A current folder with a case and the blade file it names."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "wing.toml").write_text(case_text())
    (tmp_path / "blade.csv").write_text("not read by a replaced solve\n")
    return tmp_path


@pytest.fixture
def solving(monkeypatch: pytest.MonkeyPatch) -> Callable[[Callable[[object], Solution]], None]:
    """Let a function stand in for the solve, so that these tests are about the command only."""

    def replace_solve(function: Callable[[object], Solution]) -> None:
        module = ModuleType("blownwing.coupling")
        module.solve = function  # type: ignore[attr-defined]
        monkeypatch.setitem(sys.modules, "blownwing.coupling", module)

    replace_solve(lambda case: single())
    return replace_solve


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, [str(a) for a in arguments])


def names(folder: Path) -> set[str]:
    return {str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file()}


def refused(result: Result, code: int = 2) -> str:
    """Return the one sentence of a failure, after checking that it is one."""
    assert result.exit_code == code, result.output
    assert result.stdout == ""
    assert result.stderr.startswith("blownwing: ") and result.stderr.count("\n") == 1
    assert "Traceback" not in result.stderr
    return result.stderr


FIGURES = ("plan_view", "span_loading", "slipstream", "blade_loads", "convergence", "polar")
GIVEN = {"wing.toml", "blade.csv"}


@pytest.mark.usefixtures("solving")
class TestSolve:
    def test_default_result_in_the_current_folder(self, folder: Path) -> None:
        (folder / "cases").mkdir()
        for name in GIVEN:
            (folder / name).rename(folder / "cases" / name)
        result = run("solve", "cases/wing.toml")
        assert result.exit_code == 0, result.output
        assert names(folder) == {"wing.h5", "cases/wing.toml", "cases/blade.csv"}
        assert blownwing.load("wing.h5").totals == single().totals
        assert "Written: wing.h5" in result.stdout
        assert "CL 0.6079 blown" in result.stdout and "Sample wing" in result.stdout

    def test_figures_and_tables_beside_the_result(self, folder: Path) -> None:
        (folder / "out").mkdir()
        result = run("solve", "wing.toml", "-o", "out/a.h5", "--figures", "--csv", "--format=svg")
        assert result.exit_code == 0, result.output
        written = names(folder / "out")
        assert {"a.h5", "a_strips.csv", "a_propeller_inner.csv"} <= written
        assert "wing_figures/plan_view.svg" in written
        assert all(Path(name).name in result.stdout for name in written)

    def test_a_polar_with_figures_in_the_default_format(
        self, folder: Path, solving: Callable[[Callable[[object], Solution]], None]
    ) -> None:
        solving(lambda case: polar())
        (folder / "wing.toml").write_text(POLAR_TEXT)
        result = run("solve", "wing.toml", "--figures")
        assert result.exit_code == 0, result.output
        assert "(3 angles)" in result.stdout
        figures = {p.name for p in (folder / "wing_figures").iterdir()}
        assert figures == {f"{name}.png" for name in FIGURES}

    def test_an_earlier_result_is_replaced(self, folder: Path) -> None:
        single(1.0).save(folder / "wing.h5")
        assert run("solve", "wing.toml").exit_code == 0
        assert blownwing.load(folder / "wing.h5").totals["alpha"] == 4.0

    @pytest.mark.parametrize(
        ("error", "code", "fragment"),
        [
            (SolveError("no convergence after 60 steps"), 1, "no convergence after 60 steps"),
            (InputError("blade.csv, line 3: bad number"), 2, "blade.csv, line 3"),
            (KeyboardInterrupt(), 130, "interrupted"),
            (MemoryError(), 1, "not enough memory"),
            (ZeroDivisionError("two\nlines"), 1, "internal error"),
        ],
    )
    def test_a_failed_solve_leaves_everything_as_it_was(
        self,
        error: BaseException,
        code: int,
        fragment: str,
        folder: Path,
        solving: Callable[[Callable[[object], Solution]], None],
    ) -> None:
        def fail(case: object) -> Solution:
            raise error

        solving(fail)
        old = single(1.0)
        old.save(folder / "wing.h5")
        assert fragment in refused(run("solve", "wing.toml", "--figures", "--csv"), code)
        assert names(folder) == {*GIVEN, "wing.h5"}
        assert blownwing.load(folder / "wing.h5") == old

    def test_a_developer_can_see_where(
        self,
        folder: Path,
        monkeypatch: pytest.MonkeyPatch,
        solving: Callable[[Callable[[object], Solution]], None],
    ) -> None:
        solving(lambda case: 1 / 0)  # type: ignore[arg-type,return-value]
        monkeypatch.setenv("BLOWNWING_TRACEBACK", "1")
        result = run("solve", "wing.toml")
        assert isinstance(result.exception, ZeroDivisionError)


class TestRefusedBeforeSolving:
    @pytest.fixture(autouse=True)
    def never(self, solving: Callable[[Callable[[object], Solution]], None]) -> None:
        def fail(case: object) -> Solution:
            pytest.fail("solved although the output was wrong")

        solving(fail)

    @pytest.mark.parametrize(
        ("arguments", "fragment"),
        [
            (["-o", "missing/out.h5"], "missing: no such folder"),
            (["-o", "blade.csv/out.h5"], "blade.csv: is a file, not a folder"),
            (["-o", "."], "is a folder"),
            (["-o", "wing.toml"], "ends in .h5 or .hdf5"),
            (["-o", "out.csv"], "ends in .h5 or .hdf5"),
            (["-o", "./same.h5"], "is an input"),
            (["--format", "svg"], "add --figures"),
        ],
    )
    def test_wrong_places(self, arguments: list[str], fragment: str, folder: Path) -> None:
        case = folder / "same.h5" if "./same.h5" in arguments else folder / "wing.toml"
        case.write_text(case_text())
        before = names(folder)
        assert fragment in refused(run("solve", case, *arguments))
        assert names(folder) == before

    def test_figure_folder_that_is_a_file(self, folder: Path) -> None:
        (folder / "wing_figures").touch()
        assert "wing_figures: is a file" in refused(run("solve", "wing.toml", "--figures"))

    @pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
    def test_folder_without_permission(self, folder: Path) -> None:
        (folder / "locked").mkdir(mode=0o500)
        assert "no permission" in refused(run("solve", "wing.toml", "-o", "locked/out.h5"))

    @pytest.mark.parametrize("command", ["solve", "check"])
    @pytest.mark.parametrize(
        ("text", "fragment"), [case[1:] for case in MALFORMED], ids=[case[0] for case in MALFORMED]
    )
    def test_malformed_cases(self, command: str, text: str, fragment: str, tmp_path: Path) -> None:
        (tmp_path / "bad.toml").write_text(text)
        with chdir(tmp_path):
            assert " ".join(fragment.split()) in refused(run(command, "bad.toml"))
        assert names(tmp_path) == {"bad.toml"}

    @pytest.mark.parametrize("command", ["solve", "check", "plot"])
    @pytest.mark.parametrize("name", ["none.toml", "."])
    def test_missing_files_and_folders(self, command: str, name: str, folder: Path) -> None:
        refused(run(command, name))
        assert names(folder) == GIVEN

    @pytest.mark.parametrize("command", ["solve", "check"])
    def test_text_that_is_not_utf8(self, command: str, folder: Path) -> None:
        (folder / "bad.toml").write_bytes(b"title = '\xff\xfe'\n")
        assert "UTF-8" in refused(run(command, "bad.toml"))


class TestPlot:
    def test_where_and_as_told(self, folder: Path) -> None:
        single().save(folder / "one.h5")
        result = run("plot", "one.h5", "--output", "here", "--format", "svg")
        assert result.exit_code == 0, result.output
        assert {p.stem for p in (folder / "here").glob("*.svg")} == set(FIGURES) - {"polar"}
        assert "plan_view.svg" in result.stdout

    def test_bad_results(self, folder: Path) -> None:
        whole = single().save(folder / "one.h5").read_bytes()
        for length in (0, 5, 100, 2048, len(whole) // 2, len(whole) - 1):
            (folder / "one.h5").write_bytes(whole[:length])
            assert "one.h5: " in refused(run("plot", "one.h5"))
        assert "not an HDF5 file" in refused(run("plot", "wing.toml"))
        assert names(folder) == {*GIVEN, "one.h5"}

    def test_figure_folder_that_cannot_be(self, folder: Path) -> None:
        single().save(folder / "one.h5")
        assert "no such folder" in refused(run("plot", "one.h5", "-o", "a/b"))
        assert "is a file" in refused(run("plot", "one.h5", "-o", "blade.csv"))


def test_check_explains_and_writes_nothing(folder: Path) -> None:
    result = run("check", "wing.toml")
    assert result.exit_code == 0, result.output
    assert "8 in all, 4 of them mirrored twins" in result.stdout
    assert names(folder) == GIVEN


def test_version() -> None:
    result = run("--version")
    assert (result.exit_code, result.stdout) == (0, f"blownwing {blownwing.__version__}\n")


@pytest.mark.parametrize(
    "arguments", [["fly"], ["solve"], ["solve", "a.toml", "--what"], ["plot", "a", "--format=gif"]]
)
def test_usage_errors_are_input_errors(arguments: list[str]) -> None:
    assert run(*arguments).exit_code == 2


def test_every_command_has_help() -> None:
    assert run("--help").exit_code == 0
    commands = re.findall(r"^  ([a-z]+)  ", run("--help").stdout, re.MULTILINE)
    assert {"solve", "plot", "check"} <= set(commands)
    for command in commands:
        assert run(command, "--help").exit_code == 0
