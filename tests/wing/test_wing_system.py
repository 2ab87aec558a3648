"""The linear system: the wing condition holds, folding and frames change nothing they must not."""

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from planforms import UNEVEN, grid, lattice_and_normals, rectangle, totals

from blownwing.case.parts import Wing
from blownwing.geometry.lattice import build_lattice
from blownwing.wing.normals import panel_normals, panel_slopes
from blownwing.wing.system import (
    Frame,
    circulation,
    factored_system,
    mirror_images,
    velocity_at,
    velocity_matrix,
)


def built(whole=False, frame=None, ground=None, rows=3, strips=8, **wing):
    lattice, normals = lattice_and_normals(rows, strips, whole=whole, **wing)
    return factored_system(lattice, normals, frame or Frame(), ground)


@pytest.mark.parametrize("frame", [Frame(), Frame(stretch=0.8)])
@pytest.mark.parametrize("ground", [None, -1.0])
def test_no_flow_through_the_collocation_points(frame, ground):
    # Incompressible: the induced velocity itself cancels the onset; stretched: Göthert's rule is
    # checked through the coefficients elsewhere, here that the right-hand side is met.
    system = built(whole=True, frame=frame, ground=ground)
    onset = np.random.default_rng(4).normal(size=system.lattice.panels)
    gamma = circulation(system, onset)
    if frame.stretch == 1.0:
        induced = velocity_at(system, system.lattice.collocation, gamma)
        normal = np.sum(induced * system.normals, axis=0)
        assert_allclose(normal, -onset, rtol=1e-9, atol=1e-10)
    assert_allclose(circulation(system, 2.0 * onset), 2.0 * gamma, rtol=1e-12, atol=1e-14)


@pytest.mark.parametrize("whole", [False, True])
@pytest.mark.parametrize("ground", [None, -1.0])
def test_matrix_free_velocities_equal_the_matrix(whole, ground):
    system = built(whole=whole, ground=ground)
    rng = np.random.default_rng(6)
    points = rng.uniform(-1.0, 3.0, (3, 37))
    gamma = rng.normal(size=system.lattice.panels)
    matrix = velocity_matrix(system, points, 0.0)
    assert_allclose(velocity_at(system, points, gamma), matrix @ gamma, rtol=1e-9, atol=1e-12)


def test_folded_equals_whole_for_symmetric_onset():
    half, whole = built(), built(whole=True)
    n = half.lattice.columns
    onset = np.random.default_rng(7).normal(size=(3, n))
    mirrored = np.concatenate((onset[:, ::-1], onset), axis=1)
    folded = circulation(half, onset.ravel()).reshape(3, n)
    full = circulation(whole, mirrored.ravel()).reshape(3, 2 * n)
    assert_allclose(full[:, n:], folded, rtol=1e-10, atol=1e-12)
    assert_allclose(full[:, :n], folded[:, ::-1], rtol=1e-10, atol=1e-12)
    # Control: an antisymmetric onset is not the folded one.
    other = circulation(whole, np.concatenate((-onset[:, ::-1], onset), axis=1).ravel())
    assert np.max(np.abs(other.reshape(3, 2 * n)[:, n:] - folded)) > 1e-3


def test_images_of_planes():
    assert_allclose(mirror_images(False, None), [[1, 1, 0]])
    assert_allclose(mirror_images(True, None), [[1, 1, 0], [-1, 1, 0]])
    assert_allclose(mirror_images(True, -2.0), [[1, 1, 0], [-1, 1, 0], [1, -1, -4], [-1, -1, -4]])


def test_frame_stretches_points_and_gradients():
    frame = Frame(stretch=0.6)
    vector = np.random.default_rng(1).normal(size=(3, 5))
    # Points shrink by 1/B; velocities, gradients, go back the transposed way, so
    # that the work of a covector on a velocity is the same in both frames.
    other = np.random.default_rng(2).normal(size=(3, 5))
    left = np.sum(frame.normals(vector) * other, axis=0)
    right = np.sum(vector * frame.velocities(other), axis=0)
    assert_allclose(left, right, rtol=1e-12)


def test_normals_tilt_with_twist_camber_dihedral_and_flap():
    system = built()
    assert_allclose(np.linalg.norm(system.normals, axis=0), 1.0, rtol=1e-14)
    flat = Wing.model_validate({"stations": [{**s, "airfoil": "flat"} for s in UNEVEN]})
    lattice = build_lattice(flat, 3, 8, "cosine")
    bare = panel_normals(lattice, panel_slopes(flat, lattice, Path(".")))
    # Nose-up twist tilts normals aft: n_x = sin(twist).
    assert_allclose(bare[0], np.tile(np.sin(lattice.twist), 3), rtol=1e-12)
    assert np.all(bare[1] < 0.0)  # dihedral: the upper side leans inboard
    flaps = [{"from": 0.0, "to": 1.0, "chord_fraction": 1 / 3, "deflection": 10.0}]
    flapped = Wing.model_validate({"stations": flat.model_dump()["stations"], "flaps": flaps})
    with_flap = panel_normals(lattice, panel_slopes(flapped, lattice, Path(".")))
    turned = np.arcsin(with_flap[0]) - np.arcsin(bare[0])
    share = turned.reshape(3, -1) / np.radians(10.0)
    assert_allclose(share[0], 0.0, atol=1e-14)
    assert_allclose(share[2], 1.0, rtol=1e-12)
    assert np.all(np.abs(share[1]) < 0.5)  # what the plane lattice needs to be exact


@pytest.mark.parametrize("fraction", [0.2, 0.25, 0.31])
def test_flap_effectiveness_equals_thin_aerofoil_theory(fraction):
    # Glauert (1927), ARC R&M 1095: dα/dδ = 1 − (θ − sin θ)/π, cos θ = 1 − 2 (1 − E). A full-span
    # flap on a wing of high aspect ratio moves its lift curve by that share of the deflection, on
    # a lattice of any number of rows; the rest is the wing's, and falls with its aspect ratio.
    theta = np.arccos(1.0 - 2.0 * (1.0 - fraction))
    exact = 1.0 - (theta - np.sin(theta)) / np.pi
    flap = {"from": 0.0, "to": 1.0, "chord_fraction": fraction, "deflection": 1.0}

    def error(rows, aspect):
        turned = totals(rectangle(aspect), 0.0, model=grid(rows, 8), flaps=[flap])["CL"]
        plain = totals(rectangle(aspect), 1.0, model=grid(rows, 8))["CL"]
        return abs(turned / plain / exact - 1.0)

    errors = [error(rows, 30.0) for rows in (3, 4, 8, 32)]
    assert max(errors) < 0.008
    assert error(8, 200.0) < 0.002
