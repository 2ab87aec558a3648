"""Figures show the solution's own numbers, with units, and nothing overlaps or hides."""

from __future__ import annotations

import itertools
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.axis import Axis
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Annotation, Text
from numpy.testing import assert_allclose
from sample import CASE, PROPELLER, case_text, single

from blownwing.case.reader import parse_case
from blownwing.errors import InputError
from blownwing.report import style
from blownwing.report.blade_figures import alike, blade_loads
from blownwing.report.figures import write_figures
from blownwing.report.history_figures import convergence_history, lift_and_drag
from blownwing.report.layout import case_of
from blownwing.report.wing_figures import plan_view, slipstream_velocities, span_loading
from blownwing.solution import Solution

SINGLE = {"plan_view", "span_loading", "slipstream", "blade_loads", "convergence"}


def tick_labels(axis: Axis) -> list[Text]:
    """Return the labels inside the view; matplotlib keeps hidden ones beyond it."""
    low, high = sorted(axis.get_view_interval())
    return [t.label1 for t in axis.get_major_ticks() if low <= t.get_loc() <= high]


def line(figure: Figure, axes: int, label: str) -> np.ndarray:
    found = [item for item in figure.axes[axes].lines if item.get_label() == label]
    assert len(found) == 1
    return np.asarray(found[0].get_xydata())


@pytest.mark.parametrize("fmt", style.Format.__args__)
def test_files_are_whole_pictures(one: Solution, fmt: str, tmp_path: Path) -> None:
    written = write_figures(one, tmp_path / "figures", fmt)  # type: ignore[arg-type]
    assert {p.name for p in written} == {f"{name}.{fmt}" for name in SINGLE}
    assert set(written) == set((tmp_path / "figures").iterdir())
    for path in written:
        if fmt == "png":
            assert path.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
        elif fmt == "pdf":
            assert path.read_bytes()[:5] == b"%PDF-" and b"%%EOF" in path.read_bytes()[-16:]
        else:
            assert ET.parse(path).getroot().tag.endswith("svg")


def test_equal_solutions_give_equal_bytes(one: Solution, tmp_path: Path) -> None:
    """Whatever the user's own settings of the drawing library."""
    with style.settings():
        first = style.save_figure(span_loading(one), tmp_path / "a.svg", "svg")
    with mpl.rc_context({"font.size": 30, "axes.grid": False}), style.settings():
        second = style.save_figure(span_loading(one), tmp_path / "b.svg", "svg")
    assert first.read_bytes() == second.read_bytes()


def test_bad_places_and_formats(one: Solution, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="png, svg, pdf"):
        write_figures(one, tmp_path, "gif")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="no such folder"):
        write_figures(one, tmp_path / "no" / "figures")
    (tmp_path / "file").touch()
    with pytest.raises(InputError, match="is a file"):
        write_figures(one, tmp_path / "file")


def test_span_loading_is_cl_times_chord(one: Solution) -> None:
    figure = span_loading(one)
    strips = one.strips
    for label, name in (("blown", "cl"), ("unblown", "cl_unblown")):
        expected = np.c_[strips["y"], strips[name] * strips["chord"]]
        assert_allclose(line(figure, 0, label), expected)
    assert len(figure.axes[0].patches) == 8


def test_static_span_loading_is_the_circulation(one: Solution) -> None:
    strips = {k: v for k, v in one.strips.items() if not k.startswith("cl")}
    figure = span_loading(replace(one, strips=strips))
    assert_allclose(line(figure, 0, "blown")[:, 1], one.strips["circulation"])
    assert "m²/s" in figure.axes[0].get_ylabel()


def test_slipstream_velocities_are_those_of_the_strips(one: Solution) -> None:
    figure = slipstream_velocities(one)
    for axes, name in zip(figure.axes, ("slipstream_axial", "slipstream_swirl"), strict=True):
        assert_allclose(axes.lines[0].get_ydata(), one.strips[name])


def test_blades_alike_share_a_line(one: Solution) -> None:
    assert alike(one) == [tuple(one.propellers)]
    inner = {**one.propellers["inner"], "dT_dr": one.propellers["inner"]["dT_dr"] * 1.03}
    changed = replace(one, propellers={**one.propellers, "inner": inner})
    assert [len(group) for group in alike(changed)] == [1, 7]
    figure = blade_loads(changed)
    if figure is None:
        pytest.fail("there are blades, so there is a figure")
    for axes, name in zip(figure.axes, ("dT_dr", "dQ_dr", "alpha", "cl"), strict=True):
        assert_allclose(axes.lines[0].get_ydata(), inner[name])
    labels = [text.get_text() for text in figure.legends[0].get_texts()]
    assert labels[0] == "inner" and "(7 alike)" in labels[1]


def test_ideal_discs_have_no_blade_figure(one: Solution) -> None:
    forces = {"thrust": 1.0, "power": 1.0}
    for radial in ({}, {"r": np.ones(3), "axial_induced": np.ones(3)}):
        discs = replace(one, propellers={"inner": {**forces, **radial}})
        assert alike(discs) == []
        assert blade_loads(discs) is None


