"""Slipstream edges on wings and in places other than a flat wing's middle."""

import numpy as np
import pytest
from edge_scenes import COARSE, PLATE, blade, increment, jet, scene
from numpy.testing import assert_allclose

from blownwing import InputError, solve
from blownwing.coupling import solved_points


def swept_wing(sweep=0.0, dihedral=0.0, tip=1.0):
    back, rise = (4.0 * np.tan(np.radians(a)) for a in (sweep, dihedral))
    return {
        "stations": [
            {"y": 0.0, "chord": 1.0},
            {"y": 4.0, "x": float(back), "z": float(rise), "chord": tip},
        ]
    }


def rise(sweep, dihedral, tip=1.0, y=2.0, **more):
    """Increment of a jet pair through the quarter chord at y."""
    back, up = (y * np.tan(np.radians(a)) for a in (sweep, dihedral))
    one = jet(0.5, 1.5, y=y, along=3.0, ahead=1.5 - back, z=up, **more)
    return increment(solve(scene([one], 3.0, wing=swept_wing(sweep, dihedral, tip), model=COARSE)))


@pytest.mark.parametrize(
    ("sweep", "dihedral", "tip"), [(25.0, 0.0, 1.0), (-15.0, 4.0, 0.5), (10.0, 8.0, 0.6)]
)
def test_any_wing_wholly_inside_a_wide_jet(sweep, dihedral, tip):
    # Lift and drag on the jet's dynamic pressure whatever the planform; the rest falls with R⁻².
    wide = jet(40.0, 1.5, along=3.0, ahead=2.0)
    found = solve(scene([wide], 3.0, wing=swept_wing(sweep, dihedral, tip), model=COARSE)).totals
    assert_allclose(found["CL"] / found["CL_unblown"], 1.5**2, rtol=2e-3)
    assert_allclose(found["CD_induced"] / found["CD_induced_unblown"], 1.5**2, rtol=5e-3)
    assert_allclose(found["CD_induced"], found["CD_induced_farfield"], rtol=0.03)


def test_sweep_and_dihedral_change_the_increment_little():
    plain = rise(0.0, 0.0)
    assert_allclose(rise(0.0, 1e-6), plain, rtol=1e-6)
    for sweep, dihedral in ((15.0, 0.0), (-15.0, 0.0), (0.0, 5.0), (0.0, -5.0)):
        assert_allclose(rise(sweep, dihedral), plain, rtol=0.05)
    # Sweep turns the jet's and the wing's axes against each other by itself.
    assert rise(30.0, 0.0) > rise(15.0, 0.0) > plain


def test_height_of_the_tube():
    # Linear in incidence a jet above the wing does what one below does.
    heights = np.array([0.0, 0.15, 0.3, 0.45, 0.7, 1.0])
    above, below = (
        np.array([increment(solve(scene([jet(0.5, 1.5, y=2.0, along=0.2, z=z)], 0.2, model=COARSE)))
                  for z in sign * heights])
        for sign in (1.0, -1.0)
    )  # fmt: skip
    assert_allclose(above, below, rtol=0.01)
    # The higher the less, down to next to nothing.
    assert np.all(np.diff(above) < 0.0)
    assert 0.0 < above[-1] < 0.1 * above[0]


def test_a_tube_above_the_wing_covers_no_strip():
    case = scene([jet(0.5, 1.5, y=2.0, along=3.0, z=0.8)], 3.0, model=COARSE)
    found = solve(case)
    assert not np.any(found.strips["slipstream_axial"])
    jets = solved_points(case)[0].model.jets
    assert np.all(jets.strip == -1) and jets.tubes.panels > 0
    # Its edge is felt all the same: the wing's flow bends the jet.
    plain = solve(
        scene([jet(0.5, 1.5, y=2.0, along=3.0, z=0.8)], 3.0, model={**COARSE, "jet_edge": False})
    )
    assert 1.005 < found.totals["CL"] / plain.totals["CL"] < 1.05


