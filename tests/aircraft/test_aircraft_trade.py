"""The number of propellers: places, sizes, blades, and the words about the optimum."""

from __future__ import annotations

import math
from io import StringIO
from pathlib import Path

import pytest
from aircraft_scene import scene, tables
from numpy.testing import assert_allclose
from rich.console import Console

from blownwing.aircraft.configuration import configured
from blownwing.aircraft.polar import balanced, solved_polar
from blownwing.aircraft.power import disc_thrust_at_power
from blownwing.aircraft.redesign import (
    baseline_row,
    diameter_for,
    motor_power,
    with_propellers,
)
from blownwing.aircraft.scalars import VARIABLES
from blownwing.aircraft.trade import (
    GOALS,
    Choice,
    Trade,
    best_choices,
    compromises,
    counts_from,
    trade_record,
    traded,
)
from blownwing.case.model import Case
from blownwing.errors import InputError, SolveError
from blownwing.report import style
from blownwing.report.aircraft_trade import print_trade, trade_words
from blownwing.report.trade_figure import trade_figure, values_over
from blownwing.solution.model import CAUTION

BLADE = Path(__file__).parents[2] / "shared" / "blades" / "high_lift_5.csv"


def bladed(**edits):
    """The small aircraft with blades instead of discs."""
    result = tables(**edits)
    for item, y in zip(result["propellers"], (1.5, 3.0), strict=True):
        item |= {"kind": "blade", "blades": 5, "blade": str(BLADE), "spin": "inboard_up"}
        item |= {"position": [-0.6, y, 0.0], "diameter": 1.1}
    result["aircraft"]["motors"][0] |= {"rpm": 4000.0, "specific_power": 3000.0, "fixed_mass": 2.0}
    return Case.from_tables(result)


def test_counts():
    assert counts_from("propellers=2..7") == (2, 4, 6)
    assert counts_from("propellers=8,4") == (4, 8)
    for text in ("propellers=3", "propellers=8..2", "motors=2..4", "propellers=2..", "2..8"):
        with pytest.raises(InputError, match="accepted is propellers="):
            counts_from(text)


def test_what_each_rule_keeps():
    row = baseline_row(bladed())
    assert (row.count, row.active) == (4, 0.5)
    assert_allclose(diameter_for(row, 4, "coverage"), 1.1)
    assert_allclose(8 * diameter_for(row, 8, "coverage"), 4 * 1.1)
    assert_allclose(8 * diameter_for(row, 8, "disc_loading") ** 2, 4 * 1.1**2)


def test_kept_thrust_is_kept():
    """Momentum theory both ways: the same total thrust from each motor's power and disc."""
    row = baseline_row(bladed())

    def total(count, keep):
        power = motor_power(row, count, keep, 28.0, 1.225)
        diameter = diameter_for(row, count, keep)
        return count * disc_thrust_at_power(power, diameter, 28.0, 1.225)

    assert_allclose([total(n, "thrust") for n in (2, 8, 12)], total(4, "coverage"), rtol=1e-9)
    assert total(8, "coverage") < total(4, "coverage")  # less disc area at the same power


def test_the_resized_aircraft(tmp_path):
    case = bladed()
    row = baseline_row(case)
    eight = with_propellers(case, row, 8, "coverage", tmp_path, 40.0, 28.0)
    assert eight.aircraft is not None and case.aircraft is not None
    motor = eight.aircraft.motors[0]
    assert len(eight.propeller_list()) == 8
    assert_allclose(8 * motor.power, 4 * 25000.0)
    radius = 0.5 * eight.propellers[0].diameter
    assert motor.rpm is not None
    assert_allclose(motor.rpm * math.pi / 30.0 * radius, row.tip_speed)
    # motors weigh fixed_mass + P/specific_power each, so four more weigh four more fixed masses
    assert_allclose(eight.aircraft.mass - case.aircraft.mass, 4 * 2.0)
    assert eight.aircraft.cruise.idle == ("p1", "p2")


