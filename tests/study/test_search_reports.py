"""What the reports of a search say of its gain, and when they warn."""

import io
from types import SimpleNamespace

import pytest
from rich.console import Console
from study_scenes import case_tables

from blownwing import Case
from blownwing.report import placement_report, shape_report
from blownwing.report.words import print_words
from blownwing.study.model import PlacementSearch
from blownwing.study.place.confirmation import Confirmation, PlacementCheck
from blownwing.study.place.search import PlacementResult

GRID, LARGE, MODEL = "differs by more than a tenth", "More than 10 %", "jet_edge = true"


@pytest.mark.parametrize(
    ("gain", "finer", "edge", "said"),
    [
        (0.04, 0.039, True, set()),
        (0.04, 0.030, True, {GRID}),
        (0.12, 0.119, True, {LARGE}),
        (0.04, 0.039, False, {MODEL}),
    ],
)
def test_a_placement_warns_of_what_it_should(gain, finer, edge, said):
    case = Case.from_tables(case_tables(jet_edge=edge))
    check = PlacementCheck(before=100.0, after=100.0 * (1.0 - finer), gain=gain, finer=finer)
    text = " ".join(placement_report.warnings(case, check))
    assert {part for part in (GRID, LARGE, MODEL) if part in text} == said


@pytest.mark.parametrize(
    ("gain", "finer", "coupled", "said"),
    [
        (0.04, 0.039, 0.038, set()),
        (0.04, 0.030, 0.038, {GRID}),
        (0.12, 0.119, 0.118, {LARGE, "of the shaft power"}),
        (0.04, 0.039, 0.010, {"less than half"}),
    ],
)
def test_a_shape_warns_of_what_it_should(gain, finer, coupled, said):
    check = Confirmation(
        finer=(100.0, 100.0 - 100.0 * finer), coupled=(100.0, 100.0 * (1 - coupled))
    )
    text = " ".join(shape_report.warnings(SimpleNamespace(gain=gain), check, "power"))
    parts = (GRID, LARGE, "of the shaft power", "less than half")
    assert {part for part in parts if part in text} == said


def test_a_placement_names_its_baseline_and_what_was_held():
    case = Case.from_tables(case_tables(jet_edge=True))
    tables = {"parameters": [{"key": "propellers.all.diameter", "from": 0.6, "to": 0.9}]}
    problem = PlacementSearch.model_validate({**tables, "lift": 900.0, "drag_trim": True})
    result = PlacementResult(
        edits={"propellers.all.diameter": 0.9}, edits_before={}, before={"power": 100.0},
        after={"power": 96.0}, active=("propellers.all.diameter",), spread=0.0, places=0.0, ends=1,
        failed=(), runs=12, following=True,
    )  # fmt: skip
    check = PlacementCheck(before=101.0, after=97.0, gain=0.04, finer=0.0396)
    out = io.StringIO()
    console = Console(file=out, width=400)
    print_words("Sizes", placement_report.placement_words(case, result, check, problem), console)
    text = " ".join(out.getvalue().split())
    assert "against the case as it was at the same lift and drag trim" in text
    assert "with slipstream edges, lattice following the slipstreams" in text
    assert "Model: sections linear, no stall; slipstreams with edges" in text
    assert "One start, so its spread is not known" in text
    assert "not for flight clearance" in text