@pytest.mark.slow
def test_a_tube_that_touches_the_wing_s_surface():
    # Panels of a tangent tube are nearer than their own size, which leaves the increment there
    # uneven by a tenth of the largest; it stays bounded, between those of heights on either side.
    found = np.array(
        [
            increment(solve(scene([jet(0.5, 1.5, y=2.0, along=0.2, z=z)], 0.2)))
            for z in (0.0, 0.45, 0.49, 0.499, 0.5, 0.501, 0.52, 0.6)
        ]
    )
    assert np.all(found[2:7] < found[1]) and np.all(found[2:7] > found[-1])
    assert_allclose(found[2:6], np.mean(found[2:6]), atol=0.1 * found[0])


def test_tip_propellers_from_inside_to_outside_the_span():
    places = (3.4, 3.6, 4.0, 4.2, 4.4, 4.7, 5.2)
    found = [solve(scene([jet(0.5, 1.5, y=y, along=3.0)], 3.0, model=COARSE)) for y in places]
    gain = np.array([increment(f) for f in found])
    assert np.all(np.diff(gain[1:]) < 0.0) and gain[-1] < 0.05 * gain[0]
    half = found[2].totals
    assert_allclose(half["CD_induced"], half["CD_induced_farfield"], rtol=0.03)
    # A disc centred on the tip has half its jet outside, and more than half its effect.
    assert 0.5 < gain[2] / gain[0] < 0.9


@pytest.mark.parametrize("model", [COARSE, pytest.param({}, marks=pytest.mark.slow)])
def test_touching_and_nearly_touching_neighbours(model):
    gaps = np.array([0.0, 1e-4, 1e-3, 3e-3, 1e-2, 3e-2, 1e-1])
    found = []
    for gap in gaps:
        pair = [jet(0.5, 1.5, y=1.5, along=3.0)]
        pair.append(jet(0.5, 1.5, y=2.5 + float(gap), along=3.0, name="outer"))
        totals = solve(scene(pair, 3.0, model=model)).totals
        found.append((totals["CL"] / totals["CL_unblown"] - 1.0, totals["CD_induced"]))
        assert_allclose(totals["CD_induced"], totals["CD_induced_farfield"], rtol=0.03)
    lift, drag = np.array(found).T
    # Smooth in the gap: lift to one per cent of the increment from one to the next up to 3 cm.
    assert_allclose(lift[1:-1], lift[:-2], rtol=0.01)
    assert lift[0] > lift[-1] > 0.96 * lift[0]
    # Drag of a strip of a centimetre between jets that run 1.5 times as fast is uneven by 5 %.
    assert_allclose(drag, drag[0], rtol=0.05)


@pytest.mark.parametrize("gap", [0.0, 1e-3, 1e-2, 1e-1])
def test_neighbours_that_touch_on_the_plane_of_symmetry(gap):
    # The folded half has to see the edge of the tube that ends on, or a sliver from, the plane.
    pair = jet(0.5, 1.5, y=0.5 + 0.5 * gap, along=3.0)
    folded = solve(scene([pair], 3.0, model=COARSE))
    whole = solve(scene([pair], 3.0, model=COARSE, roll_rate=1e-12))
    for name in ("CL", "CD_induced", "CD_induced_farfield"):
        assert_allclose(folded.totals[name], whole.totals[name], rtol=1e-6)
    assert 0.9 < increment(folded) / rise(0.0, 0.0, y=0.7) < 1.1


