"""Slipstream velocities against scipy's elliptic integrals, quadrature and conservation laws."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.special import ellipe, ellipk, elliprf, elliprj

from blownwing.kernels import stream
from blownwing.slipstream.streams import Streams, added_velocity, prepared_lines

ANNULI = 24


def jet(starts, ends=None, owner=-1, axial=6.0, swirl=0.0, growth=1.0, speed=30.0, radius=1.0):
    """velocity, along, upward, cover of one disc at the origin facing x; r·v_θ as given (array)."""
    starts = np.ascontiguousarray(starts, dtype=float)
    ends = starts if ends is None else np.ascontiguousarray(ends, dtype=float)
    edges = radius * np.sin(np.linspace(0.0, 0.5 * np.pi, ANNULI + 1))
    middle = 0.5 * (edges[1:] + edges[:-1])
    axial = axial(middle / radius) if callable(axial) else np.full(ANNULI, axial)
    mean = np.diff(edges**2) @ axial / radius**2
    ahead = np.array([[1.0, 0.0, 0.0]])
    one = np.ones(1)
    streams = Streams(
        centres=np.zeros((1, 3)),
        axes=ahead,
        courses=ahead,
        radii=radius * one,
        growth=growth * one,
        normal_speed=speed * one,
        mean=mean * one,
        cross=np.zeros((1, 3)),
        push=np.zeros((1, 3)),
        held=np.ones(1),
        middles=middle[None],
        axial=axial[None],
        swirl=np.broadcast_to(swirl, (1, ANNULI)).astype(float),
    )
    lines = prepared_lines(streams, starts, ends, owner=np.full(starts.shape[1], owner))
    found = added_velocity(streams, lines)
    return found.velocity, found.axial, found.swirl_up, found.cover


def points_on_radius(x, r):
    r = np.asarray(r, dtype=float)
    return np.stack((np.full_like(r, x), np.zeros_like(r), r))


def sink_disc(x, r, radius):
    """Axial and radial velocity at (x, r) of a unit sink disc at the origin that faces x."""
    x, r = np.broadcast_arrays(np.asarray(x, dtype=float), r)
    points = np.ascontiguousarray(np.stack((x.ravel(), np.zeros(x.size), r.ravel())))
    out = np.empty((1, 3, x.size))
    ahead, home = np.array([[1.0, 0.0, 0.0]]), np.zeros((1, 3))
    stream.sink_fields(points, home, ahead, np.array([float(radius)]), out)
    assert_allclose(out[0, 1], 0.0, atol=1e-15)
    return out[0, 0].reshape(x.shape)[()], out[0, 2].reshape(x.shape)[()]


def test_sink_disc_in_complete_elliptic_integrals():
    # Branlard & Gaunaa 2015, with scipy.special for K, E and (in Carlson's form) Π: from close to
    # the edge to far away, more points than go through the kernel together.
    rng = np.random.default_rng(4)
    x = np.concatenate((rng.uniform(-3.0, 3.0, 150), rng.uniform(-40.0, 40.0, 50)))
    r = np.concatenate((rng.uniform(0.0, 3.0, 150), rng.uniform(0.0, 40.0, 50)))
    radius = 0.8
    wide = (radius + r) ** 2 + x * x
    k2, n = 4.0 * r * radius / wide, 4.0 * r * radius / (radius + r) ** 2
    kc2 = ((radius - r) ** 2 + x * x) / wide
    third = elliprf(0.0, kc2, 1.0) + n / 3.0 * elliprj(0.0, kc2, 1.0, 1.0 - n)
    inside = r < radius
    axial = 0.5 * (
        inside + x / np.sqrt(wide) / np.pi * (ellipk(k2) + (radius - r) / (radius + r) * third)
    )
    axial -= inside & (x > 0.0)
    radial = -np.sqrt(wide) / (4.0 * np.pi * r) * ((2.0 - k2) * ellipk(k2) - 2.0 * ellipe(k2))
    found = sink_disc(x, r, radius)
    assert_allclose(found[0], axial, rtol=1e-10, atol=1e-14)
    assert_allclose(found[1], radial, rtol=1e-9, atol=1e-14)


def sink_by_quadrature(x, r, radius):
    """Velocity of a sink disc of unit strength per area, Gauss-Legendre in radius and angle."""
    t, w = np.polynomial.legendre.leggauss(120)
    rho, weight = 0.5 * radius * (t + 1.0), 0.5 * radius * w
    phi = (np.arange(240) + 0.5) * 2.0 * np.pi / 240
    qy, qz = rho[:, None] * np.cos(phi), rho[:, None] * np.sin(phi)
    cube = (x * x + qy**2 + (r - qz) ** 2) ** 1.5
    area = (weight * rho)[:, None] * (2.0 * np.pi / 240)
    axial = -np.sum(area * x / cube) / (4.0 * np.pi)
    radial = -np.sum(area * (r - qz) / cube) / (4.0 * np.pi)
    return axial, radial


@pytest.mark.parametrize("x", [-3.0, -0.4, 0.4, 2.0])
@pytest.mark.parametrize("r", [0.0, 0.3, 0.85, 1.0, 1.15, 4.0])
def test_sink_disc_equals_quadrature(x, r):
    radius = 1.3
    assert_allclose(
        sink_disc(radius * x, radius * r, radius),
        sink_by_quadrature(radius * x, radius * r, radius),
        rtol=2e-4 if r == 1.0 else 1e-9,
        atol=1e-12,
    )


@pytest.mark.parametrize("x", [-5.0, -1.0, -0.2, 0.2, 1.0, 5.0])
def test_axis_of_the_vortex_cylinder(x):
    # Inside the cylinder γ = 2 vi joins the sink field; on the axis the sum is vi (1 + x/√(x²+R²))
    # (semi-infinite vortex tube, McCormick 1967; exact by integration).
    radius = 0.7
    axial, radial = sink_disc(radius * x, 0.0, radius)
    cylinder = 2.0 * (axial + (1.0 if x > 0.0 else 0.0))
    assert_allclose(cylinder, 1.0 + x / np.sqrt(x * x + 1.0), rtol=1e-12)
    assert radial == 0.0


def test_flux_through_a_sphere_is_the_discs():
    # Gauss: every closed surface around a sink of unit strength per area takes in π R².
    t, w = np.polynomial.legendre.leggauss(200)
    for size in (2.0, 50.0):
        inward = [
            -np.dot(sink_disc(size * c, size * np.sqrt(1.0 - c * c), 1.0), (c, s))
            for c, s in zip(t, np.sqrt(1.0 - t * t), strict=True)
        ]
        assert_allclose(2.0 * np.pi * size**2 * np.dot(w, inward), np.pi, rtol=1e-8)


def test_sink_decays_with_the_square_of_distance():
    # Franke & Weinig (disc as sink sheet); far field that of a point sink, R²/(4 d²).
    direction = np.array([-0.6, 0.8])
    sizes = np.array([20.0, 40.0, 80.0])
    speed = np.array([np.hypot(*sink_disc(*(d * direction), 1.0)) for d in sizes])
    slope = np.polyfit(np.log(sizes), np.log(speed), 1)[0]
    assert abs(slope + 2.0) < 0.01
    assert_allclose(speed[-1], 0.25 / sizes[-1] ** 2, rtol=1e-3)


def test_fields_turn_with_the_disc():
    rng = np.random.default_rng(2)
    points = rng.uniform(-2.0, 2.0, (3, 40))
    axis = np.array([0.8, 0.36, -0.48])
    centre = np.array([0.3, -0.2, 0.1])
    out = np.empty((1, 3, 40))
    stream.sink_fields(points, centre[None], axis[None], np.array([0.9]), out)
    away = points - centre[:, None]
    x = axis @ away
    across = away - x * axis[:, None]
    r = np.linalg.norm(across, axis=0)
    for i in range(40):
        u, v = sink_disc(x[i], r[i], 0.9)
        assert_allclose(out[0, :, i], u * axis + v * across[:, i] / r[i], rtol=1e-12, atol=1e-14)


@pytest.mark.parametrize("x", [0.02, 0.3, 1.0, 4.0, 30.0])
@pytest.mark.parametrize("loading", [-8.0, 0.5, 6.0, 60.0])
def test_tube_carries_the_same_volume_at_every_distance(x, loading):
    # Continuity: at x = 0 the disc passes π R² (V + vi).
    speed = 30.0
    gain = 1.0 + x / np.sqrt(x * x + 1.0)
    edge = np.sqrt((speed + loading) / (speed + loading * gain))
    r = (np.arange(500) + 0.5) / 500 * edge
    _, along, _, cover = jet(points_on_radius(x, r), axial=loading, speed=speed)
    flow = np.sum((speed + along) * 2.0 * np.pi * r) * edge / 500
    assert np.all(cover == 1.0)
    assert_allclose(flow, np.pi * (speed + loading), rtol=1e-6)
    # The tube ends exactly there.
    just_in, just_out = (
        points_on_radius(x, [edge * (1 - 1e-9)]),
        points_on_radius(x, [edge * 1.001]),
    )
    assert jet(just_in, axial=loading)[3][0] == 1.0
    assert jet(just_out, axial=loading)[3][0] == 0.0


@pytest.mark.parametrize("x", [0.1, 1.0, 10.0])
def test_volume_with_a_radial_profile(x):
    # Annulus means are read between the annulus middles: volume within 0.1 %.
    speed = 30.0
    r = (np.arange(4000) + 0.5) / 4000
    _, along, _, cover = jet(points_on_radius(x, r), axial=lambda s: 2.0 + 9.0 * s * (1.0 - s * s))
    edge = r[cover > 0.0][-1] + 0.5 / 4000
    flow = np.sum(((speed + along) * 2.0 * np.pi * r)[r < edge]) / 4000
    _, at_disc, _, _ = jet(points_on_radius(1e-9, r), axial=lambda s: 2.0 + 9.0 * s * (1.0 - s * s))
    assert_allclose(flow, np.sum((speed + at_disc) * 2.0 * np.pi * r) / 4000, rtol=1.5e-3)


@pytest.mark.parametrize("loading", [0.5, 20.0])
def test_swirl_keeps_its_angular_momentum(loading):
    # r·v_θ is kept along every stream surface; those lie at the tube's scale.
    swirl = np.linspace(0.4, 1.9, ANNULI)
    turning = []
    for x in (1e-6, 0.7, 3.0, 40.0):
        gain = 1.0 + x / np.sqrt(x * x + 1.0)
        scale = np.sqrt((30.0 + loading) / (30.0 + loading * gain))
        r = scale * np.array([0.3, 0.6, 0.9])
        velocity = jet(points_on_radius(x, r), axial=loading, swirl=swirl)[0]
        turning.append(-velocity[1] * r)  # right-handed about +x: at +z the air moves to port
    for other in turning[1:]:
        assert_allclose(other, turning[0], rtol=1e-12)
    assert np.all(np.diff(turning[0]) > 0.1)


def test_swirl_has_the_right_hand_about_the_course():
    points = np.array([[1.0, 1.0], [0.5, -0.5], [0.0, 0.0]])
    velocity, _, upward, _ = jet(points, swirl=np.full(ANNULI, 0.3), axial=0.0)
    assert_allclose(velocity[2], [0.6, -0.6], rtol=1e-12)
    assert_allclose(upward, velocity[2], rtol=1e-15)
    assert_allclose(velocity[:2], 0.0, atol=1e-15)


def test_constant_jet_neither_grows_nor_narrows():
    points = points_on_radius(5.0, [0.0, 0.5, 0.999, 1.001])
    velocity, along, _, cover = jet(points, growth=0.0, axial=7.0)
    assert_allclose(along, [7.0, 7.0, 7.0, 0.0], rtol=1e-14)
    assert_allclose(cover, [1.0, 1.0, 1.0, 0.0])
    assert np.all(velocity[:, 3] == 0.0)  # no sink outside


def test_ahead_and_outside_only_the_sink_acts():
    points = np.array([[-0.5, 2.0], [0.0, 0.0], [0.3, 3.0]])
    velocity, along, _, cover = jet(points, axial=6.0)
    assert np.all(along == 0.0) and np.all(cover == 0.0)
    for i in range(2):
        u, v = sink_disc(points[0, i], points[2, i], 1.0)
        assert_allclose(velocity[:, i], 2.0 * 6.0 * np.array([u, 0.0, v]), rtol=1e-12)


def test_a_disc_does_not_feel_its_own_stream():
    points = points_on_radius(1.0, [0.2, 5.0])
    velocity, along, _, cover = jet(points, owner=0)
    assert not velocity.any() and not along.any() and not cover.any()


def test_lines_are_averaged_over_their_covered_part():
    # A spanwise line at height h is inside where y² + h² < edge²; a constant jet has edge = R.
    height, start, end = 0.6, -0.3, 1.7
    inside = (0.8 - start) / (end - start)
    velocity, along, _, cover = jet(
        [[2.0], [start], [height]], [[2.0], [end], [height]], growth=0.0, axial=5.0
    )
    assert_allclose(cover, inside, rtol=1e-12)
    assert_allclose(along, 5.0 * inside, rtol=1e-12)
    assert_allclose(velocity[0], along, rtol=1e-12)


def test_a_line_that_slides_across_the_edge_changes_smoothly():
    # Moving a line of length 0.2 by 1e-3 changes its covered share by at most 1e-3/0.2.
    shift = np.arange(-1.5, 1.5, 1e-3)
    place = np.zeros((3, shift.size))
    place[0], place[1] = 1.5, shift
    length = np.array([0.0, 0.2, 0.0])[:, None]
    velocity, along, _, cover = jet(place, place + length, swirl=np.linspace(0.0, 0.6, ANNULI) ** 2)
    assert np.max(np.abs(np.diff(cover))) <= 1e-3 / 0.2 * (1.0 + 1e-9)
    assert np.max(np.abs(np.diff(along))) < 0.08
    # Outside, the sink joins in proportion, so that the whole vector is continuous too.
    assert np.max(np.abs(np.diff(velocity, axis=1))) < 0.1
    assert cover.max() == 1.0 and cover.min() == 0.0


def test_a_line_that_a_tube_only_grazes_is_not_left_out():
    # Lines are sorted out by their distance before they are cut; a dense row of points along each
    # line is the slow, obvious version. Coverage of a straight line is a length, so that the share
    # of points inside approaches it with their number.
    rng = np.random.default_rng(9)
    count, steps = 300, 400
    t = (np.arange(steps) + 0.5) / steps - 0.5
    for loading, span in ((-20.0, 4.0), (15.0, 1.6)):  # a braked stream is wider than its disc
        centre = rng.uniform([0.01, -span, -span], [4.0, span, span], (count, 3)).T
        across = rng.uniform(-1.0, 1.0, (3, count))
        across[0] = 0.0  # the tube's radius is that at the line's middle
        cover = jet(centre - 0.5 * across, centre + 0.5 * across, axial=loading)[3]
        points = centre[:, :, None] + across[:, :, None] * t
        inside = jet(points.reshape(3, -1), axial=loading)[3].reshape(count, steps)
        assert_allclose(cover, inside.mean(axis=1), atol=1.5 / steps)
        assert 0.2 < np.mean(cover > 0.0) < 0.9  # both kinds are among them
        partly = (cover > 0.0) & (cover < 1.0)
        assert np.count_nonzero(partly & (inside[:, steps // 2] == 0.0)) > 3  # middle outside
