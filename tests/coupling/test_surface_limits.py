"""Several surfaces in one lattice: limits with known answers.

Sources: Prandtl 1924, "Induced drag of multiplanes", NACA TN 182 (interference factor; its numbers
from memory); Munk 1921, NACA Report 121 (stagger); Glauert 1926, The Elements of Aerofoil and
Airscrew Theory (lifting line, downwash behind it).
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad

from blownwing.case.model import Case
from blownwing.coupling import solve, solved_points
from blownwing.errors import InputError
from blownwing.validation.claims import bar
from blownwing.wing.loads import cross
from blownwing.wing.nearfield import bound_velocity

AIRSPEED = 30.0


def straight(half=4.0, chord=1.0, x=0.0, z=0.0, airfoil="flat", twist=0.0):
    """Stations of a plain rectangular half."""
    place = {"x": x, "z": z, "chord": chord, "airfoil": airfoil, "twist": twist}
    return [{"y": 0.0, **place}, {"y": half, **place}]


def case(*surfaces, wing=None, propellers=(), model=None, controls=None, **flow):
    """A rectangular wing of 8 m by 1 m with surfaces beside it."""
    return Case.from_tables(
        {
            "flow": {"airspeed": AIRSPEED, "alpha": 4.0, **flow},
            "wing": {"stations": wing or straight()},
            "surfaces": list(surfaces),
            "propellers": list(propellers),
            "controls": controls or {},
            "model": {"chordwise": 4, "spanwise": 16, **(model or {})},
        }
    )


def tail(x=5.0, z=0.3, half=1.5, chord=0.6, name="tail", **more):
    return {"name": name, "stations": straight(half, chord, x, z), **more}


def test_two_equal_wings_far_apart_are_each_as_alone():
    alone = solve(case()).totals
    both = solve(case({"name": "other", "stations": straight(z=1e5), "strips": 16})).surfaces
    for name in ("wing", "other"):
        for key in ("CL", "CD_induced", "CD_profile"):
            assert_allclose(both[name][key], alone[key], rtol=1e-6, err_msg=f"{name} {key}")
    assert_allclose(both["wing"]["C_pitch"], alone["C_pitch"], rtol=1e-6)


def test_an_unlike_surface_far_away_leaves_the_wing_as_alone():
    alone = solve(case()).totals
    wing = solve(case(tail(x=3e3, z=1e5))).surfaces["wing"]
    for key in ("CL", "CD_induced", "CD_profile", "C_pitch"):
        assert_allclose(wing[key], alone[key], rtol=1e-6, err_msg=key)


def test_a_fin_far_away_in_sideslip_is_the_wing_turned_upright():
    """A fin is a wing on its side: the same slope, its side force to leeward."""
    stations = [{"y": 0.0, "z": 1e4 + y, "x": 1e4, "chord": 1.0} for y in (-4.0, 0.0, 4.0)]
    fin = {"name": "fin", "symmetric": False, "stations": stations, "strips": 32}
    found = solve(case(fin, alpha=0.0, beta=4.0)).surfaces["fin"]
    lift = solve(case(alpha=4.0)).totals["CL"]
    # sideslip turns the stream as incidence does
    assert_allclose(found["CY"], -lift, rtol=2e-3)
    assert abs(found["CL"]) < 1e-9


def fixed_load_drag(model, strength):
    """Near- and far-field drag of given strengths in a stream along x."""
    system, lattice = model.system, model.system.lattice
    induced = bound_velocity(system, strength[None])[0]
    return float(np.sum(1.225 * strength * cross(induced, lattice.bound)[0]))


def elliptic(lattice):
    """Strengths of equal elliptic loads on all surfaces, on the foremost panels."""
    edge = np.max(np.abs(lattice.edge_y))
    middle = 0.5 * (lattice.edge_y[1:] + lattice.edge_y[:-1])
    root = lattice.edge_y / edge
    # the mean of the ellipse over each strip, so that the sheet sheds what it should
    area = 0.5 * (root * np.sqrt(np.maximum(1.0 - root**2, 0.0)) + np.arcsin(root))
    load = np.diff(area) / np.where(np.diff(root) == 0.0, 1.0, np.diff(root))
    load = np.where(lattice.live, load, 0.0)
    assert middle.size == load.size
    strength = np.zeros((lattice.rows, lattice.columns))
    strength[0] = load
    return strength.ravel()


@pytest.mark.parametrize("gap", [0.1, 0.15, 0.2, 0.25])
def test_biplane_of_equal_wings_meets_prandtls_interference_factor(gap):
    """Total induced drag with equal elliptic loads: ½(1 + σ) of the monoplane with all the lift."""
    other = {"name": "upper", "stations": straight(z=8.0 * gap)}
    fine = {"spanwise": 40, "chordwise": 2}
    model = solved_points(case(other, model=fine))[0].model
    drag = 2.0 * fixed_load_drag(model, elliptic(model.system.lattice))
    alone = solved_points(case(model=fine))[0].model
    mono = 2.0 * fixed_load_drag(alone, 2.0 * elliptic(alone.system.lattice))
    factor = (1.0 - 0.66 * gap) / (1.05 + 3.7 * gap)  # NACA TN 182, from memory
    assert_allclose(drag / mono, 0.5 * (1.0 + factor), rtol=bar("biplane"))


@pytest.mark.parametrize("stagger", [0.7, 2.3, -4.0])
def test_total_induced_drag_does_not_depend_on_stagger(stagger):
    """Munk's theorem, NACA Report 121: moving loads along the stream changes no total."""
    drags = []
    for x in (0.0, stagger):
        other = {"name": "upper", "stations": straight(x=x, z=1.6)}
        model = solved_points(case(other))[0].model
        drags.append(fixed_load_drag(model, elliptic(model.system.lattice)))
    assert_allclose(drags[1], drags[0], rtol=bar("stagger"))
    # each wing's own share does change: the theorem is about the sum
    assert drags[0] > 0.0


