"""Case files wrong in random ways: a sentence and an exit code, never a traceback, never a file."""

import time

import numpy as np
import pytest
from fuzzed import GOOD, as_text, edited_tables, torn_texts
from hypothesis import HealthCheck, assume, given, seed, settings
from typer.testing import CliRunner

from blownwing import InputError, SolveError, solve
from blownwing.case.reader import parse_case
from blownwing.cli import app

QUICK = settings(max_examples=100, deadline=None, database=None,
                 suppress_health_check=list(HealthCheck))  # fmt: skip
LONG = settings(QUICK, max_examples=2000)
SOLVES = settings(QUICK, max_examples=40)
MANY_SOLVES = settings(QUICK, max_examples=400)
SLOWEST = 30.0  # s, of one example on a loaded machine


def run_check(text, folder):
    """Exit code and one sentence of ``check`` on a file of this text."""
    file = folder / "fuzzed.toml"
    file.write_text(text, encoding="utf-8", errors="surrogatepass", newline="")
    start = time.perf_counter()
    ran = CliRunner().invoke(app, ["check", str(file)])
    assert time.perf_counter() - start < SLOWEST
    assert ran.exit_code in (0, 2), (ran.output, text)
    assert "internal error" not in ran.output and "Traceback" not in ran.output, ran.output
    if ran.exit_code == 2:
        assert ran.output.startswith("blownwing: ") and ran.output.count("\n") == 1
    assert [path.name for path in folder.iterdir()] == ["fuzzed.toml"]
    return ran


def solve_text(text, folder):
    """Solve text that may be a case: refused, failed with a reason, or finite."""
    try:
        case = parse_case(text, folder)
    except InputError as error:
        assert "\n" not in str(error) and len(str(error)) > 10
        return "refused"
    start = time.perf_counter()
    try:
        found = solve(case)
    except (InputError, SolveError) as error:
        assert str(error)
        return "failed"
    finally:
        assert time.perf_counter() - start < SLOWEST, text
    assert all(np.all(np.isfinite(value)) for value in found.totals.values())
    return "solved"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("fuzz")


def test_the_case_they_start_from_is_good(folder):
    assert run_check(GOOD, folder).exit_code == 0
    assert solve_text(GOOD, folder) == "solved"


@seed(81)
@QUICK
@given(text=torn_texts())
@pytest.mark.slow
def test_torn_text(text, folder):
    run_check(text, folder)


@seed(82)
@QUICK
@given(tables=edited_tables())
def test_wrong_values(tables, folder):
    text = as_text(tables)
    assume(text is not None)
    run_check(text, folder)


@seed(83)
@SOLVES
@given(tables=edited_tables(sizes=False))
def test_wrong_values_that_pass_are_solved_or_refused(tables, folder):
    text = as_text(tables)
    assume(text is not None)
    solve_text(text, folder)


@pytest.mark.slow
@seed(84)
@LONG
@given(text=torn_texts())
def test_torn_text_at_length(text, folder):
    run_check(text, folder)


@pytest.mark.slow
@seed(85)
@LONG
@given(tables=edited_tables())
def test_wrong_values_at_length(tables, folder):
    text = as_text(tables)
    assume(text is not None)
    run_check(text, folder)


@pytest.mark.slow
@seed(86)
@MANY_SOLVES
@given(tables=edited_tables(sizes=False))
def test_wrong_values_solved_at_length(tables, folder):
    text = as_text(tables)
    assume(text is not None)
    solve_text(text, folder)
