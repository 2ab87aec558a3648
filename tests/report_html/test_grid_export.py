"""The exported surfaces: a well-formed grid whose areas and loads are those of the result."""

import math
import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest
from numpy.testing import assert_allclose
from typer.testing import CliRunner

from blownwing import Case, load
from blownwing.cli import app
from blownwing.report.grid_export import FIELDS, write_grid

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


def read_grid(path):
    arrays = {
        item.get("Name"): np.array(item.text.split(), dtype=float)
        for item in ElementTree.parse(path).getroot().iter("DataArray")
    }
    points = arrays.pop("points").reshape(-1, 3)
    offsets = arrays.pop("offsets").astype(int)
    corners = arrays.pop("connectivity").astype(int)
    cells = np.split(corners, offsets[:-1])
    assert corners.min() == 0 and corners.max() == len(points) - 1
    assert set(arrays.pop("types")) == {7.0}
    assert set(arrays) == set(FIELDS) and all(v.size == len(cells) for v in arrays.values())
    area = np.array([polygon_area(points[cell]) for cell in cells])
    return points, area, arrays


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
    assert "wing.vtu" in ran.output
    return load(target), read_grid(target.with_suffix(".vtu"))


def test_areas_and_loads_are_the_result_s(made):
    solution, (_, area, fields) = made
    wing, disc = fields["part"] == 0.0, fields["part"] == 2.0
    assert_allclose(area[wing].sum(), solution.totals["reference_area"], rtol=1e-12)
    # Normal force against lift: equal for the flat wing to first order in the incidence.
    normal = float(np.sum((area * fields["pressure_difference_Pa"])[wing]))
    assert_allclose(normal, solution.totals["lift"] * math.cos(math.radians(3.0)), rtol=0.02)
    polygon = 48 / (2.0 * math.pi) * math.sin(2.0 * math.pi / 48)
    thrust = float(np.sum((area * fields["thrust_per_area_Pa"])[disc]))
    assert_allclose(thrust, polygon * solution.totals["thrust"], rtol=1e-9)
    strips = fields["circulation_m2_per_s"][wing].reshape(2, 3, -1)[0].sum(axis=0)
    assert_allclose(strips, solution.strips["circulation"][strips.size :], rtol=1e-6)


def test_tubes_surround_the_discs_on_both_halves(made):
    _, (points, _, fields) = made
    tube = fields["part"] == 1.0
    assert tube.sum() == 2 * 12 * 8
    assert np.any(fields["doublet_m2_per_s"][tube] != 0.0)
    assert not np.any(fields["doublet_m2_per_s"][~tube])
    assert_allclose(points[:, 1].min(), -points[:, 1].max())
    assert np.all(fields["speed_ratio"][fields["part"] == 0.0] >= 1.0)


def test_without_edges_there_are_no_tubes(tmp_path):
    case = Case.from_tables(
        {
            "flow": {"airspeed": 30.0, "alpha": 3.0},
            "wing": {"stations": [{"y": 0.0, "chord": 1.0}, {"y": 3.0, "chord": 1.0}]},
            "model": {"jet_edge": False, "chordwise": 2, "spanwise": 8},
        }
    )
    _, area, fields = read_grid(write_grid(case, 3.0, tmp_path / "plain.vtu"))
    assert set(fields["part"]) == {0.0}
    assert_allclose(area.sum(), 6.0)
