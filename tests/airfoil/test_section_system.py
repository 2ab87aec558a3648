"""One section system: a name has one polar on wings and blades, with the limits it must have."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from blownwing.airfoil.camber import ThinAirfoil
from blownwing.airfoil.handbook import correlated_section, named_section
from blownwing.airfoil.library import LEVELS, section_for, section_thickness
from blownwing.airfoil.packed import coefficients, packed, packed_coefficients
from blownwing.airfoil.reshape import over_reynolds
from blownwing.errors import InputError
from blownwing.kernels import blade as kernel
from blownwing.propeller.blade import read_blade
from blownwing.propeller.packing import packed_sections
from blownwing.wing.profile import profile_drag, strip_thickness

RADII = np.array([0.2, 0.45, 0.6, 0.7, 0.95, 1.0])
NAMES = ("naca4412", "naca0012", "ls1-0417_smooth", "naca2410", "flat")


PACK = packed([section_for(name) for name in NAMES])


@pytest.fixture(scope="module")
def elements(tmp_path_factory):
    """Tables at `RADII` of a blade whose stations have unlike sections."""
    path = tmp_path_factory.mktemp("blade") / "blade.csv"
    rows = [f"{r},0.1,10,{name}" for r, name in zip((0.2, 0.4, 0.6, 0.8, 1.0), NAMES, strict=True)]
    text = "\n".join(["# source: a test", "r/R,c/R,twist_deg,section", *rows]) + "\n"
    path.write_text(text, encoding="utf-8")
    return packed_sections(read_blade(path), RADII)


@settings(deadline=None)
@given(
    alpha=st.floats(-3.1, 3.1),
    reynolds=st.floats(2e4, 2e7),
    mach=st.floats(0.0, 0.9),
    element=st.integers(0, len(RADII) - 1),
)
def test_a_name_has_one_polar_on_blades_and_wings(elements, alpha, reynolds, mach, element):
    stations, tables = elements
    row, weight = kernel.between_levels(tables.log_reynolds, reynolds)
    k, factor = stations[element], kernel.prandtl_glauert(mach)
    lift, drag, slope, _, moment = kernel.section_coefficients(
        tables.values[k], tables.peaks[k], row, weight, factor, alpha
    )
    place = (RADII[element] - 0.2) / 0.2
    left = min(int(place + 1e-12), 3)
    strip = packed_coefficients(PACK, left, left + 1, place - left, alpha, reynolds, mach)
    assert_allclose([lift, drag, moment], [strip.cl, strip.cd, strip.cm], rtol=1e-9, atol=1e-9)
    assert_allclose(slope, strip.lift_slope, rtol=1e-6, atol=1e-6)


@pytest.mark.parametrize("name", NAMES)
def test_packing_with_others_changes_no_section(name):
    # tables of other Reynolds numbers beside it: measured ones have a level of their own
    reynolds = np.array([3e4, 1.7e5, 1.2e6, 2.9e6, 7e6])
    alpha = np.linspace(-3.0, 3.0, 801)[:, None]
    alone = coefficients(section_for(name), alpha, reynolds, 0.4)
    k = NAMES.index(name)
    among = packed_coefficients(PACK, k, k, 0.0, alpha, reynolds, 0.4)
    for one, other in zip(alone, (among.cl, among.cd, among.cm), strict=True):
        assert_allclose(other, one, atol=1e-12)


@pytest.mark.parametrize("name", NAMES)
def test_coefficients_are_continuous_round_the_circle(name):
    # no jump between neighbours a thousandth of a degree apart, at the ends of the circle neither.
    # The steepest there is: Ladson's readings (1988, NASA TM 4074) fall by 0.62 within 0.9 deg
    # beyond the peak, and a cubic through them is half as steep again at most.
    table = section_for(name)
    alpha = np.radians(np.append(np.arange(-25.0, 25.0, 1e-3), [179.9995, -179.9995]))
    for values, steepest in zip(coefficients(table, alpha, 8e5), (65.0, 20.0, 10.0), strict=True):
        ends = np.abs(values[-1] - values[-2])
        assert max(np.abs(np.diff(values[:-2])).max(), ends) < steepest * math.radians(1e-3)


@pytest.mark.parametrize("name", NAMES)
def test_broadside_a_section_is_a_plate(name):
    # Viterna & Corrigan (1982), NASA CP-2230: cd 1.11 + 0.018 A at A = 10, no lift; the centre of
    # pressure of a plate broadside is its middle, a quarter chord behind the quarter chord
    # (common practice, no source)
    cl, cd, cm = coefficients(section_for(name), np.radians([90.0, -90.0]), 1e6)
    assert_allclose(cl, 0.0, atol=1e-12)
    assert_allclose(cd, 1.29, rtol=1e-12)
    assert_allclose(cm, [-0.25 * 1.29, 0.25 * 1.29], rtol=1e-6)


def test_at_rest_the_factor_is_one():
    # Glauert (1928), Proceedings of the Royal Society A 118: 1/√(1 − M²); lift grows by M²/2 first
    table = section_for("naca2412")
    cl, cd, cm = coefficients(table, table.alpha[1400:1480], 9e6, 0.0)
    for values, given_ones in ((cl, table.cl), (cd, table.cd), (cm, table.cm)):
        assert_allclose(values, given_ones[-1, 1400:1480], rtol=1e-14, atol=1e-15)
    still, slow = (coefficients(table, 0.02, 9e6, mach)[0] for mach in (0.0, 1e-3))
    assert_allclose(slow / still - 1.0, 0.5e-6, rtol=1e-4)


@pytest.mark.parametrize("decades", [0.0, 0.05, 0.33, 0.74, 1.0, 1.9])
def test_handbook_laws_scale_with_reynolds_number(decades):
    # trends below a section's own Reynolds number (common practice, no source): the largest cl
    # falls by 0.2 per decade, the least drag grows as Re^-0.2; linear in log Re between the levels,
    # which lie a tenth of a decade apart here
    own = 9e6
    table = over_reynolds(named_section("naca4410"), tuple(own / 10 ** np.arange(2.0, 0.0, -0.1)))
    reynolds = own / 10**decades
    alpha = np.radians(np.arange(-8.0, 20.0, 0.125))
    cl, cd, _ = coefficients(table, alpha, reynolds)
    top = coefficients(table, alpha, own)
    assert_allclose(cl.max(), top[0].max() - 0.2 * decades, atol=3e-3)
    assert_allclose(cd.min() / top[1].min(), 10 ** (0.2 * decades), rtol=2e-3)


def test_without_thickness_a_section_has_a_plate_s_drag():
    # Hoerner (1965), "Fluid-Dynamic Drag", chapter VI (from memory): 1 + 2 t + 60 t^4
    line = ThinAirfoil(0.0, 0.0, 0.0)
    thin, thick = (correlated_section("trial", line, t, False).cd.min() for t in (0.0, 0.12))
    assert_allclose(thick / thin, 1.0 + 0.24 + 60 * 0.12**4, rtol=1e-9)
    near = correlated_section("trial", line, 1e-6, False).cd.min()
    assert_allclose(near, thin, rtol=3e-6)


def outline(path, thickness):
    """Coordinates of a symmetric four-digit section, closed trailing edge."""
    x = 0.5 * (1.0 - np.cos(np.linspace(0.0, np.pi, 81)))
    half = (
        5.0 * thickness
        * (0.2969 * np.sqrt(x) - 0.126 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1036 * x**4)
    )  # fmt: skip
    points = [*zip(x[::-1], half[::-1], strict=True), *zip(x[1:], -half[1:], strict=True)]
    path.write_text("\n".join(f"{a:.8f} {b:.8f}" for a, b in points) + "\n", encoding="utf-8")


@pytest.mark.parametrize(("thickness", "change"), [(0.06, -0.105), (0.18, 0.136), (0.21, 0.227)])
def test_thickness_comes_from_coordinates(tmp_path, thickness, change):
    # four-digit thickness law of Jacobs, Ward & Pinkerton (1933), NACA Report 460; changes of
    # friction drag against 12 % by 1 + 2 t + 60 t^4 evaluated by hand
    outline(tmp_path / "own.dat", thickness)
    assert_allclose(section_thickness("own.dat", tmp_path), thickness, rtol=2e-3)
    one = np.ones(1)
    found = strip_thickness(["own.dat", "own.dat"], tmp_path, 0.3 * one)
    drag, usual = (profile_drag(one, 40 * one, t, 1.2, 1.8e-5) for t in (found, 0.12 * one))
    assert_allclose(drag / usual - 1.0, change, atol=3e-3)
    # the same section by name and by coordinates
    by_name, by_file = (
        section_for(f"naca00{round(100 * thickness):02d}"),
        section_for("own.dat", tmp_path),
    )
    if thickness != 0.06:  # the handbook has a row of its own for that one
        assert_allclose(by_file.cl, by_name.cl, atol=0.02)


def test_thickness_by_name_and_where_it_is_untold(tmp_path):
    for name, thickness in (
        ("flat", 0.0), ("naca2412", 0.12), ("NACA 23015", 0.15), ("naca0012_tripped_80", 0.12),
        ("ls1-0417_smooth", 0.17), ("naca63-418", 0.18),
    ):  # fmt: skip
        assert section_thickness(name) == pytest.approx(thickness, abs=1e-12)
    rows = "\n".join(f"1e6,{a},{0.1 * a},0.01,0" for a in range(-10, 13))
    text = f"# source: a test\nreynolds,alpha_deg,cl,cd,cm\n{rows}\n"
    (tmp_path / "data.csv").write_text(text, encoding="utf-8")
    assert section_thickness("data.csv", tmp_path) is None
    (tmp_path / "told.csv").write_text(f"# thickness: 0.21\n{text}", encoding="utf-8")
    assert section_thickness("told.csv", tmp_path) == 0.21
    for word in ("thick", "21", "nan", "-0.1"):
        (tmp_path / "bad.csv").write_text(f"# thickness: {word}\n{text}", encoding="utf-8")
        with pytest.raises(InputError, match=r"bad\.csv: thickness: found .* accepted is 0 to 0.5"):
            section_thickness("bad.csv", tmp_path)
    place = np.array([0.0, 0.5, 1.0])
    assert_allclose(strip_thickness(["flat", "data.csv"], tmp_path, place), [0.0, 0.06, 0.12])


def test_blades_take_coordinates(tmp_path):
    outline(tmp_path / "own.dat", 0.12)
    (tmp_path / "blade.csv").write_text(
        "# source: a test\nr/R,c/R,twist_deg,section\n0.2,0.1,20,own.dat\n1.0,0.1,10,own.dat\n",
        encoding="utf-8",
    )
    blade = read_blade(tmp_path / "blade.csv")
    assert blade.tables["own.dat"] is section_for("own.dat", tmp_path)
    assert list(blade.tables["own.dat"].reynolds) == [*LEVELS, 9e6]
