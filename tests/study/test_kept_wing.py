"""What a study keeps of a wing gives what the wing itself gives."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from study_scenes import case_tables

from blownwing import Case
from blownwing.coupling.parts import undisturbed
from blownwing.geometry.lattice import planform_at
from blownwing.study.kept_wing import kept_wing

SHAPE = {
    "wing.stations.1.x": 0.7,
    "wing.stations.1.z": 0.5,
    "wing.stations.1.chord": 0.6,
    "wing.reference_point": [0.3, 0.0, -0.2],
    "flow.mach": 0.3,
    "model.compressibility": True,
}
FLOWS = {
    "folded": {},
    "sideslip": {"flow.beta": 6.0},
    "turning": {"flow.roll_rate": 20.0, "flow.yaw_rate": -10.0, "flow.pitch_rate": 5.0},
    "pitching": {"flow.pitch_rate": 15.0},
    "near the ground": {"flow.ground_height": 1.5},
}


@pytest.mark.parametrize("name", FLOWS)
def test_total_loads_are_those_of_the_lattice(name):
    # `lattice_loads` is tested against published values; any circulation and onset will do here
    case = Case.from_tables(case_tables(chordwise=3)).replace(**SHAPE, **FLOWS[name])
    wing, flow = kept_wing(case), undisturbed(case, 7.0)
    assert wing.system.lattice.symmetric == (name in ("folded", "pitching", "near the ground"))
    rng = np.random.default_rng(3)
    gamma = rng.uniform(-1.0, 2.0, wing.system.lattice.panels)
    onset = rng.uniform(-5.0, 30.0, (3, gamma.size))
    full, short = wing.loads(flow, gamma, onset), wing.total_loads(flow, gamma, onset)
    assert_allclose(short.force, full.force, rtol=1e-11, atol=1e-10)
    assert_allclose(short.moment, full.moment, rtol=1e-11, atol=1e-10)
    assert_allclose(short.farfield_drag, full.farfield_drag, rtol=1e-11)
    assert_allclose(short.strip_circulation, full.strip_circulation, rtol=1e-13)
    assert_allclose(short.downwash, full.downwash, rtol=1e-13)
    # the control: legs over the wing and the turn of the lattice's own forces both count
    straight = undisturbed(case, 0.0)
    other = wing.total_loads(straight, gamma, onset)
    assert abs(other.force[2] / full.force[2] - 1.0) > 1e-4


@pytest.mark.parametrize("symmetric", [True, False])
def test_quarter_line_is_the_planform_s(symmetric):
    tables = case_tables()
    stations = [{"y": 0.0, "chord": 1.0}, {"y": 1.5, "x": 0.2, "chord": 0.9}]
    stations += [{"y": 4.0, "x": 0.9, "chord": 0.5}]
    if not symmetric:
        stations = [{"y": -2.0, "x": 0.4, "chord": 0.7}, *stations]
        tables["propellers"] = []
    tables["wing"] = {"stations": stations, "symmetric": symmetric}
    case = Case.from_tables(tables)
    y = np.linspace(-5.0, 5.0, 41)
    x, _, chord, _, _ = planform_at(case.wing, y)
    assert_allclose(kept_wing(case).quarter_x(y), x + 0.25 * chord, rtol=1e-14, atol=1e-15)