def test_near_and_far_field_drag_agree_for_a_tail_in_the_wake():
    for z in (0.0, 0.05, 0.3):
        found = solve(case(tail(z=z, incidence=2.0), model={"spanwise": 24})).totals
        assert_allclose(found["CD_induced"], found["CD_induced_farfield"], rtol=3e-3)


def elliptic_downwash(x):
    """Downwash over Γ0/b on the axis x semi-spans behind an elliptic lifting line.

    Biot and Savart's law over bound line and trailing sheet, Γ = Γ0 √(1 − y²): Glauert 1926.
    """

    def sheet(y):
        return (1.0 + x / np.hypot(x, y)) / np.sqrt(1.0 - y * y)

    def bound(y):
        return np.sqrt(1.0 - y * y) * x / (x * x + y * y) ** 1.5

    trailing = quad(sheet, -1.0, 1.0)[0]
    return (trailing + quad(bound, -1.0, 1.0)[0]) / (4.0 * np.pi) * 2.0


def test_downwash_behind_an_elliptic_wing_is_the_lifting_lines():
    """At 2, 3 and 4 mean chords behind the quarter chord, in the plane of the wake."""
    half, root = 4.0, 4.0 / np.pi  # of aspect ratio 8, mean chord 1
    place = np.sin(np.linspace(0.0, 0.5 * np.pi, 25))
    chords = root * np.sqrt(np.maximum(1.0 - place**2, 4e-4))
    wing = [{"y": half * p, "x": -0.25 * c, "chord": c} for p, c in zip(place, chords, strict=True)]
    # The formula is infinitely far from a wing that flies: what matters is Γ0.
    for distance in (2.0, 3.0, 4.0):
        small = tail(x=distance - 0.01, z=0.0, half=0.2, chord=0.04)
        found = solve(case(small, wing=wing, model={"spanwise": 48}, alpha=2.0))
        strips = found.strips
        peak = float(np.max(strips["circulation"]))
        angle = np.degrees(elliptic_downwash(distance / half) * peak / (2.0 * half) / AIRSPEED)
        assert_allclose(found.surfaces["tail"]["downwash_angle"], angle, rtol=bar("downwash"))


def test_a_tail_in_a_wide_stream_has_its_forces_by_the_pressure_ratio():
    """A stream a hundred times as wide as the tail, the wing out of it: forces times μ²."""
    ratio, far = 1.2, 400.0
    jet = {
        "name": "jet", "kind": "disc", "nozzle": True, "speed_ratio": ratio, "diameter": 60.0,
        "position": [far - 20.0, 0.0, 0.3],
    }  # fmt: skip
    wing = straight(z=-200.0)
    still = solve(case(tail(x=far), wing=wing)).surfaces["tail"]
    blown = solve(case(tail(x=far), wing=wing, propellers=[jet])).surfaces
    assert_allclose(blown["tail"]["CL"], ratio**2 * still["CL"], rtol=bar("tail_in_stream"))
    assert_allclose(
        blown["tail"]["CD_induced"], ratio**2 * still["CD_induced"], rtol=bar("tail_in_stream")
    )
    assert_allclose(blown["tail"]["pressure_ratio"], ratio**2, rtol=1e-3)
    assert_allclose(blown["wing"]["pressure_ratio"], 1.0, rtol=1e-3)


