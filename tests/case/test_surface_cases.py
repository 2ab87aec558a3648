"""Surfaces, controls and trims that must be refused in one sentence, and those that must not."""

import pytest

from blownwing.case.model import Case
from blownwing.case.reader import parse_case
from blownwing.errors import InputError


def stations(x=4.0, z=0.4, half=1.5, chord=0.6):
    return [{"y": 0.0, "x": x, "z": z, "chord": chord}, {"y": half, "x": x, "z": z, "chord": chord}]


def tables(**more):
    return {
        "flow": {"airspeed": 30.0, "alpha": 2.0},
        "wing": {"stations": [{"y": 0.0, "chord": 1.0}, {"y": 4.0, "chord": 1.0}]},
        "surfaces": [{"name": "tail", "stations": stations()}],
        **more,
    }


def control(name="elevator", start=0.0, end=1.0, **more):
    return {"name": name, "from": start, "to": end, "chord_fraction": 0.3, **more}


def tail(**more):
    return {"name": "tail", "stations": stations(), **more}


FIN = {"name": "fin", "symmetric": False,
       "stations": [{"y": 0.0, "x": 4.2, "z": 0.4, "chord": 0.6},
                    {"y": 0.0, "x": 4.3, "z": 1.4, "chord": 0.5}]}  # fmt: skip
TRIM = {"mass": 200.0, "centre_of_gravity": [0.3, 0.0, 0.0], "unknowns": [{"name": "alpha"}]}
REFUSED = [
    ("cut", {"surfaces": [tail(stations=[{"y": 1.0, "x": 0.2, "z": -0.5, "chord": 0.5},
                                         {"y": 1.0, "x": 0.2, "z": 0.5, "chord": 0.5}])]},
     "cuts the wing"),
    ("in plane", {"surfaces": [tail(stations=stations(x=0.5, z=0.0))]}, "cuts the wing"),
    ("each other", {"surfaces": [tail(), tail(name="other", stations=stations(x=4.3))]},
     'cuts surface "tail"'),
    ("twice", {"surfaces": [tail(), tail(stations=stations(x=9.0))]}, "a second time"),
    ("names wing", {"surfaces": [tail(name="wing")]}, 'neither "all" nor "wing"'),
    ("overlap", {"surfaces": [tail(controls=[control(), control("tab", 0.5)])]},
     "surfaces[0].controls[1].from: found a control from 0.5 to 1 that overlaps controls[0]"),
    ("beyond", {"surfaces": [tail(controls=[control(end=1.2)])]}, "from 0 to 1"),
    ("backwards", {"surfaces": [tail(controls=[control(start=1.0, end=0.5)])]}, "above from"),
    ("upright twice", {"surfaces": [{**FIN, "symmetric": True}]}, "has no other side"),
    ("one place", {"surfaces": [tail(stations=[stations()[0], stations()[0]])]}, "elsewhere"),
    ("no such", {"controls": {"elevater": 2.0}}, "moves nothing"),
    ("too far", {"surfaces": [tail(controls=[control()])], "controls": {"elevator": 60.0}},
     "accepted is at most 45 deg"),
    ("compressed", {"model": {"matrix": "compressed"}}, "model.matrix"),
    ("disc in tail", {"propellers": [{"name": "p", "kind": "disc", "thrust": 10.0,
                                      "position": [4.3, 0.5, 0.4], "diameter": 0.5}]},
     'cuts surface "tail"'),
    ("trim of nothing", {"trim": {**TRIM, "unknowns": [{"name": "elevator"}]}},
     'trim.unknowns[0].name: found "elevator"'),
    ("no throttle", {"trim": {**TRIM, "unknowns": [{"name": "throttle"}]}}, "found \"throttle\""),
    ("at rest", {"flow": {"airspeed": 0.0}, "trim": TRIM}, "accepted is a case that flies"),
    ("limits", {"trim": {**TRIM, "unknowns": [{"name": "alpha", "least": 3.0, "most": 1.0}]}},
     "accepted is more"),
    ("slow turn", {"trim": {**TRIM, "load_factor": 0.5}}, "at least 1"),
    ("body", {"fuselage": {"stations": [{"x": 1.0, "width": 0.5}, {"x": 0.0, "width": 0.5}]}},
     "above the one before"),
]  # fmt: skip


@pytest.mark.parametrize(("change", "words"), [item[1:] for item in REFUSED],
                         ids=[item[0] for item in REFUSED])  # fmt: skip
def test_refused_in_one_sentence(change, words):
    with pytest.raises(InputError) as caught:
        Case.from_tables(tables(**change))
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_fin_may_stand_on_a_tailplane_and_a_tailplane_end_on_a_fin():
    top = {"name": "top", "stations": stations(x=4.35, z=1.4, chord=0.4)}
    case = Case.from_tables(tables(surfaces=[tail(), FIN, top]))
    assert case.is_symmetric
    assert not case.replace(**{"surfaces.fin.incidence": 1.0}).is_symmetric


def test_text_and_back_with_surfaces_controls_and_trim():
    case = Case.from_tables(
        tables(
            surfaces=[tail(controls=[control()], stream_rise="local"), FIN],
            controls={"elevator": -3.0},
            trim={**TRIM, "unknowns": [{"name": "alpha"}, {"name": "elevator", "least": -20}]},
            fuselage={"stations": [{"x": -2.0, "width": 0.0}, {"x": 4.0, "width": 0.8}]},
        )
    )
    again = parse_case(case.to_toml())
    assert again == case and hash(again) == hash(case)
    assert again.surfaces[0].controls[0].end == 1.0
    moved = case.replace(**{"surfaces.tail.incidence": -2.0, "controls.elevator": 4.0})
    assert moved != case and moved.controls == {"elevator": 4.0}


def test_lateral_unknowns_ask_for_both_halves():
    trim = {**TRIM, "unknowns": [{"name": "alpha"}, {"name": "beta"}]}
    assert not Case.from_tables(tables(trim=trim)).is_symmetric
    assert Case.from_tables(tables(trim=TRIM)).is_symmetric
