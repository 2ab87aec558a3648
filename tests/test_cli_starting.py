"""From nothing to a finished comparison: new, several cases, other units, export, edges again."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import Result
from numpy.testing import assert_allclose
from typer.testing import CliRunner

import blownwing
from blownwing import Case, InputError
from blownwing.case.reader import parse_case, read_case
from blownwing.case.rewrite import rewritten
from blownwing.case.stations import read_stations
from blownwing.cli import app

CASES = Path(__file__).parents[1] / "cases"
QUICK = {"chordwise = 6": "chordwise = 2", "spanwise = 40": "spanwise = 12\njet_edge = false"}


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, [str(a) for a in arguments])


def refused(result: Result) -> str:
    assert result.exit_code == 2, result.output
    return " ".join(result.output.split())


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def quick(path: str) -> None:
    text = Path(path).read_text()
    for old, fast in QUICK.items():
        text = text.replace(old, fast)
    Path(path).write_text(text)


def test_new_makes_a_case_that_solves_and_compares() -> None:
    done = run("new", "own.toml", "--span", "9", "--propellers", 4, "--airspeed", "60 kt")
    assert done.exit_code == 0, done.output
    case = read_case("own.toml")
    assert case.wing.span == 9.0 and len(case.propeller_list()) == 4
    assert_allclose(case.flow.airspeed, 60.0 * 1852.0 / 3600.0, rtol=1e-5)
    assert Path("own.toml").read_text().count("#") > 15  # commented
    quick("own.toml")
    Path("other.toml").write_text(
        Path("own.toml").read_text().replace('"inboard_up"', '"outboard_up"')
    )
    done = run("solve", "own.toml", "other.toml")
    assert done.exit_code == 0 and "== own.toml" in done.output, done.output
    done = run("compare", "own.h5", "other.h5")
    assert "propellers.p1.spin" in done.output and "outboard_up" in done.output
    found = blownwing.load("own.h5").totals
    assert found["CL"] > found["CL_unblown"] > 0.1 and 0.5 < found["efficiency"] < 1.0


@pytest.mark.parametrize("count", [0, 2, 6, 12])
@pytest.mark.parametrize("spin", ["inboard_up", "outboard_up", "alternating"])
@pytest.mark.parametrize("ideal", [False, True])
def test_every_new_case_is_a_case(count: int, spin: str, ideal: bool) -> None:
    words = ["--ideal"] if ideal else []
    assert run("new", "a.toml", "--propellers", count, "--spin", spin, *words).exit_code == 0
    assert len(read_case("a.toml").propeller_list()) == count
    assert Path("a_blade.csv").exists() is (count > 0 and not ideal)


def test_what_new_refuses() -> None:
    for words, fragment in (
        (["--propellers", 3], "even numbers"),
        (["--span", "-2"], "--span: found -2"),
        (["--span", "two"], "--span:"),
        (["--spin", "up"], "accepted are inboard_up"),
        (["--propellers", 4, "--diameter", 3], "where discs clear each other"),
        (["--wing", "none.csv"], "no such file"),
    ):
        assert fragment in refused(run("new", "a.toml", *words))
        assert list(Path().iterdir()) == []
    assert "ends in .toml" in refused(run("new", "a.txt"))
    assert run("new", "a.toml").exit_code == 0
    before = Path("a.toml").read_text()
    assert "exists already" in refused(run("new", "a.toml"))
    assert Path("a.toml").read_text() == before


def test_a_wing_comes_from_a_table() -> None:
    table = "# source: invented\nairfoil, y [ft], chord (in), x [ft], twist\n"
    table += "naca4412, 20, 30, 1.5, -2\nnaca2412, 0, 48, 0, 0\n"
    Path("w.csv").write_text(table)
    assert run("new", "a.toml", "--wing", "w.csv", "--propellers", 2).exit_code == 0
    root, tip = read_case("a.toml").wing.stations
    assert_allclose([root.chord, tip.y, tip.x, tip.chord], [1.2192, 6.096, 0.4572, 0.762], 1e-5)
    assert (root.airfoil, tip.airfoil, tip.twist) == ("naca2412", "naca4412", -2.0)
    assert "leave the other options out" in refused(run("new", "b.toml", "--wing", "w.csv",
                                                        "--span", 3))  # fmt: skip


@pytest.mark.parametrize(
    ("text", "fragment"),
    [
        ("y,chord\n0,1\n", "found 1 stations"),
        ("y,cord\n0,1\n1,1\n", 'line 1: found the column "cord"; did you mean'),
        ("y,x\n0,1\n1,1\n", "accepted are y and chord"),
        ("y,chord\n0,1\n1\n", "line 3: found 1 cells; accepted are 2"),
        ("y,chord\n0,one\n1,1\n", 'line 2: chord: found "one"'),
        ("y [furlong],chord\n0,1\n1,1\n", "accepted are m, mm"),
    ],
)
def test_tables_of_stations_that_are_none(text: str, fragment: str) -> None:
    Path("w.csv").write_text(text)
    with pytest.raises(InputError) as error:
        read_stations("w.csv")
    words = str(error.value)
    assert fragment.split(";")[0] in words and "w.csv" in words


def test_several_cases_and_their_limits() -> None:
    run("new", "a.toml", "--propellers", 0)
    quick("a.toml")
    assert "names one result" in refused(run("solve", "a.toml", "a.toml", "-o", "x.h5"))
    assert "two cases of one name" in refused(run("solve", "a.toml", "a.toml"))
    assert not list(Path().glob("*.h5"))


def test_the_summary_in_other_units() -> None:
    """Pound-force 4.4482216152605 N, horsepower 745.69987 W, knot 1852/3600 m/s: NIST SP 811."""
    run("new", "a.toml", "--propellers", 2)
    quick("a.toml")
    assert run("solve", "a.toml").exit_code == 0
    found = blownwing.load("a.h5").totals
    text = run("solve", "a.toml", "--units", "us").output
    lift = float(re.search(r"Lift +([\d.]+) lbf", text)[1])  # type: ignore[index]  # as printed
    power = float(re.search(r"Shaft power +([\d.]+) hp", text)[1])  # type: ignore[index]  # same
    assert_allclose(lift, found["lift"] / 4.4482216152605, atol=0.051)
    assert_allclose(power, found["power"] / 745.69987, atol=0.0051)
    assert f"{30.0 * 3600.0 / 1852.0:.1f} kt" in text and " N " not in text


def test_pictures_as_pdf() -> None:
    run("new", "a.toml", "--propellers", 0)
    quick("a.toml")
    assert run("solve", "a.toml", "--figures", "--format", "pdf").exit_code == 0
    pages = list(Path("a_figures").glob("*.pdf"))
    assert len(pages) >= 3 and all(p.read_bytes()[:5] == b"%PDF-" for p in pages)


STUDY = """\
title = "places"
case = "base.toml"
[edits]
model.tolerance = 1e-6
[sweep]
rank_by = "CL"
[[sweep.parameters]]
key = "propellers.all.position.x"
values = [-0.9, -0.7]
[[sweep.parameters]]
key = "flow.alpha"
values = [4.0, 6.0]
"""


def test_a_row_becomes_a_case_with_its_comments_and_a_title() -> None:
    run("new", "base.toml", "--propellers", 2)
    quick("base.toml")
    Path("s.toml").write_text(STUDY)
    assert run("export", "s.toml", "--row", 3).output == "Written: s_3.toml\n"
    case, base = read_case("s_3.toml"), read_case("base.toml")
    assert case.flow.alpha == 6.0 and case.propellers[0].position[0] == -0.7
    assert case.title == "New case base, case 3 of: places"
    text = Path("s_3.toml").read_text()
    for comment in re.findall(r"#.*", Path("base.toml").read_text()):
        assert comment.strip() in text
    assert case.model.tolerance == 1e-6 != base.model.tolerance
    assert run("export", "s.toml", "--row", 3, "--own-model", "-o", "t.toml").exit_code == 0
    assert read_case("t.toml").model == base.model
    assert "accepted are 0 to 3" in refused(run("export", "s.toml", "--row", 4))
    assert "is an input" in refused(run("export", "s.toml", "--row", 0, "-o", "base.toml"))


def test_the_best_of_a_sweep_is_solved_again_with_edges() -> None:
    run("new", "base.toml", "--propellers", 2)
    quick("base.toml")
    Path("s.toml").write_text(STUDY)
    done = run("sweep", "s.toml", "--workers", 1, "--edges", 1)
    assert done.exit_code == 0, done.output
    assert "The best again, with slipstream edges" in done.output
    (again,) = Path().glob("s_case_*.h5")
    found = blownwing.load(again)
    assert found.totals["alpha"] == 6.0  # the larger incidence lifts more
    assert found.totals["CL_superposed"] != found.totals["CL"]
    number = int(again.stem.rpartition("_")[2])
    row = next(line for line in done.output.splitlines() if line.split()[:1] == [str(number)])
    assert row


@pytest.mark.parametrize("name", sorted(path.name for path in CASES.glob("*.toml")))
def test_a_rewritten_case_reads_back_and_keeps_its_comments(name: str) -> None:
    text = (CASES / name).read_text(encoding="utf-8")
    base = parse_case(text, CASES)
    drive = "rpm" if base.propellers[0].rpm is None else "thrust"
    edits: dict[str, object] = {
        "title": "another", "flow.altitude": 500.0, "wing.stations.1.twist": -0.25,
        "propellers.0.position.z": 0.125, "model.spanwise": 44,
    }  # fmt: skip
    if base.propellers[0].kind == "blade" and base.propellers[0].trim != "pitch":
        edits[f"propellers.0.{drive}"] = 1234.0
    changed = base.replace(**edits)
    found = rewritten(text, changed, CASES)
    assert parse_case(found, CASES) == changed
    kept = [line.strip() for line in text.splitlines() if line.startswith("#")]
    assert all(line in found for line in kept)
    assert rewritten(text, base, CASES) == text  # nothing to change, nothing changed


def test_what_cannot_be_rewritten_is_written_anew() -> None:
    text = (CASES / "short_field_eight.toml").read_text(encoding="utf-8")
    base = parse_case(text, CASES)
    tables = base.model_dump(by_alias=True, exclude_none=True)
    tables["propellers"] = tables["propellers"][:2]
    fewer = Case.from_tables(tables, CASES)
    assert parse_case(rewritten(text, fewer, CASES), CASES) == fewer


def test_help_cuts_no_summary_and_completion_is_there() -> None:
    text = run("--help").output
    assert "..." not in text.partition("Commands:")[2]
    assert "--install-completion" in text
    assert re.search(r"new .*\n.*keys .*\n.*check .*\n.*solve ", text)
