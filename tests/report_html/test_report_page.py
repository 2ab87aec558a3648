"""The report page: complete, self-contained, safe with any text, for every kind of result."""

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from typer.testing import CliRunner

from blownwing import Case, load, read_case, solve
from blownwing.cli import app
from blownwing.report.html_report import report_page, when
from blownwing.solution import CAUTION

CASES = Path(__file__).parents[2] / "cases"
COARSE = {"model.chordwise": 3, "model.spanwise": 16}
WING = {"stations": [{"y": 0.0, "chord": 1.0}, {"y": 3.0, "chord": 1.0}]}
VOID = {"meta", "link", "br"}


class Reader(HTMLParser):
    """Collects references, identifiers and text, and checks that tags close."""

    def __init__(self):
        super().__init__()
        self.open, self.ids, self.references, self.text = [], [], [], []
        self.tables = self.figures = 0

    def handle_starttag(self, tag, attrs):
        if tag not in VOID:
            self.open.append(tag)
        values = dict(attrs)
        self.ids += [values["id"]] if "id" in values else []
        self.references += [v for k, v in attrs if k in ("src", "href", "xlink:href")]
        self.tables += tag == "table"
        self.figures += tag == "figure"

    def handle_startendtag(self, tag, attrs):
        values = dict(attrs)
        self.ids += [values["id"]] if "id" in values else []
        self.references += [v for k, v in attrs if k in ("src", "href", "xlink:href")]

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text.append(data)


def read_page(text):
    reader = Reader()
    reader.feed(text)
    assert reader.open == []
    return reader


def words_of(page):
    return " ".join(page.text).split()


@pytest.fixture(scope="module")
def demo():
    return solve(read_case(CASES / "short_field_eight.toml").replace(**COARSE))


@pytest.fixture(scope="module")
def text(demo):
    return report_page(demo)


def test_everything_a_reader_needs_is_on_it(demo, text):
    page = read_page(text)
    words = " ".join(" ".join(page.text).split())
    assert CAUTION in words and demo.version in words and when(demo.created) in words
    assert "Short-field utility aircraft" in words
    for name in ("first", "second", "third", "fourth"):
        assert f"{name}_port" in words
    lift = f"{demo.totals['lift']:,.0f}".replace(",", " ")
    assert lift in words
    assert demo.case_toml.splitlines()[0] in words
    assert page.figures == 5 and page.tables >= 4
    # every strip has its row
    assert text.count("<tr") > demo.strips["y"].size


def test_nothing_is_loaded_and_no_identifier_is_used_twice(text):
    page = read_page(text)
    assert {r for r in page.references if not r.startswith("#")} == {"data:,"}
    assert len(page.ids) == len(set(page.ids)) > 50
    inner = {r[1:] for r in page.references if r.startswith("#")}
    inner |= set(re.findall(r"url\(#([^)]+)\)", text))
    assert inner and inner <= set(page.ids)
    assert "@import" not in text and "<script" not in text
    assert not re.search(r"url\((?!#)", text)


def test_text_of_the_user_is_text():
    flow, model = {"airspeed": 30.0, "alpha": 3.0}, {"chordwise": 2, "spanwise": 8}
    tables = {"title": '<script>$x$ & "y"', "flow": flow, "wing": WING, "model": model}
    case = Case.from_tables(tables)
    text = report_page(solve(case))
    assert "<script" not in text and "&lt;script&gt;$x$ &amp; &quot;y&quot;" in text
    assert "sum of the shaft powers" not in text  # no propellers
    read_page(text)


def test_polar_and_static_cases():
    disc = {"name": "fan", "kind": "disc", "position": [-0.6, 1.5, 0.0], "diameter": 0.8,
            "mirror": True, "thrust": 80.0}  # fmt: skip
    tables = {"wing": WING, "propellers": [disc], "model": {"chordwise": 3, "spanwise": 12}}
    polar = Case.from_tables(tables | {"flow": {"airspeed": 30.0, "alpha": [1.0, 3.0, 6.0]}})
    words = " ".join(read_page(report_page(solve(polar))).text)
    assert "Polar" in words and "Headline numbers at α 3°" in words
    static = Case.from_tables(tables | {"flow": {"airspeed": 0.0, "alpha": 0.0}})
    page = report_page(solve(static))
    assert "nan" not in page.lower()
    read_page(page)


def test_the_command_writes_it_beside_or_where_asked(demo, text, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    demo.save("demo.h5")
    run = CliRunner().invoke
    assert run(app, ["report", "demo.h5"]).output == "Written: demo.html\n"
    written = read_page(Path("demo.html").read_text(encoding="utf-8"))
    assert words_of(written) == words_of(read_page(text))
    for wrong, words in (("demo.h5", "ends in .html"), ("no/page.html", "no such folder")):
        ran = run(app, ["report", "demo.h5", "-o", wrong])
        assert ran.exit_code == 2 and words in " ".join(ran.output.split())
    assert load("demo.h5") == demo
    Path("torn.h5").write_bytes(Path("demo.h5").read_bytes()[:3000])
    assert run(app, ["report", "torn.h5"]).exit_code == 2
    assert not Path("torn.html").exists()
