"""First-order states of rotors against plain sums over components, azimuths and samples."""

import numpy as np
from numpy.testing import assert_allclose

from blownwing.kernels import nearby


def test_blown_loads_are_sums_of_rates_times_changes():
    rng = np.random.default_rng(0)
    units, azimuths, samples, annuli = 3, 5, 4, 7
    change = rng.normal(size=(units, 3, azimuths, samples))
    along = rng.normal(size=(units, 2, azimuths))
    spread = rng.normal(size=(units, samples, annuli))
    rates = rng.normal(size=(nearby.N_RATES, 2, units, azimuths, annuli))
    shapes = ((units,), (units, annuli), (units, annuli), (units, azimuths, annuli))
    before = [rng.normal(size=shape) for shape in shapes]
    after = [part.copy() for part in before]
    nearby.blown_loads(change, along, spread, rates, *after)
    at_elements = np.einsum("uckm,umj->cukj", change, spread)
    across = np.einsum("uck,cukj->ukj", along, at_elements[1:])
    moved = np.stack((at_elements[0], across))
    product = rates * moved
    assert_allclose(after[0] - before[0], product[nearby.VALUE].sum(axis=(0, 2, 3)), rtol=1e-12)
    assert_allclose(after[1] - before[1], product[nearby.AXIAL].sum(axis=(0, 2)), rtol=1e-11)
    assert_allclose(after[2] - before[2], product[nearby.SWIRL].sum(axis=(0, 2)), rtol=1e-11)
    assert_allclose(after[3] - before[3], product[nearby.ANGLE].sum(axis=0), rtol=1e-11)
