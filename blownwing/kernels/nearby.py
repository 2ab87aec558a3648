"""Loads of rotors near a known state, to first order in the onset flow and in what trims them."""

from __future__ import annotations

import numpy as np

from blownwing.kernels.jit import serial

# First axis of the rates.
VALUE, AXIAL, SWIRL, ANGLE = range(4)
N_RATES = 4


@serial
def blown_loads(change, along, spread, rates, values, axial, swirl, angles):
    """Move states in place to another onset.

    change: (units, 3, n_azimuth, n_samples) of the onset at the samples, disc axes, m/s; along:
    (units, 2, n_azimuth) right and up components of the blades' direction of motion; spread:
    (units, n_samples, n_r) from samples to elements; rates: (N_RATES, 2, units, n_azimuth, n_r) by
    the axial onset and by that along the blade at each element; values: (units,), axial, swirl:
    (units, n_r), angles: (units, n_azimuth, n_r), units as in `coupling.loaded.Loaded`.
    """
    units, _, n_azimuth, n_samples = change.shape
    n_r = spread.shape[2]
    through = np.empty(n_r)
    turning = np.empty(n_r)
    for i in range(units):
        total = 0.0
        for k in range(n_azimuth):
            through[:] = 0.0
            turning[:] = 0.0
            for s in range(n_samples):
                axial_part = change[i, 0, k, s]
                along_part = (
                    along[i, 0, k] * change[i, 1, k, s] + along[i, 1, k] * change[i, 2, k, s]
                )
                for j in range(n_r):
                    through[j] += axial_part * spread[i, s, j]
                    turning[j] += along_part * spread[i, s, j]
            for j in range(n_r):
                a = through[j]
                b = turning[j]
                total += rates[VALUE, 0, i, k, j] * a + rates[VALUE, 1, i, k, j] * b
                axial[i, j] += rates[AXIAL, 0, i, k, j] * a + rates[AXIAL, 1, i, k, j] * b
                swirl[i, j] += rates[SWIRL, 0, i, k, j] * a + rates[SWIRL, 1, i, k, j] * b
                angles[i, k, j] += rates[ANGLE, 0, i, k, j] * a + rates[ANGLE, 1, i, k, j] * b
        values[i] += total
