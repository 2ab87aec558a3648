"""What a valid case knows: defaults, twins, symmetry, references, files."""

from __future__ import annotations

import copy
import math
import pickle
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from blownwing.case.checks import problem_size
from blownwing.case.model import Case
from blownwing.errors import InputError


def tables(**propeller):
    """A plain case with one propeller, as nested dictionaries."""
    item = {
        "name": "inner",
        "position": [-0.5, 1.5, 0.0],
        "diameter": 0.8,
        "blades": 4,
        "blade": "inner.csv",
        "spin": "inboard_up",
        "rpm": 3000,
    } | propeller
    return {
        "flow": {"airspeed": 30},
        "wing": {"stations": [{"y": 0, "chord": 1.2}, {"y": 5, "chord": 0.8}]},
        "propellers": [{key: value for key, value in item.items() if value is not None}],
    }


DISC = {"kind": "disc", "blades": None, "blade": None, "spin": None, "rpm": None, "thrust": 90.0}


def test_defaults_and_units() -> None:
    case = Case.from_tables(tables(diameter="32 in", incidence="0.1 rad"))
    assert case.alphas == (0.0,)
    assert case.surfaces == ()
    assert case.model.jet_edge is True and case.model.tolerance == 1e-8
    assert_allclose(case.propellers[0].diameter, 32 * 0.0254)
    assert_allclose(case.propellers[0].incidence, math.degrees(0.1))
    assert_allclose(case.air.density, 1.225, rtol=1e-6)
    assert_allclose(case.mach, 30.0 / 340.294, rtol=1e-6)


def test_alpha_list_is_kept() -> None:
    data = tables()
    data["flow"]["alpha"] = [0, 4, "0.1 rad"]
    assert_allclose(Case.from_tables(data).alphas, [0.0, 4.0, math.degrees(0.1)])


def test_references_of_a_tapered_wing() -> None:
    wing = Case.from_tables(tables()).wing
    taper = 0.8 / 1.2
    assert wing.span == 10.0
    assert_allclose(wing.area, 10.0, rtol=1e-14)
    # Mean aerodynamic chord of a straight taper, any handbook: 2/3 c0 (1 + t + t²)/(1 + t)
    assert_allclose(wing.chord, 2 / 3 * 1.2 * (1 + taper + taper**2) / (1 + taper), rtol=1e-14)


def test_references_given_win() -> None:
    data = tables()
    data["wing"] |= {"reference_area": "100 ft2", "reference_chord": 1.0}
    wing = Case.from_tables(data).wing
    assert_allclose(wing.area, 9.290304)
    assert wing.chord == 1.0


def test_full_span_wing_equals_its_symmetric_half_in_references() -> None:
    data = tables()
    half = Case.from_tables(data).wing
    data["wing"] = {
        "symmetric": False,
        "stations": [{"y": -5, "chord": 0.8}, {"y": 0, "chord": 1.2}, {"y": 5, "chord": 0.8}],
        "flaps": [{"from": -0.8, "to": 0.2, "chord_fraction": 0.2, "deflection": 5}],
    }
    full = Case.from_tables(data).wing
    assert_allclose([full.area, full.chord, full.span], [half.area, half.chord, half.span])
    assert_allclose(full.flap_extent(full.flaps[0]), [-4.0, 1.0])


# Seen from behind, the starboard blade's inboard side lies to the left: it rises there when the
# top moves to starboard, that is clockwise. Common practice, no source.
@pytest.mark.parametrize(
    ("spin", "y", "expected"),
    [
        ("inboard_up", 1.5, 1),
        ("outboard_up", 1.5, -1),
        ("inboard_up", -1.5, -1),
        ("outboard_up", -1.5, 1),
        ("clockwise", 1.5, 1),
        ("clockwise", -1.5, 1),
        ("counterclockwise", 0.0, -1),
    ],
)
def test_rotation_sign(spin, y, expected) -> None:
    (item,) = Case.from_tables(tables(spin=spin, position=[-0.5, y, 0])).propeller_list()
    assert item.rotation == expected
    assert not item.is_twin


@pytest.mark.parametrize("spin", ["inboard_up", "outboard_up", "clockwise", "counterclockwise"])
@pytest.mark.parametrize(("y", "suffix"), [(1.5, "port"), (-1.5, "starboard")])
def test_twin_is_the_mirror_image(spin, y, suffix) -> None:
    case = Case.from_tables(
        tables(spin=spin, position=[-0.5, y, 0.1], mirror=True, toe=3, incidence=5)
    )
    own, twin = case.propeller_list()
    assert (own.name, twin.name) == ("inner", f"inner_{suffix}")
    assert twin.position == (-0.5, -y, 0.1)
    assert (twin.rotation, twin.toe, twin.incidence) == (-own.rotation, -3.0, 5.0)
    assert_allclose(twin.axis, [own.axis[0], -own.axis[1], own.axis[2]])
    assert twin.definition is own.definition and twin.is_twin
    assert case.is_symmetric