def test_convergence_is_logarithmic_and_survives_exact_zeros(one: Solution) -> None:
    residual = one.convergence["residual"].copy()
    residual[-1] = 0.0
    zero = replace(one, convergence={**one.convergence, "residual": residual})
    figure = convergence_history(zero, case_of(zero))
    assert figure.axes[0].get_yscale() == "log"
    assert_allclose(line(figure, 0, "residual")[:, 1], residual[:-1])
    assert_allclose(line(figure, 0, "tolerance")[:, 1], 1e-8)


def test_polar_curves(several: Solution) -> None:
    figure = lift_and_drag(several)
    assert_allclose(line(figure, 0, "blown"), np.c_[several.alphas, several.totals["CL"]])
    assert_allclose(figure.axes[1].lines[0].get_xdata(), several.totals["CD_induced"])


def test_spin_arrows_point_where_the_upper_blades_move() -> None:
    """Clockwise from behind (inboard up on starboard) moves the upper blades to starboard."""
    text = CASE + PROPELLER.format(name="one", y=2.0, spin="inboard_up")
    figure = plan_view(single(places={"one": 2.0}), parse_case(text))
    arrows = [t for t in figure.axes[0].texts if isinstance(t, Annotation) and t.arrow_patch]
    assert len(arrows) == 2
    for arrow in arrows:
        (tip, _), (tail, _) = arrow.xy, arrow.get_position()
        assert (tip > tail) == (tip > 0)  # starboard: to starboard; port: to port


def test_toe_turns_the_nose_to_starboard_and_the_wake_to_port() -> None:
    text = CASE + PROPELLER.format(name="one", y=2.0, spin="inboard_up").replace(
        "mirror = true", "toe = 10.0"
    )
    figure = plan_view(single(places={"one": 2.0}), parse_case(text))
    disc = next(item for item in figure.axes[0].lines if item.get_color() == style.VERMILION)
    (y0, y1), (x0, x1) = disc.get_xdata(), disc.get_ydata()
    # The disc is normal to its axis: nose to starboard puts its starboard end aft.
    assert_allclose((x1 - x0) / (y1 - y0), np.tan(np.deg2rad(10.0)))
    wake = figure.axes[0].collections[0].get_paths()[0].vertices
    ahead, behind = wake[wake[:, 1] < -0.45, 0].mean(), wake[wake[:, 1] > 1.0, 0].mean()
    assert behind < ahead


def test_flaps_are_drawn_on_both_halves(one: Solution) -> None:
    flap = (
        "[[wing.flaps]]\nfrom = 0.1\nto = 0.5\nchord_fraction = 0.25\ndeflection = 20.0\n"
        'kind = "plain"\n'
    )
    text = one.case_toml.replace("[[propellers]]", flap + "[[propellers]]", 1)
    hatched = [p for p in plan_view(one, parse_case(text)).axes[0].patches if p.get_hatch()]
    sides = sorted(p.get_xy()[:, 0].mean() for p in hatched)
    assert len(sides) == 2 and sides[0] < 0 < sides[1]


MANY = {f"number_{i:02d}": 0.7 + 0.88 * i for i in range(6)}


@pytest.mark.parametrize("places", [{"only": 3.0}, {"a": 1.5, "tip_propeller": 6.0}, MANY])
def test_no_text_overlaps_or_leaves_the_page(places: dict[str, float]) -> None:
    solution = single(places=places)
    assert solution.case_toml == case_text(places)
    with style.settings():
        figures = [
            plan_view(solution, case_of(solution)),
            span_loading(solution),
            slipstream_velocities(solution),
            blade_loads(solution),
            convergence_history(solution, case_of(solution)),
        ]
        for figure in figures:
            if figure is None:
                pytest.fail("there are blades, so there is a figure")
            figure.set_dpi(100)
            canvas = FigureCanvasAgg(figure)
            canvas.draw()
            page = figure.bbox
            texts = [
                text
                for axes in figure.axes
                for text in [
                    *axes.texts, axes.title, axes._left_title, axes.xaxis.label, axes.yaxis.label,
                    *tick_labels(axes.xaxis), *tick_labels(axes.yaxis),
                ]
                if text.get_visible() and text.get_text()
            ]  # fmt: skip
            texts += [text for legend in figure.legends for text in legend.get_texts()]
            boxes = [(t.get_text(), t.get_window_extent(canvas.get_renderer())) for t in texts]
            shown = [(s, b) for s, b in boxes if b.width > 0 and page.overlaps(b)]
            assert len(shown) > 10
            for words, box in shown:
                assert box.x0 >= -1 and box.y0 >= -1, words
                assert box.x1 <= page.x1 + 1 and box.y1 <= page.y1 + 1, words
            for (a, box_a), (b, box_b) in itertools.combinations(shown, 2):
                area = box_a.intersection(box_a, box_b)
                assert area is None or min(area.width, area.height) < 2, f"{a!r} over {b!r}"
