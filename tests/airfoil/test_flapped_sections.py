"""Flaps on sections: thin-airfoil limits, identity, published levels."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from blownwing.airfoil.discrete import lattice_line
from blownwing.airfoil.flaps import KINDS, LAWS, flap_effect, flapped, viscous_share
from blownwing.airfoil.library import section_for
from blownwing.airfoil.packed import packed, packed_coefficients
from blownwing.airfoil.reshape import data_row, mirrored, table_line
from blownwing.errors import InputError

RAD = math.radians


@pytest.mark.parametrize(
    ("fraction", "effectiveness", "moment"),
    [
        # Glauert (1927), ARC R&M 1095, formulae evaluated independently.
        (0.05, 0.282314, -0.414095),
        (0.10, 0.395819, -0.540000),
        (0.20, 0.549815, -0.640000),
        (0.25, 0.608998, -0.649519),
        (0.30, 0.660746, -0.641561),
        (0.40, 0.747785, -0.587878),
        (0.50, 0.818310, -0.500000),
    ],
)
def test_theory_stands_behind_the_viscous_share(fraction, effectiveness, moment):
    for deflection in (RAD(1.0), RAD(20.0)):
        effect = flap_effect("plain", fraction, deflection)
        turned = viscous_share("plain", deflection) * deflection
        assert_allclose(-effect.zero_lift_shift / turned, effectiveness, rtol=1e-5)
        assert_allclose(effect.moment / turned, moment, rtol=1e-5)


def test_plain_flap_reaches_the_usual_share_of_theory():
    # Share of thin-airfoil theory that plain flaps reach: 0.85 to 0.95 at small deflection, about
    # 0.6 at 30 deg (MEMORY, rough).
    assert 0.85 < viscous_share("plain", RAD(3.0)) < 0.95
    assert_allclose(viscous_share("plain", RAD(30.0)), 0.6, rtol=1e-12)


@pytest.mark.parametrize(
    ("kind", "deflection", "growth"),
    # D. P. Raymer, "Aircraft Design", table 12.2: growth of the largest cl 0.9 (plain and split),
    # 1.3 (slotted), 1.3 c'/c (Fowler); MEMORY, ±15 %.
    [("plain", 60, 0.9), ("split", 60, 0.9), ("single_slotted", 40, 1.3), ("fowler", 40, 1.3)],
)
def test_growth_of_the_largest_lift(kind, deflection, growth):
    clean = section_for("naca2412")
    result = flapped(clean, kind, 0.25, RAD(deflection))
    gained = table_line(result.table, 9e6).clmax - table_line(clean, 9e6).clmax
    # Fowler: the flap is less than a quarter of the extended chord
    assert_allclose(gained, growth * result.chord_ratio, rtol=0.08 if kind == "fowler" else 0.002)


def test_naca_23012_with_flaps():
    # Wenzinger & Harris (1939), NACA TR 664: NACA 23012 with a slotted flap of 0.2566 chord,
    # largest cl about 2.8; split flap of 0.20 chord at 60 deg, about 2.5. WEAK: recalled, Re about
    # 3.5 million. The slotted one comes out 8 % high, within the ±15 % of the averages it rests on.
    table = section_for("naca23012")

    def largest(kind, fraction, deflection):
        result = flapped(table, kind, fraction, RAD(deflection)).table
        return np.interp(math.log(3.5e6), np.log(result.reynolds), result.cl.max(axis=1))

    assert_allclose(largest("single_slotted", 0.2566, 40.0), 2.8, rtol=0.10)
    assert_allclose(largest("split", 0.20, 60.0), 2.5, rtol=0.05)


def test_drag_of_flaps_in_the_published_form():
    # Young (1947), ARC R&M 2622 (form from memory): k (cf/c)^1.38 sin²δ, k = 1.7 plain and split,
    # 0.9 slotted.
    for kind, k in (("plain", 1.7), ("split", 1.7), ("single_slotted", 0.9)):
        expected = k * 0.3**1.38 * math.sin(RAD(25.0)) ** 2
        assert_allclose(flap_effect(kind, 0.3, RAD(25.0)).drag, expected, rtol=1e-12)
        clean = section_for("ls1-0417_smooth")
        set_ = flapped(clean, kind, 0.3, RAD(25.0)).table
        assert_allclose(set_.cd[-1].min() - clean.cd[-1].min(), expected, rtol=0.02)


@pytest.mark.parametrize("kind", KINDS)
def test_no_deflection_changes_nothing(kind):
    clean = section_for("ls1-0417_smooth")
    assert flapped(clean, kind, 0.3, 0.0).table is clean
    result = flapped(clean, kind, 0.3, 1e-6)
    assert_allclose(result.chord_ratio, 1.0, atol=1e-5)
    alpha, row = data_row(result.table, len(clean.reynolds) - 1)
    inside = (alpha > RAD(-10.0)) & (alpha < RAD(21.0))
    for k, values in enumerate((clean.cl, clean.cd, clean.cm)):
        reference = np.interp(alpha[inside], clean.alpha, values[-1])
        assert_allclose(row[k, inside], reference, atol=2e-4)


def test_a_flap_of_the_whole_chord_turns_the_section():
    # Limit of thin-airfoil theory: the hinge at the nose turns the section, cl(α) → cl(α + δ).
    clean, turn = section_for("ls1-0417_smooth"), RAD(6.0)
    turned = flapped(clean, "plain", 1.0, turn).table
    alpha = np.radians(np.linspace(-15.0, 14.0, 117))
    for before, after in ((clean.cl, turned.cl), (clean.cd, turned.cd), (clean.cm, turned.cm)):
        assert_allclose(
            np.interp(alpha, clean.alpha, after[-1]),
            np.interp(alpha + turn, clean.alpha, before[-1]),
            atol=2e-3,
        )
    nearly = flap_effect("plain", 0.999, turn)
    assert_allclose(-nearly.zero_lift_shift, turn, rtol=2e-3)
    assert abs(nearly.peak) < 0.05 and abs(nearly.moment) < 1e-3


def test_straight_part_keeps_its_slope_and_shifts():
    clean = section_for("naca2412")
    before = table_line(clean, 9e6)
    result = flapped(clean, "plain", 0.25, RAD(20.0))
    after = table_line(result.table, 9e6)
    effect = flap_effect("plain", 0.25, RAD(20.0))
    shift = after.zero_lift_angle - before.zero_lift_angle
    assert_allclose(shift, effect.zero_lift_shift, atol=1e-5)
    assert_allclose(after.slope, before.slope, rtol=2e-3)
    longer = flapped(clean, "fowler", 0.25, RAD(20.0))
    alpha = after.zero_lift_angle + np.radians([4.0, 8.0])
    rise = np.diff(np.interp(alpha, longer.table.alpha, longer.table.cl[-1]))[0]
    assert_allclose(rise / RAD(4.0) / before.slope, longer.chord_ratio, rtol=2e-3)
    assert 1.1 < longer.chord_ratio < 1.25


def test_ailerons_mirror():
    clean = section_for("naca0012_tripped_80")
    down = flapped(mirrored(clean), "plain", 0.25, RAD(15.0)).table
    up = flapped(clean, "single_slotted", 0.25, RAD(-15.0)).table
    assert_allclose(up.cl, -down.cl[:, ::-1], atol=1e-12)
    assert_allclose(up.cm, -down.cm[:, ::-1], atol=1e-12)
    assert_allclose(up.cd, down.cd[:, ::-1], atol=1e-12)
    line = table_line(up, 6e6)
    assert line.zero_lift_angle > RAD(5.0)
    assert line.clmax < table_line(clean, 6e6).clmax - 0.2
    assert up.name == clean.name


@given(
    kind=st.sampled_from(KINDS),
    fraction=st.floats(0.05, 0.6),
    first=st.floats(0.0, 80.0),
    second=st.floats(0.0, 80.0),
)
def test_more_deflection_never_lifts_less(kind, fraction, first, second):
    low, high = (flap_effect(kind, fraction, RAD(d)) for d in sorted((first, second)))
    assert high.zero_lift_shift <= low.zero_lift_shift + 1e-9
    assert high.peak >= low.peak - 1e-9
    assert high.drag >= low.drag - 1e-12
    assert high.chord_ratio >= low.chord_ratio - 1e-12
    assert high.moment <= low.moment + 5e-3 * (kind == "fowler") + 1e-9


@given(kind=st.sampled_from(KINDS), deflection=st.floats(1.0, 80.0), fraction=st.floats(0.05, 0.59))
def test_a_longer_flap_turns_more(kind, deflection, fraction):
    short = flap_effect(kind, fraction, RAD(deflection))
    longer = flap_effect(kind, fraction + 0.01, RAD(deflection))
    assert longer.zero_lift_shift < short.zero_lift_shift
    assert longer.drag > short.drag


@settings(deadline=None, max_examples=40)
@given(
    name=st.sampled_from(["naca23012", "ls1-0417_smooth", "naca0006", "flat", "naca6415"]),
    kind=st.sampled_from(KINDS),
    fraction=st.floats(0.05, 0.6),
    deflection=st.floats(-60.0, 80.0),
)
def test_every_flap_of_a_case_gives_a_usable_section(name, kind, fraction, deflection):
    if RAD(deflection) < 0.0 and kind in ("split", "fowler"):  # -5e-324 deg is 0 rad
        with pytest.raises(InputError, match="upwards"):
            flapped(section_for(name), kind, fraction, RAD(deflection))
        return
    table = flapped(section_for(name), kind, fraction, RAD(deflection)).table
    for values, per_degree in ((table.cl, 1.5), (table.cd, 0.6), (table.cm, 1.2)):
        assert np.all(np.isfinite(values))
        assert np.abs(np.diff(values, axis=1)).max() < 0.125 * per_degree


@pytest.mark.parametrize(
    ("kind", "fraction", "deflection", "words"),
    [
        ("zap", 0.3, 10.0, 'found "zap"; accepted are plain'),
        ("plain", 0.0, 10.0, "found 0; accepted is above 0"),
        ("plain", 1.2, 10.0, "found 1.2"),
        ("plain", 0.3, 95.0, "found 95 deg"),
        ("plain", 0.3, math.nan, "found nan deg"),
        ("fowler", 0.3, -5.0, "found -5 deg of a fowler flap"),
    ],
)
def test_wrong_flaps_are_refused(kind, fraction, deflection, words):
    with pytest.raises(InputError, match=words):
        flapped(section_for("naca2412"), kind, fraction, RAD(deflection))


def test_notes_name_the_sources():
    notes = " ".join(flapped(section_for("naca2412"), "fowler", 0.3, RAD(30.0)).notes)
    for word in ("Glauert", "Raymer", "Young", "from memory", "chord grows"):
        assert word in notes
    assert set(LAWS) == set(KINDS)


def test_lattice_of_a_flapped_line_against_theory():
    # Glauert (1927), ARC R&M 1095, within 0.5 %: panels whose hinge lies on an edge, small angle.
    for fraction, effectiveness in ((0.25, 0.608998), (0.5, 0.818310)):
        edges = np.linspace(0.0, 1.0, 201)
        x = 0.5 * (edges[1:] + edges[:-1])
        slope = np.where(x > 1.0 - fraction, -1e-3, 0.0)
        zero = lattice_line(edges, slope)[1]
        assert_allclose(-zero / 1e-3, effectiveness, rtol=0.005)


def test_flapped_and_clean_tables_pack_together():
    clean = section_for("naca2412")
    pack = packed([clean, flapped(clean, "plain", 0.25, RAD(20.0)).table])
    values = packed_coefficients(pack, [0, 0], [1, 1], [0.0, 1.0], [0.0, 0.0], [9e6, 9e6])
    assert values.cl[1] - values.cl[0] > 0.7


@pytest.mark.parametrize("name", ["naca2412", "ls1-0417_smooth", "naca23012"])
def test_a_slotted_flap_lowers_the_angle_of_the_stall(name):
    """By some degrees, more with more flap: common practice, no source; 3 to 5 deg at 30 to 40 deg
    of deflection from memory, held to 1 to 7. The angle itself by its formula, written anew."""
    clean = section_for(name)
    k = int(np.argmin(np.abs(clean.reynolds - 4e6)))
    before, row = data_row(clean, k)
    line = table_line(clean, 4e6)
    stalled = before[np.argmax(row[0])]
    angles = []
    for degrees in (15.0, 30.0, 40.0):
        after, values = data_row(flapped(clean, "single_slotted", 0.28, RAD(degrees)).table, k)
        angles.append(after[np.argmax(values[0])])
        effect = flap_effect("single_slotted", 0.28, RAD(degrees))
        expected = stalled + effect.zero_lift_shift + effect.peak / line.slope
        assert_allclose(angles[-1], expected, atol=RAD(0.3))
    falls = np.degrees(stalled - np.array(angles))
    assert np.all(np.diff([0.0, *falls]) > 0.0)
    assert 1.0 < falls[1] < 7.5 and 3.0 < falls[2] < 7.5
