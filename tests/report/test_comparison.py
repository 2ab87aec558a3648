"""Results side by side: what differs in the inputs, in the values, and whether bands cover it."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from rich.console import Console
from sample import polar, single
from typer.testing import CliRunner

from blownwing.cli import app
from blownwing.errors import InputError
from blownwing.report.columns import digits, print_columns
from blownwing.report.comparison import comparison_figures
from blownwing.solution import Solution
from blownwing.solution.comparison import compared, loading

BAND = {"coarse": 0.7, "middle": 0.72, "fine": 0.725, "band": 0.01}


def other(gain: float = 1.02, band: float | None = None) -> Solution:
    one = single()
    totals = {**one.totals, "CL": one.totals["CL"] * gain, "lift": one.totals["lift"] * gain}
    text = one.case_toml.replace('spin = "outboard_up"', 'spin = "inboard_up"', 1)
    strips = {**one.strips, "cl": one.strips["cl"] * gain}
    bands = {} if band is None else {"CL": {**BAND, "band": band}}
    return replace(one, totals=totals, case_toml=text, strips=strips, bands=bands)


def row(found: object, name: str) -> object:
    return next(r for r in found.rows if r.name == name)  # type: ignore[attr-defined]


def test_values_differences_and_inputs() -> None:
    one, two = single(), other()
    found = compared(["a", "b"], [one, two])
    lift = row(found, "CL")
    assert lift.values == (one.totals["CL"], two.totals["CL"])
    assert_allclose(lift.differences[1], 0.02 * one.totals["CL"])
    assert lift.differences[0] == 0.0 and lift.certain(1) is None
    (change,) = found.changes
    assert change.key == "propellers.second.spin"
    assert change.values == ("outboard_up", "inboard_up")
    assert compared(["a", "b"], [one, one]).changes == ()


@pytest.mark.parametrize(("band", "certain"), [(0.001, True), (0.01, False)])
def test_a_difference_has_the_bands_of_both(band: float, certain: bool) -> None:
    one = replace(single(), bands={"CL": {**BAND, "band": band}})
    found = compared(["a", "b"], [one, other(band=band)])
    lift = row(found, "CL")
    assert lift.difference_bands[1] == 2.0 * band
    assert lift.certain(1) is certain
    # the lift follows its coefficient
    force = row(found, "lift")
    unit = one.totals["reference_dynamic_pressure"] * one.totals["reference_area"]
    assert_allclose(force.bands[0], band * unit)


def test_round_off_is_no_difference() -> None:
    assert row(compared(["a", "b"], [single(), other(1.0 + 1e-9)]), "CL").differences[1] == 0.0
    assert row(compared(["a", "b"], [single(), other(1.0 + 1e-5)]), "CL").differences[1] > 0.0


def test_polars_are_compared_at_one_angle() -> None:
    found = compared(["a", "b"], [polar(), polar()], 8.0)
    assert row(found, "alpha").values == (8.0, 8.0)
    assert "polars" in comparison_figures(found)
    assert row(compared(["a", "b"], [polar(), single(4.0)]), "alpha").values == (4.0, 4.0)
    with pytest.raises(InputError, match=r"b: has no angle of 4 deg; accepted are 0, 2"):
        compared(["a", "b"], [polar(), polar((0.0, 2.0))])
    for names, results in ((["a"], [single()]), (["a", "a"], [single(), single()])):
        with pytest.raises(InputError, match="compare: found"):
            compared(names, results)


def test_loadings_lie_over_one_another() -> None:
    one, two = single(), other()
    figure = comparison_figures(compared(["a", "b"], [one, two]))["loading"]
    upper, lower = figure.axes
    assert_allclose(upper.lines[1].get_ydata(), loading(two))
    assert_allclose(lower.lines[0].get_ydata(), 0.02 * loading(one), atol=1e-12)


def test_the_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    single().save("a.h5")
    other(band=0.01).save("b.h5")
    run = CliRunner().invoke
    done = run(app, ["compare", "a.h5", "b.h5", "-o", "c.html", "--figures", "f"])
    assert done.exit_code == 0, done.output
    assert "propellers.second.spin" in done.output and "No numerical bands" not in done.output
    assert {p.name for p in Path("f").iterdir()} == {"compared_loading.png"}
    page = Path("c.html").read_text()
    assert page.count("<figure>") == 1 and "outboard_up" in page and "not for flight" in page
    for arguments, words in (
        (["a.h5"], "two or more"),
        (["a.h5", "none.h5"], "no such result file"),
        (["a.h5", "b.h5", "--format", "svg"], "add --figures"),
        (["a.h5", "b.h5", "-o", "b.h5"], "ends in .html"),
    ):
        wrong = run(app, ["compare", *arguments])
        assert wrong.exit_code == 2 and words in " ".join(wrong.output.split())


@pytest.mark.parametrize("width", [24, 40, 80, 200])
def test_no_number_is_cut_however_narrow_the_terminal(width: int) -> None:
    stream = io.StringIO()
    console = Console(file=stream, width=width, highlight=False, markup=False)
    rows = [["case one", *(f"{k}.12345678" for k in range(9))], ["b", *("7" * 9 for _ in range(9))]]
    print_columns(console, ["name", *(f"column {k}" for k in range(9))], rows)
    text = stream.getvalue()
    for k in range(9):
        assert f"{k}.12345678" in text
    assert "…" not in text
    if width >= 40:
        assert max(map(len, text.splitlines())) <= width


def test_digits_without_exponents_where_they_are_legible() -> None:
    assert [digits(v) for v in (115143.2, 0.0, -0.012345678, 2.5, 1e9)] == [
        "115143", "0", "-0.012346", "2.5000", "1.0000e+09",
    ]  # fmt: skip
    assert all(np.isclose(float(digits(v)), v, rtol=1e-4) for v in (3.14159, 12345.6, 1.5e-4))