def test_a_small_deflection_is_that_of_the_same_flap():
    flap = {"from": 0.0, "to": 1.0, "chord_fraction": 0.3}
    hinged = {"stations": straight(), "controls": [{"name": "flaperon", **flap}]}
    flapped = {"stations": straight(), "flaps": [{**flap, "deflection": 0.5}]}
    base = {"flow": {"airspeed": AIRSPEED, "alpha": 0.0}, "model": {"spanwise": 12}}
    turned = solve(Case.from_tables({**base, "wing": hinged, "controls": {"flaperon": 0.5}}))
    drawn = solve(Case.from_tables({**base, "wing": flapped}))
    for key in ("CL", "C_pitch"):
        assert_allclose(turned.totals[key], drawn.totals[key], rtol=1e-4, err_msg=key)
    assert_allclose(turned.strips["alpha_effective"], drawn.strips["alpha_effective"], rtol=1e-3)


def test_ailerons_roll_and_a_mirrored_case_rolls_back():
    wing = {
        "stations": straight(),
        "controls": [
            {"name": "outer", "from": 0.6, "to": 1.0, "chord_fraction": 0.25,
             "gearing": [{"setting": "aileron", "opposed": True}, {"setting": "droop"}]}
        ],
    }  # fmt: skip
    base = {"flow": {"airspeed": AIRSPEED, "alpha": 3.0}, "wing": wing, "model": {"spanwise": 12}}
    right = solve(Case.from_tables({**base, "controls": {"aileron": 5.0, "droop": 2.0}})).totals
    left = solve(Case.from_tables({**base, "controls": {"aileron": -5.0, "droop": 2.0}})).totals
    assert right["C_roll"] < -0.01  # starboard trailing edge down lifts the starboard side
    assert_allclose(left["C_roll"], -right["C_roll"], rtol=1e-10)
    assert_allclose(left["CL"], right["CL"], rtol=1e-10)


def test_half_and_whole_agree_with_tail_fin_and_propeller():
    fin = {
        "name": "fin", "symmetric": False,
        "stations": [{"y": 0.0, "x": 5.0, "z": 0.4, "chord": 0.7},
                     {"y": 0.0, "x": 5.3, "z": 1.4, "chord": 0.4}],
    }  # fmt: skip
    disc = {"name": "disc", "kind": "disc", "position": [-0.6, 1.0, 0.05], "diameter": 0.8,
            "thrust": 60.0, "mirror": True}  # fmt: skip
    parts = {"propellers": [disc], "model": {"chordwise": 3, "spanwise": 10, "jet_around": 16}}
    half = solve(case(tail(), fin, **parts))
    whole = solve(case(tail(), fin, beta=1e-9, **parts))
    assert whole.surfaces["fin"]["s"].size == half.surfaces["fin"]["s"].size
    for name in ("wing", "tail"):
        for key in ("CL", "CD_induced", "C_pitch", "CD_profile"):
            assert_allclose(whole.surfaces[name][key], half.surfaces[name][key], rtol=5e-4)
    assert_allclose(
        whole.surfaces["fin"]["CD_profile"], half.surfaces["fin"]["CD_profile"], rtol=5e-4
    )
    assert_allclose(whole.totals["CD"], half.totals["CD"], rtol=2e-4)


def test_the_sum_of_the_surfaces_is_the_total():
    found = solve(case(tail(incidence=-2.0), tail(x=-3.0, z=-0.6, name="canard"), beta=3.0))
    for key in ("CL", "CD_induced", "CD_profile", "CY"):
        total = sum(values[key] for values in found.surfaces.values())
        assert_allclose(total, found.totals[key], rtol=1e-10, atol=1e-12, err_msg=key)


def tail_disc(x, y, z, diameter=0.8, thrust=80.0):
    return {"name": "p", "kind": "disc", "position": [x, y, z], "diameter": diameter,
            "thrust": thrust, "mirror": True}  # fmt: skip


