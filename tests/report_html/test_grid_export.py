"""The exported surfaces: a well-formed grid whose areas and loads are those of the result."""

import math
import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest
from numpy.testing import assert_allclose
from typer.testing import CliRunner

from blownwing import Case, load
from blownwing.cli import app
from blownwing.report.grid_export import BLOCKS, FIELDS, grid_places, write_grid

TEXT = """
title = "Plain wing"
[flow]
airspeed = 30.0
alpha = 3.0
[wing]
[[wing.stations]]
y = 0.0
chord = 1.0
[[wing.stations]]
y = 3.0
chord = 1.0
[[propellers]]
name = "fan"
kind = "disc"
position = [-0.6, 1.5, 0.0]
diameter = 0.8
mirror = true
thrust = 80.0
[model]
chordwise = 3
spanwise = 12
jet_around = 12
jet_rings = 8
"""


def read_block(path):
    arrays = {}
    for item in ElementTree.parse(path).getroot().iter("DataArray"):
        values = np.array(item.text.split(), dtype=float)
        width = int(item.get("NumberOfComponents", "1"))
        arrays[item.get("Name")] = values.reshape(-1, width) if width > 1 else values
    points = arrays.pop("points")
    offsets = arrays.pop("offsets").astype(int)
    corners = arrays.pop("connectivity").astype(int)
    cells = np.split(corners, offsets[:-1])
    assert corners.min() >= 0 and corners.max() <= len(points) - 1
    assert set(arrays.pop("types")) == {7.0}
    assert set(arrays) <= set(FIELDS) and arrays
    assert all(len(v) in (len(cells), len(points)) for v in arrays.values())
    assert all(np.all(np.isfinite(v)) for v in arrays.values())
    area = np.array([polygon_area(points[cell]) for cell in cells])
    return points, area, arrays


def read_grid(path):
    """All blocks that the multi-block file names, by name."""
    found = {
        item.get("name"): path.with_name(item.get("file"))
        for item in ElementTree.parse(path).getroot().iter("DataSet")
    }
    assert set(found) <= set(BLOCKS) and set(found.values()) <= set(grid_places(path))
    return {name: read_block(place) for name, place in found.items()}


def polygon_area(corners):
    edges = corners - corners[0]
    return 0.5 * np.linalg.norm(np.cross(edges[1:-1], edges[2:]).sum(axis=0))


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("grid")
    (folder / "wing.toml").write_text(TEXT, encoding="utf-8")
    target = folder / "wing.h5"
    ran = CliRunner().invoke(app, ["solve", str(folder / "wing.toml"), "-o", str(target), "--vtk"])
    assert ran.exit_code == 0, ran.output
    assert "wing.vtm" in ran.output
    return load(target), read_grid(target.with_suffix(".vtm"))


def test_areas_and_loads_are_the_result_s(made):
    solution, blocks = made
    _, area, fields = blocks["wing"]
    assert_allclose(area.sum(), solution.totals["reference_area"], rtol=1e-12)
    # Normal force against lift: equal for the flat wing to first order in the incidence.
    normal = float(np.sum(area * fields["pressure_difference_Pa"]))
    assert_allclose(normal, solution.totals["lift"] * math.cos(math.radians(3.0)), rtol=0.02)
    polygon = 48 / (2.0 * math.pi) * math.sin(2.0 * math.pi / 48)
    _, area, discs = blocks["discs"]
    thrust = float(np.sum(area * discs["thrust_per_area_Pa"]))
    assert_allclose(thrust, polygon * solution.totals["thrust"], rtol=1e-9)
    strips = fields["circulation_m2_per_s"].reshape(2, 3, -1)[0].sum(axis=0)
    assert_allclose(strips, solution.strips["circulation"][strips.size :], rtol=1e-6)


def test_blocks_hold_what_is_theirs_and_nothing_else(made):
    _, blocks = made
    assert set(blocks) == set(BLOCKS)
    points, _, tubes = blocks["tubes"]
    assert set(tubes) == {"doublet_m2_per_s"} and np.any(tubes["doublet_m2_per_s"] != 0.0)
    assert_allclose(points[:, 1].min(), -points[:, 1].max())
    wing = blocks["wing"][2]
    assert np.all(wing["speed_ratio"] >= 1.0)
    # the flow is along the flat wing, mirrored on the other half
    velocity = wing["velocity_m_per_s"]
    assert np.abs(velocity[:, 2]).max() < 0.05 * 30.0
    half = len(velocity) // 2
    assert_allclose(velocity[half:], velocity[:half] * [1.0, -1.0, 1.0])


def test_tubes_end_near_the_wing(made):
    _, blocks = made
    _, area, fields = blocks["tubes"]
    assert len(area) == len(fields["doublet_m2_per_s"]) < 2 * 12 * 8  # of all their panels
    assert area.sum() < 2.0 * 0.8 * math.pi * (0.6 + 1.0 + 2.0)


def test_the_survey_plane_shows_the_streams(made):
    _, blocks = made
    points, _, fields = blocks["survey"]
    assert np.ptp(points[:, 0]) == 0.0 and points[0, 0] == 1.5
    velocity = fields["velocity_m_per_s"]
    assert velocity.shape == points.shape
    inside = np.hypot(np.abs(points[:, 1]) - 1.5, points[:, 2]) < 0.25
    outside = np.hypot(np.abs(points[:, 1]) - 1.5, points[:, 2]) > 0.8
    assert velocity[inside, 0].min() > 30.0 * 1.02 > velocity[outside, 0].max()


def test_without_edges_there_are_no_tubes(tmp_path):
    case = Case.from_tables(
        {
            "flow": {"airspeed": 30.0, "alpha": 3.0},
            "wing": {"stations": [{"y": 0.0, "chord": 1.0}, {"y": 3.0, "chord": 1.0}]},
            "model": {"jet_edge": False, "chordwise": 2, "spanwise": 8},
        }
    )
    files = write_grid(case, 3.0, tmp_path / "plain.vtm")
    assert [path.name for path in files] == ["plain.vtm", "plain_wing.vtu", "plain_survey.vtu"]
    blocks = read_grid(files[0])
    assert set(blocks) == {"wing", "survey"}
    assert_allclose(blocks["wing"][1].sum(), 6.0)
