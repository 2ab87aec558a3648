"""Every file that the program writes can be drawn and reported, from the file alone."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from sample import polar, single
from typer.testing import CliRunner

import blownwing
from blownwing.aircraft.scalars import VARIABLES
from blownwing.cli import app
from blownwing.propeller.map import PerformanceMap
from blownwing.report import style
from blownwing.report.blade_figures import blade_loads
from blownwing.report.figures import at_angle, write_figures
from blownwing.report.history_figures import lift_curve
from blownwing.report.layout import blown_bands
from blownwing.report.wing_figures import slipstream_velocities, span_loading
from blownwing.solution import Solution, export_csv
from blownwing.solution.groups import save_groups
from blownwing.solution.map_files import save_map
from blownwing.solution.records import Quantity, kind_of
from blownwing.study.sweep.table import StudyTable, save_table

RUN = CliRunner()
SCAN = {"scan_alpha": np.array([8.0, 12.0, 16.0, 18.0]), "scan_CL": np.array([1.0, 1.3, 1.5, 1.4])}
PEAK: dict[str, Any] = {
    "alpha": 16.0, "CL": 1.5, "CL_from_thrust": 0.1, "stall_alpha": 14.0, "stall_y": 2.0,
    "stall_fraction": 0.33, "weight": 9000.0, "stall_speed": 21.0, **SCAN,
}  # fmt: skip
BAND = {"coarse": 0.7, "middle": 0.72, "fine": 0.725, "band": 0.01, "order": 2.0}


@pytest.fixture
def peaks() -> Solution:
    found = {"blown": PEAK, "unblown": {**PEAK, "CL": 1.2, "stall_speed": 24.0}}
    return replace(single(), peaks=found, bands={"CL": BAND})


def study(method: str = "grid", summary: dict[str, Any] | None = None) -> StudyTable:
    x = np.repeat(np.linspace(-0.9, -0.5, 5), 8)
    spins = [f"{'in' if k & 1 else 'out'}board_up {'in' if k & 2 else 'out'}board_up " * 2
             + "x" * (k // 4) for k in range(8)] * 5  # fmt: skip
    size = x.size
    results = {
        "CL": 0.7 + 0.1 * x + np.tile(np.arange(8), 5) * 0.01,
        "CD_induced": 0.02 + 0.001 * np.tile(np.arange(8), 5),
        "power": 1e5 + 100.0 * x,
        "net_axial_force": 2e3 + x,
    }
    parameters: dict[str, Any] = {"spins": spins, "propellers.all.position.x": x}
    if summary is not None:
        parameters = {"flow.alpha": x, "propellers.all.thrust": 300.0 + np.arange(size)}
    return StudyTable(
        "Sample study", "2026-01-01T00:00:00+00:00",
        '[sweep]\nrank_by = "CD_induced"\nbest = "least"\n', "", "d", method, parameters, results,
        ("",) * size, summary=summary or {},
    )  # fmt: skip


def test_peaks_and_bands_come_back_from_the_file(peaks: Solution, tmp_path: Path) -> None:
    path = peaks.save(tmp_path / "peak.h5")
    found = blownwing.load(path)
    assert found == peaks
    assert found.peaks["blown"]["stall_speed"] == 21.0
    assert_allclose(found.peaks["unblown"]["scan_CL"], SCAN["scan_CL"])
    assert found.bands["CL"]["band"] == 0.01
    import h5py

    with h5py.File(path) as file:
        assert file["bands/CL/band"].attrs["units"] == "1"
        assert file["peaks/blown/scan_CL"].dims[0].keys() == ["scan_alpha"]
    assert found != single()


def test_a_polar_has_no_peak_and_a_band_belongs_to_a_total() -> None:
    with pytest.raises(ValueError, match="one angle"):
        replace(polar(), peaks={"blown": PEAK})
    with pytest.raises(ValueError, match="no total"):
        replace(single(), bands={"lift_of_nothing": BAND})


def test_the_lift_curve_is_drawn_and_tabled(peaks: Solution, tmp_path: Path) -> None:
    with style.settings():
        figure = lift_curve(peaks)
    curve = figure.axes[0].lines[0]
    assert_allclose(np.asarray(curve.get_xydata()), np.c_[SCAN["scan_alpha"], SCAN["scan_CL"]])
    words = " ".join(t.get_text() for t in figure.legends[0].get_texts())
    assert "largest CL 1.500 at 16.0°, stall speed 21.0 m/s" in words
    assert "33 % of the semi-span" in words
    written = {path.name for path in write_figures(peaks, tmp_path / "f")}
    assert "lift_curve.png" in written
    tables = export_csv(peaks, tmp_path / "t")
    (table,) = [path for path in tables if path.name == "t_lift_curve.csv"]
    assert table.read_text().splitlines()[1] == "blown,8.0,1.0"


def test_a_polar_has_a_table_of_its_totals(tmp_path: Path) -> None:
    result = polar()
    (table,) = [p for p in export_csv(result, tmp_path / "p") if p.name == "p_polar.csv"]
    head, *rows = (line.split(",") for line in table.read_text().splitlines())
    assert len(rows) == 3 and head[0] == "alpha [deg]"
    column = head.index("CL [1]")
    assert_allclose([float(row[column]) for row in rows], result.totals["CL"], rtol=0)


def test_an_angle_of_a_polar_is_drawn_where_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    polar().save("p.h5")
    assert RUN.invoke(app, ["plot", "p.h5", "--alpha", "8", "--format", "svg"]).exit_code == 0
    assert Path("p_figures/span_loading.svg").is_file()
    assert at_angle(polar(), 8.0).totals["alpha"] == 8.0
    assert at_angle(polar()).totals["alpha"] == 4.0
    wrong = RUN.invoke(app, ["plot", "p.h5", "--alpha", "5"])
    assert wrong.exit_code == 2 and "the result's angles, 0, 4, 8" in wrong.output


def test_the_report_has_peaks_bands_and_halves(peaks: Solution, tmp_path: Path) -> None:
    from blownwing.report.html_report import report_page

    text = report_page(peaks)
    assert "Largest lift" in text and "Stall speed blown: 21.00 m/s" in text
    assert "Numerical bands" in text
    assert "Largest lift" not in report_page(single())


SAMPLED = {"mean": 0.7, "standard_deviation": 0.02, "effect flow.alpha": 0.9,
           "effect propellers.all.thrust": 0.05}  # fmt: skip
FITTED = SAMPLED | {"unexplained": 0.01, "middle": 0.69} | {
    f"{what} {key}": value
    for key in ("flow.alpha", "propellers.all.thrust")
    for what, value in (("total", 0.95), ("band", 0.02), ("low", 0.65), ("high", 0.74))
}  # fmt: skip


@pytest.mark.parametrize("summary", [None, {"CL": SAMPLED}, {"CL": FITTED}])
def test_studies_are_drawn_and_reported(
    summary: dict[str, Any] | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    method = "grid" if summary is None else "uncertainty"
    save_table(study(method, summary), Path("s.h5"))
    assert kind_of("s.h5") == "study"
    assert RUN.invoke(app, ["plot", "s.h5"]).exit_code == 0
    names = {path.stem for path in Path("s_figures").iterdir()}
    # uncertain inputs have no best case
    wanted = {"spread", "effects"}
    if summary is None:
        wanted = {"lines", "settings", "spins", "parallel"}
    elif "middle" in summary["CL"]:
        wanted = {"spread", "effects", "tornado"}
    assert names == wanted
    assert RUN.invoke(app, ["report", "s.h5"]).exit_code == 0
    text = Path("s.html").read_text()
    assert text.count("<figure>") == len(wanted) and "Sample study" in text
    assert ("0.90 ± 0.02 (0.95)" in text and "1 %" in text) == ("tornado" in wanted)
    assert "not for flight clearance" in text


def test_every_line_has_a_contrast_of_three_to_one() -> None:
    """World Wide Web Consortium 2018, WCAG 2.1, criterion 1.4.11 (formula from memory)."""

    def luminance(colour: np.ndarray) -> float:
        linear = np.where(colour <= 0.03928, colour / 12.92, ((colour + 0.055) / 1.055) ** 2.4)
        return float(linear @ [0.2126, 0.7152, 0.0722])

    def rgb(text: str) -> np.ndarray:
        return np.array([int(text[k : k + 2], 16) / 255.0 for k in (1, 3, 5)])

    def contrast(one: np.ndarray, other: np.ndarray) -> float:
        dark, light = sorted((luminance(one), luminance(other)))
        return (light + 0.05) / (dark + 0.05)

    shade = style.BAND["alpha"]
    band = (1.0 - shade) + shade * rgb(style.BAND["facecolor"])
    for colour in (*style.SERIES, style.GREY):
        assert contrast(rgb(colour), np.ones(3)) >= 3.0
        assert contrast(rgb(colour), band) >= 3.0
    assert contrast(rgb("#E69F00"), np.ones(3)) < 3.0  # control: as it was


def test_slipstreams_have_lines_of_their_own_and_points_for_strips(one: Solution) -> None:
    y = np.linspace(-6.0, 6.0, 601)
    fine = {"y": y, "axial": np.cos(y), "swirl": np.sin(y)}
    figure = slipstream_velocities(replace(one, profile=fine))
    for axes, name in zip(figure.axes[:2], ("axial", "swirl"), strict=True):
        assert_allclose(axes.lines[0].get_ydata(), fine[name])
        assert_allclose(axes.lines[1].get_ydata(), one.strips[f"slipstream_{name}"])
    assert len(figure.legends[0].get_texts()) == 4


def test_bands_are_the_tubes_own(one: Solution) -> None:
    streams = {
        name: {**values, "span_from": 1.0 + k, "span_to": 1.5 + k}
        for k, (name, values) in enumerate(list(one.slipstreams.items())[:2])
    }
    streams["missed"] = {**one.slipstreams["inner"], "span_from": 5.0, "span_to": 5.0}
    assert blown_bands(replace(one, slipstreams=streams)) == [(1.0, 1.5), (2.0, 2.5)]


def test_the_limit_of_the_sections_is_drawn_and_stalled_strips_are_marked(one: Solution) -> None:
    y = one.strips["y"]
    margin = np.where(np.abs(y) < 2.0, -1.0, 3.0)
    strips = {**one.strips, "cl_limit": np.full(y.size, 1.6), "stall_margin": margin}
    figure = span_loading(replace(one, strips=strips))
    labels = [t.get_text() for t in figure.legends[0].get_texts()]
    share = np.sum(one.strips["width"][margin < 0.0]) / np.sum(one.strips["width"])
    assert f"past its section's peak ({share:.0%} of the span)" in labels
    assert "largest of the section in its own stream" in labels
    bare = span_loading(one)
    assert not any("peak" in t.get_text() for t in bare.legends[0].get_texts())


def test_curves_within_a_percent_are_drawn_as_one(one: Solution) -> None:
    inner = {**one.propellers["inner"], "dT_dr": one.propellers["inner"]["dT_dr"] * 1.005}
    figure = blade_loads(replace(one, propellers={**one.propellers, "inner": inner}))
    assert figure is not None and len(figure.axes[0].lines) == 2  # one curve, and the axis
    assert "drawn as one" in figure.legends[0].get_title().get_text()


def test_an_axis_that_does_not_reach_zero_is_marked() -> None:
    with style.settings():
        figure = style.new_figure()
        cut, whole = figure.subplots(1, 2)
        cut.plot([0.0, 1.0], [5.0, 6.0])
        whole.plot([0.0, 1.0], [0.0, 6.0])
        style.mark_cuts(figure)
    assert len(cut.texts) == 2 and not whole.texts


def test_a_propeller_map_is_drawn_and_reported(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    j, pitch = np.linspace(0.0, 1.2, 9), np.radians(np.linspace(-4.0, 4.0, 5))
    thrust = 0.1 * (1.0 - j[None, :]) + 0.2 * pitch[:, None]
    table = PerformanceMap(
        advance_ratio=j, pitch=pitch, thrust=thrust, power=0.08 + 0.02 * thrust, omega=300.0,
        diameter=0.9, blades=5, density=1.225, thrust_error=(1e-3, 1e-4), power_error=(1e-3, 1e-4),
        key="k",
    )  # fmt: skip
    save_map(table, "m.h5", "A map")
    assert kind_of("m.h5") == "map"
    assert RUN.invoke(app, ["plot", "m.h5", "-o", "f"]).exit_code == 0
    assert [path.name for path in Path("f").iterdir()] == ["map.png"]
    assert RUN.invoke(app, ["report", "m.h5"]).exit_code == 0
    text = Path("m.html").read_text()
    assert "A map" in text and "not for flight clearance" in text and "0.9000" in text
    wrong = RUN.invoke(app, ["plot", "m.h5", "--alpha", "2"])
    assert wrong.exit_code == 2 and "holds no polar" in " ".join(wrong.output.split())


def test_a_trade_is_drawn_and_reported(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    count = np.array([4.0, 6.0, 8.0])
    group = {"count": Quantity(count, "1", "number of propellers", ("count",))}
    for name in VARIABLES:
        group[name] = Quantity(10.0 * count, "1", name, ("count",))
    save_groups({"trade": group}, "A trade", single().case_toml, "t.h5")
    assert kind_of("t.h5") == "trade"
    assert RUN.invoke(app, ["plot", "t.h5", "-o", "f"]).exit_code == 0
    assert [path.name for path in Path("f").iterdir()] == ["trade.png"]
    done = RUN.invoke(app, ["report", "t.h5"])
    assert done.exit_code == 0, done.output
    text = Path("t.html").read_text()
    assert "A trade" in text and text.count("<figure>") == 1 and "not for flight" in text


def test_damaged_files_of_any_kind_get_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    save_table(study(), Path("s.h5"))
    Path("torn.h5").write_bytes(Path("s.h5").read_bytes()[:4000])
    for command in ("plot", "report"):
        done = RUN.invoke(app, [command, "torn.h5"])
        assert done.exit_code == 2 and "truncated, damaged" in " ".join(done.output.split())
    assert {p.name for p in Path().iterdir()} == {"s.h5", "torn.h5"}
