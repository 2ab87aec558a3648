"""Blade files: what is read, and what is refused with file and line."""

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from blownwing.errors import InputError
from blownwing.propeller.blade import read_blade
from blownwing.propeller.rotor import build_rotor

BLADES = Path(__file__).parents[2] / "shared" / "blades"
HEADER = "r/R,c/R,twist_deg,section\n"
GOOD = "0.2,0.1,40,naca4412\n0.6,0.12,25,naca4412\n1,0.05,15,naca2412\n"


def written(tmp_path, text):
    path = tmp_path / "trial.csv"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("path", sorted(BLADES.glob("*.csv")), ids=lambda p: p.stem)
def test_shared_blades_read(path):
    blade = read_blade(path)
    assert len(blade.source) > 20
    assert blade.radius[-1] == 1.0
    assert np.all(blade.twist > 0.0)
    assert set(blade.sections) == set(blade.tables)


def test_fields_and_units(tmp_path):
    blade = read_blade(written(tmp_path, "# source: here\n\n" + HEADER + GOOD))
    assert (blade.name, blade.source) == ("trial", "here")
    assert_allclose(blade.radius, [0.2, 0.6, 1.0])
    assert_allclose(np.degrees(blade.twist), [40.0, 25.0, 15.0])
    assert blade.sections == ("naca4412", "naca4412", "naca2412")
    with pytest.raises(ValueError, match="read-only"):
        blade.chord[0] = 1.0


def test_unlike_sections_are_mixed_by_radius(tmp_path):
    blade = read_blade(written(tmp_path, "# source: here\n" + HEADER + GOOD))
    rotor = build_rotor(blade, 2.0, 3, 16)
    inboard = rotor.r < 0.6
    assert len(set(rotor.stations[inboard])) == 1
    assert len(set(rotor.stations[~inboard])) == (~inboard).sum()
    k = int(np.argmax(rotor.r))
    share = (rotor.r[k] - 0.6) / 0.4
    first, second = (blade.tables[name].cl for name in ("naca4412", "naca2412"))
    assert_allclose(
        rotor.polars[rotor.stations[k], :, :, 0], (1 - share) * first + share * second, atol=1e-12
    )


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (HEADER + GOOD, "no line"),
        ("# source: x\nr,c,twist,section\n" + GOOD, "line 2: found header"),
        ("# source: x\n" + HEADER + "0.2,0.1,40\n", "line 3: found"),
        ("# source: x\n" + HEADER + "0.2,wide,40,naca4412\n", "line 3: found"),
        ("# source: x\n" + HEADER + "0.2,nan,40,naca4412\n", "line 3: found"),
        ("# source: x\n" + HEADER + GOOD + "0.9,0.1,10,naca4412\n", "line 6: found r/R"),
        ("# source: x\n" + HEADER + "0,0.1,10,naca4412\n", "line 3: found r/R"),
        ("# source: x\n" + HEADER + "0.2,-0.1,10,naca4412\n", "line 3: found c/R"),
        ("# source: x\n" + HEADER + "0.2,0.1,100,naca4412\n", "line 3: found twist"),
        ("# source: x\n" + HEADER + "0.2,0.1,10,no_such.csv\n", "line 3: section"),
        ("# source: x\n" + HEADER + "0.2,0.1,10,naca4412\n0.8,.1,9,naca4412\n", "last station"),
        ("# source: x\n" + HEADER + "1,0.1,10,naca4412\n", "found 1 stations"),
    ],
)
def test_bad_blade_files(tmp_path, text, words):
    with pytest.raises(InputError, match=words) as caught:
        read_blade(written(tmp_path, text))
    assert "trial.csv" in str(caught.value)


def test_a_changed_section_file_is_read_again(tmp_path):
    section = "# source: here\nreynolds,alpha_deg,cl,cd,cm\n"
    rows = "1e5,-10,-0.8,0.02,0\n1e5,0,{},0.01,0\n1e5,10,1.2,0.03,0\n"
    own = tmp_path / "own.csv"
    text = "# source: here\n" + HEADER + GOOD.replace("naca4412", "own.csv")
    own.write_text(section + rows.format("0.2"), encoding="utf-8")
    first = read_blade(written(tmp_path, text)).tables["own.csv"]
    assert read_blade(tmp_path / "trial.csv").tables["own.csv"] is first
    own.write_text(section + rows.format("0.25"), encoding="utf-8")
    changed = read_blade(tmp_path / "trial.csv").tables["own.csv"]
    assert_allclose(changed.cl[0, 1440], 0.25)


def test_missing_file_is_refused(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_blade(tmp_path / "none.csv")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"diameter": -1.0}, "diameter"),
        ({"blades": 0}, "0 blades"),
        ({"n_radial": 1}, "1 annuli"),
        ({"hub_radius": 2.0}, "hub radius"),
        ({"spacing": "random"}, "spacing"),
    ],
)
def test_impossible_rotors_are_refused(arguments, words):
    blade = read_blade(BLADES / "high_lift_5.csv")
    with pytest.raises(InputError, match=words):
        build_rotor(blade, **({"diameter": 0.8, "blades": 5} | arguments))
