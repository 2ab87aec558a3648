"""Straight-vortex velocities against quadrature, high precision and explicit mirror images."""

from decimal import Decimal, localcontext

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad

from blownwing.kernels import vortex

FREE = np.array([[1.0, 1.0, 0.0]])


def influence(points, nodes, columns, images=FREE, core=0.0):
    """(3, n, panels) velocities of unit circulations; points and nodes (3, …)."""
    points = np.ascontiguousarray(points, dtype=float)
    nodes = np.ascontiguousarray(nodes, dtype=float)
    rows = nodes.shape[1] // (columns + 1)
    out = np.empty((3, points.shape[1], rows * columns))
    vortex.velocity_influence(*points, *nodes, columns, images, core, out)
    return out


def lattice_nodes(rng, rows, columns):
    """Nodes (3, rows * (columns + 1)) of an irregular lattice, port to starboard in every row."""
    y = np.sort(rng.uniform(-2.0, 2.0, columns + 1))
    x = np.arange(rows)[:, None] * 0.4 + 0.3 * np.abs(y) + rng.uniform(-0.1, 0.1, columns + 1)
    z = np.broadcast_to(0.2 * np.abs(y) + rng.uniform(-0.05, 0.05, columns + 1), x.shape)
    return np.stack((x, np.broadcast_to(y, x.shape), z)).reshape(3, -1)


def biot_savart(point, start, direction, length):
    """Velocity of a straight filament of unit circulation, by adaptive quadrature.

    Biot-Savart law, Katz & Plotkin (2001), "Low-Speed Aerodynamics", eq. 2.68: Γ/4π ∫ dl × r/r³.
    """

    def component(s, axis):
        r = point - start - s * direction
        return np.cross(direction, r)[axis] / np.linalg.norm(r) ** 3

    parts = [quad(component, 0.0, length, (k,), epsabs=1e-13, epsrel=1e-12)[0] for k in range(3)]
    return np.array(parts) / (4.0 * np.pi)


@pytest.mark.parametrize("point", [(0.7, 0.1, 0.3), (-0.8, 0.9, -0.2), (3.0, 0.4, 0.15)])
def test_horseshoe_equals_the_biot_savart_integral(point):
    point = np.array(point)
    a, b = np.array([0.1, -0.4, 0.05]), np.array([0.4, 0.6, 0.2])
    out = influence(point[:, None], np.stack((a, b), axis=1), 1)[:, 0, 0]
    length = np.linalg.norm(b - a)
    aft = np.array([1.0, 0.0, 0.0])
    bound = biot_savart(point, a, (b - a) / length, length)
    legs = biot_savart(point, b, aft, np.inf) - biot_savart(point, a, aft, np.inf)
    assert_allclose(out, bound + legs, rtol=1e-9, atol=1e-12)
    # Control: legs of the wrong sense do not pass.
    assert np.max(np.abs(out - (bound - legs))) > 1e-3


def exact_leg(x, y, z):
    """Magnitude over distance (1 + x/d)/(4π (y² + z²)) of a leg from the origin, in 60 digits."""
    with localcontext() as context:
        context.prec = 60
        x, y, z = (Decimal(float(v)) for v in (x, y, z))
        c2 = y * y + z * z
        return float((1 + x / (x * x + c2).sqrt()) / c2 / 4) / np.pi


@pytest.mark.parametrize("x", [-4000.0, -300.0, -2.0, 0.0, 0.5, 50.0, 4000.0])
def test_a_leg_keeps_its_digits_far_up_and_downstream(x):
    # A bound segment along y induces no velocity along y and the other leg is 1e14 away, so v is
    # the near leg's alone.
    y, z = 0.7, 0.4
    nodes = np.array([[0.0, 0.0], [0.0, 1e14], [0.0, 0.0]])
    out = influence([[x], [y], [z]], nodes, 1)[1, 0, 0]
    exact = z * exact_leg(x, y, z)
    assert_allclose(out, exact, rtol=1e-12)
    if x == -4000.0:  # control: the one textbook form loses half its digits here
        c2, d = y * y + z * z, np.sqrt(x * x + y * y + z * z)
        textbook = z * (1.0 + x / d) / c2 / (4.0 * np.pi)
        assert abs(textbook / exact - 1.0) > 1e-10