def test_slipstreams_that_overlap_too_far_are_refused_in_one_sentence():
    inner = jet(0.5, 1.5, y=2.0, along=3.0)
    for other in (
        jet(0.5, 1.5, y=2.8, name="far", ahead=3.0, along=3.0),
        jet(0.5, 1.5, y=2.0, name="far", ahead=4.0, along=3.0),
    ):
        with pytest.raises(InputError, match=r"propellers jet and far: .*overlap by \d") as caught:
            solve(scene([inner, other], 3.0))
        assert "\n" not in str(caught.value) and "accepted" in str(caught.value)
        # Superposition takes them.
        solve(scene([inner, other], 3.0, model={**COARSE, "jet_edge": False}))
    # Staggered ones that pass each other at the wing are fine.
    solve(scene([inner, jet(0.5, 1.5, y=3.1, name="far", ahead=3.0, along=3.0)], 3.0, model=COARSE))


def test_ground_under_a_blown_wing():
    def totals(**flow):
        return solve(scene([jet(0.4, 1.5, y=2.0, along=4.0)], 4.0, model=COARSE, **flow)).totals

    free, far = totals(), totals(ground_height=1e4)
    for name in ("CL", "CD_induced", "CD_induced_farfield", "C_pitch"):
        assert_allclose(far[name], free[name], rtol=1e-5)
    low, lower = totals(ground_height=1.5), totals(ground_height=0.8)
    assert lower["CL"] > low["CL"] > 1.02 * free["CL"]
    assert lower["CD_induced"] < low["CD_induced"] < free["CD_induced"]
    for one in (low, lower):
        assert one["CL"] > one["CL_unblown"]
        assert_allclose(one["CD_induced"], one["CD_induced_farfield"], rtol=0.03)


def test_flaps_in_a_slipstream():
    # A flap's lift is blown as incidence is: μ² wholly inside a wide jet.
    flap = {"from": 0.1, "to": 0.6, "chord_fraction": 0.3, "deflection": 20.0}
    wing = {**PLATE, "flaps": [flap]}
    wide = solve(scene([jet(40.0, 1.5, ahead=2.0)], 0.0, wing=wing, model=COARSE)).totals
    assert_allclose(wide["CL"] / wide["CL_unblown"], 1.5**2, rtol=2e-3)
    # A real slipstream: something, and less than superposition says.
    edge, plain = (
        solve(scene([blade(2.0)], 4.0, wing=wing, model={**COARSE, "jet_edge": e}))
        for e in (True, False)
    )
    assert 0.02 < increment(edge) < 0.8 * increment(plain)
    assert_allclose(edge.totals["CD_induced"], edge.totals["CD_induced_farfield"], rtol=0.03)


@pytest.mark.parametrize("layers", [2, 3, 4, "auto"])
def test_layers_of_a_uniform_jet_are_one_jet(layers):
    # Interfaces without contrast change nothing but the strips, which end at each of them.
    one, more = (
        solve(scene([jet(0.5, 1.5, y=2.0, along=3.0)], 3.0, model={**COARSE, "jet_layers": n}))
        for n in (1, layers)
    )
    assert_allclose(increment(more), increment(one), rtol=0.01)
    assert_allclose(more.totals["CD_induced"], one.totals["CD_induced"], rtol=0.015)


def test_layers_of_a_propeller():
    found = {}
    for layers in (1, 2, 3, 4, "auto"):
        model = {**COARSE, "jet_layers": layers, "jet_around": 12, "jet_rings": 14}
        case = scene([blade(2.0)], 4.0, wing=swept_wing(5.0, 3.0), model=model)
        solution = solve(case)
        jets = solved_points(case)[0].model.jets
        found[layers] = solution.totals["CL"]
        if layers != "auto":
            # of equal area, on the half that is solved
            area = jets.interfaces.outer**2
            assert_allclose(area, 1.0 - np.arange(layers) / layers, rtol=1e-12)
    # A light variation of speed over the radius: the layers' lift stays together, and "auto" is
    # one of them.
    lift = [found[n] for n in (1, 2, 3, 4)]
    assert np.ptp(lift) < 0.01 * found[1]
    assert found["auto"] in lift


def twisted(**more):
    stations = [{"y": y, "chord": 1.0, "twist": 4.0} for y in (0.0, 4.0)]
    return {"wing": {"stations": stations}, "model": COARSE, **more}


