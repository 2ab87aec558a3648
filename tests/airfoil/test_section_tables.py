"""Section tables: files, constructed sections, stalled continuation, corrections."""

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from section_laws import SectionLaw, law_coefficients, section_table

from blownwing.airfoil.handbook import named_section
from blownwing.airfoil.library import LEVELS, section_for
from blownwing.airfoil.packed import coefficients
from blownwing.airfoil.reshape import over_reynolds
from blownwing.airfoil.section import read_section, write_section
from blownwing.errors import InputError

SECTIONS = Path(__file__).parents[2] / "shared" / "sections"
HEADER = "reynolds,alpha_deg,cl,cd,cm\n"


def table_text(source="# source: a test\n", header=HEADER, rows=None):
    rows = rows or [f"1e6,{a},{0.1 * a:.3f},0.01,0" for a in range(-10, 13)]
    return source + header + "\n".join(rows) + "\n"


def test_naca_0012_against_ladson():
    # Ladson (1988), NASA TM 4074, NACA 0012, Re 6 million, Mach 0.15, tripped (80 and 180 grit):
    # slope 0.1083 to 0.1094 per deg below 6 deg, largest cl 1.61 to 1.63, cd 0.00823 at 4 deg. The
    # constructed section stands for a smooth one of handbook level.
    table = over_reynolds(named_section("naca0012"), LEVELS)
    cl, cd, _ = coefficients(table, np.radians([0.0, 4.0]), 6e6)
    assert_allclose((cl[1] - cl[0]) / 4.0, 0.1087, rtol=0.05)
    assert_allclose(
        np.interp(math.log(6e6), np.log(table.reynolds), table.cl.max(axis=1)), 1.62, atol=0.06
    )
    assert 0.005 < cd[1] < 0.00823


@pytest.mark.parametrize(
    ("name", "zero_lift", "peak", "moment"),
    [
        # Abbott & von Doenhoff (1959), "Theory of Wing Sections", appendix IV, Re 9 million, values
        # from memory: zero-lift angle (deg), largest cl, cm about the aerodynamic centre.
        ("naca2412", -2.0, 1.68, -0.047),
        ("naca4412", -3.8, 1.67, -0.093),
        ("naca23012", -1.4, 1.79, -0.014),
    ],
)
def test_naca_sections_are_of_handbook_level(name, zero_lift, peak, moment):
    table = section_for(name)
    angles = np.radians(np.arange(-6.0, 20.0, 0.5))
    cl, _, cm = coefficients(table, angles, 9e6)
    assert_allclose(np.interp(0.0, cl, np.degrees(angles)), zero_lift, atol=0.5)
    assert_allclose(cl.max(), peak, rtol=0.09)
    assert_allclose(cm[0], moment, atol=0.015)
    assert_allclose(np.diff(cl)[8:14] / 0.5, 0.105, rtol=0.02)


@pytest.mark.parametrize("name", ["naca4412", "low_reynolds_cambered.csv", "cambered_4412.csv"])
def test_tables_are_continuous_round_the_circle(name):
    table = section_for(name, SECTIONS)
    assert_allclose(np.degrees(table.alpha[[0, -1]]), [-180.0, 180.0])
    # past a handbook section's peak lift falls by a little more than the attached line rises
    lift, moment = (0.07, 0.03) if name == "naca4412" else (0.06, 0.01)
    for values, jump in ((table.cl, lift), (table.cd, 0.03), (table.cm, moment)):
        assert np.abs(values[:, 4:] - values[:, :-4]).max() < jump  # over half a degree
        assert_allclose(values[:, 0], values[:, -1], atol=1e-12)
    assert table.cd.min() > 0.004


def test_stalled_continuation_follows_viterna():
    # Viterna & Corrigan (1982), NASA CP-2230: cd at 90 deg is 1.11 + 0.018 AR, lift vanishes there,
    # and between the last data point s and 90 deg cl = cdmax/2 sin 2α + A cos²α/sin α.
    table = section_for("cambered_4412.csv", SECTIONS)
    cl, cd, _ = coefficients(table, np.radians([20.0, 45.0, 90.0, -90.0]), 1e6)
    assert_allclose(cd[2:], 1.11 + 0.018 * 10.0, rtol=1e-12)
    assert_allclose(cl[2:], 0.0, atol=1e-12)
    s, half = math.radians(20.0), math.radians(45.0)
    rest = (cl[0] - 1.29 * math.sin(s) * math.cos(s)) * math.sin(s) / math.cos(s) ** 2
    assert_allclose(cl[1], 0.645 + rest * math.cos(half) ** 2 / math.sin(half), rtol=1e-9)