def test_axis_points_downstream_with_nose_up_and_to_starboard() -> None:
    (item,) = Case.from_tables(tables(incidence=10, toe=5)).propeller_list()
    assert_allclose(math.hypot(*item.axis), 1.0)
    assert item.axis[0] > 0 and item.axis[1] < 0 and item.axis[2] < 0
    assert_allclose(math.asin(-item.axis[2]), math.radians(10))


def test_twins_that_turn_alike() -> None:
    case = Case.from_tables(tables(spin="clockwise", mirror=True, twin_spin="clockwise"))
    assert [item.rotation for item in case.propeller_list()] == [1, 1]
    assert not case.is_symmetric


def test_twin_spin_speaks_of_the_twins_own_side() -> None:
    case = Case.from_tables(tables(mirror=True, twin_spin="inboard_up"))
    assert [item.rotation for item in case.propeller_list()] == [1, -1]
    assert case.is_symmetric


@pytest.mark.parametrize(
    ("change", "symmetric"),
    [
        ({"mirror": True}, True),
        ({}, False),
        ({"position": [-0.5, 0, 0], "spin": "clockwise"}, False),
        (DISC | {"position": [-0.5, 0, 0]}, True),
        (DISC | {"position": [-0.5, 0, 0], "toe": 2}, False),
        (DISC | {"mirror": True}, True),
        (DISC, False),
    ],
)
def test_symmetry_of_propellers(change, symmetric) -> None:
    assert Case.from_tables(tables(**change)).is_symmetric is symmetric


def test_two_propellers_written_out_are_as_symmetric_as_a_mirrored_one() -> None:
    data = tables()
    other = data["propellers"][0] | {"name": "left", "position": [-0.5, -1.5, 0.0]}
    data["propellers"].append(other)
    case = Case.from_tables(data)
    assert case.is_symmetric
    assert not case.replace(**{"propellers.left.rpm": 3001}).is_symmetric
    assert not case.replace(**{"propellers.left.spin": "clockwise"}).is_symmetric


@pytest.mark.parametrize("key", ["beta", "roll_rate", "yaw_rate"])
def test_symmetry_of_flow(key) -> None:
    case = Case.from_tables(tables(mirror=True))
    assert not case.replace(**{f"flow.{key}": 1.0}).is_symmetric
    assert case.replace(**{"flow.pitch_rate": 1.0, "flow.alpha": 7.0}).is_symmetric


def test_wing_alone_and_full_span() -> None:
    data = tables()
    del data["propellers"]
    assert Case.from_tables(data).is_symmetric
    data["wing"]["symmetric"] = False
    assert not Case.from_tables(data).is_symmetric


@pytest.mark.parametrize(
    ("position", "accepted"),
    [
        ([-0.5, 2.3, 0.0], True),  # touching neighbours
        ([-0.5, 2.2, 0.0], False),
        ([-1.2, 1.6, 0.0], False),  # 0.7 m ahead: less than a diameter
        ([-1.4, 1.6, 0.0], True),  # 0.9 m ahead: one in the slipstream of the other
        ([-0.5, 1.5, 0.8], True),  # one above the other
    ],
)
def test_discs_apart(position, accepted) -> None:
    data = tables()
    data["propellers"].append(data["propellers"][0] | {"name": "other", "position": position})
    if accepted:
        assert len(Case.from_tables(data).propellers) == 2
    else:
        with pytest.raises(InputError, match=r'propellers\[1\].position: disc "other" cuts'):
            Case.from_tables(data)


@pytest.mark.parametrize(
    ("position", "accepted"),
    [
        ([0.0, 1.5, 0.0], True),  # at the leading edge
        ([0.01, 1.5, 0.0], False),
        ([0.01, 1.5, 0.5], True),  # above the wing, radius 0.4
        ([0.01, 1.5, 0.39], False),  # only the disc's lowest part cuts
        ([1.3, 1.5, 0.0], True),  # a pusher
        ([0.3, 5.3, 0.0], False),  # over the tip
        ([0.3, 5.5, 0.0], True),  # beyond the tip
        ([0.3, -1.5, 0.0], False),  # the port half counts
    ],
)
def test_discs_clear_of_the_wing(position, accepted) -> None:
    data = tables(position=position)
    if accepted:
        assert Case.from_tables(data).propellers[0].position == tuple(position)
    else:
        with pytest.raises(InputError, match=r"propellers\[0\].position: disc .* cuts the wing"):
            Case.from_tables(data)


def test_tilt_moves_the_disc_into_the_wing() -> None:
    # Nose down by 30 degrees the lower half swings aft: 0.2 tan 30 = 0.115 m at the wing's height.
    at = {"position": [-0.05, 1.5, 0.2]}
    for incidence in (0, 30):
        assert not Case.from_tables(tables(**at, incidence=incidence)).is_symmetric
    with pytest.raises(InputError, match=r"where it stands at x = 0\.06547 m"):
        Case.from_tables(tables(**at, incidence=-30))


