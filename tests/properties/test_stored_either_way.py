"""Whatever the wing and its jets, compressed and full matrices give the same results."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from blownwing import Case, solve
from blownwing.wing import blown

ANGLE = st.floats(-8.0, 12.0)


@st.composite
def cases(draw):
    span, taper = draw(st.floats(3.0, 9.0)), draw(st.floats(0.3, 1.2))
    sweep, rise = draw(st.floats(-2.0, 4.0)), draw(st.floats(-0.5, 6.0))
    symmetric = draw(st.booleans())
    stations = [
        {"y": 0.0, "chord": 1.0, "twist": draw(ANGLE), "airfoil": "naca2412"},
        {"y": 0.5 * span, "x": 0.5 * sweep, "z": 0.1 * rise, "chord": 0.9, "airfoil": "naca0012"},
        {"y": 0.6 * span, "x": sweep, "z": rise, "chord": taper, "twist": draw(ANGLE)},
    ]
    flow = {"airspeed": 30.0, "alpha": draw(ANGLE), "beta": draw(st.sampled_from([0.0, 6.0]))}
    if draw(st.booleans()):
        flow["ground_height"] = draw(st.floats(0.6, 5.0))
    tables = {
        "flow": flow,
        "wing": {"stations": stations, "symmetric": symmetric},
        "model": {
            "chordwise": draw(st.integers(1, 9)),
            "spanwise": draw(st.integers(4, 60)),
            "spacing": draw(st.sampled_from(["cosine", "uniform"])),
            "jet_around": 12,
            "jet_rings": 8,
        },
    }
    if draw(st.booleans()) and flow.get("ground_height", 9.0) > 2.0:
        place = {
            "position": [-0.6 + min(0.0, 0.6 * sweep), 0.3 * span, 0.05],
            "diameter": 0.2 * span,
        }
        jet = {"name": "jet", "kind": "disc", "speed_ratio": draw(st.floats(1.05, 2.0)), **place}
        tables["propellers"] = [{**jet, "mirror": symmetric}]
    return Case.from_tables(tables)


@settings(deadline=None, max_examples=25)
@given(case=cases())
def test_compressed_and_full_agree(case):
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(blown, "AFAR", np.inf)  # tubes act by their panels, however far away
        full = solve(case.replace(**{"model.matrix": "full"}))
        less = solve(case.replace(**{"model.matrix": "compressed"}))
    scale = max(abs(full.totals["CL"]), 0.05)
    for key in ("CL", "CL_unblown", "CY", "C_roll", "C_pitch", "C_yaw"):
        assert_allclose(less.totals[key], full.totals[key], rtol=1e-6, atol=1e-6 * scale)
    for key in ("CD_induced", "CD_induced_farfield"):
        bound = 1e-6 * max(scale**2, 1e-3)
        assert_allclose(less.totals[key], full.totals[key], rtol=2e-6, atol=bound)