def test_prandtl_glauert_grows_lift_up_to_the_peak():
    table = section_for("naca4412")
    cl, cd, cm = coefficients(table, np.radians([2.0, 14.0]), 1e6)
    fast = coefficients(table, np.radians([2.0, 14.0]), 1e6, mach=0.6)
    assert_allclose(fast[0][0], cl[0] / 0.8, rtol=1e-12)
    assert_allclose(fast[2], cm / 0.8, rtol=1e-12)
    assert_allclose(fast[1], cd, rtol=1e-12)
    peak = table.cl[table.reynolds == 1e6].max()
    assert cl[1] / 0.8 > peak  # so that the limit acts
    assert_allclose(fast[0][1], peak, rtol=1e-12)
    # the growth ends at Mach 0.8
    assert_allclose(
        coefficients(table, 0.0, 1e6, mach=0.95)[0], coefficients(table, 0.0, 1e6)[0] / 0.6
    )


def test_reynolds_interpolation_is_linear_in_the_logarithm():
    table = read_section(SECTIONS / "low_reynolds_cambered.csv")
    angle = np.radians(2.0)
    ends = [coefficients(table, angle, re)[1] for re in (5e4, 1e5)]
    middle = coefficients(table, angle, math.sqrt(5e4 * 1e5))[1]
    assert_allclose(middle, np.mean(ends), rtol=1e-12)
    assert_allclose(coefficients(table, angle, 10.0)[1], coefficients(table, angle, 2e4)[1])


LAWS = {
    "low_reynolds_cambered": SectionLaw(
        math.radians(-3.5), math.degrees(0.1), 1.25, -0.8, 0.0165, 0.012, 0.5, -0.08, 1e5, 0.4
    ),
    "cambered_4412": SectionLaw(
        math.radians(-3.8),
        math.degrees(0.105),
        1.67,
        -1.0,
        0.0062,
        0.005,
        0.4,
        -0.093,
        9e6,
        0.2,
        0.2,
    ),
}


@pytest.mark.parametrize("name", LAWS)
def test_shared_tables_are_what_their_source_line_says(name):
    table = read_section(SECTIONS / f"{name}.csv")
    alpha = np.radians(np.arange(-14.0, 20.1, 1.0))
    for re in table.reynolds:
        built = law_coefficients(LAWS[name], alpha, float(re))
        for ours, read in zip(built, coefficients(table, alpha, float(re)), strict=True):
            assert_allclose(read, ours, atol=6e-6)


def test_writing_and_reading_agree(tmp_path):
    table = section_table("trial", LAWS["cambered_4412"], (1e5, 1e6), "a test")
    write_section(tmp_path / "trial.csv", table, np.arange(-14.0, 20.1, 0.5))
    back = read_section(tmp_path / "trial.csv")
    assert back.source == "a test"
    assert_allclose(back.reynolds, table.reynolds)
    # six digits at the joint of data and stalled plate, round-off nowhere else
    for field in ("cl", "cd", "cm"):
        assert_allclose(getattr(back, field), getattr(table, field), atol=2e-4)
    with pytest.raises(ValueError, match="read-only"):
        back.cl[0, 0] = 1.0


BAD = [
    (table_text(source=""), "no line"),
    (table_text(header="reynolds,alpha,cl,cd,cm\n"), "line 2: found header"),
    (table_text(rows=["1e6,0,0.1,0.01"]), "line 3"),
    (table_text(rows=["1e6,0,0.1,0.01,nan"]), "line 3"),
    (table_text(rows=["1e6,-10,0.1,0.01,0", "1e6,-12,0,0.01,0"]), "line 4: incidence must"),
    (table_text(rows=["1e6,-2,0.1,0.01,0", "1e6,12,0,0.01,0"]), "spanning -5 to 8"),
    (table_text(rows=["1e6,-10,0.1,0.01,0", "1e6,12,0,-0.01,0"]), "line 4: found cd"),
    (
        table_text(rows=[f"{r},{a},0,0.1,0" for r in (1e6, 1e5) for a in (-10, 12)]),
        "line 5: found Reynolds",
    ),
    ("# source: a test\n" + HEADER, "no rows"),
]


@pytest.mark.parametrize(("text", "words"), BAD)
def test_bad_section_files(tmp_path, text, words):
    path = tmp_path / "bad.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=words) as caught:
        read_section(path)
    assert "bad.csv" in str(caught.value)


def test_unreadable_files_are_refused(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_section(tmp_path / "missing.csv")
    (tmp_path / "noise.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="not UTF-8"):
        read_section(tmp_path / "noise.csv")
    with pytest.raises(InputError, match="NACA"):
        section_for("clark")


def test_measured_drag_of_a_built_in_name():
    # Ladson (1988), NASA TM 4074: a tripped NACA 0012 at 4 deg, Re 6 million
    drag = coefficients(section_for("naca0012"), np.radians(4.0), 6e6)[1]
    assert_allclose(drag, 0.0082, rtol=0.03)
    with pytest.raises(InputError, match='found "naca99"; accepted are'):
        section_for("naca99")
