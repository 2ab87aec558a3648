"""Sections by name against the readings they were transcribed from, and how names are found."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from blownwing.airfoil.attached import filled_drag, lift_line
from blownwing.airfoil.camber import thin_airfoil
from blownwing.airfoil.discrete import lattice_line
from blownwing.airfoil.handbook import handbook, named_section
from blownwing.airfoil.library import built_in_sections, mean_line_slope, section_for
from blownwing.airfoil.packed import coefficients
from blownwing.airfoil.reshape import data_row, over_reynolds, table_line
from blownwing.airfoil.section import ALPHA_GRID
from blownwing.errors import InputError

NAMES = [section.name for section in built_in_sections()]
MEASURED = [section.name for section in built_in_sections() if section.measured]

# alpha (deg), cl, cd (None: not measured), read from the sources named.
READINGS = {
    # Ladson (1988), NASA TM 4074, Re 6 million, Mach 0.15, 80 grit; VERIFIED-READ in an open copy.
    ("naca0012_tripped_80", 6e6): [
        (-4.04, -0.4417, 0.00871),
        (4.04, 0.4316, 0.00823),
        (8.30, 0.8873, 0.01050),
        (12.12, 1.2605, 0.01332),
        (15.26, 1.5129, 0.01900),
        (17.13, 1.6116, 0.02560),
        (18.02, 0.9967, 0.18785),
        (19.08, 1.1358, 0.27292),
        (-15.26, -1.5129, 0.01900),  # mirrored, assumed
    ],
    # The same, 120 and 180 grit.
    ("naca0012_tripped_120", 6e6): [(10.10, 1.0775, 0.01175), (17.24, 1.6347, 0.02519)],
    ("naca0012_tripped_180", 6e6): [(6.09, 0.6558, 0.00851), (17.13, 1.6219, 0.02513)],
    # Althaus, Stuttgart, in Bertagnolio and others (2001), Risoe-R-1280, Re 1.5 million.
    ("ls1-0417_smooth", 1.5e6): [
        (-3.3, 0.05, 0.0075),
        (-0.3, 0.42, 0.0069),
        (4.8, 0.94, 0.0129),
        (8.3, 1.18, 0.0235),
        (16.6, 1.57, None),
        (23.0, 1.36, None),
    ],
    ("ls1-0417_rough", 1.5e6): [(0.0, 0.43, 0.0072), (16.5, 1.58, None), (19.8, 1.36, None)],
    ("ls1-0413_smooth", 1.5e6): [(-1.2, 0.38, 0.0061), (8.6, 1.31, 0.0183), (16.2, 1.66, None)],
    ("ls1-0413_rough", 1.5e6): [(-1.4, 0.31, 0.0075), (9.4, 1.34, 0.0211), (16.5, 1.65, None)],
    # Abbott & von Doenhoff data in the same catalogue, Re 3 million.
    ("naca63-415", 3e6): [(2.13483, 0.620021, 0.00601936), (13.2204, 1.55862, None)],
    ("naca63-418", 3e6): [(5.16034, 0.885564, 0.00743446), (13.3096, 1.38254, None)],
    ("naca64-415", 3e6): [(4.16921, 0.810856, 0.00654747), (14.341, 1.48261, None)],
}


@pytest.mark.parametrize(("name", "reynolds"), READINGS)
def test_tables_pass_through_the_readings(name, reynolds):
    table = section_for(name)
    angles, lift, drag = (np.array(v, dtype=float) for v in np.transpose(READINGS[name, reynolds]))
    cl, cd, _ = coefficients(table, np.radians(angles), reynolds)
    # the grid cuts the corner at a table's last reading, where the stalled plate takes over
    last = np.isclose(np.radians(angles), table.data_range[-1, 1])
    assert_allclose(cl[~last], lift[~last], atol=0.004)
    assert_allclose(cl[last], lift[last], atol=0.012)
    known = np.isfinite(drag)
    assert_allclose(cd[known], drag[known], rtol=0.02)
    # on this grid of an eighth of a degree nothing lies above the largest reading
    low, high = table.data_range[-1]
    inside = (table.alpha >= low) & (table.alpha <= high)
    peak = max(lift)
    assert_allclose(table.cl[-1, inside].max(), peak, atol=0.001)


def test_every_measured_table_is_checked():
    assert {name for name, _ in READINGS} == set(MEASURED)


@pytest.mark.parametrize(
    ("name", "slope"),
    [
        # Ladson (1988), slope within 6.2 deg of zero: 0.1083, 0.1094, 0.1087 per deg.
        ("naca0012_tripped_80", 0.1083),
        ("naca0012_tripped_120", 0.1094),
        ("naca0012_tripped_180", 0.1087),
    ],
)
def test_lift_slope_of_naca_0012(name, slope):
    line = table_line(section_for(name), 6e6)
    assert_allclose(math.radians(line.slope), slope, rtol=0.01)
    assert abs(math.degrees(line.zero_lift_angle)) < 0.2


@pytest.mark.parametrize(
    ("name", "zero_lift", "slope", "clmax", "at", "moment", "drag"),
    [
        # Abbott & von Doenhoff (1959), "Theory of Wing Sections", appendix IV, Re 9 million;
        # MEMORY, the slope of 2412 VERIFIED-READ in Anderson (1999), "Aircraft Performance and
        # Design", p. 63.
        ("naca2412", -2.0, 0.105, 1.68, 16.8, -0.047, 0.0060),
        ("naca4412", -3.8, 0.105, 1.67, 14.0, -0.093, 0.0062),
        ("naca4415", -4.3, 0.105, 1.64, 15.0, -0.093, 0.0064),
        ("naca23012", -1.4, 0.107, 1.79, 18.0, -0.014, 0.0060),
        ("naca4424", -3.8, 0.100, 1.38, 16.0, -0.082, None),
        ("naca65-210", -1.6, 0.108, 1.40, 12.0, -0.034, None),
    ],
)
def test_handbook_sections_have_the_handbook_values(
    name, zero_lift, slope, clmax, at, moment, drag
):
    table = section_for(name)
    line = table_line(table, 9e6)
    assert_allclose(math.degrees(line.zero_lift_angle), zero_lift, atol=0.01)
    assert_allclose(math.radians(line.slope), slope, rtol=0.002)
    assert_allclose(line.clmax, clmax, atol=0.001)
    peak = int(np.argmax(np.where(np.abs(table.alpha) < 0.6, table.cl[-1], 0.0)))
    assert_allclose(math.degrees(table.alpha[peak]), at, atol=0.13)
    assert_allclose(coefficients(table, np.radians([2.0]), 9e6)[2], moment, atol=1e-4)
    if drag is not None:
        assert_allclose(table.cd[-1].min(), drag, atol=2e-5)


def test_measured_and_handbook_agree_where_both_exist():
    # NACA 63(2)-415 and 64(2)-415, Abbott & von Doenhoff (1959), appendix IV, Re 9 million, MEMORY,
    # medium: zero lift -2.8 deg, clmax 1.68 and 1.66; against the catalogue's data at Re 3 million.
    # The slopes recalled for them, 0.118 and 0.115, and the zero-lift angles disagree by up to
    # 0.5 deg with the catalogue, kept as known.
    for name, zero, slope, clmax in (
        ("naca63-415", -2.8, 0.118, 1.68),
        ("naca64-415", -2.8, 0.115, 1.66),
    ):
        line = table_line(section_for(name), 3e6)
        assert_allclose(math.degrees(line.zero_lift_angle), zero, atol=0.5)
        assert_allclose(math.radians(line.slope), slope, rtol=0.05)
        assert 0.05 < clmax - line.clmax < 0.2


def test_estimated_drag_against_ladson():
    # Ladson (1988), NASA TM 4074, 80 grit: the drag beyond 10.12 deg is left out and estimated. The
    # estimate is 0.033 against 0.0256 at the peak and 0.10 against 0.19 just beyond.
    table = section_for("naca0012_tripped_80")
    alpha, row = data_row(table, len(table.reynolds) - 1)
    front = alpha > math.radians(-5.0)
    alpha, row = alpha[front], row[:, front]
    known = np.where(alpha < math.radians(10.2), row[1], np.nan)
    guess = filled_drag(alpha, row[0], known)
    at = np.radians([12.12, 15.26, 17.13, 18.02])
    ratio = np.interp(at, alpha, guess) / [0.01332, 0.01900, 0.02560, 0.18785]
    assert_allclose(ratio[:3], 1.0, atol=0.40)
    assert 0.45 < ratio[3] < 0.75


def _lift(table, index):
    alpha, row = data_row(table, index)
    return alpha, row[0]


@pytest.mark.parametrize("name", NAMES)
def test_lower_reynolds_numbers_only_cost(name):
    # Common practice, no source: 0.2 of peak per decade, drag as Re^-0.2.
    table = section_for(name)
    peaks = [lift_line(*_lift(table, k)).clmax for k in range(len(table.reynolds))]
    decades = np.diff(np.log10(table.reynolds))
    assert_allclose(np.diff(peaks) / decades, 0.2, atol=0.02)
    own = table.reynolds[-1]
    least = table.cd[-1].min() * (own / table.reynolds) ** 0.2
    assert_allclose(table.cd.min(axis=1), least, rtol=1e-3)
    line = table_line(table, 1e5)
    assert_allclose(line.zero_lift_angle, table_line(table, own).zero_lift_angle, atol=2e-3)


def test_a_table_at_its_own_reynolds_number_is_left_alone():
    table = section_for("naca2412")
    one = over_reynolds(section_for("flat"), (1e9,))
    assert over_reynolds(one, (1e9,)) is one
    assert table.reynolds[-1] == 9e6


@pytest.mark.parametrize("name", [*NAMES, "flat", "naca6415", "NACA 23018", "naca2409"])
def test_sections_are_continuous_round_the_circle(name):
    table = section_for(name)
    assert_allclose(table.alpha, ALPHA_GRID)
    for values, per_degree in ((table.cl, 1.2), (table.cd, 0.45), (table.cm, 0.2)):
        assert np.all(np.isfinite(values))
        assert np.abs(np.diff(values, axis=1)).max() < 0.125 * per_degree
        assert_allclose(values[:, 0], values[:, -1], atol=1e-9)
    assert table.cd.min() > 0.004


def test_constructed_sections_stay_near_measured_ones():
    # NACA 2412 and 23012 left out of the handbook: ±0.15 in largest cl is claimed, ±0.3 deg in zero
    # lift (values as above).
    for name, zero, clmax in (("naca2412", -2.0, 1.68), ("naca23012", -1.4, 1.79)):
        line = table_line(named_section(name), 9e6)
        assert_allclose(line.clmax, clmax, atol=0.15)
        assert_allclose(math.degrees(line.zero_lift_angle), zero, atol=0.35)


def test_sources_and_tags_are_told():
    for section in built_in_sections():
        assert (
            "Abbott" in section.source or "Ladson" in section.source or "Althaus" in section.source
        )
        assert section.tag.split(":")[0].split(",")[0] in ("VERIFIED-READ", "MEMORY")
    assert "common trends" in section_for("ls1-0413_rough").source
    assert "constructed" in section_for("naca2412").source
    assert len(NAMES) == len(set(NAMES)) == len(MEASURED) + len(handbook()[0])


def test_names_are_found(tmp_path):
    assert section_for("NACA 0012") is section_for("naca0012_tripped_80")
    assert section_for("NACA 63-415").name == "naca63-415"
    assert section_for("naca6415").name == "naca6415"
    table = tmp_path / "trial.csv"
    rows = "\n".join(f"1e6,{a},{0.1 * a:.3f},0.01,0" for a in range(-10, 13))
    table.write_text(f"# source: a trial\nreynolds,alpha_deg,cl,cd,cm\n{rows}\n", encoding="utf-8")
    read = section_for("trial.csv", tmp_path)
    assert read.name == "trial" and len(read.reynolds) == 1
    for bad in ("", " ", "clark", "naca12", "missing.csv"):
        with pytest.raises(InputError, match="accepted"):
            section_for(bad, tmp_path)
    with pytest.raises(InputError, match="not UTF-8"):
        (tmp_path / "noise.dat").write_bytes(b"\xff\xfe\x00")
        section_for("noise.dat", tmp_path)
    (tmp_path / "empty.csv").write_text("# source: nothing\n", encoding="utf-8")
    with pytest.raises(InputError, match="no rows"):
        section_for("empty.csv", tmp_path)


# Clark Y, classic ordinates above the flat lower face (MEMORY).
CLARK_Y = """\
0 .0350 .0350  .0125 .0545 .0193  .025 .0650 .0147  .05 .0790 .0093  .075 .0885 .0063
.1 .0960 .0042  .15 .1069 .0015  .2 .1136 .0003  .3 .1170 0  .4 .1140 0  .5 .1052 0
.6 .0915 0  .7 .0735 0  .8 .0522 0  .9 .0280 0  .95 .0149 0  1 .0012 0"""


def test_coordinates_give_a_section(tmp_path):
    x, upper, lower = np.array(CLARK_Y.split(), dtype=float).reshape(-1, 3).T
    outline = np.vstack([np.column_stack([x, upper])[::-1], np.column_stack([x, lower])[1:]])
    np.savetxt(tmp_path / "outline.dat", outline)
    table = section_for("outline.dat", tmp_path)
    line = table_line(table, 9e6)
    # Inviscid panel calculation on these ordinates: zero lift at -3.58 deg to the chord (COMPUTED);
    # the thin camber line leaves out thickness.
    assert_allclose(math.degrees(line.zero_lift_angle), -3.58, atol=0.15)
    assert_allclose(line.clmax, 1.67, atol=0.05)  # level of the handbook's 12 % sections
    slope = mean_line_slope("outline.dat", [0.2, 0.8], tmp_path)
    assert slope[0] > 0.0 > slope[1]


@pytest.mark.parametrize("name", ["ls1-0417_smooth", "naca65-210", "naca2412", "flat", "naca0012"])
def test_mean_lines_lift_like_their_tables(name):
    # A parabola's zero-lift angle, −2 h, is exact on any number of equal panels (James 1972, "On
    # the remarkable accuracy of the vortex lattice method"); camber lines by thin-airfoil theory.
    edges = np.linspace(0.0, 1.0, 41)
    x = edges[:-1] + 0.75 * np.diff(edges)
    zero = lattice_line(edges, np.arctan(mean_line_slope(name, x)))[1]
    if (name.startswith("naca") and "-" not in name) or name == "flat":
        assert_allclose(zero, thin_airfoil(name).zero_lift_angle, atol=2e-4)
    else:
        assert_allclose(zero, table_line(section_for(name), 9e6).zero_lift_angle, rtol=1e-9)


def test_lift_line_without_a_crossing():
    alpha = np.radians(np.arange(-5.0, 10.0))
    line = lift_line(alpha, 6.0 * (alpha + 0.2))
    assert_allclose([line.zero_lift_angle, line.slope], [-0.2, 6.0], rtol=1e-9)
