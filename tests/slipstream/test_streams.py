"""Slipstreams as sets: direction, contraction, crossings with the wing, neighbours."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from blownwing.slipstream.streams import (
    Streams,
    added_velocity,
    contraction,
    directed,
    gain,
    prepared_lines,
    wing_crossings,
)

SPEED = 30.0
ANNULI = 20
FREE = np.array([SPEED, 0.0, 0.0])


def streams(centres, axial, axes=None, radius=0.5, growth=1.0, swirl=0.0, speed=SPEED):
    """Uniformly loaded discs; axial per disc, m/s, swirl r·v_θ per disc, m²/s."""
    centres = np.atleast_2d(np.asarray(centres, dtype=float))
    count = centres.shape[0]
    axes = np.tile([1.0, 0.0, 0.0], (count, 1)) if axes is None else np.atleast_2d(axes)
    axial = np.broadcast_to(np.asarray(axial, dtype=float), (count,))
    edges = radius * np.sin(np.linspace(0.0, 0.5 * np.pi, ANNULI + 1))
    middles = np.tile(0.5 * (edges[1:] + edges[:-1]), (count, 1))
    swirl = np.broadcast_to(np.asarray(swirl, dtype=float), (count,))
    return Streams(
        centres=centres,
        axes=axes,
        courses=axes,
        radii=np.full(count, radius),
        growth=np.full(count, growth),
        normal_speed=np.maximum(axes @ np.array([speed, 0.0, 0.0]), 0.0),
        mean=axial.copy(),
        cross=np.zeros((count, 3)),
        push=np.zeros((count, 3)),
        held=np.ones(count),
        middles=middles,
        axial=np.repeat(axial[:, None], ANNULI, axis=1),
        swirl=np.repeat(swirl[:, None], ANNULI, axis=1),
    )


def added(some, points, ends=None, owner=None):
    points = np.asarray(points, dtype=float)
    ends = points if ends is None else np.asarray(ends, dtype=float)
    owner = np.full(points.shape[1], -1) if owner is None else np.asarray(owner)
    return added_velocity(some, prepared_lines(some, points, ends, owner=owner))


@pytest.mark.parametrize("growth", [0.0, 1.0])
@pytest.mark.parametrize("induced", [-0.6, -0.2, 0.05, 0.5, 3.0])
def test_the_kernels_edge_is_the_contraction(growth, induced):
    # The law stands in the kernels and in `contraction`: points a millionth of the radius off it.
    some = streams([0, 0, 0], induced * SPEED, growth=growth)
    x = np.array([1e-3, 0.2, 0.5, 1.3, 4.0, 30.0])
    edge = 0.5 * np.array([contraction(some, np.array([at]))[0] for at in x])
    for off, inside in ((-1e-6, True), (1e-6, False)):
        places = np.array([x, 0.0 * x, edge * (1.0 + off)])
        assert np.all((added(some, places).axial != 0.0) == inside)
    if growth == 0.0:
        assert_allclose(edge, 0.5, rtol=1e-14)


def crossed(some, free):
    """The streams with the cross-flow of a free stream (3,)."""
    along = some.axes @ free
    cross = free - along[:, None] * some.axes
    return some._replace(cross=cross, normal_speed=np.maximum(along, 0.0))


def test_direction_follows_momentum_with_the_outer_air_s_mass():
    # A disc on the x axis in a stream at incidence. With μ = s/a of speeds along the axis, the
    # stream leaves off the axis at tan χ = tan α (1 + μ)/(1 + μ²) (Ribner 1945, NACA Report 820,
    # implied); at small angles χ/α = 1 − μ(μ − 1)/(μ² + 1).
    alpha = math.radians(10.0)
    free = SPEED * np.array([math.cos(alpha), 0.0, math.sin(alpha)])
    for induced in (0.0, 5.0, 300.0):
        turned = directed(crossed(streams([0, 0, 0], induced), free), free, np.array([1e6]))
        course = turned.courses[0]
        assert_allclose(np.linalg.norm(course), 1.0, rtol=1e-14)
        mu = 1.0 + 2.0 * induced / free[0]
        expected = math.tan(alpha) * (1.0 + mu) / (1.0 + mu * mu)
        assert_allclose(course[2] / course[0], expected, rtol=1e-9)
    # At the disc itself only vi has been reached.
    one = crossed(streams([0, 0, 0], 5.0), free)
    at_disc = directed(one, free, np.array([0.0])).courses[0]
    mu = 1.0 + 5.0 / free[0]
    assert_allclose(at_disc[2] / at_disc[0], math.tan(alpha) * (1 + mu) / (1 + mu * mu), rtol=1e-12)
    # Behind the wing counts as at the disc.
    behind = directed(one, free, np.array([-3.0])).courses[0]
    assert_allclose(behind, at_disc)


def test_axis_along_the_stream_keeps_it_and_a_tilted_one_turns_it():
    tilt = math.radians(-8.0)
    axis = np.array([math.cos(tilt), 0.0, math.sin(tilt)])
    straight = directed(streams([0, 0, 0], 9.0), FREE, np.array([2.0])).courses[0]
    assert_allclose(straight, [1.0, 0.0, 0.0], atol=1e-15)
    bent = directed(crossed(streams([0, 0, 0], 9.0, axis), FREE), FREE, np.array([2.0])).courses[0]
    assert tilt < math.atan2(bent[2], bent[0]) < 0.0
    # At rest the axis is all there is.
    still = directed(streams([0, 0, 0], 9.0, axis), np.zeros(3), np.array([2.0])).courses[0]
    assert_allclose(still, axis, rtol=1e-14)
    nothing = directed(streams([0, 0, 0], 0.0, axis), np.zeros(3), np.array([2.0])).courses[0]
    assert_allclose(nothing, axis, rtol=1e-14)


def test_what_is_added_inside_is_the_axial_speed_and_the_turning():
    # Half turned at the disc; on the axis of a half-infinite doublet cylinder the turning grows as
    # (1 + 2t − t³)/2, t = x/√(x² + R²) (integral of its dipoles).
    alpha = math.radians(12.0)
    free = SPEED * np.array([math.cos(alpha), 0.0, math.sin(alpha)])
    bare = crossed(streams([0, 0, 0], 8.0), free)
    turned = directed(bare, free, np.array([1.0]))
    point = turned.courses[0] * 1.0
    found = added(turned, point[:, None])
    growth = gain(np.array([1.0]), turned.radii, turned.growth)
    t = 1.0 / math.sqrt(1.0 + turned.radii[0] ** 2)
    speed = free[0] + 8.0 * growth[0]
    kept = speed * (speed + free[0]) / (speed**2 + free[0] ** 2)
    rise = 0.5 * (1.0 + 2.0 * t - t**3) * (kept - 1.0) * free[2]
    assert rise > 0.0
    assert_allclose(found.velocity[:, 0], [8.0 * growth[0], 0.0, rise], atol=1e-12)


def test_flow_round_a_turned_stream_is_that_of_a_half_infinite_dipole_line():
    # Plane dipole −(turn a/s) R²(…)/r² far behind, half of it beside the disc; no sources: the flow
    # through a closed box vanishes. Outside, sink aside, it is a potential flow.
    alpha = math.radians(4.0)
    free = SPEED * np.array([math.cos(alpha), 0.0, math.sin(alpha)])
    bare = crossed(streams([0, 0, 0], 8.0), free)._replace(courses=np.array([[1.0, 0.0, 0.0]]))
    level = bare._replace(cross=0.0 * bare.cross)

    def bent(points):
        return added(bare, points).velocity - added(level, points).velocity

    speed = free[0] + 16.0
    kept = speed * (speed + free[0]) / (speed**2 + free[0] ** 2)
    radius2 = bare.radii[0] ** 2 * (free[0] + 8.0) / speed
    strength = -(kept - 1.0) * free[2] * free[0] / speed * radius2
    y = 3.0 * bare.radii[0]
    far, beside = bent(np.array([[400.0, 0.0], [y, y], [0.0, 0.0]]).reshape(3, 2)).T
    assert_allclose(far[2], strength / y**2, rtol=1e-3)
    assert_allclose(beside[2], 0.5 * strength / y**2, rtol=1e-3)
    step, at = 1e-4, np.array([0.7, 1.9, 0.8]) * 1.3
    jacobian = np.stack(
        [
            (bent((at + e)[:, None]) - bent((at - e)[:, None]))[:, 0] / (2.0 * step)
            for e in step * np.eye(3)
        ],
        axis=1,
    )
    size = np.abs(jacobian).max()
    assert_allclose(jacobian, jacobian.T, atol=1e-5 * size)


def test_contraction_of_a_loaded_a_braked_and_a_constant_jet():
    # Continuity: r²(V + vi gain) = R²(V + vi).
    far = np.array([1e9])
    loaded = contraction(streams([0, 0, 0], 15.0), far)
    assert_allclose(loaded, math.sqrt(45.0 / 60.0), rtol=1e-12)
    braked = contraction(streams([0, 0, 0], -5.0), far)
    assert_allclose(braked, math.sqrt(25.0 / 20.0), rtol=1e-12)
    assert contraction(streams([0, 0, 0], 15.0, growth=0.0), far)[0] == 1.0
    assert contraction(streams([0, 0, 0], 0.0, speed=0.0), far)[0] == 1.0


def test_crossings_on_above_and_beside_the_wing():
    jet = streams([[-1.0, 2.0, 0.0], [-1.0, 5.0, 0.3], [-1.0, 8.0, 0.6]], 0.0, growth=0.0)
    quarter, surface = np.full(3, 0.25), np.zeros(3)
    found = wing_crossings(jet, quarter, surface)
    half = math.sqrt(0.5**2 - 0.3**2)
    assert_allclose(found[:3], [1.5, 5.0 - half, 8.0])
    assert_allclose(found[3:], [2.5, 5.0 + half, 8.0])  # the last misses: its axis twice


def test_a_tube_above_the_wing_covers_nothing():
    jet = streams([-1.0, 2.0, 0.8], 6.0)
    y = np.linspace(0.0, 4.0, 33)
    starts = np.stack((np.full(32, 0.5), y[:-1], np.zeros(32)))
    ends = np.stack((np.full(32, 0.5), y[1:], np.zeros(32)))
    found = added(jet, starts, ends)
    assert not found.cover.any() and not found.axial.any()
    # Its inflow is felt all the same, as everywhere outside the tube.
    assert np.any(found.velocity != 0.0)
    # Control: at the wing's height it covers a diameter less the contraction.
    level = added(streams([-1.0, 2.0, 0.0], 6.0), starts, ends)
    width = np.sum(level.cover * np.diff(y))
    scale = contraction(streams([0, 0, 0], 6.0), np.array([1.5]))[0]
    assert_allclose(width, 2.0 * 0.5 * scale, rtol=1e-9)


def test_a_disc_at_the_tip_covers_its_inner_half():
    jet = streams([-1.0, 4.0, 0.0], 6.0, growth=0.0)
    y = np.linspace(0.0, 4.0, 33)
    starts = np.stack((np.full(32, 0.5), y[:-1], np.zeros(32)))
    ends = np.stack((np.full(32, 0.5), y[1:], np.zeros(32)))
    width = np.sum(added(jet, starts, ends).cover * np.diff(y))
    assert_allclose(width, 0.5, rtol=1e-9)


@pytest.mark.parametrize("gap", [0.0, 1e-9, 0.1])
def test_touching_neighbours_cover_the_span_once(gap):
    jet = streams([[-1.0, 2.0, 0.0], [-1.0, 3.0 + gap, 0.0]], 6.0, growth=0.0)
    y = np.linspace(1.2, 3.8, 53)
    starts = np.stack((np.full(52, 0.5), y[:-1], np.zeros(52)))
    ends = np.stack((np.full(52, 0.5), y[1:], np.zeros(52)))
    found = added(jet, starts, ends)
    assert np.all(np.isfinite(found.velocity))
    assert np.all(found.cover <= 1.0 + 1e-12)
    inside = (y[:-1] >= 1.5) & (y[1:] <= 2.5)
    assert_allclose(found.axial[inside], 6.0, rtol=1e-12)


def test_a_stopped_propeller_adds_nothing():
    jet = streams([-1.0, 2.0, 0.0], 0.0, swirl=0.0)
    found = added(jet, [[0.5, 0.0], [2.0, 4.0], [0.1, 0.3]])
    assert not found.velocity.any() and not found.axial.any() and not found.swirl_up.any()


def test_several_streams_add():
    one, two = streams([-1.0, 2.0, 0.0], 6.0, swirl=0.2), streams([-1.5, 2.6, 0.2], 3.0, swirl=-0.1)
    both = Streams(*(np.concatenate(pair) for pair in zip(one, two, strict=True)))
    points = np.random.default_rng(8).uniform(
        [[0.0], [1.0], [-0.4]], [[2.0], [3.5], [0.4]], (3, 60)
    )
    first, second, sum_ = added(one, points), added(two, points), added(both, points)
    assert np.any(first.cover * second.cover > 0.0)  # some points lie in both
    assert_allclose(sum_.velocity, first.velocity + second.velocity, rtol=1e-12, atol=1e-13)
    assert_allclose(sum_.axial, first.axial + second.axial, rtol=1e-13)
    # A line that belongs to the first disc feels the second alone.
    own = added(both, points, owner=np.zeros(60, dtype=int))
    assert_allclose(own.velocity, second.velocity, rtol=1e-12, atol=1e-13)


def test_mirrored_streams_add_mirrored_velocities():
    one = streams([-1.0, 2.0, 0.1], 6.0, swirl=0.3)
    mirrored = streams([-1.0, -2.0, 0.1], 6.0, swirl=-0.3)
    points = np.random.default_rng(9).uniform(-1.0, 3.0, (3, 50))
    flip = np.array([1.0, -1.0, 1.0])[:, None]
    left, right = added(one, points), added(mirrored, points * flip)
    assert_allclose(right.velocity, left.velocity * flip, rtol=1e-12, atol=1e-14)
    assert_allclose(right.swirl_up, left.swirl_up, rtol=1e-12, atol=1e-14)
    # Control: the same spin on the other side is not the mirror image.
    same = added(streams([-1.0, -2.0, 0.1], 6.0, swirl=0.3), points * flip)
    assert np.max(np.abs(same.velocity - left.velocity * flip)) > 0.05
