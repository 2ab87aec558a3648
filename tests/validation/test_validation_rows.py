"""Rows of a comparison: errors, bands, tags, and the file the published values stand in."""

import math

import pytest

from blownwing.errors import InputError
from blownwing.validation import Row, published_rows

GOOD = {"quantity": "CL", "computed": 1.02, "published": 1.0, "band": 0.03,
        "source": "A. Author (1900), Title", "tag": "printed"}  # fmt: skip
HEAD = "# source: A. Author (1900), Title\nquantity,value,kind,band,tag,note\n"


def test_errors_as_the_bands_are_meant():
    relative = Row(**GOOD | {"computed": -2.04, "published": -2.0})
    assert relative.error == pytest.approx(-0.02) and relative.inside
    absolute = Row(**GOOD | {"kind": "absolute", "computed": 0.04, "published": 0.0})
    assert absolute.error == pytest.approx(0.04) and not absolute.inside
    assert Row(**GOOD | {"kind": "below", "computed": 0.99}).inside
    assert not Row(**GOOD | {"kind": "below", "computed": 1.01}).inside
    assert not Row(**GOOD | {"computed": 1.04}).inside


@pytest.mark.parametrize(
    "wrong",
    [
        {"computed": math.nan},
        {"published": math.inf},
        {"band": -0.1},
        {"tag": "certain"},
        {"kind": "roughly"},
        {"source": ""},
        {"published": 0.0},
    ],
)
def test_what_is_no_comparison_is_refused(wrong):
    with pytest.raises(ValueError):
        Row(**GOOD | wrong)


def test_published_file(tmp_path):
    text = HEAD + '"CL, at 2°",0.5,relative,0.01,printed,\n# source: Other\nCD,0.02,absolute,1e-3,'
    (tmp_path / "published.csv").write_text(text + "memory,a note\n", encoding="utf-8")
    first, second = published_rows(tmp_path, {"CL, at 2°": 0.501, "CD": 0.0205})
    assert (first.source, second.source) == ("A. Author (1900), Title", "Other")
    assert (first.published, first.inside, second.note) == (0.5, True, "a note")
    with pytest.raises(ValueError, match="nothing published for Cm"):
        published_rows(tmp_path, {"CL, at 2°": 0.5, "CD": 0.02, "Cm": 0.1})
    with pytest.raises(ValueError, match="'CD' was not computed"):
        published_rows(tmp_path, {"CL, at 2°": 0.5})


@pytest.mark.parametrize(
    "line", ["CL,0.5,relative,0.01", "CL,half,relative,0.01,printed,", "CL,0.5,nearly,1,printed,"]
)
def test_a_file_of_another_form_is_refused(tmp_path, line):
    (tmp_path / "published.csv").write_text(HEAD + line + "\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"published\.csv, line 3"):
        published_rows(tmp_path, {"CL": 0.5})


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(InputError, match=r"published\.csv: there is no such file"):
        published_rows(tmp_path, {})
