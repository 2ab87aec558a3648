"""What a user sees of a trim: summary, table over airspeed, figures, page, command."""

import csv
import io

import pytest
from rich.console import Console
from trim_scenes import FIN, TAIL, aircraft
from typer.testing import CliRunner

from blownwing.cli import app
from blownwing.report.explain import print_case
from blownwing.report.figures import write_figures
from blownwing.report.html_report import report_page
from blownwing.report.trim_figures import write_trim_figures
from blownwing.report.trim_summary import print_trim, write_speeds
from blownwing.solution.storage import load
from blownwing.trim.balance import trimmed
from blownwing.trim.band import stream_band
from blownwing.trim.derivatives import derivatives
from blownwing.trim.solution import over_airspeeds, stored


@pytest.fixture(scope="module")
def found():
    return trimmed(aircraft(surfaces=(TAIL, FIN)))


@pytest.fixture(scope="module")
def beside(found):
    return derivatives(found)


def console():
    return Console(file=io.StringIO(), width=80, highlight=False, markup=False)


def test_the_summary_names_values_limits_and_points(found, beside):
    out = console()
    print_trim(found, beside, stream_band(found, margin=True), out)
    text = out.file.getvalue()
    for words in ("elevator", "-30 to 30", "Neutral point at x", "static margin", "per g"):
        assert words in text
    assert max(map(len, text.splitlines())) <= 80


def test_the_page_and_the_figures_show_the_surfaces(found, beside, tmp_path):
    solution = stored(found, beside, stream_band(found, margin=True))
    page = report_page(solution)
    for words in ("Surfaces", "In balance", "Derivatives", "NACA TN 1474"):
        assert words in page
    names = {path.name for path in write_figures(solution, tmp_path / "figures")}
    assert {"plan_view.png", "side_view.png"} <= names


def test_the_table_over_airspeed_and_its_figures(tmp_path):
    speeds = over_airspeeds(aircraft(airspeeds=[28.0, 32.0]))
    path = write_speeds(speeds, tmp_path / "speeds.csv")
    rows = list(csv.reader(path.read_text(encoding="utf-8").splitlines()))
    assert rows[0][-3:] == ["alpha [deg]", "elevator [deg]", "throttle [1]"]
    assert float(rows[1][0]) == 28.0 and float(rows[1][5]) < 1e-8
    both = [derivatives(one) for one in speeds]
    written = write_trim_figures(speeds, both, tmp_path, "svg")
    assert [p.name for p in written] == ["trim.svg", "neutral_point.svg"]


def test_check_says_tail_volume_and_static_margin():
    out = console()
    print_case(aircraft(surfaces=(TAIL, FIN)), out, margin=True)
    text = " ".join(out.file.getvalue().split())
    area = 2.0 * 1.5 * 0.65
    assert f"volume Sl/(S c) {area * 3.85 / 8.0:+.2f}"[:-1] in text  # arm of the quarter chord
    assert "static margin" in text


def test_the_command_balances_and_holds_a_failure(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "case.toml").write_text(aircraft(surfaces=(TAIL, FIN)).to_toml())
    run = CliRunner().invoke(
        app, ["solve", "case.toml", "--trim", "--failed", "p=stopped", "--csv"]
    )
    assert run.exit_code == 0, run.output
    assert "rudder" in run.output and (tmp_path / "case_surface_tail.csv").is_file()
    assert load(tmp_path / "case.h5").balance["rudder"]["value"] < -1.0
    for arguments, words in (
        (["--lateral"], "--lateral: applies with --trim"),
        (["--trim", "--peak"], "--trim: does not apply"),
        (["--control-speed"], "--control-speed: applies with --failed"),
        (["--trim", "--failed", "q"], 'found "q"'),
    ):
        run = CliRunner().invoke(app, ["solve", "case.toml", *arguments])
        assert run.exit_code == 2 and words in run.output