def test_a_stream_behind_the_wing_does_not_feel_where_the_wake_is_cut():
    """A wake through a stream is a cut of the potential; only what is shed there is vorticity.

    Lift gained by a tail's propellers, with the wing's wake through the stream and clear of it.
    """
    gains = []
    for z in (0.0, 0.1, 0.25, 0.6):
        found = solve(
            case(tail(x=4.0, z=z), propellers=[tail_disc(3.5, 1.0, z)], model={"chordwise": 6})
        )
        surface = found.surfaces["tail"]
        gains.append(surface["CL"] / surface["CL_unblown"])
        assert_allclose(found.totals["CL_unblown"] > 0.3, True)
    assert min(gains) > 1.03
    assert_allclose(gains, np.mean(gains), atol=0.01)


def test_a_tail_moves_smoothly_through_a_wings_stream():
    """In the plane of the wing it shares the tube's corners, above it has its own."""
    lifts = []
    for z in (0.0, 0.02, 0.05, 0.1):
        found = solve(case(tail(x=4.0, z=z), propellers=[tail_disc(-0.6, 1.0, 0.0)]))
        lifts.append(found.surfaces["tail"]["CL"])
    steps = np.diff(lifts) / np.diff([0.0, 0.02, 0.05, 0.1])
    assert np.all(np.abs(steps) < 0.02)  # no jump: 0.045 of lift over 0.1 m


def test_a_surface_ahead_of_a_disc_is_not_blown():
    found = solve(case(tail(x=4.0), propellers=[tail_disc(3.5, 1.0, 0.3, thrust=150.0)]))
    assert_allclose(found.strips["speed_ratio"], 1.0, atol=0.01)
    assert np.max(found.surfaces["tail"]["speed_ratio"]) > 1.2


def test_an_upright_fin_in_a_centre_line_stream_keeps_the_sides_apart():
    fin = {
        "name": "fin", "symmetric": False,
        "stations": [{"y": 0.0, "x": 5.0, "z": 0.1, "chord": 0.7},
                     {"y": 0.0, "x": 5.3, "z": 1.3, "chord": 0.4}],
    }  # fmt: skip
    disc = {"name": "nose", "kind": "disc", "position": [-1.5, 0.0, 0.1], "diameter": 1.2,
            "thrust": 200.0}  # fmt: skip
    left, right = (solve(case(fin, propellers=[disc], beta=b)) for b in (3.0, -3.0))
    bare = solve(case(fin, beta=3.0))
    assert_allclose(left.surfaces["fin"]["CY"], -right.surfaces["fin"]["CY"], rtol=1e-6)
    gain = left.surfaces["fin"]["CY"] / bare.surfaces["fin"]["CY"]
    assert 1.02 < gain < left.surfaces["fin"]["pressure_ratio"]


def test_a_rise_of_the_streams_is_the_surface_lower_with_its_arms_kept():
    """The same flow as of a tail drawn lower; the moments are those of where it is drawn."""
    disc = tail_disc(-0.6, 1.0, 0.0)
    risen = solve(case(tail(x=4.0, z=0.5, stream_rise=0.3), propellers=[disc])).surfaces["tail"]
    lower = solve(case(tail(x=4.0, z=0.2), propellers=[disc])).surfaces["tail"]
    for key in ("CL", "CD_induced", "downwash_angle", "pressure_ratio"):
        assert_allclose(risen[key], lower[key], rtol=1e-6, err_msg=key)
    assert_allclose(risen["z"], 0.5)
    # the arm of the force along x is longer by the rise
    a = np.radians(4.0)
    along = lower["CD_induced"] * np.cos(a) - lower["CL"] * np.sin(a)
    assert_allclose(risen["C_pitch"] - lower["C_pitch"], 0.3 * along, rtol=1e-3)


def test_the_local_course_is_found_and_given():
    found = solve(case(tail(x=4.0, z=0.5, stream_rise="local"), alpha=6.0)).surfaces["tail"]
    assert_allclose(found["stream_rise"], found["local_rise"], atol=0.01)
    # between the free stream's own rise and none: the wing's downwash takes a part of it
    assert 0.2 * 3.0 * np.tan(np.radians(6.0)) < found["stream_rise"] < 3.0 * np.tan(np.radians(6))


def test_a_rise_beside_discs_of_the_tails_own_is_refused():
    with pytest.raises(InputError, match="between the wing and the surface"):
        case(tail(x=4.0, stream_rise=0.1), propellers=[tail_disc(3.5, 1.0, 0.3)])
