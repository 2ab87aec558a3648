"""The [aircraft] table of a case: what it accepts, and one sentence for what it does not."""

from __future__ import annotations

import pytest
from aircraft_scene import scene

from blownwing.aircraft.configuration import (
    configured,
    inoperative_propeller,
    opposite,
)
from blownwing.aircraft.performance import evaluated
from blownwing.aircraft.power import motor_of, thrust_limits
from blownwing.case.model import Case
from blownwing.case.reader import parse_case
from blownwing.errors import InputError
from blownwing.propeller.disc import disc_loads

BROKEN = [
    ({"aircraft.mass": -1.0}, "aircraft.mass"),
    ({"aircraft.mass": "900 m"}, "mass"),
    ({"aircraft.mas": 3.0}, "unknown key"),
    ({"aircraft.tail": None}, "aircraft.tail: this key is missing"),
    ({"aircraft.tail.arms": 4.0}, 'did you mean "arm"'),
    ({"aircraft.battery.usable": 1.2}, "at most 1"),
    ({"aircraft.take_off.ground_height": None}, "aircraft.take_off.ground_height"),
    ({"aircraft.take_off.friction": "wet"}, "aircraft.take_off.friction"),
    ({"aircraft.cruise.idle": ["inn"]}, "aircraft.cruise.idle"),
    ({"aircraft.cruise.idle": ["in", "out"]}, "all propellers idle"),
    ({"aircraft.cruise.idle_state": "off"}, "folded"),
    ({"aircraft.inoperative": "third"}, "aircraft.inoperative"),
    ({"aircraft.motors": []}, "aircraft.motors"),
    ({"aircraft.motors.0.propellers": ["in"]}, "no motor for"),
    ({"aircraft.section_clmax": None}, "section_clmax"),
    ({"model.sections": "tables"}, "not accepted with model.sections"),
    ({"wing.flaps": []}, "the wing has no flaps"),
    ({"aircraft.controls.fin_arm": None}, "aircraft.controls.fin_arm"),
    ({"propellers": []}, "no propellers"),
]


@pytest.mark.parametrize(("edits", "fragment"), BROKEN, ids=[next(iter(e)) for e, _ in BROKEN])
def test_broken_tables_give_one_sentence(edits, fragment):
    with pytest.raises(InputError) as caught:
        scene(**edits)
    message = str(caught.value)
    assert fragment in message and "\n" not in message and len(message) < 400


def test_two_motors_for_one_propeller():
    motors = [
        {"power": 1e4, "efficiency": 0.9},
        {"power": 2e4, "efficiency": 0.9, "propellers": ["in"]},
        {"power": 2e4, "efficiency": 0.9, "propellers": ["in_port"]},
    ]
    with pytest.raises(InputError, match="second motor for in_port"):
        scene(**{"aircraft.motors": motors})
    case = scene(**{"aircraft.motors": motors[:2]})
    assert motor_of(case, "in_port").power == 2e4
    assert motor_of(case, "out").power == 1e4


def test_a_case_with_an_aircraft_reads_back_equal():
    case = scene()
    again = parse_case(case.to_toml())
    assert again == case and again.aircraft is not None
    assert case.replace(**{"aircraft.mass": 950.0}) != case


def test_units_are_converted():
    case = scene(**{"aircraft.mass": "1000 lb", "aircraft.motors.0.power": "20 kW"})
    assert case.aircraft is not None
    assert abs(case.aircraft.mass - 453.59237) < 1e-9
    assert case.aircraft.motors[0].power == 20000.0


def test_a_case_without_an_aircraft_is_refused():
    tables = scene().model_dump(by_alias=True, exclude_none=True)
    tables.pop("aircraft")
    with pytest.raises(InputError, match="aircraft: this table is missing"):
        evaluated(Case.from_tables(tables))


def test_a_disc_of_given_speed_ratio_is_refused():
    edits = {"propellers.0.thrust": None, "propellers.0.speed_ratio": 1.5}
    with pytest.raises(InputError, match="speed ratio"):
        configured(scene(**edits), "take_off")


def test_configurations_of_the_phases():
    case = scene()
    ready, cruise = configured(case, "take_off"), configured(case, "cruise")
    assert ready.case.is_symmetric and len(ready.case.propellers) == 4
    assert ready.powered == ("in", "in_port", "out", "out_port")
    assert cruise.powered == ("out", "out_port") and cruise.idle == ("in", "in_port")
    assert cruise.case.flow.altitude == 1500.0
    assert ready.case.wing.flaps[0].deflection == pytest.approx(0.7 * 15.0)
    assert cruise.case.wing.flaps[0].deflection == 0.0
    assert ready.drag_area == pytest.approx(0.35)


def test_the_failed_propeller_and_its_mirror_image():
    case = scene()
    assert inoperative_propeller(case) == "out"
    assert opposite(case, "out") == "out_port"
    assert inoperative_propeller(scene(**{"aircraft.inoperative": "in_port"})) == "in_port"


@pytest.mark.parametrize("speed", [0.0, 12.0, 45.0])
def test_thrust_of_an_ideal_disc_takes_its_motors_power(speed):
    """Glauert (1935): the power of the disc that gives this thrust is the motor's."""
    case = scene()
    ready = configured(case, "take_off")
    full, capped = thrust_limits(case, ready, speed)["in"]
    assert full == capped
    loads = disc_loads(full, 1.2, speed, ready.case.air.density)
    assert loads.power == pytest.approx(25000.0, rel=1e-9)