def test_tip_mach_limit_is_the_helical_one() -> None:
    case = Case.from_tables(tables())
    tip = math.sqrt(case.air.speed_of_sound**2 - 30.0**2)  # rotational tip speed at Mach 1
    rpm = tip / (math.pi * 0.8) * 60.0
    assert case.replace(**{"propellers.inner.rpm": 0.9999 * rpm}).propellers[0].rpm < rpm
    with pytest.raises(InputError, match="tip Mach number of at most 1"):
        case.replace(**{"propellers.inner.rpm": 1.0001 * rpm})


def test_size_counts_the_half_span_of_a_symmetric_case() -> None:
    case = Case.from_tables(tables(mirror=True)).replace(
        **{"model.chordwise": 10, "model.spanwise": 50, "model.jet_edge": False}
    )
    # Two slipstream edges on the half span bring 4 strips each; the whole span has two discs.
    assert problem_size(case.model, True, 2) == (10 * (50 + 8), 0)
    assert problem_size(case.model, False, 2) == (10 * (100 + 16), 0)
    # With edges a tube of 36 x 16 panels comes on top.
    edged = case.replace(**{"model.jet_edge": True})
    assert problem_size(edged.model, True, 2) == (10 * (50 + 8), 576)


def test_compressibility_off_lifts_the_mach_limit() -> None:
    case = Case.from_tables(tables(rpm=600))
    with pytest.raises(InputError, match=r"flow.airspeed: found Mach 0.8"):
        case.replace(**{"flow.airspeed": 290})
    fast = case.replace(**{"flow.airspeed": 290, "model.compressibility": False})
    assert fast.mach > 0.8


def test_mach_override() -> None:
    assert Case.from_tables(tables()).replace(**{"flow.mach": 0.5}).mach == 0.5


def test_folder_and_files_do_not_count_in_comparison(tmp_path: Path) -> None:
    data = tables()
    data["wing"]["stations"][0]["airfoil"] = "section.dat"
    here, there = Case.from_tables(data, tmp_path), Case.from_tables(data)
    assert here == there and hash(here) == hash(there)
    assert here != here.replace(title="other") and here != 3
    assert here.files() == [
        (("wing", "stations", 0, "airfoil"), tmp_path / "section.dat"),
        (("propellers", 0, "blade"), tmp_path / "inner.csv"),
    ]
    assert here.replace(**{"flow.alpha": 2}).folder == tmp_path


def test_copies_are_equal_and_keep_the_folder(tmp_path: Path) -> None:
    case = Case.from_tables(tables(), tmp_path)
    for other in (copy.deepcopy(case), pickle.loads(pickle.dumps(case))):
        assert other == case and other.folder == tmp_path


def test_frozen() -> None:
    case = Case.from_tables(tables())
    with pytest.raises(ValueError, match="frozen"):
        case.flow = case.flow
    with pytest.raises(ValueError, match="frozen"):
        case.wing.stations[0].chord = 2.0


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("NACA 2412", "naca2412"),
        ("naca23012", "naca23012"),
        ("flat", "flat"),
        ("a/b.dat", "a/b.dat"),
        ("naca23112", "naca23112"),
        ("Mine.csv", "Mine.csv"),
        ("naca0012", "naca0012"),
    ],
)
def test_section_names(name, kept) -> None:
    data = tables()
    data["wing"]["stations"][0]["airfoil"] = name
    assert Case.from_tables(data).wing.stations[0].airfoil == kept


@pytest.mark.parametrize(
    "name", ["naca2012", "naca2400", "naca21112", "naca20012", "naca23512", ""]
)
def test_sections_that_do_not_exist(name) -> None:
    data = tables()
    data["wing"]["stations"][0]["airfoil"] = name
    with pytest.raises(InputError, match=r"wing.stations\[0\].airfoil: found"):
        Case.from_tables(data)


@settings(derandomize=True, deadline=None)
@given(
    y=st.floats(0.5, 9.0),
    toe=st.floats(-10, 10),
    incidence=st.floats(-10, 10),
    spin=st.sampled_from(["inboard_up", "outboard_up", "clockwise", "counterclockwise"]),
)
def test_mirroring_twice_is_nothing(y, toe, incidence, spin) -> None:
    at = {"position": [-2.0, y, 0.0], "mirror": True, "incidence": incidence}
    start, twin = Case.from_tables(tables(**at, toe=toe, spin=spin)).propeller_list()
    at["position"] = [-2.0, twin.position[1], 0.0]
    word = {1: "clockwise", -1: "counterclockwise"}[twin.rotation]
    again = Case.from_tables(tables(**at, toe=twin.toe, spin=word)).propeller_list()[1]
    assert (again.position, again.rotation, again.toe) == (
        start.position,
        start.rotation,
        start.toe,
    )
