"""The fuselage's couple: twice volume times pressure times angle (Munk 1924, NACA Report 184)."""

import numpy as np
from numpy.testing import assert_allclose
from trim_scenes import FIN, LONGITUDINAL, TAIL, aircraft

from blownwing.case.fuselage import Fuselage
from blownwing.coupling import solved_points
from blownwing.trim.balance import trimmed
from blownwing.trim.body import body_forces
from blownwing.trim.derivatives import derivatives

PLACES = np.linspace(0.0, 6.0, 61)
WIDTH = 0.8 * np.sqrt(np.maximum(1.0 - (PLACES / 3.0 - 1.0) ** 2, 0.0))
VOLUME = 4.0 / 3.0 * np.pi * 3.0 * 0.4 * 0.4  # of the ellipsoid with these axes


def body(x=0.0, z=0.0):
    stations = [{"x": x + p, "z": z, "width": w} for p, w in zip(PLACES, WIDTH, strict=True)]
    return Fuselage.model_validate({"stations": stations, "drag_area": 0.05})


def far_couple(**flow):
    """Moment of a body far from all surfaces, over dynamic pressure."""
    case = aircraft(LONGITUDINAL[:2], propellers=(), surfaces=(TAIL, FIN), flow=flow)
    point = solved_points(case)[0]
    high = body(x=-3.0, z=3000.0)
    found = body_forces(high, case.wing, (), point.flow, point.model, point.wing)
    bare = found[1].copy()
    bare -= np.cross(np.array([0.0, 0.0, 3000.0]) - point.flow.point, found[0])
    return bare / (0.5 * point.flow.air.density * 900.0), found[0]


def test_a_body_alone_has_munks_couple():
    couple, force = far_couple(alpha=3.0)
    assert_allclose(couple[1], 2.0 * VOLUME * np.sin(np.radians(3.0)), rtol=0.01)
    assert_allclose(np.linalg.norm(force), 0.05 * 0.5 * 1.225 * 900.0, rtol=1e-4)


def test_in_sideslip_it_turns_away_from_the_wind():
    couple, _ = far_couple(alpha=0.0, beta=3.0)
    # about z up: nose to port is positive; wind from starboard carries the nose to port
    assert_allclose(couple[2], 2.0 * VOLUME * np.sin(np.radians(3.0)), rtol=0.01)


def test_it_takes_from_the_stability_and_the_wings_flow_matters():
    plain = aircraft(surfaces=(TAIL, FIN))
    nose = body(x=-2.5).model_dump()
    with_body = plain.replace(fuselage=nose)
    without, found = derivatives(trimmed(plain)), derivatives(trimmed(with_body))
    assert found.neutral_point < without.neutral_point
    # the whole couple of the body alone, by its volume
    alone = 2.0 * VOLUME / (plain.wing.area * plain.wing.chord)
    gain = found.of("C_pitch", "alpha") - without.of("C_pitch", "alpha")
    assert 0.3 * alone < gain < 1.3 * alone
