"""Optimum shapes against theory and published optima."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from study_scenes import BLADE, case_tables

from blownwing import Case, InputError, SolveError
from blownwing.case.air import air_at
from blownwing.study.model import ShapeSearch
from blownwing.study.place.confirmation import confirmed
from blownwing.study.shape.search import at_lift, searched

Q = 0.5 * air_at(0.0, 0.0, None).density * 30.0**2


def bare(span, strips=32, chordwise=2):
    tables = case_tables(chordwise=chordwise, spanwise=strips)
    tables["propellers"] = []
    tables["wing"] = {"stations": [{"y": 0.0, "chord": 1.0}, {"y": 0.5 * span, "chord": 1.0}]}
    return Case.from_tables(tables)


def efficiency(shape, span):
    return shape.lift.value**2 / (math.pi * Q * span**2 * shape.induced.value)


def test_twist_of_a_rectangular_wing_reaches_the_elliptic_optimum():
    # Munk 1921, NACA Report 121: least induced drag of a planar wing is L²/(π q b²)
    result = searched(bare(8.0), ShapeSearch(objective="induced_drag", controls=9, starts=2))
    assert 0.999 < efficiency(result.shape_after, 8.0) < 1.0005
    assert efficiency(result.shape_before, 8.0) < 0.98
    assert_allclose(result.shape_after.lift.value, result.shape_before.lift.value, rtol=1e-6)
    assert result.spread < 1e-6 and not result.active


def test_chord_of_an_untwisted_wing_becomes_elliptic():
    # Prandtl 1918, Tragflügeltheorie: an untwisted elliptic planform carries the elliptic load
    problem = ShapeSearch(
        objective="induced_drag", twist=False, chord=True, controls=9, chord_range=(0.05, 1.6),
        starts=1,
    )  # fmt: skip
    result = searched(bare(12.0), problem)
    assert efficiency(result.shape_after, 12.0) > 0.999
    assert_allclose(result.shape_after.area.value, 12.0, rtol=1e-6)
    y = np.array([s.y for s in result.after.wing.stations])
    chord = np.array([s.chord for s in result.after.wing.stations])
    inner = y < 0.8 * 6.0
    ellipse = chord[0] * np.sqrt(1.0 - (y[inner] / 6.0) ** 2)
    assert_allclose(chord[inner], ellipse, rtol=0.03)


def least_drag_at_bending(ratio, count=61):
    """Drag over that of the elliptic wing of span 1 with the same lift and root bending moment.

    The variational problem of R. T. Jones 1950, NACA TN 2249, solved in sines: Γ = Σ A sin nθ has
    lift ∝ b A₁, drag ∝ Σ n A², half-span moment ∝ b² Σ A m; A₁ and the moment are given.
    """
    n = np.arange(1, 2 * count, 2)
    angle = np.linspace(0.0, 0.5 * math.pi, 40001)
    lever = np.cos(angle) * np.sin(angle)
    m = np.array([np.trapezoid(np.sin(k * angle) * lever, angle) for k in n])
    first = 1.0 / ratio
    lacking = m[0] / ratio**2 - first * m[0]
    rest = lacking * (m[1:] / n[1:]) / np.sum(m[1:] ** 2 / n[1:])
    return first**2 + np.sum(n[1:] * rest**2)


def test_more_span_at_the_same_root_bending_moment():
    lift = searched(bare(8.0), ShapeSearch(objective="induced_drag", starts=1)).shape_after.lift
    elliptic = lift.value**2 / (math.pi * Q * 64.0)
    moment = lift.value * 8.0 / (3.0 * math.pi)  # of one half of the elliptic wing, about its root
    problem = ShapeSearch(
        objective="induced_drag", controls=10, lift=lift.value, bending_limit=moment,
        twist_range=(-20.0, 20.0), starts=1,
    )  # fmt: skip
    result = searched(bare(1.15 * 8.0), problem)
    found = result.objective[1] / elliptic
    # exact solution of the published problem
    assert_allclose(found, least_drag_at_bending(1.15), rtol=1e-3)
    # R. T. Jones 1950, NACA TN 2249, summary: 15 % more span, 15 % less drag, in round figures
    # (from memory); the exact figure is 14.1 %, so the round one is missed by 1.1 % of the drag
    assert_allclose(found, 0.85, rtol=0.012)
    assert "root bending moment at its limit" in result.active
    assert result.shape_after.bending.value <= moment * (1.0 + 1e-6)


def behind(y, taper, chordwise=3, strips=32):
    tables = case_tables(chordwise=chordwise, spanwise=strips)
    tip = {"y": 6.0, "chord": taper, "x": 0.25 * (1.0 - taper)}
    tables["wing"] = {"stations": [{"y": 0.0, "chord": 1.0}, tip]}
    tables["flow"] = {"airspeed": 60.0, "alpha": 4.0}
    tables["propellers"] = [
        {"name": "p", "position": [-0.7, y, 0.0], "diameter": 1.8, "blades": 4,
         "blade": str(BLADE), "spin": "inboard_up", "mirror": True, "thrust": 900.0},
    ]  # fmt: skip
    return Case.from_tables(tables)


@pytest.mark.parametrize("edge", [False, True])
def test_chord_behind_a_propeller_saves_what_was_published(edge):
    # Rakshith, Deshpande, Narasimha & Praveen 2015, J. Aircraft 52, 1791-1801 (abstract): chord of
    # an AR 12 wing of fixed area behind tractor propellers, 9.15 % of induced drag; other planform
    # and propeller here, so a range of 5 to 12 % is asked for
    problem = ShapeSearch(
        objective="induced_drag", twist=False, chord=True, controls=10, chord_range=(0.5, 1.5),
        starts=1,
    )  # fmt: skip
    result = searched(behind(2.0, 1.0).replace(**{"model.jet_edge": edge}), problem)
    assert 0.05 < result.gain < 0.12, result.gain


@pytest.mark.slow
@pytest.mark.parametrize("y", [2.0, 6.0])
@pytest.mark.parametrize("edge", [False, True])
def test_a_gain_behind_a_propeller_holds_on_a_finer_lattice_and_with_jet_edges(y, edge):
    problem = ShapeSearch(chord=True, controls=8, chord_range=(0.6, 1.4), starts=2)
    case = behind(y, 0.6).replace(**{"model.jet_edge": edge})
    result = searched(case, problem)
    check = confirmed(result, "drag")
    finer, coupled = check.gains
    print(f"y = {y}, {edge}: {result.gain:.4f}, finer {finer:.4f}, full coupling {coupled:.4f}")
    assert result.gain > 0.005
    assert_allclose(finer, result.gain, rtol=0.1)
    # with edges the search has the full coupling's own model
    assert_allclose(coupled, result.gain, rtol=0.1 if edge else 0.5)


def test_a_search_with_slipstream_edges_finds_more_than_one_without():
    model = {"model.jet_edge": True, "model.jet_around": 10, "model.jet_rings": 8}
    case = behind(2.0, 0.6, chordwise=2, strips=10).replace(**model)
    problem = ShapeSearch(objective="induced_drag", controls=5, starts=1)
    result = searched(case, problem)
    blind = searched(case.replace(**{"model.jet_edge": False}), problem)
    # both shapes by the model with edges, at the same lift
    lift = result.shape_after.lift.value
    other = blind.after.replace(**{"model.jet_edge": True})
    _, judged = at_lift(other, lift, "induced_drag")
    assert result.gain > 0.001
    assert result.shape_after.induced.value < judged.induced.value


def test_what_cannot_be_met_is_an_error():
    problem = ShapeSearch(twist_range=(-0.1, 0.1), lift=1e5, starts=1)
    with pytest.raises(SolveError, match="cannot be met"):
        searched(bare(8.0, strips=8), problem)


@pytest.mark.parametrize(
    ("tables", "sentence"),
    [
        ({"twist": False}, "one of them true"),
        ({"twist_range": [1.0, 2.0]}, "around 0"),
        ({"chord_range": [0.5, 0.9]}, "around 1"),
        ({"objective": "noise"}, "induced_drag"),
    ],
)
def test_bad_problems_are_refused(tables, sentence):
    with pytest.raises(ValueError, match=sentence):
        ShapeSearch.model_validate(tables)


def test_mixed_sections_are_refused():
    case = bare(8.0).replace(**{"wing.stations.1.airfoil": "naca2412"})
    with pytest.raises(InputError, match="one section along the span"):
        searched(case, ShapeSearch())
