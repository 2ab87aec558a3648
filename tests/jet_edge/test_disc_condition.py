"""The disc holds its slipstream: directions, increments and inflow that follow from it.

At small angles the developed stream of an inclined disc is turned from the free stream by
ε = (Tα + N)/(ρAV²(μ² + 1)), for an axial force alone ε/α = μ(μ − 1)/(μ² + 1): momentum across the
stream with the outer air's apparent mass, as the inflow factor f(a) of Ribner 1945, "Propellers in
yaw", NACA Report 820, implies (f(a) from memory).
"""

import math

import numpy as np
import pytest
from edge_scenes import COARSE, PLATE, blade, increment, jet, scene
from numpy.testing import assert_allclose

from blownwing import solve
from blownwing.coupling import solved_points
from blownwing.slipstream.streams import Streams, directed
from blownwing.validation.claims import bar

ALPHA = 2.0  # deg
SMALL = 0.1  # deg, where the height to which a stream climbs on its way must not matter


def turning(ratio):
    """ε/α of a stream whose disc pushes along its axis."""
    return ratio * (ratio - 1.0) / (ratio**2 + 1.0)


# ΔCL/CL of a flat wing, A = 8, one constant jet on its middle, disc 0.5 c ahead, from an
# independent dense program of the same equations (computed; stated to be converged to 1 %).
# (R/c, μ): (axis along the chord, axis along the free stream, stream from far upstream)
INDEPENDENT = {
    (0.25, 1.5): (0.0218, 0.0265, 0.0249),
    (0.375, 1.35): (0.0311, 0.0376, 0.0353),
    (0.5, 1.2): (0.0297, 0.0351, 0.0331),
    (0.5, 1.5): (0.0617, 0.0799, 0.0745),
    (0.5, 2.0): (0.0986, 0.1490, 0.1377),
    (1.0, 1.5): (0.1559, 0.2192, 0.2052),
    (1.0, 2.0): (0.2627, 0.4432, 0.4127),
    (2.0, 1.5): (0.3575, 0.5382, 0.5129),
}
KINDS = {"chord": {}, "stream": {"along": ALPHA}, "nozzle": {"along": ALPHA, "nozzle": True}}


@pytest.mark.parametrize(("radius", "ratio"), INDEPENDENT)
def test_increments_at_default_settings(radius, ratio):
    for (kind, keys), wanted in zip(KINDS.items(), INDEPENDENT[radius, ratio], strict=True):
        found = increment(solve(scene([jet(radius, ratio, ahead=0.5, **keys)], ALPHA)))
        print(f"R/c {radius}, μ {ratio}, {kind}: {found:.4f} against {wanted:.4f}")
        assert_allclose(found, wanted, rtol=0.03)


@pytest.mark.slow
@pytest.mark.parametrize(("radius", "ratio"), [(0.25, 1.5), (0.5, 1.5), (0.5, 2.0), (1.0, 2.0)])
def test_increments_converged(radius, ratio):
    fine = {"spanwise": 64, "chordwise": 12, "jet_around": 48, "jet_rings": 40}
    for keys, wanted in zip(KINDS.values(), INDEPENDENT[radius, ratio], strict=True):
        found = solve(scene([jet(radius, ratio, ahead=0.5, **keys)], ALPHA, model=fine))
        assert_allclose(increment(found), wanted, rtol=bar("lift_gained"))


def probe(ratio, behind, beside=0.0, **keys):
    """Lift of a tiny wing near an inclined disc of radius 1 over its lift without the disc."""
    half = 0.04
    wing = {"symmetric": False, "stations": [
        {"y": beside - half, "chord": 0.02}, {"y": beside + half, "chord": 0.02},
    ]}  # fmt: skip
    one = jet(1.0, ratio, ahead=behind, **keys) | {"mirror": False}
    model = {"chordwise": 2, "spanwise": 4, "jet_around": 40, "jet_rings": 32}
    totals = solve(scene([one], SMALL, wing, model)).totals
    return totals["CL"] / totals["CL_unblown"]


@pytest.mark.parametrize("ratio", [1.1, 1.5, 2.0, 3.0])
def test_an_inclined_disc_turns_its_stream(ratio):
    # Inside, 2 R behind the disc: speed × μ and flow angle × (1 − ε/α), lift × μ² (1 − ε/α).
    inside = probe(ratio, 2.0) / ratio**2
    assert_allclose(inside, 1.0 - turning(ratio), rtol=bar("stream_direction"))
    # The vector sum of free stream and induced velocity would give 1/μ.
    assert abs(inside * ratio - 1.0) > 0.02
    # The axis along the stream leaves the stream alone.
    assert_allclose(probe(ratio, 2.0, along=SMALL) / ratio**2, 1.0, rtol=1e-3)


