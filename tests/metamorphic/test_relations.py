"""Relations between whole solves of random cases: what must not change, and by how much it may.

Every relation is exact in the equations; bars allow for round-off and the fixed point's tolerance
(1e-11 here). They were set before the results were seen.
"""

import random

import numpy as np
import pytest
from numpy.testing import assert_allclose
from random_cases import explicit, mirrored, random_tables, scaled, whole

from blownwing import Case, InputError, SolveError, solve
from blownwing.case.reader import parse_case
from blownwing.wing import blown

pytestmark = pytest.mark.slow
COEFFICIENTS = ("CL", "CL_unblown", "CD_induced", "CD_induced_farfield", "CD_profile", "C_pitch")
SIDEWAYS = ("CY", "C_roll", "C_yaw")
SUMS = ("thrust", "power")
TIGHT = {"tolerance": 1e-11, "max_iterations": 300}


def solved(tables):
    """The solution, or None where the case has none (which relations leave unchanged)."""
    case = Case.from_tables({**tables, "model": {**tables["model"], **TIGHT}})
    try:
        return solve(case)
    except SolveError:
        return None


def solvable(wanted, first, **options):
    """(seed, tables, solution) of the first random cases that have a solution."""
    found, seed = [], first
    while len(found) < wanted:
        tables = random_tables(seed, **options)
        try:
            one = solved(tables)
        except InputError:
            one = None
        if one is not None:
            found.append((seed, tables, one))
        seed += 1
    print(f"{wanted} of {seed - first} random cases have a solution")
    return found


def same(one, other, rtol, names=(*COEFFICIENTS, *SIDEWAYS, *SUMS)):
    """Totals agree: relative to themselves, or to CL for those that may be 0."""
    assert other is not None
    for name in names:
        if name not in one.totals and name not in other.totals:
            continue
        scale = abs(one.totals["CL"]) + 0.1 if name not in SUMS else abs(one.totals[name])
        assert_allclose(other.totals[name], one.totals[name], rtol=rtol, atol=rtol * scale,
                        err_msg=name)  # fmt: skip


@pytest.fixture(scope="module")
def some():
    return solvable(20, 1000)


def test_the_order_of_propellers(some):
    for seed, tables, one in some:
        items = tables["propellers"][:]
        random.Random(seed).shuffle(items)
        same(one, solved({**tables, "propellers": items[::-1]}), 1e-7)


def test_twins_written_out(some):
    for _, tables, one in some:
        same(one, solved(explicit(tables)), 1e-7)


def test_half_against_whole(some):
    # Strips are shared out between breaks of half a wing or of all of it, which rounds differently
    # in some cases; those are other lattices and are left out.
    compared = 0
    for _, tables, one in some:
        other = solved(whole(tables))
        assert other is not None
        if len(other.strips["y"]) != len(one.strips["y"]):
            continue
        if np.max(np.abs(other.strips["y"] - one.strips["y"])) < 1e-9:
            # Polynomials round the rims: a tube cut by the plane has its own on each half,
            # and whole tubes were found to differ by up to 3.2e-5 of CL, cause not known.
            near = [abs(p["position"][1]) < 0.75 * p["diameter"] for p in tables["propellers"]]
            edged = tables.get("model", {}).get("jet_edge", True)
            same(one, other, (1e-3 if any(near) else 1e-4) if edged else 1e-6)
            compared += 1
    print(f"{compared} of {len(some)} cases have the same strips")
    assert compared >= 8


def test_mirror_images(some):
    oblique = [explicit(random_tables(seed, symmetric=False)) for seed in range(2000, 2012)]
    compared = 0
    for tables in oblique:
        try:
            one = solved(tables)
        except InputError:
            continue
        if one is None:
            continue
        other = solved(mirrored(tables))
        same(one, other, 1e-7, (*COEFFICIENTS, *SUMS))
        for name in SIDEWAYS:
            assert_allclose(-other.totals[name], one.totals[name], atol=1e-7)
        assert_allclose(other.strips["cl"][::-1], one.strips["cl"], atol=1e-6)
        compared += 1
    assert compared >= 6
    for _, _, one in some:  # symmetric cases have no sideways forces
        assert all(abs(one.totals[name]) < 1e-9 for name in SIDEWAYS)


def test_scale():
    # Potential flow and momentum theory have no length of their own; friction has.
    names = ("CL", "CL_unblown", "CD_induced", "CD_induced_farfield", "C_pitch")
    for seed, tables, one in solvable(12, 3000, blades=False, sections="linear"):
        size = random.Random(seed).choice((0.1, 0.5, 3.0, 20.0))
        other = solved(scaled(tables, size))
        same(one, other, 1e-7, names)
        assert_allclose(other.totals["thrust"], size**2 * one.totals["thrust"], rtol=1e-7)


def test_text_and_back_and_again_give_the_same_bits(some):
    for _, tables, _ in some:
        case = Case.from_tables(tables)
        again = parse_case(case.to_toml())
        assert again == case
        first, second, third = solve(case), solve(again), solve(case)
        for name, value in first.totals.items():
            assert value == second.totals[name] == third.totals[name], name
        for name, values in first.strips.items():
            assert np.array_equal(values, second.strips[name]), name


def test_compressed_against_full(monkeypatch):
    # Beside full matrices tubes act from afar by their moments, which moves lift by 6e-5.
    monkeypatch.setattr(blown, "AFAR", np.inf)
    for _, tables, one in solvable(10, 4000, sections="linear"):
        less = solved({**tables, "model": {**tables["model"], "matrix": "compressed"}})
        same(one, less, 2e-6, (*COEFFICIENTS, *SUMS))


def test_a_finer_tube_changes_little_of_the_gain():
    for _, tables, one in solvable(6, 5000, edges=True, sections="linear"):
        fine = {**tables["model"], "jet_around": 16, "jet_rings": 14}
        other = solved({**tables, "model": fine})
        assert other is not None
        gain = [s.totals["CL"] - s.totals["CL_unblown"] for s in (one, other)]
        print(f"gain {gain[0]:.5f}, on a finer tube {gain[1]:.5f}")
        assert_allclose(gain[1], gain[0], rtol=0.1, atol=0.01 * abs(one.totals["CL"]) + 2e-3)


@pytest.mark.parametrize(
    "edges",
    [
        False,
        True,
    ],
)
def test_an_angle_in_a_polar_against_itself_alone(edges):
    # Default lattice. A polar is its incidences one by one.
    for seed in (6000, 6001, 6002):
        tables = random_tables(seed, blades=False, edges=edges, sections="linear")
        tables["model"] = {"jet_edge": edges}
        lists = ([0.0, 4.0, 8.0], [8.0, 0.0], [-4.0, 8.0])
        alone = Case.from_tables({**tables, "flow": {**tables["flow"], "alpha": 8.0}})
        wanted = solve(alone).totals
        for angles in lists:
            flow = {**tables["flow"], "alpha": angles}
            polar = solve(Case.from_tables({**tables, "flow": flow}))
            at = list(polar.alphas).index(8.0)
            for name in ("CL", "CL_unblown"):
                found = polar.totals[name][at]
                print(f"{name} {found:.6f} in {angles}, {wanted[name]:.6f} alone")
                assert_allclose(found, wanted[name], rtol=2e-4)
