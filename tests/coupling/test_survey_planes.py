"""Velocity at points against closed forms: a disc's vortex cylinder, an elliptic wing's wake."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad
from scipy.special import ellipe, ellipk

from blownwing import Case, InputError
from blownwing.coupling import solved_points
from blownwing.coupling.survey import plane, survey, velocities
from blownwing.validation.claims import bar
from blownwing.wing.system import frame_velocity

SEEN = 0.01  # of the velocity that disc or wing adds: what the controls must exceed


def ring_velocity(x: float, r: float, radius: float) -> tuple[float, float]:
    """Axial and radial velocity of a vortex ring of circulation 1 (Lamb 1932, Hydrodynamics, §161;
    formula from memory, its values by scipy's elliptic integrals)."""
    square = (radius + r) ** 2 + x * x
    m = 4.0 * radius * r / square
    k, e = ellipk(m), ellipe(m)
    near = (radius - r) ** 2 + x * x
    scale = 1.0 / (2.0 * np.pi * np.sqrt(square))
    axial = scale * (k + (radius**2 - r * r - x * x) / near * e)
    radial = 0.0 if r == 0.0 else scale * x / r * (-k + (radius**2 + r * r + x * x) / near * e)
    return float(axial), float(radial)


def cylinder(x: float, r: float) -> tuple[float, float]:
    """Velocity of a semi-infinite cylinder of rings behind x = 0, radius 1, far inside it 1.

    Branlard & Gaunaa 2015, Wind Energy 18: the wake of a uniformly loaded disc.
    """
    found = []
    for part in (0, 1):

        def along(s: float, part: int = part) -> float:
            return ring_velocity(x - s, r, 1.0)[part]

        near = quad(along, 0.0, 40.0, points=[max(x, 0.0)], limit=400)[0]
        found.append(near + quad(along, 40.0, np.inf, limit=400)[0])
    return found[0], found[1]


def disc_case(edge: bool, thrust: float = 1.0) -> Case:
    """A lightly loaded disc of radius 1 m ahead of a flat plate that lifts nothing."""
    stations = [{"y": y, "x": 8.0, "chord": 0.5} for y in (0.0, 3.0)]
    disc = {"name": "disc", "kind": "disc", "position": [0.0, 1.5, 0.0], "diameter": 2.0,
            "mirror": False, "thrust": thrust}  # fmt: skip
    return Case.from_tables({
        "flow": {"airspeed": 30.0, "alpha": 0.0},
        "wing": {"stations": stations},
        "propellers": [disc],
        "model": {"chordwise": 1, "spanwise": 8, "jet_edge": edge, "jet_around": 16,
                  "jet_rings": 8, "compressibility": False},
    })  # fmt: skip


@pytest.mark.parametrize("edge", [True, False])
def test_behind_an_ideal_disc(edge: bool) -> None:
    case = disc_case(edge)
    density, area = 1.225, np.pi
    # momentum theory at light loading: T = 2 rho A V v
    induced = 1.0 / (2.0 * density * area * 30.0)
    places = [(x, r) for x in (0.25, 1.0, 2.0, 5.0) for r in (0.0, 0.3, 0.6, 0.85, 1.2, 1.6, 2.5)]
    places += [(-1.0, 0.0), (-0.5, 0.7), (-2.0, 1.0)]
    x, r = np.array(places).T
    found = survey(case, np.stack((x, 1.5 + 0.6 * r, 0.8 * r), axis=-1))
    axial = found.velocity[:, 0] - 30.0
    radial = 0.6 * found.velocity[:, 1] + 0.8 * found.velocity[:, 2]
    theory = 2.0 * induced * np.array([cylinder(*place) for place in places])
    scale = 2.0 * induced
    worst = max(np.abs(axial - theory[:, 0]).max(), np.abs(radial - theory[:, 1]).max()) / scale
    print(f"ideal disc, edge {edge}: worst {worst:.2e} of the far increment")
    assert worst < bar("survey_disc")
    inside = (x > 0.0) & (r < 1.0)
    assert np.all((found.stream == 0) == inside)
    # control: the axis's growth at all radii, as the wing's onset has it, is not the cylinder's
    simple = induced * (1.0 + 0.25 / np.hypot(0.25, 1.0))
    assert abs(simple - 2.0 * induced * cylinder(0.25, 0.85)[0]) > SEEN * scale


HALF, CHORD = 6.0, 0.1


def elliptic_case(chordwise: int = 1) -> Case:
    """An elliptic wing with a straight quarter chord, A = 153: the theory's limit of slender wings.

    At A = 15 its loading falls off at the tips, as a lifting surface's does, and the field there is
    5 % of the sheet's speed off that of a lifting line.
    """
    y = HALF * np.sin(0.5 * np.pi * np.linspace(0.0, 1.0, 33))
    chord = CHORD * np.sqrt(np.clip(1.0 - (y / HALF) ** 2, 1e-6, None))
    stations = [
        {"y": float(a), "x": float(-0.25 * c), "chord": float(c)}
        for a, c in zip(y, chord, strict=True)
    ]
    return Case.from_tables({
        "flow": {"airspeed": 50.0, "alpha": 2.0},
        "wing": {"stations": stations},
        "model": {"chordwise": chordwise, "spanwise": 64, "compressibility": False},
    })  # fmt: skip


def test_behind_an_elliptic_wing() -> None:
    """Far behind: a flat sheet that sinks (Munk 1921, NACA Report 121); nearer: Biot-Savart of a
    lifting line by quadrature (scipy)."""
    case = elliptic_case()
    y, z = np.meshgrid([0.0, 2.0, 4.5, 5.7, 6.5, 8.0], [0.6, 2.0, -0.6, -3.0])
    aspect = (2.0 * HALF) ** 2 / case.wing.area
    # lifting-line theory (Prandtl 1918): no constant of the program's own
    lift = 2.0 * np.pi * np.radians(2.0) * aspect / (aspect + 2.0)
    middle = 2.0 * 50.0 * case.wing.area * lift / (np.pi * 2.0 * HALF)
    sink = middle / (2.0 * HALF)
    far = survey(case, np.stack((np.full(y.shape, 4000.0), y, z), axis=-1))
    zeta = y + 1j * z
    root = np.sqrt(zeta - HALF) * np.sqrt(zeta + HALF)
    field = 1j * sink * (1.0 - zeta / root)
    free = 50.0 * np.array([np.cos(np.radians(2.0)), 0.0, np.sin(np.radians(2.0))])
    found = far.velocity - free
    error = np.hypot(found[..., 1] - field.real, found[..., 2] + field.imag)
    print(f"elliptic wing, far: worst {error.max() / sink:.2e} of the sheet's speed")
    assert error.max() < bar("survey_wing") * sink
    assert np.abs(found[..., 0]).max() < 1e-4 * sink
    # control: half the sheet's speed, as at the wing itself, would be seen
    assert np.hypot(found[..., 1], found[..., 2] + 0.5 * sink).max() > SEEN * sink
    near = survey(case, np.stack((np.full(y.shape, 3.0), y, z), axis=-1)).velocity - free
    line = np.array([lifting_line(3.0, a, b) for a, b in zip(y.ravel(), z.ravel(), strict=True)])
    line = middle * line.reshape(near.shape)
    error = np.linalg.norm(near - line, axis=-1)
    print(f"elliptic wing, half a semi-span behind: worst {error.max() / sink:.2e}")
    assert error.max() < bar("survey_wing") * sink


def lifting_line(x: float, y: float, z: float) -> np.ndarray:
    """Velocity of an elliptic lifting line of middle circulation 1 and its wake along x.

    Biot-Savart: bound line along y, legs of strength −dΓ/dy; y' = HALF sin t takes the ends'
    square root away.
    """

    def bound(t: float) -> np.ndarray:
        eta = HALF * np.sin(t)
        arm = np.array([x, y - eta, z])
        # starboard-going line with lift up: rotation about −y... dl × r/(4 pi r³)
        step = np.array([0.0, 1.0, 0.0]) * HALF * np.cos(t) * np.cos(t)
        return np.cross(step, arm) / (4.0 * np.pi * np.linalg.norm(arm) ** 3)

    def trailing(t: float) -> np.ndarray:
        eta = HALF * np.sin(t)
        off_y, off_z = y - eta, z
        square = off_y**2 + off_z**2
        strength = np.sin(t)  # −dΓ/dy dy over dt
        leg = (1.0 + x / np.sqrt(x * x + square)) / (4.0 * np.pi * square)
        return strength * leg * np.array([0.0, -off_z, off_y])

    found = np.zeros(3)
    for part in range(3):
        for field in (bound, trailing):
            points = [float(np.arcsin(np.clip(y / HALF, -0.999, 0.999)))]

            def component(t: float, field: Callable = field, part: int = part) -> float:
                return float(field(t)[part])

            ends = (-0.5 * np.pi, 0.5 * np.pi)
            found[part] += quad(component, *ends, points=points, limit=400)[0]
    return found


def test_a_mirrored_case_is_mirrored_and_planes_have_their_shape() -> None:
    case = disc_case(True, 200.0)
    tables = case.model_dump(by_alias=True, exclude_none=True)
    tables["propellers"][0]["mirror"] = True
    tables["flow"]["alpha"] = 3.0
    mirrored = Case.from_tables(tables)
    points = plane(3.0, np.linspace(-3.0, 3.0, 14), [-0.5, 0.4])
    assert points.shape == (14, 2, 3)
    found = survey(mirrored, points)
    assert found.velocity.shape == (14, 2, 3) and found.stream.shape == (14, 2)
    assert_allclose(found.velocity[::-1] * [1, -1, 1], found.velocity, atol=1e-12)
    port, starboard = found.stream[3, 0], found.stream[-4, 0]
    assert {found.names[port], found.names[starboard]} == {"disc", "disc_port"}
    assert found.names[starboard] == "disc"


def test_wrong_points_are_said() -> None:
    case = disc_case(False)
    for points, words in (([1.0, 2.0], "shape"), ([[0.0, np.nan, 0.0]], "finite")):
        with pytest.raises(InputError, match=words):
            survey(case, points)
    with pytest.raises(InputError, match="several angles"):
        survey(case.replace(**{"flow.alpha": [0.0, 2.0]}), [[0.0, 0.0, 0.0]])


@pytest.mark.parametrize("alpha", [0.0, 4.0])
def test_flow_is_tangential_to_a_blown_wing(alpha: float) -> None:
    """The condition that the lattice solves, met again by velocities at its points: inside a stream
    they are m times the linear problem's."""
    disc = {"name": "jet", "kind": "disc", "position": [-0.8, 1.5, 0.0], "diameter": 1.0,
            "mirror": True, "speed_ratio": 1.5}  # fmt: skip
    sections = [{"y": y, "chord": 1.0, "airfoil": "naca2412"} for y in (0.0, 4.0)]
    case = Case.from_tables({
        "flow": {"airspeed": 30.0, "alpha": alpha}, "wing": {"stations": sections},
        "propellers": [disc],
        "model": {"chordwise": 2, "spanwise": 12, "compressibility": False},
    })  # fmt: skip
    point = solved_points(case)[0]
    system = point.model.system
    places = np.ascontiguousarray(system.lattice.collocation)
    velocity, stream = velocities(case, point, places)
    through = np.sum(velocity * system.normals, axis=0) / 30.0
    assert np.any(stream >= 0) and np.any(stream < 0)
    assert np.abs(through).max() < 2e-5  # the vortices' core, a thousandth of a strip
    # control: inside, the wing's own velocity without the factor m leaves flow through the wing
    bound = point.model.system.frame.velocities(
        frame_velocity(system, system.frame.points(places), point.wing.strength, 1e-4)[0]
    )
    wrong = np.sum((velocity - 0.5 * bound) * system.normals, axis=0)[stream >= 0] / 30.0
    assert np.abs(wrong).max() > 1e-3