@pytest.mark.parametrize("ratio", [1.1, 1.5, 2.0, 3.0])
@pytest.mark.parametrize("beside", [2.0, 3.0])
def test_outer_air_goes_round_the_turned_stream(ratio, beside):
    # Far behind the disc the upwash beside the stream is ε V R²/y².
    rise = probe(ratio, 25.0, beside) - 1.0
    assert_allclose(rise, turning(ratio) / beside**2, rtol=0.03)
    assert abs(probe(ratio, 25.0, beside, along=SMALL) - 1.0) < 1e-3


def bare_stream(ratio, incidence, push):
    """One stream of radius 1 and far ratio μ in a stream of 1 m/s; push: Δv across the axis."""
    axis = np.array([[math.cos(incidence), 0.0, -math.sin(incidence)]])
    free = np.array([1.0, 0.0, 0.0])
    along = axis @ free
    flat = np.full((1, 2), 0.5 * (ratio - 1.0) * along[0])
    return Streams(
        centres=np.zeros((1, 3)),
        axes=axis,
        courses=axis,
        radii=np.ones(1),
        growth=np.ones(1),
        normal_speed=along,
        mean=flat[:, 0],
        cross=free - along[:, None] * axis,
        push=push * np.array([[math.sin(incidence), 0.0, math.cos(incidence)]]),
        held=np.ones(1),
        middles=np.array([[0.3, 0.8]]),
        axial=flat,
        swirl=0.0 * flat,
    )


@pytest.mark.parametrize("ratio", [1.1, 1.5, 2.0, 3.0])
@pytest.mark.parametrize("slope", [0.0, 0.1, 0.4])
def test_the_blades_force_in_the_disc_turns_the_stream_further(ratio, slope):
    # ε/α = μ(μ − 1)/(μ² + 1) + C_Nα μ/((1 + μ)(1 + μ²)), N = C_Nα α ½ρV² A of the disc, up.
    alpha = 1e-4
    disc = math.pi
    force = slope * alpha * 0.5 * disc  # at unit density
    mass = disc * 0.5 * (1.0 + ratio)

    wanted = turning(ratio) + slope * ratio / ((1.0 + ratio) * (1.0 + ratio**2))
    # nose-up axis in a level stream: the stream leaves downwards by ε
    bare = bare_stream(ratio, alpha, -force / mass)
    course = directed(bare, np.array([1.0, 0.0, 0.0]), np.array([1e6])).courses[0]
    assert_allclose(-math.atan2(course[2], course[0]) / alpha, wanted, rtol=1e-5)


def test_the_wing_feels_the_blades_force_in_the_disc():
    # The tubes' doublets carry the same deflection as the course: far behind, on a tiny wing.
    one = blade(0.0, z=0.0, diameter=2.0, x=-8.0, thrust=400.0, mirror=False, spin="clockwise")
    wing = {
        "symmetric": False,
        "stations": [{"y": -0.02, "chord": 0.02}, {"y": 0.02, "chord": 0.02}],
    }
    model = {"chordwise": 2, "spanwise": 4, "jet_around": 40, "jet_rings": 32, "jet_layers": 1}
    point = solved_points(scene([one], 3.0, wing, model))[0]
    streams = point.streams
    assert np.linalg.norm(streams.push) > 0.01 * np.linalg.norm(streams.cross)
    course = streams.courses[0]
    free = point.flow.direction
    # Strengths over m in a stream of unit speed: the flow angle inside over the free stream's. On
    # the axis swirl lifts one side and presses the other.
    wanted = math.atan2(course[2], course[0]) / math.atan2(free[2], free[0])
    found = point.wing.strength.sum() / point.loads_unblown.strip_circulation.sum()
    assert_allclose(found, wanted, rtol=0.01)


