"""Cases whose matrices are compressed: the same results, chosen by size, refused beyond memory."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from typer.testing import CliRunner

from blownwing import read_case, solve
from blownwing.cli import app
from blownwing.coupling import size
from blownwing.coupling.size import FULL_MOST, FULL_PANELS, expected_size, fitting_size
from blownwing.errors import InputError
from blownwing.wing import blown
from blownwing.wing.normals import panel_normals, panel_slopes

COARSE = {"model.chordwise": 4, "model.spanwise": 16, "model.jet_around": 16, "model.jet_rings": 12}
NAMES = ("CL", "CL_unblown", "CD_induced", "CD_induced_farfield", "CD_profile", "thrust", "power")


def demo(name, **edits):
    from pathlib import Path

    return read_case(Path(__file__).parents[2] / "cases" / name).replace(**{**COARSE, **edits})


@pytest.mark.parametrize(
    ("name", "edits"),
    [
        ("short_field_eight.toml", {}),
        ("short_field_eight.toml", {"flow.beta": 4.0}),
        ("short_field_eight.toml", {"model.jet_edge": False, "flow.ground_height": 1.5}),
        ("short_field_takeoff.toml", {"flow.alpha": 16.0}),
    ],
    ids=["edges", "sideslip", "superposed, ground", "section tables, stalled"],
)
def test_results_do_not_depend_on_how_influences_are_stored(name, edits, monkeypatch):
    case = demo(name, **edits)
    usual = solve(case.replace(**{"model.matrix": "full"}))
    # Beside full matrices tubes act from afar by their moments, which moves results a little.
    monkeypatch.setattr(blown, "AFAR", np.inf)
    full = solve(case.replace(**{"model.matrix": "full"}))
    for key in NAMES:
        assert_allclose(usual.totals[key], full.totals[key], rtol=5e-4, err_msg=key)
    less = solve(case.replace(**{"model.matrix": "compressed"}))
    for key in NAMES:
        assert_allclose(less.totals[key], full.totals[key], rtol=1e-6, err_msg=key)
    scale = np.max(np.abs(full.strips["cl"]))
    assert_allclose(less.strips["cl"], full.strips["cl"], rtol=0, atol=1e-5 * scale)
    assert any(less.totals[key] != full.totals[key] for key in NAMES)  # it did take another way


def test_size_decides():
    small = demo("short_field_eight.toml")
    assert not expected_size(small).compressed
    large = small.replace(**{"model.spanwise": 4000})
    assert expected_size(large).compressed
    assert expected_size(large).panels > FULL_PANELS
    tubes = small.replace(**{"model.jet_around": 120, "model.jet_rings": 80})
    assert expected_size(tubes).compressed
    assert expected_size(tubes).panels < FULL_PANELS < FULL_MOST < expected_size(tubes).unknowns
    assert not expected_size(large.replace(**{"model.matrix": "full"})).compressed
    assert expected_size(small.replace(**{"model.matrix": "compressed"})).compressed


def test_little_memory_decides_too(monkeypatch):
    case = demo("short_field_eight.toml", **{"model.chordwise": 16, "model.spanwise": 150})
    monkeypatch.setattr(size, "_ALWAYS", 0)
    wanted = expected_size(case.replace(**{"model.matrix": "full"})).bytes
    assert not expected_size(case).compressed
    monkeypatch.setattr(size, "free_memory", lambda: wanted)
    assert expected_size(case).compressed  # four fifths of it are not enough
    fitting_size(case)
    with pytest.raises(InputError, match=r'fewer panels, or model.matrix = "compressed"'):
        fitting_size(case.replace(**{"model.matrix": "full"}))


def test_what_cannot_fit_is_refused_before_it_starts(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    text = "[flow]\nairspeed = 30.0\n[wing]\n[[wing.stations]]\ny = 0.0\nchord = 1.0\n"
    text += "[[wing.stations]]\ny = 4.0\nchord = 1.0\n"
    text += "[model]\nchordwise = 50000\nspanwise = 50000\n"
    file = tmp_path / "huge.toml"
    file.write_text(text, encoding="utf-8")
    found = CliRunner().invoke(app, ["solve", str(file)])
    assert found.exit_code == 2
    assert "model.spanwise: found 50000 x 50000 panels per half span" in " ".join(
        found.output.split()
    )
    assert list(tmp_path.iterdir()) == [file]
    told = CliRunner().invoke(app, ["check", str(file)])
    assert told.exit_code == 0
    assert "more than is free: a solve would be refused" in " ".join(told.output.split())


@pytest.mark.parametrize(("rows", "strips"), [(16, 250), (25, 400)])
def test_memory_is_foretold(rows, strips):
    """The estimate is good to a factor of two either way, on lattices of 4 000 and 10 000."""
    from blownwing.geometry.lattice import build_lattice
    from blownwing.wing.system import Frame, compressed_system

    case = demo("short_field_eight.toml", **{"model.chordwise": rows, "model.spanwise": strips})
    case = case.model_copy(update={"propellers": ()})
    lattice = build_lattice(case.wing, rows, strips, "cosine")
    normals = panel_normals(lattice, panel_slopes(case.wing, lattice, case.folder))
    taken = compressed_system(lattice, normals, Frame()).solver.nbytes
    ratio = expected_size(case.replace(**{"model.matrix": "compressed"})).bytes / taken
    assert 0.6 < ratio < 2.0