def test_at_rest_with_edges():
    # V = 0: lift ∝ thrust, power ∝ T^1.5, and less lift than the jets' whole momentum turned by
    # the wing's 4 degrees.
    one, two = (
        solve(scene([jet(0.4, y=2.0, thrust=t)], 0.0, airspeed=0.0, **twisted())).totals
        for t in (100.0, 400.0)
    )
    assert_allclose(two["lift"] / one["lift"], 4.0, rtol=1e-6)
    assert_allclose(two["power"] / one["power"], 8.0, rtol=1e-6)
    assert 0.3 < one["lift"] / (one["thrust"] * np.sin(np.radians(4.0))) < 1.0
    # A hundredth of the jet's speed is next to rest.
    slow = solve(scene([jet(0.4, y=2.0, thrust=100.0)], 0.0, airspeed=0.2, **twisted())).totals
    assert_allclose(slow["lift"], one["lift"], rtol=0.04)
    # Superposition turns nearly twice as much.
    free = twisted(model={**COARSE, "jet_edge": False})
    plain = solve(scene([jet(0.4, y=2.0, thrust=100.0)], 0.0, airspeed=0.0, **free)).totals
    assert plain["lift"] > 1.3 * one["lift"]


def test_nothing_turns_and_nothing_moves():
    flat = solve(scene([jet(0.4, y=2.0, thrust=100.0)], 0.0, airspeed=0.0, model=COARSE)).totals
    assert_allclose(flat["lift"], 0.0, atol=1e-9)
    still = solve(scene([jet(0.4, y=2.0, thrust=0.0)], 0.0, airspeed=0.0, model=COARSE)).totals
    assert still["lift"] == 0.0
    hover = solve(scene([blade(2.0)], 0.0, airspeed=0.0, **twisted())).totals
    assert hover["lift"] > 0.0 and hover["thrust"] > 0.0


def test_a_pusher_has_no_edge_on_the_wing():
    # Its tube begins behind the quarter chord: only inflow, the same with and without edges.
    edge, plain = (
        solve(scene([blade(2.0, x=1.4)], 4.0, model={**COARSE, "jet_edge": e})).totals
        for e in (True, False)
    )
    assert_allclose(edge["CL"], plain["CL"], rtol=1e-3)
    assert_allclose(edge["CD_induced"], plain["CD_induced"], rtol=0.01)
    assert edge["CL"] > edge["CL_unblown"]


def test_a_windmilling_propeller_brakes_the_wing():
    found = solve(scene([blade(2.0, rpm=1500.0)], 4.0, model=COARSE)).totals
    assert found["thrust"] < 0.0
    assert found["CL"] < found["CL_unblown"]


def test_a_narrow_jet_along_the_chord_carries_a_part_of_what_superposition_promises():
    # Both with the same direction of the stream and the same flow round it.
    edge, plain = (
        increment(solve(scene([jet(0.25, 2.0, y=2.0)], 4.0, model={**COARSE, "jet_edge": e})))
        for e in (True, False)
    )
    assert 0.02 < edge < 0.7 * plain


def test_a_stream_that_comes_to_touch_the_wing_gains_lift_without_a_jump():
    # Axis over the wing by these shares of the radius: cut, just cut, touching, just missing.
    heights = np.array([0.985, 0.989, 0.991, 0.995, 0.999, 0.9999, 1.0001, 1.001, 1.005])
    found = np.array(
        [increment(solve(scene([jet(0.5, 1.5, y=2.0, along=2.0, z=0.5 * h)]))) for h in heights]
    )
    print(f"touching: {np.round(found, 4)}")
    # A cut of a hundredth of the radius and less gained up to a quarter more than either side.
    assert np.ptp(found) < 0.06 * found.mean()
    assert np.abs(np.diff(found)).max() < 0.04 * found.mean()
