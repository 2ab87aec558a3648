"""Section tables on surfaces beside the wing: limits in which the answer is a wing's alone.

Sources: the tables are the sections' own; Glauert 1927, ARC R&M 1095 (flap effectiveness of the
plain control). That a surface far from all others is itself alone needs no source.
"""

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from blownwing.airfoil.flaps import flapped
from blownwing.airfoil.library import section_for
from blownwing.airfoil.packed import packed, packed_coefficients
from blownwing.case.model import Case
from blownwing.coupling import solve

SECTION = "naca0012"
FAR = 1e5


def stations(half=4.0, x=0.0, z=0.0, chord=1.0, airfoil=SECTION):
    place = {"x": x, "z": z, "chord": chord, "airfoil": airfoil}
    return [{"y": 0.0, **place}, {"y": half, **place}]


def case(*surfaces, wing=None, controls=None, model=None, propellers=(), **flow):
    return Case.from_tables(
        {
            "flow": {"airspeed": 30.0, "alpha": 4.0, **flow},
            "wing": wing or {"stations": stations()},
            "surfaces": list(surfaces),
            "controls": controls or {},
            "propellers": list(propellers),
            "model": {"chordwise": 4, "spanwise": 12, "sections": "tables", **(model or {})},
        }
    )


@pytest.mark.parametrize("alpha", [6.0, 20.0])
def test_equal_wings_far_apart_are_each_as_alone_through_the_stall(alpha):
    alone = solve(case(alpha=alpha)).totals
    both = solve(case({"name": "other", "stations": stations(z=FAR), "strips": 12}, alpha=alpha))
    for name in ("wing", "other"):
        for key in ("CL", "CD_induced", "CD_profile"):
            assert_allclose(both.surfaces[name][key], alone[key], rtol=1e-6, err_msg=name)
    assert_allclose(both.surfaces["wing"]["C_pitch"], alone["C_pitch"], rtol=1e-6)


def test_a_stalled_surface_leaves_a_distant_wing_as_alone():
    """Smoothing does not reach from one surface to the next: neither knows the other's stall."""
    alone = solve(case(alpha=6.0)).totals
    stalled = {"name": "tail", "stations": stations(4.0, FAR, FAR), "incidence": 18.0}
    found = solve(case(stalled, alpha=6.0)).surfaces
    assert_allclose(found["wing"]["CL"], alone["CL"], rtol=1e-6)
    assert found["tail"]["stall_way_most"] > 1.2


@pytest.mark.parametrize("angle", [6.0, 18.0])
def test_an_upright_surface_in_sideslip_is_a_wing_at_incidence(angle):
    """The stall is across the span, whichever way that lies."""
    spots = [{"y": 0.0, "z": FAR + s, "x": FAR, "chord": 1.0, "airfoil": SECTION}
             for s in (-4.0, 0.0, 4.0)]  # fmt: skip
    fin = {"name": "fin", "symmetric": False, "stations": spots, "strips": 24}
    found = solve(case(fin, alpha=0.0, beta=angle)).surfaces["fin"]
    alone = solve(case(alpha=angle)).totals
    assert_allclose(found["CY"], -alone["CL"], rtol=3e-3)
    assert_allclose(found["CD_profile"], alone["CD_profile"], rtol=1e-2)


def table_cl(alpha, deflection=0.0, fraction=0.3):
    """cl of the section's table at the strips' Reynolds number, a plain control turned."""
    table = section_for(SECTION, Path("."))
    if deflection:
        table = flapped(table, "plain", fraction, np.radians(deflection)).table
    one = case()
    re = one.air.density * 30.0 / one.air.viscosity
    pack = packed([table])
    angle = np.radians(alpha)
    return float(packed_coefficients(pack, [0], [0], [0.0], [angle], [re], [one.wing_mach]).cl[0])


@pytest.mark.parametrize(
    ("incidence", "deflection"),
    [(5.0, 0.0), (-17.0, 0.0), (2.0, 20.0), (0.0, -25.0), (14.0, -20.0)],
)
def test_an_endless_surface_has_its_sections_lift(incidence, deflection):
    """Aspect ratio 4000: nothing induced, so its setting and its control give the table's cl."""
    tail = {
        "name": "tail", "stations": stations(2000.0, z=FAR), "incidence": incidence, "strips": 8,
        "controls": [{"name": "elevator", "from": 0.0, "to": 1.0, "chord_fraction": 0.3}],
    }  # fmt: skip
    found = solve(case(tail, controls={"elevator": deflection}, alpha=0.0))
    strip = found.surfaces["tail"]
    middle = strip["cl_local_q"][np.argmin(np.abs(strip["y"] - 300.0))]
    assert_allclose(middle, table_cl(incidence, deflection), atol=2e-3)


def test_a_control_is_the_same_flap_of_a_wing():
    """A flap turns normals, a control the onset; with tables both are the table's."""
    flap = {"from": 0.0, "to": 1.0, "chord_fraction": 0.3, "deflection": 15.0}
    wing = {"stations": stations(), "flaps": [flap]}
    alone = solve(case(wing=wing)).totals
    elevator = {"name": "elevator", "from": 0.0, "to": 1.0, "chord_fraction": 0.3}
    other = {"name": "other", "stations": stations(z=FAR), "strips": 12, "controls": [elevator]}
    both = solve(case(other, controls={"elevator": 15.0})).surfaces["other"]
    assert_allclose(both["CL"], alone["CL"], rtol=2e-3)
    assert_allclose(both["CD_profile"], alone["CD_profile"], rtol=5e-3)


def test_half_and_whole_agree_with_a_stalled_tail_behind_a_propeller():
    disc = {"name": "p", "kind": "disc", "position": [-0.6, 1.5, 0.05], "diameter": 0.8,
            "thrust": 90.0, "mirror": True}  # fmt: skip
    tail = {"name": "tail", "stations": stations(1.5, 4.0, 0.3, 0.6), "incidence": -16.0}
    half = solve(case(tail, propellers=[disc])).surfaces
    whole = solve(case(tail, propellers=[disc], beta=1e-6)).surfaces
    for name in ("wing", "tail"):
        for key in ("CL", "C_pitch", "CD_profile"):
            assert_allclose(half[name][key], whole[name][key], rtol=1e-4, atol=1e-7, err_msg=key)


def test_the_sum_of_the_surfaces_is_the_total_with_tables():
    tail = {"name": "tail", "stations": stations(1.5, 4.0, 0.3, 0.6, "naca2412"), "incidence": -5.0}
    found = solve(case(tail, alpha=8.0))
    for key in ("CL", "CD_induced", "CD_profile", "C_pitch"):
        total = sum(surface[key] for surface in found.surfaces.values())
        assert_allclose(total, found.totals[key], rtol=1e-9, err_msg=key)