def test_refusals(tmp_path):
    with pytest.raises(InputError, match="one mirrored row of equal blades"):
        baseline_row(scene())
    with pytest.raises(InputError, match="with rpm"):
        baseline_row(bladed(**{"aircraft.motors.0.efficiency": 0.9}).replace(
            **{"aircraft.motors.0.rpm": None}
        ))  # fmt: skip
    with pytest.raises(InputError, match="found a motor with a table"):
        baseline_row(
            bladed().replace(
                **{"aircraft.motors.0.efficiency": None, "aircraft.motors.0.table": "a.csv"}
            )
        )
    case = bladed()
    row = baseline_row(case)
    with pytest.raises(InputError, match="accepted are even counts"):
        with_propellers(case, row, 5, "coverage", tmp_path, 40.0, 28.0)
    with pytest.raises(InputError, match="of half span"):
        with_propellers(case, row, 40, "disc_loading", tmp_path, 40.0, 28.0)


def with_tips(**edits):
    """The row with a pair of its own at the tips, motor and schedule apart."""
    result = tables(**edits)
    for item, y in zip(result["propellers"], (1.2, 2.4), strict=True):
        item |= {"kind": "blade", "blades": 5, "blade": str(BLADE), "spin": "inboard_up"}
        item |= {"position": [-0.6, y, 0.0], "diameter": 1.1}
    tip = dict(result["propellers"][0]) | {"name": "tip", "position": [-0.6, 5.0, 0.0]}
    result["propellers"].append(tip | {"diameter": 1.3, "blades": 3})
    motor = result["aircraft"]["motors"][0]
    result["aircraft"]["motors"] = [
        motor | {"rpm": 4000.0, "specific_power": 3000.0, "propellers": ["in", "out"]},
        motor | {"power": 40000.0, "rpm": 3000.0, "specific_power": 3000.0},
    ]
    result["aircraft"]["cruise"]["idle"] = []
    result["aircraft"]["schedule"] = [
        {"phases": ["cruise", "climb"], "propellers": ["in", "out"], "state": "folded"}
    ]
    return Case.from_tables(result)


def test_a_row_beside_tip_propellers(tmp_path):
    """The row changes, the tips stay: places, motors, schedule, masses."""
    case = with_tips()
    row = baseline_row(case)
    assert (row.count, row.active, row.definitions, row.motor) == (4, 0.0, ("in", "out"), 0)
    six = with_propellers(case, row, 6, "coverage", tmp_path, 40.0, 28.0)
    assert six.aircraft is not None and case.aircraft is not None
    assert [p.name for p in six.propellers] == ["p1", "p2", "p3", "tip"]
    assert six.aircraft.motors[0].propellers == ("p1", "p2", "p3")
    assert six.aircraft.motors[1] == case.aircraft.motors[1]
    assert configured(six, "climb").powered == ("tip", "tip_port")
    assert_allclose(six.aircraft.mass, case.aircraft.mass)  # power per mass only
    part = with_tips(**{"aircraft.inoperative": "tip"}).replace(
        **{"aircraft.schedule": [{"phases": ["climb"], "propellers": ["in"], "state": "folded"}]}
    )
    with pytest.raises(InputError, match="a part of the row"):
        with_propellers(part, baseline_row(part), 6, "coverage", tmp_path, 40.0, 28.0)


def test_compromises_are_not_beaten():
    """Pareto by its definition, by hand: 8 is beaten by 10 in all three, the others are not."""
    made = [
        _choice(n, distance, 5e4, range=reach, noise=noise)
        for n, distance, reach, noise in (
            (4, 260.0, 1.6e5, 72.0), (8, 255.0, 1.5e5, 71.0), (10, 250.0, 1.55e5, 70.0),
            (12, 280.0, 1.4e5, 66.0),
        )
    ]  # fmt: skip
    trade = Trade("coverage", baseline_row(bladed()), tuple(made), {})
    assert [c.count for c in compromises(trade)] == [4, 10, 12]


def test_a_trade_of_two_counts(tmp_path):
    case = bladed()
    trade = traded(case, (2, 4), "disc_loading")
    assert [c.count for c in trade.choices] == [2, 4], trade.refused
    two, four = trade.choices
    assert (
        four.values["gradient_failed"] > two.values["gradient_failed"]
    )  # a quarter is lost, not a half
    assert all(c.values["CLmax"] >= 0.9 * c.values["CLmax_unblown"] for c in trade.choices)
    assert_allclose(two.values["mass"], four.values["mass"] - 4.0)
    assert [c.values["row_count"] for c in trade.choices] == [2.0, 4.0]
    group = trade_record(trade)
    assert set(group) >= {name for _, name in GOALS}
    assert group["noise"].units == "dB"
    with style.settings():
        drawn = trade_figure({"trade": group}, "Row")
        assert style.save_figure(drawn, tmp_path / "trade.svg", "svg").stat().st_size > 10_000
    console = Console(file=StringIO(), width=80, highlight=False, markup=False)
    print_trade(trade, trade_words(trade, case), console)
    text = " ".join(console.file.getvalue().split())
    assert text.endswith(" ".join(CAUTION.split()))
    assert "common practice, no source" in text


