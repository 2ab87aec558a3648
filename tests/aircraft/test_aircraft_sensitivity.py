"""Sensitivities: signs and laws that any aircraft obeys, failures that leave gaps."""

from __future__ import annotations

from functools import cache
from io import StringIO

import pytest
from aircraft_scene import scene
from numpy.testing import assert_allclose
from rich.console import Console

from blownwing.aircraft import sensitivity
from blownwing.aircraft.sensitivity import levers, sensitivities, sensitivity_record
from blownwing.errors import SolveError
from blownwing.report.group_page import group_page, write_group_figures
from blownwing.report.sensitivity_report import sensitivity_words
from blownwing.report.words import print_words
from blownwing.solution.groups import save_groups
from blownwing.solution.model import CAUTION

pytestmark = pytest.mark.slow  # two levers ask for five evaluations of an aircraft


@cache
def found():
    """Mass and battery alone, so that it stays quick."""
    chosen = tuple(lever for lever in levers(scene()) if lever.name in ("mass", "battery, Wh/kg"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sensitivity, "levers", lambda _case: chosen)
        return sensitivities(scene())


def test_inputs_that_are_looked_at():
    names = [lever.name for lever in levers(scene())]
    assert names[:5] == [
        "mass", "drag area of the rest", "chord, all stations", "power, all motors",
        "battery, Wh/kg",
    ]  # fmt: skip
    assert {"diameter, in", "diameter, out", "take-off flap", "fin area"} <= set(names)
    changed = {lever.name: lever.changed(scene(), 1.1) for lever in levers(scene())}
    assert_allclose(changed["chord, all stations"].wing.area, 1.1 * scene().wing.area)
    assert changed["power, all motors"].aircraft.motors[0].power == pytest.approx(27500.0)


@pytest.mark.slow
def test_range_is_proportional_to_the_battery_s_energy():
    """Hepperle (2012): range goes as the specific energy at a given mass, exactly."""
    result = found()
    item = next(i for i in result.items if i.name == "battery, Wh/kg")
    assert_allclose(item.change("range", result.base), [-0.05 * result.base.range,
                                                        0.05 * result.base.range])  # fmt: skip
    assert_allclose(item.change("take_off_distance", result.base), 0.0, atol=1e-9)


def test_a_heavier_aircraft_rolls_longer():
    """Roll goes at least as W² (closed form of the ground roll); the air part as W or so."""
    result = found()
    item = next(i for i in result.items if i.name == "mass")
    less, more = item.change("take_off_distance", result.base)
    assert less is not None and more is not None and less < 0.0 < more
    assert 0.04 < more / result.base.take_off_distance < 0.16


def test_failures_leave_gaps(monkeypatch):
    """A side that cannot be evaluated has no bar and is named."""
    known = found()
    lighter = next(i for i in known.items if i.name == "mass").less

    def failing(case):
        if case.aircraft.mass > 900.0:
            raise SolveError("too heavy")
        return lighter if case.aircraft.mass < 900.0 else known.base

    chosen = tuple(lever for lever in levers(scene()) if lever.name == "mass")
    monkeypatch.setattr(sensitivity, "headlines", failing)
    monkeypatch.setattr(sensitivity, "levers", lambda _case: chosen)
    result = sensitivities(scene())
    assert result.items[0].more is None and result.items[0].why_not == "too heavy"
    group = sensitivity_record(result)["sensitivities/0_mass"]
    assert "range_less" in group and "range_more" not in group


def test_words_file_and_page(tmp_path):
    result = found()
    console = Console(file=StringIO(), width=80, highlight=False, markup=False)
    print_words("Sensitivities", sensitivity_words(result, scene()), console)
    text = console.file.getvalue()
    assert max(map(len, text.splitlines())) <= 80
    assert " ".join(text.split()).endswith(" ".join(CAUTION.split()))
    path = save_groups(sensitivity_record(result), "Small", scene().to_toml(), tmp_path / "s.h5",
                       sensitivity_words(result, scene()))  # fmt: skip
    assert "strongest on top" in group_page(path)
    (picture,) = write_group_figures(path, tmp_path / "pictures")
    assert picture.stat().st_size > 10_000
