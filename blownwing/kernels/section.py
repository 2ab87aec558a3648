"""Coefficients of strips between the tables of two sections each."""

from __future__ import annotations

from blownwing.kernels.jit import serial


@serial
def strip_coefficients(values, peaks, tables, shares, row, row_share, point, t, step, factor, out):
    """Fill out (4, n) with cl, cd, cm and dcl/dα of strips.

    values: (n_tables, n_re, n_a, 4) and peaks: (n_tables, n_re, 2) as in airfoil.packed; tables,
    shares: (2, n) of each strip; row, row_share: (n,) Reynolds number before and share of the next;
    point, t: (n,) grid point before the incidence and share of the way to the next; step: of the
    grid, rad; factor: (n,) that multiplies lift and moment.
    """
    last = values.shape[1] - 1
    for i in range(out.shape[1]):
        lift = rise = drag = moment = 0.0
        before = after = high = low = 0.0
        for side in range(2):
            for level in range(2):
                k = min(row[i] + level, last)
                mix = shares[side, i] * (row_share[i] if level else 1.0 - row_share[i])
                if mix == 0.0:
                    continue
                left = values[tables[side, i], k, point[i]]
                right = values[tables[side, i], k, point[i] + 1]
                top = peaks[tables[side, i], k]
                lift += mix * left[0]
                rise += mix * (right[0] - left[0])
                drag += mix * (left[1] + t[i] * (right[1] - left[1]))
                moment += mix * (left[2] + t[i] * (right[2] - left[2]))
                before += mix * left[3]
                after += mix * right[3]
                high += mix * top[0]
                low += mix * top[1]
        a = before * step - rise
        b = rise - after * step
        u = 1.0 - t[i]
        bend = a * u + b * t[i]
        grown = factor[i] * (lift + t[i] * (rise + u * bend))
        slope = factor[i] * (rise + (u - t[i]) * bend + t[i] * u * (b - a)) / step
        out[0, i] = min(max(grown, low), high)
        out[1, i] = drag
        out[2, i] = factor[i] * moment
        out[3, i] = slope if low <= grown <= high else 0.0