def test_all_counts_refused_is_an_error():
    with pytest.raises(SolveError, match="no count could be evaluated"):
        traded(bladed(), (40,), "disc_loading")


@pytest.mark.parametrize("state", ["windmilling", "stopped"])
def test_idle_propellers_drag_unless_folded(state):
    """Idle blades take momentum from the air (Glauert 1935, windmill state); folded ones none."""
    excess = {}
    for idle in ("folded", state):
        case = bladed(**{"aircraft.cruise.idle_state": idle})
        cruise = configured(case, "cruise")
        thrust = {"out": 300.0, "out_port": 300.0}
        polar = solved_polar(cruise, 50.0, thrust, (4.0,))
        excess[idle] = balanced(cruise, polar.at(4.0), 50.0, polar.density).excess
    assert 20.0 < excess["folded"] - excess[state] < 1500.0


def _choice(count, distance, power, **more):
    values = dict.fromkeys(VARIABLES, 1.0) | {"by_tail": 0.0,
        "take_off_distance": distance, "cruise_power": power, "mass": 900.0 + count,
        "CLmax": 2.0 + 0.001 * count, "CLmax_unblown": 1.8, "range": 1.5e5, "noise": 70.0,
    }  # fmt: skip
    return Choice(count, 1e4, values | more)


def test_best_and_flat():
    """A sharp and a flat optimum, told apart by the 2 % rule."""
    choices = (_choice(4, 300.0, 50e3), _choice(8, 250.0, 49.5e3), _choice(12, 280.0, 49e3))
    row = baseline_row(bladed())
    found = {best.goal: best for best in best_choices(Trade("coverage", row, choices, {}))}
    assert found["shortest take-off"].count == 8 and found["shortest take-off"].near == (8,)
    assert found["least cruise power"].count == 12
    assert found["least cruise power"].near == (8, 12)
    shallow = tuple(_choice(n, 250.0 + n, 50e3) for n in (4, 8, 12))
    again = {b.goal: b for b in best_choices(Trade("coverage", row, shallow, {}))}
    assert again["shortest take-off"].near == (4, 8)


class TestVerdict:
    """A count that failed is no candidate and no proof (logic of a search over a list)."""

    choices = tuple(
        _choice(count, distance, 50e3)
        for count, distance in ((6, 300.0), (10, 250.0), (14, 280.0), (18, 320.0))
    )

    def found(self, refused):
        trade = Trade("coverage", baseline_row(bladed()), self.choices, refused)
        return trade, next(b for b in best_choices(trade) if b.goal == "shortest take-off")

    def test_best_with_neighbours(self):
        _, best = self.found({})
        assert best.count == 10 and best.unproven == ""

    def test_no_best_beside_a_failure(self):
        trade, best = self.found({8: "strips", 12: "strips"})
        assert best.unproven == "8 and 12 beside it could not be evaluated"
        console = Console(file=StringIO(), width=80, highlight=False, markup=False)
        print_trade(trade, trade_words(trade, bladed()), console)
        text = " ".join(console.file.getvalue().split())
        assert "2 of 6 counts failed" in text and "shortest take-off: no best found" in text
        assert "(sharp)" not in text and "here 10" not in text

    def test_a_failure_farther_away_takes_nothing(self):
        assert self.found({16: "strips"})[1].unproven == ""

    def test_no_best_at_the_end_of_the_list(self):
        trade, _ = self.found({})
        lightest = next(b for b in best_choices(trade) if b.goal == "lightest")
        assert lightest.count == 6 and "end of those tried" in lightest.unproven

    def test_the_figure_has_gaps(self):
        trade, _ = self.found({8: "strips", 12: "strips"})
        values = values_over({"trade": trade_record(trade)}, "take_off_distance", 1.0)
        assert [math.isnan(v) for v in values] == [False, True, False, True, False, False]
