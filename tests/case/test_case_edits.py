"""Edits by dotted path, and the way to text and back."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blownwing.case.model import Case
from blownwing.case.reader import parse_case
from blownwing.case.writer import toml_text
from blownwing.errors import InputError

TEXT = """\
title = "row"  # a comment
[flow]
airspeed = 30.0
[wing]
[[wing.stations]]
y = 0.0
chord = 1.2
[[wing.stations]]
y = 5.0
chord = 0.9
[[wing.flaps]]
from = 0.1
to = 0.5
chord_fraction = 0.25
deflection = 10.0
[[propellers]]
name = "inner"
position = [-0.5, 1.5, 0.0]
diameter = 0.8
blades = 5
blade = "row.csv"
spin = "inboard_up"
mirror = true
rpm = 3000.0
[[propellers]]
name = "outer"
position = [-0.5, 3.0, 0.0]
diameter = 0.8
blades = 5
blade = "row.csv"
spin = "inboard_up"
mirror = true
rpm = 3000.0
"""
CASE = parse_case(TEXT)


def test_edits_by_name_index_and_all() -> None:
    case = CASE.replace(
        **{
            "propellers.all.rpm": 3200,
            "propellers.inner.spin": "outboard_up",
            "propellers.1.position.y": 3.1,
            "propellers[1].position[0]": "-20 in",
            "flow.alpha": 3.0,
            "wing.stations.1.twist": -2,
            "wing.flaps.0.to": 0.6,
            "title": "changed",
        }
    )
    assert [item.rpm for item in case.propellers] == [3200.0, 3200.0]
    assert [item.spin for item in case.propellers] == ["outboard_up", "inboard_up"]
    assert case.propellers[1].position == (-0.508, 3.1, 0.0)
    assert (case.flow.alpha, case.wing.stations[1].twist, case.wing.flaps[0].end) == (3, -2, 0.6)
    assert case.title == "changed"
    assert CASE == parse_case(TEXT)  # the original is untouched


def test_no_edit_is_the_same_case() -> None:
    assert CASE.replace() is CASE


@pytest.mark.parametrize("key", ["thrust", "power"])
def test_switching_the_drive_clears_the_other(key) -> None:
    there = CASE.replace(**{f"propellers.all.{key}": 200})
    assert [(getattr(item, key), item.rpm) for item in there.propellers] == [(200.0, None)] * 2
    assert there.replace(**{"propellers.all.rpm": 3000}) == CASE


def test_rpm_stays_beside_thrust_under_trim_by_pitch() -> None:
    fixed = CASE.replace(
        **{
            "propellers.inner.thrust": 200,
            "propellers.inner.trim": "pitch",
            "propellers.inner.rpm": 2500,
        }
    ).propellers[0]
    assert (fixed.rpm, fixed.thrust, fixed.trim) == (2500.0, 200.0, "pitch")
    case = CASE.replace(**{"propellers.0": fixed.model_dump(exclude_none=True)})
    faster = case.replace(**{"propellers.0.rpm": 2600}).propellers[0]
    assert (faster.rpm, faster.thrust) == (2600.0, 200.0)
    by_power = case.replace(**{"propellers.0.power": 9000}).propellers[0]
    assert (by_power.rpm, by_power.thrust, by_power.power) == (2500.0, None, 9000.0)
    free = case.replace(**{"propellers.0.trim": None, "propellers.0.rpm": 2600}).propellers[0]
    assert (free.rpm, free.thrust, free.trim) == (2600.0, None, None)


def test_switching_from_trim_by_rpm_to_a_given_rpm_drops_the_trim() -> None:
    case = CASE.replace(**{"propellers.0.thrust": 90, "propellers.0.trim": "rpm"})
    assert case.propellers[0].trim == "rpm"
    assert case.replace(**{"propellers.0.rpm": 3000}) == CASE


def test_two_drives_in_one_call_are_refused() -> None:
    with pytest.raises(InputError, match=r"found rpm and thrust; accepted is exactly one"):
        CASE.replace(**{"propellers.0.rpm": 3000, "propellers.0.thrust": 90})


def test_disc_drive() -> None:
    disc = {"name": "d", "kind": "disc", "position": [-0.5, 1, 0], "diameter": 0.5, "thrust": 9}
    case = CASE.replace(propellers=[disc])
    jet = case.replace(**{"propellers.d.speed_ratio": 1.5})
    assert (jet.propellers[0].speed_ratio, jet.propellers[0].thrust) == (1.5, None)
    assert jet.replace(**{"propellers.d.thrust": 9}) == case


def test_none_takes_a_key_away() -> None:
    case = CASE.replace(**{"flow.mach": 0.3, "wing.reference_area": 9.0})
    assert case.replace(**{"flow.mach": None, "wing.reference_area": None}) == CASE


@pytest.mark.parametrize(
    ("path", "fragment"),
    [
        ("flow.alfa", '"alfa" is not a key here (did you mean "alpha"?)'),
        ("flw.alpha", '"flw" is not a key here (did you mean "flow"?)'),
        ("propellers.iner.rpm", '"iner" is not an item here (did you mean "inner"?)'),
        ("propellers.7.rpm", "found index 7 in a list of 2; indices count from 0"),
        ("propellers.-1.rpm", '"-1" is not an item here'),
        ("propellers.all.rmp", 'did you mean "rpm"'),
        ("propellers.inner.position.w", '"w" is not an item here'),
        ("flow.airspeed.value", "leads below a single value"),
        ("wing.reference_area.x", "leads below a single value"),
        ("", '"" is not a key here'),
        ("wing..symmetric", '"" is not a key here'),
        ("folder", '"folder" is not a key here'),
    ],
)
def test_unknown_path(path, fragment) -> None:
    with pytest.raises(InputError) as caught:
        CASE.replace(**{path: 1.0})
    assert str(caught.value).startswith(f"{path}: ")
    assert fragment in str(caught.value)


def test_edited_case_is_validated_again() -> None:
    with pytest.raises(InputError, match=r"^propellers\[0\].position: disc .* cuts the wing"):
        CASE.replace(**{"propellers.inner.position.x": 0.3})
    with pytest.raises(InputError, match=r"^flow.airspeed: found nan"):
        CASE.replace(**{"flow.airspeed": float("nan")})


def test_unedited_text_keeps_its_comments() -> None:
    assert CASE.to_toml() == TEXT
    edited = CASE.replace(**{"flow.alpha": 1.0}).to_toml()
    assert "# a comment" not in edited and "max_iterations = 60" in edited


angles = st.floats(-40.0, 40.0)
positive = st.floats(0.1, 2.0)
speeds = st.just(0.0) | st.floats(0.001, 80.0)


@st.composite
def cases(draw: st.DrawFn) -> Case:
    """Cases with awkward numbers, texts and choices, built from valid ones."""
    edits = {
        "title": draw(st.text(st.characters(exclude_categories=("C", "Z"))) | st.just('"\\ é')),
        "flow.airspeed": draw(speeds),
        "flow.alpha": draw(angles | st.lists(angles, min_size=1, max_size=4)),
        "flow.isa_offset": draw(angles),
        "wing.symmetric": draw(st.booleans()),
        "wing.stations.all.chord": draw(positive),
        "wing.stations.1.twist": draw(angles),
        "wing.flaps.0.deflection": draw(angles),
        "wing.reference_point": [draw(angles), 0, draw(angles)],
        "propellers.all.incidence": draw(st.floats(-5.0, 5.0)),
        "propellers.inner.spin": draw(st.sampled_from(["clockwise", "inboard_up"])),
        f"propellers.outer.{draw(st.sampled_from(['rpm', 'thrust', 'power']))}": draw(positive),
        "propellers.all.blade": draw(st.sampled_from(["a b.csv", "é'\".csv", "..\\x", "#=[].csv"])),
        "model.tolerance": draw(st.floats(1e-13, 1e-2)),
        "model.spanwise": draw(st.integers(1, 99)),
    }
    return CASE.replace(**edits)


@settings(derandomize=True, deadline=None)
@given(cases())
def test_text_reads_back_to_an_equal_case(case: Case) -> None:
    again = parse_case(case.to_toml())
    assert again == case
    assert again.replace(title=again.title).to_toml() == case.to_toml()


@settings(derandomize=True, deadline=None)
@given(cases(), speeds, angles)
def test_replace_is_idempotent_and_undone_by_its_opposite(case, airspeed, alpha) -> None:
    edits = {"flow.airspeed": airspeed, "flow.alpha": alpha}
    once = case.replace(**edits)
    assert once.replace(**edits) == once
    back = {"flow.airspeed": case.flow.airspeed, "flow.alpha": case.flow.alpha}
    assert once.replace(**back) == case


texts = st.text(st.characters(exclude_categories=("Cs",)))
scalars = texts | st.booleans() | st.integers(-(2**63), 2**63 - 1) | st.floats(allow_nan=False)
keys = st.from_regex(r"\A[A-Za-z0-9_-]{1,8}\Z")


@settings(derandomize=True, deadline=None)
@given(
    st.dictionaries(
        keys,
        scalars
        | st.lists(scalars, max_size=3)
        | st.dictionaries(keys, scalars, max_size=3)
        | st.lists(st.dictionaries(keys, scalars | st.lists(scalars), max_size=2), min_size=1),
        max_size=5,
    )
)
def test_writer_against_the_standard_librarys_reader(data) -> None:
    assert tomllib.loads(toml_text(data)) == data


def test_tables_that_an_edit_does_not_touch_stay_the_same_objects():
    # studies compare wings by identity first; what stays was validated when it was read
    moved = CASE.replace(**{"propellers[0].position.x": -0.9, "flow.alpha": 3.0})
    assert moved.wing is CASE.wing and moved.model is CASE.model
    assert moved.flow is not CASE.flow and moved.propellers[0] is not CASE.propellers[0]
    assert CASE.replace(**{"flow.alpha": 3.0}).propellers == CASE.propellers
    with pytest.raises(InputError, match="wing"):  # rules between tables hold all the same
        CASE.replace(**{"propellers.0.position": [0.3, 2.0, 0.0]})
    with pytest.raises(InputError, match="flw"):
        CASE.replace(**{"flw.alpha": 3.0})
