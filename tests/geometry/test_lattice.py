"""The lattice: areas, breaks, spacing, halves and wholes, stations."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from blownwing.case.parts import Wing
from blownwing.geometry.lattice import build_lattice, planform_at, span_edges

CRANKED = (
    {"y": 0.0, "chord": 1.4, "twist": 1.0},
    {"y": 1.5, "x": 0.2, "z": 0.05, "chord": 1.2},
    {"y": 4.0, "x": 0.9, "z": 0.4, "chord": 0.6, "twist": -2.0},
)


def wing(stations=CRANKED, **more):
    return Wing.model_validate({"stations": list(stations), **more})


@pytest.mark.parametrize("spacing", ["cosine", "uniform"])
@pytest.mark.parametrize("strips", [2, 7, 32])
def test_strip_areas_add_up_to_the_planform(spacing, strips):
    lattice = build_lattice(wing(), 4, strips, spacing)
    flat = lattice.chord * np.diff(lattice.edge_y)
    assert_allclose(2.0 * flat.sum(), wing().area, rtol=1e-13)
    # Along the surface the width grows by 1/cos of the dihedral.
    assert_allclose(lattice.width * np.cos(lattice.dihedral), np.diff(lattice.edge_y), rtol=1e-13)
    # Bound segments span the strips exactly.
    bound = lattice.bound.reshape(3, 4, -1)
    for row in range(4):
        assert_allclose(bound[1, row], np.diff(lattice.edge_y), atol=1e-14)
        assert_allclose(bound[2, row], np.diff(lattice.edge_z), atol=1e-14)


def test_rows_lie_on_quarter_and_three_quarter_lines():
    rows = 5
    lattice = build_lattice(wing(), rows, 12, "cosine")
    nodes = lattice.nodes.reshape(3, rows, -1)
    share = (nodes[0] - lattice.edge_x) / lattice.edge_chord
    assert_allclose(share, np.broadcast_to((np.arange(rows)[:, None] + 0.25) / rows, share.shape))
    points = lattice.collocation.reshape(3, rows, -1)
    x, z, chord, _, _ = planform_at(wing(), points[1])
    assert_allclose((points[0] - x) / chord, np.broadcast_to(
        (np.arange(rows)[:, None] + 0.75) / rows, x.shape
    ))  # fmt: skip
    assert_allclose(points[2], z, atol=1e-14)
    middle = 0.5 * (lattice.edge_y[1:] + lattice.edge_y[:-1])
    assert_allclose(lattice.quarter[1], middle)
    assert_allclose(lattice.collocation_ends[0][1].reshape(rows, -1)[0], lattice.edge_y[:-1])
    assert_allclose(lattice.collocation_ends[1][1].reshape(rows, -1)[2], lattice.edge_y[1:])


@pytest.mark.parametrize("spacing", ["cosine", "uniform"])
def test_every_break_is_a_strip_edge(spacing):
    flaps = [{"from": 0.2, "to": 0.55, "chord_fraction": 0.3, "deflection": 20.0}]
    edges, _ = span_edges(wing(flaps=flaps), 24, spacing, [1.1, 2.9, 3.3, 7.0])
    for y in (0.0, 1.5, 4.0, 0.8, 2.2, 1.1, 2.9, 3.3):
        assert np.min(np.abs(edges - y)) < 1e-14, y
    assert edges[-1] == 4.0 and np.all(np.diff(edges) > 0.0)
    # Control: without them those places are no edges.
    plain, _ = span_edges(wing(), 24, spacing)
    assert np.min(np.abs(plain - 3.3)) > 1e-3


def test_a_slipstream_edge_next_to_a_break_makes_no_sliver():
    near, _ = span_edges(wing(), 24, "uniform", [1.5 + 1e-4])
    assert_allclose(near, span_edges(wing(), 24, "uniform")[0])


def test_uniform_and_cosine_spacing():
    plain = ({"y": 0.0, "chord": 1.0}, {"y": 2.0, "chord": 1.0})
    edges, place = span_edges(wing(plain), 8, "uniform")
    assert_allclose(edges, np.linspace(0.0, 2.0, 9), atol=1e-15)
    assert_allclose(place, 0.5)
    # Cosine on an unswept symmetric wing crowds the tip only: y = s sin(π t/2), and points at the
    # middle angles (Multhopp 1938, Luftfahrtforschung 15).
    edges, place = span_edges(wing(plain), 8, "cosine")
    assert_allclose(edges, 2.0 * np.sin(0.5 * np.pi * np.arange(9) / 8), atol=1e-14)
    points = edges[:-1] + place * np.diff(edges)
    assert_allclose(points, 2.0 * np.sin(0.5 * np.pi * (np.arange(8) + 0.5) / 8), atol=1e-14)
    # A swept root is a kink: both ends crowd.
    swept = ({"y": 0.0, "chord": 1.0}, {"y": 2.0, "x": 1.0, "chord": 1.0})
    edges, _ = span_edges(wing(swept), 8, "cosine")
    assert_allclose(edges, 1.0 - np.cos(np.pi * np.arange(9) / 8), atol=1e-14)


def test_whole_is_half_and_its_mirror():
    half = build_lattice(wing(), 3, 10, "cosine", [2.5])
    whole = build_lattice(wing(), 3, 10, "cosine", [2.5], whole=True)
    n = half.columns
    assert whole.columns == 2 * n and half.symmetric and not whole.symmetric
    for name in ("chord", "width", "twist", "station", "fraction", "dihedral"):
        mirrored = getattr(whole, name)[:n][::-1]
        if name == "fraction":
            mirrored = 1.0 - mirrored
        if name == "dihedral":
            mirrored = -mirrored
        assert_allclose(getattr(whole, name)[n:], getattr(half, name), atol=1e-14)
        assert_allclose(mirrored, getattr(half, name), atol=1e-13)
    points = whole.collocation.reshape(3, 3, 2 * n)
    flip = np.array([1.0, -1.0, 1.0])[:, None, None]
    assert_allclose(points[:, :, n:], half.collocation.reshape(3, 3, n), atol=1e-14)
    assert_allclose(points[:, :, :n][:, :, ::-1] * flip, points[:, :, n:], atol=1e-13)


def test_a_wing_given_from_tip_to_tip_equals_the_mirrored_half():
    stations = [{**s, "y": -s["y"]} for s in CRANKED[:0:-1]] + list(CRANKED)
    full = wing(stations, symmetric=False)
    assert_allclose(full.area, wing().area, rtol=1e-14)
    lattice = build_lattice(full, 3, 16, "uniform")
    mirrored = build_lattice(wing(), 3, 16, "uniform", whole=True)
    assert lattice.columns == mirrored.columns
    assert_allclose(lattice.collocation, mirrored.collocation, atol=1e-13)
    assert_allclose(lattice.twist, mirrored.twist, atol=1e-14)


def test_many_stations_describe_a_curve_and_few_are_breaks():
    eta = np.sin(np.linspace(0.0, 0.5 * np.pi, 41))
    chord = np.maximum(np.sqrt(1.0 - eta**2), 1e-3)
    curve = wing([{"y": float(y), "chord": float(c), "x": -0.25 * float(c)} for y, c in zip(
        eta, chord, strict=True
    )])  # fmt: skip
    edges, _ = span_edges(curve, 16, "cosine")
    assert edges.size == 17
    assert_allclose(edges, np.sin(0.5 * np.pi * np.arange(17) / 16), atol=1e-14)
    kinked = [s.model_dump() for s in curve.stations]
    for s in kinked[20:]:
        s["x"] += 0.5 * (s["y"] - kinked[20]["y"])
    edges, _ = span_edges(wing(kinked), 16, "cosine")
    assert np.min(np.abs(edges - kinked[20]["y"])) < 1e-14


def test_planform_between_and_beyond_stations():
    x, z, chord, twist, station = planform_at(wing(), np.array([-0.75, 0.75, 2.75, 9.0]))
    assert_allclose(x, [0.1, 0.1, 0.55, 0.9])
    assert_allclose(z, [0.025, 0.025, 0.225, 0.4])
    assert_allclose(chord, [1.3, 1.3, 0.9, 0.6])
    assert_allclose(twist, np.radians([0.5, 0.5, -1.0, -2.0]))
    assert_allclose(station, [0.5, 0.5, 1.5, 2.0])


def test_arrays_cannot_be_changed():
    lattice = build_lattice(wing(), 2, 4, "uniform")
    with pytest.raises(ValueError, match="read-only"):
        lattice.nodes[0, 0] = 1.0


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.integers(1, 60),
    st.sampled_from(["cosine", "uniform"]),
    st.lists(st.floats(-1.0, 5.0), max_size=12),
    st.floats(0.5, 20.0),
)
def test_strips_are_sound_for_any_breaks(strips, spacing, breaks, span):
    plain = ({"y": 0.0, "chord": 1.0}, {"y": span, "x": 0.2, "chord": 0.5})
    edges, place = span_edges(wing(plain), strips, spacing, breaks)
    assert edges[0] == 0.0 and math.isclose(edges[-1], span)
    assert np.all(np.diff(edges) > 0.0)
    assert place.size == edges.size - 1 and np.all((place > 0.0) & (place < 1.0))
    inside = [y for y in breaks if 0.0 < y < span]
    least = 0.25 * span / strips
    for y in inside:  # every slipstream edge, or a break closer than a sliver, is an edge
        assert np.min(np.abs(edges - y)) <= least + 1e-12