@pytest.mark.parametrize("distance", [1.0, 1e3, 1e5])
def test_a_segment_keeps_its_digits_far_away(distance):
    # Seen from ahead in the plane z = 0 the x velocity is zero and the z velocity of the bound
    # segment is (cos a - cos b)/(4π h), which subtracts nearly equal numbers far away; the exact
    # value comes from 60 digits, the legs from `exact_leg`.
    a, b, y = -0.3, 0.5, 0.2
    out = influence([[-distance], [y], [0.0]], [[0.0, 0.0], [a, b], [0.0, 0.0]], 1)
    with localcontext() as context:
        context.prec = 60
        h, left, right = Decimal(distance), Decimal(y) - Decimal(a), Decimal(y) - Decimal(b)
        ends = left / (h * h + left * left).sqrt() - right / (h * h + right * right).sqrt()
        bound = float(ends / h / 4) / np.pi
    legs = (y - b) * exact_leg(-distance, y - b, 0.0) - (y - a) * exact_leg(-distance, y - a, 0.0)
    # The two parts nearly cancel far ahead (a dipole's field remains ahead as behind).
    assert_allclose(out[2, 0, 0], bound + legs, rtol=1e-12 * (1 + abs(bound / (bound + legs))))
    assert out[0, 0, 0] == 0.0


def test_points_on_the_lines_feel_nothing_from_them():
    nodes = [[0.0, 0.0], [0.0, 1.0], [0.0, 0.0]]
    on_bound = influence([[0.0], [0.4], [0.0]], nodes, 1)
    on_leg = influence([[2.0], [1.0], [0.0]], nodes, 1)
    assert np.all(np.isfinite(on_bound)) and np.all(np.isfinite(on_leg))
    # On the bound line: both legs alone, each half a line vortex: (1/y + 1/(1 - y))/4π down.
    assert_allclose(on_bound[2, 0, 0], -(1 / 0.4 + 1 / 0.6) / (4 * np.pi), rtol=1e-12)


def test_kelvin_circulation_around_a_leg():
    # Stokes: the velocity's line integral around one leg far behind is the leg's circulation.
    angle = np.linspace(0.0, 2.0 * np.pi, 201)[:-1]
    y, z = 1.0 + 0.3 * np.cos(angle), 0.3 * np.sin(angle)
    out = influence([np.full_like(y, 5.0), y, z], [[0.0, 0.0], [0.0, 1.0], [0.0, 0.0]], 1)[:, :, 0]
    turn = np.mean(-out[1] * np.sin(angle) + out[2] * np.cos(angle)) * 2.0 * np.pi * 0.3
    assert_allclose(turn, 1.0, rtol=1e-12)


def test_panels_are_ordered_row_by_row_from_port_to_starboard():
    rng = np.random.default_rng(5)
    rows, columns = 3, 4
    nodes = lattice_nodes(rng, rows, columns)
    points = rng.uniform(-1.0, 2.0, (3, 7))
    out = influence(points, nodes, columns)
    grid = nodes.reshape(3, rows, columns + 1)
    for row in range(rows):
        for column in range(columns):
            one = influence(points, grid[:, row, column : column + 2], 1)
            assert_allclose(out[:, :, row * columns + column], one[:, :, 0], rtol=1e-13, atol=1e-15)


@pytest.mark.parametrize("kind", ["mirror", "ground", "both"])
def test_images_equal_explicit_vortices(kind):
    rng = np.random.default_rng(11)
    rows, columns, ground = 2, 3, -1.7
    nodes = lattice_nodes(rng, rows, columns)
    points = rng.uniform(-1.0, 2.0, (3, 9))
    grid = nodes.reshape(3, rows, columns + 1)
    # A mirrored wing keeps its lift: ends swap places, so that segments still run to starboard.
    mirrored = (grid * np.array([-1, 1, 1])[[1, 0, 2]][:, None, None])[:, :, ::-1].reshape(3, -1)

    def under(n):  # the ground's image carries the opposite circulation
        return np.stack((n[0], n[1], 2.0 * ground - n[2]))

    def folded(out):  # the mirrored panel of column j is in column (columns - 1 - j)
        return out.reshape(3, -1, rows, columns)[..., ::-1].reshape(out.shape)

    rows_of = {
        "mirror": [(1.0, 1.0, 0.0), (-1.0, 1.0, 0.0)],
        "ground": [(1.0, 1.0, 0.0), (1.0, -1.0, 2.0 * ground)],
    }
    rows_of["both"] = [*rows_of["mirror"], (1.0, -1.0, 2 * ground), (-1.0, -1.0, 2 * ground)]
    expected = influence(points, nodes, columns)
    if kind in ("mirror", "both"):
        expected = expected + folded(influence(points, mirrored, columns))
    if kind in ("ground", "both"):
        expected = expected - influence(points, under(nodes), columns)
    if kind == "both":
        expected = expected - folded(influence(points, under(mirrored), columns))
    out = influence(points, nodes, columns, np.array(rows_of[kind]))
    assert_allclose(out, expected, rtol=1e-12, atol=1e-14)
    # No flow through the planes.
    if kind in ("mirror", "both"):
        on = points * np.array([1.0, 0.0, 1.0])[:, None]
        assert_allclose(influence(on, nodes, columns, np.array(rows_of[kind]))[1], 0.0, atol=1e-14)
    if kind in ("ground", "both"):
        on = np.stack((points[0], points[1], np.full(9, ground)))
        assert_allclose(influence(on, nodes, columns, np.array(rows_of[kind]))[2], 0.0, atol=1e-14)