@pytest.mark.parametrize("a", [0.1, 0.25, 0.5])
@pytest.mark.parametrize("edge", [True, False])
def test_ribner_s_factor_in_the_flow_that_a_disc_meets(a, edge):
    # f(a) = (1 + a)[(1 + a) + (1 + 2a)²]/[1 + (1 + 2a)²] (Ribner 1945, NACA Report 820, eq. from
    # memory; de Young 1965 has the same). Axial 1 + a times the cross-flow met over the free one.
    alpha, thrust = 3.0, 2.0 * 1.225 * math.pi * 0.16 * 900.0 * a * (1.0 + a)
    one = jet(0.4, y=0.0, thrust=thrust * math.cos(math.radians(3.0)) ** 2, ahead=400.0)
    found = solve(scene([one], alpha, model={**COARSE, "jet_edge": edge})).propellers["jet"]
    free = 30.0 * math.sin(math.radians(alpha))
    axial = 1.0 + found["axial_induced"][0] / found["inflow"]
    wanted = (1.0 + a) * ((1.0 + a) + (1.0 + 2.0 * a) ** 2) / (1.0 + (1.0 + 2.0 * a) ** 2)
    assert_allclose(axial, 1.0 + a, rtol=2e-3)
    assert_allclose(axial * found["crossflow"] / free, wanted, rtol=bar("crossflow"))


@pytest.mark.parametrize("ratio", [1.25, 2.0])
def test_a_wing_in_a_wide_stream(ratio):
    # Wholly inside: lift × μ² with the axis along the stream, × μ²(1 − ε/α) along the chord.
    for keys, wanted in (({"along": ALPHA}, 1.0), ({}, 1.0 - turning(ratio))):
        wide = jet(40.0, ratio, ahead=120.0, **keys)
        totals = solve(scene([wide], ALPHA, model=COARSE)).totals
        assert_allclose(
            totals["CL"] / totals["CL_unblown"], ratio**2 * wanted, rtol=bar("wide_stream")
        )


def test_the_distance_of_the_disc_hardly_matters():
    # μ 1.5, R/c 0.5, axis along the chord: from 0.5 R to 4 R ahead less than 2 % of the increment,
    # once the tubes are resolved.
    fine = {"jet_around": 48, "jet_rings": 40}
    near, far = (
        increment(solve(scene([jet(0.5, 1.5, ahead=ahead)], SMALL, model=fine)))
        for ahead in (0.25, 2.0)
    )
    print(f"increment with the disc 0.5 R and 4 R ahead: {near:.5f}, {far:.5f}")
    assert abs(near - far) < 0.02 * far


def test_a_constant_potential_asks_for_no_doublets():
    # A potential that is the same everywhere moves no air: what it asks for on the tubes, 2κ of
    # it, the rims take off again.
    point = solved_points(scene([jet(0.5, 1.5, z=0.2)], ALPHA, model=COARSE))[0]
    edge, flow = point.model.edge, point.wing.edges
    flat = np.ones(edge.rim_share.size)
    asked = 2.0 * flow.contrast + edge.swept(edge.lifted(flow.held, flat))
    assert_allclose(asked, 0.0, atol=1e-14)
    assert np.all(2.0 * flow.contrast > 0.5)


@pytest.mark.parametrize(("radius", "ratio"), [(0.5, 1.5), (0.5, 2.0), (1.0, 1.5), (1.0, 2.0)])
def test_near_and_far_field(radius, ratio):
    # The wing's wake in the far plane as in a stream from far upstream, and the discs' own streams
    # as a flow that acts on the wing: that is the wing's drag, what is left is paid by the discs.
    def gap(**keys):
        totals = solve(scene([jet(radius, ratio, **keys)], ALPHA)).totals
        return totals["CD_induced"] / totals["CD_induced_farfield"] - 1.0

    found = {n: gap(ahead=n * radius) for n in (1.0, 2.0, 8.0)}
    print(f"R/c {radius}, μ {ratio}: near over far − 1 {found}, nozzle {gap(nozzle=True):.4f}")
    assert abs(gap(nozzle=True)) < 0.013  # the row R/c 0.5, μ 2 misses 1 %
    assert max(map(abs, found.values())) < bar("near_far_blown")


def test_twins_of_a_pair_turn_each_other_alike():
    pair = solve(scene([jet(0.5, 1.5, y=1.5)], ALPHA, model=COARSE)).totals
    single = solve(scene([jet(0.5, 1.5, y=1.5) | {"mirror": False}], ALPHA, model=COARSE)).totals
    both = pair["CL"] - pair["CL_unblown"]
    assert_allclose(both, 2.0 * (single["CL"] - single["CL_unblown"]), rtol=0.02)
    assert PLATE["stations"][1]["y"] == 4.0
