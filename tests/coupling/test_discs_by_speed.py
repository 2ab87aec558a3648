"""A disc by speed ratio against the ideal disc of that speed: why they differ, and what is said."""

import math
import re

import pytest
from scenes import disc, scene

from blownwing import solve
from blownwing.report.trust import trust_notes


@pytest.mark.parametrize("ratio", [1.05, 1.36, 2.0])
def test_a_constant_jet_is_said_to_carry_more_than_the_ideal_disc(ratio):
    case = scene([disc(thrust=None, speed_ratio=ratio, diameter=1.0)], alpha=2.0)
    jet = solve(case)
    # Glauert (1935), in Durand IV, division L: T = ½ρA(Vj² − V²), P = T (V + Vj)/2
    area, rho = 0.25 * math.pi, 1.225
    thrust = 0.5 * rho * area * 900.0 * (ratio**2 - 1.0)
    power = thrust * 15.0 * (1.0 + ratio)
    found = jet.propellers["disc"]
    # a jet of constant radius: mass flow ρAVj, energy ½(Vj² − V²) of it
    assert found["thrust"] == pytest.approx(thrust * 2.0 * ratio / (1.0 + ratio), rel=1e-3)
    assert found["power"] == pytest.approx(power * 2.0 * ratio / (1.0 + ratio), rel=1e-3)
    (note,) = [n for n in trust_notes(jet, case) if "by speed_ratio" in n]
    newton, kilowatt = re.findall(r"has (\d+) N and (\d+\.\d) kW: give it by thrust", note)[0]
    assert float(newton) == pytest.approx(thrust, abs=0.5)
    assert float(kilowatt) == pytest.approx(1e-3 * power, abs=0.05)
    # what the note recommends is that disc, to the flow that the wing sends it
    same = case.replace(**{"propellers.disc.thrust": thrust})
    ideal = solve(same)
    assert ideal.propellers["disc"]["power"] == pytest.approx(power, rel=0.01)
    far = ideal.slipstreams["disc"]["speed_ratio"][-1]
    assert far == pytest.approx(ratio, rel=0.01)
    assert not any("by speed_ratio" in n for n in trust_notes(ideal, same))