def test_the_normal_form_equals_the_velocity_form():
    rng = np.random.default_rng(3)
    rows, columns = 4, 5
    nodes = lattice_nodes(rng, rows, columns)
    points = rng.uniform(-1.0, 3.0, (3, 33))  # more points than chunks
    normals = rng.normal(size=(3, 33))
    images = np.array([(1.0, 1.0, 0.0), (-1.0, 1.0, 0.0), (1.0, -1.0, -3.0), (-1.0, -1.0, -3.0)])
    matrix = influence(points, nodes, columns, images)
    normal = np.empty((33, rows * columns))
    vortex.normal_influence(*points, *normals, *nodes, columns, images, normal)
    assert_allclose(normal, np.einsum("ci,cip->ip", normals, matrix), rtol=1e-11, atol=1e-14)


def test_core_acts_near_a_leg_only():
    nodes = [[0.0, 0.0], [-1.0, 1.0], [0.0, 0.0]]
    near, far = [[3.0], [1.0], [1e-6]], [[3.0], [0.0], [2.0]]
    core = 1e-3
    # Far behind, a leg with core e turns the air at r/(2π (r² + e²)), a Rankine-like cut-off.
    out = influence(near, nodes, 1, core=core)[1, 0, 0]
    assert abs(out) < 1.0 / (4.0 * np.pi * core)
    assert abs(influence(near, nodes, 1)[1, 0, 0]) > 1e4
    assert_allclose(
        influence(far, nodes, 1, core=core), influence(far, nodes, 1), rtol=1e-6, atol=1e-12
    )


@pytest.mark.parametrize("panels", [1, 2, 5, 10])
def test_two_dimensional_identities_hold_for_every_panel_count(panels):
    """James (1972), J. Fluid Mech. 53; Katz & Plotkin (2001) ch. 5: quarter- and three-quarter
    points give exact lift. Tag: formulas recalled and recomputed.

    Each panel's bound vortex spans 2L; what its finite length and its legs add at mid-span is
    known in closed form and is taken off, so the plane flow remains.
    """
    half = 100.0
    edges = np.linspace(0.0, 1.0, panels + 1)
    step = 1.0 / panels
    bound, points = edges[:-1] + 0.25 * step, edges[:-1] + 0.75 * step
    nodes = np.stack((np.repeat(bound, 2), np.tile([-half, half], panels), np.zeros(2 * panels)))
    out = np.empty((panels, panels))
    flat = np.zeros(panels)
    vortex.normal_influence(points, flat, flat, flat, flat, flat + 1.0, *nodes, 1, FREE, out)
    x = points[:, None] - bound[None, :]
    plane = (out + 1.0 / (2.0 * np.pi * half)) / np.hypot(1.0, x / half)
    alpha, camber = 0.05, 0.02
    slope = 4.0 * camber * (1.0 - 2.0 * points)  # z = 4 ε x (1 - x)
    plate = np.linalg.solve(plane, np.full(panels, -alpha))  # U = 1: cl = 2 Γ
    assert_allclose(2.0 * plate.sum(), 2.0 * np.pi * alpha, rtol=1e-10)
    assert_allclose(2.0 * (plate @ bound), 0.25 * 2.0 * np.pi * alpha, rtol=1e-10)
    # α_L0 = -2 ε exactly; cm about c/4 is -π ε (1 - 1/N²) (thin-aerofoil value -π ε).
    curved = np.linalg.solve(plane, slope)
    assert_allclose(2.0 * curved.sum(), 2.0 * np.pi * 2.0 * camber, rtol=1e-9)
    moment = -2.0 * (curved @ (bound - 0.25))
    assert_allclose(moment, -np.pi * camber * (1.0 - 1.0 / panels**2), rtol=1e-8, atol=1e-12)
