"""Least value of a function that ripples: quadratics fitted to scattered points, box by box.

A result on a lattice ripples by parts in a thousand as strips come and go, which misleads
differences over short steps. A least-squares quadratic over a box that is wide beside the ripples
averages them (Box & Wilson 1951, "On the experimental attainment of optimum conditions", Journal of
the Royal Statistical Society B 13, 1-45); boxes follow its minimum and shrink to a least size
(Conn, Scheinberg & Vicente 2009, Introduction to Derivative-Free Optimization, chapter 10).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from blownwing.errors import SolveError

Array = NDArray[np.float64]

_FIRST = 0.25  # half size of the first box, of the variables' ranges
_PASSES = 40
_LAST = 2  # times as many points in boxes of the least size, where ripples are averaged
_REFILLS = 3  # of a box whose points have no value
_INNER = 0.5  # of the box's half size: a minimum farther out moves the box before it shrinks


class SurfaceEnd(NamedTuple):
    """Where a search ends: the fitted minimum, and the fit's value there."""

    x: Array
    value: float


def surface_minimum(
    function: Callable[[Array], float | None],
    start: Array,
    least: Array,
    rng: np.random.Generator,
) -> SurfaceEnd:
    """Search the unit box for the least value of a rippling function.

    Args:
        function: value at a point (n,), None where there is none.
        start: (n,) first centre, 0 to 1. least: (n,) half size of the last box.
        rng: places the points.

    Raises:
        SolveError: too few values for a fit, or boxes that go on moving.
    """
    from scipy.stats import qmc

    size = start.size
    terms = (size + 1) * (size + 2) // 2
    wanted = math.ceil(1.6 * terms) + 2
    places, values = np.zeros((0, size)), np.zeros(0)
    centre, half = start, np.maximum(np.full(size, _FIRST), least)

    def tried(x: Array) -> float | None:
        nonlocal places, values
        value = function(x)
        if value is not None:
            places, values = np.vstack((places, x)), np.append(values, value)
        return value

    tried(start)
    for _ in range(_PASSES):
        low, high = np.maximum(centre - half, 0.0), np.minimum(centre + half, 1.0)
        smallest = bool(np.all(half <= least))
        for _ in range(_REFILLS):
            missing = (_LAST if smallest else 1) * wanted - int(_within(places, low, high).sum())
            if missing <= 0:
                break
            for unit in qmc.LatinHypercube(size, rng=rng).random(missing):
                tried(low + (high - low) * unit)
        inside = _within(places, low, high)
        if int(inside.sum()) < terms + 1:
            raise SolveError("too few cases around a point of the search have a result")
        x, fitted, gain, scatter = _fit_minimum(places[inside], values[inside], low, high, centre)
        step = float(np.max(np.abs(x - centre) / half))
        # what a move gains beside the ripples counts, or boxes would wander about a flat bottom
        if smallest and (step < _INNER or gain < scatter):
            return SurfaceEnd(x, fitted)
        best = places[inside][int(np.argmin(values[inside]))]
        value = tried(x)
        if value is None or (value > values[:-1][inside].min() and not smallest):
            # no quadratic describes so wide a box: a smaller one around its best point
            centre, half = best, np.maximum(0.5 * half, least)
            continue
        if step < _INNER:
            half = np.maximum(0.5 * half, least)
        centre = x
    raise SolveError(f"the search did not settle in {_PASSES} boxes")


def _within(places: Array, low: Array, high: Array) -> NDArray[np.bool_]:
    return np.asarray(np.all((places >= low - 1e-12) & (places <= high + 1e-12), axis=1))


def _fit_minimum(
    places: Array, values: Array, low: Array, high: Array, centre: Array
) -> tuple[Array, float, float, float]:
    """Minimum inside a box of the quadratic fitted to values (m,) at places (m, n).

    Returns its place (n,), the fit there, how far it lies below the fit at the centre, and the
    standard deviation of the values about the fit.
    """
    from scipy.optimize import minimize

    middle, half = 0.5 * (low + high), 0.5 * (high - low)
    scaled = (places - middle) / half
    size = middle.size
    first, second = np.triu_indices(size)
    table = np.column_stack((np.ones(len(scaled)), scaled, scaled[:, first] * scaled[:, second]))
    scale = max(float(np.ptp(values)), 1e-300)
    right = (values - values.mean()) / scale
    weights = np.linalg.lstsq(table, right, rcond=None)[0]
    left = right - table @ weights
    scatter = float(np.sqrt(left @ left / max(right.size - table.shape[1], 1)))
    slope, matrix = weights[1 : size + 1], np.zeros((size, size))
    matrix[first, second] = weights[size + 1 :]
    matrix = matrix + matrix.T

    def fit(s: Array) -> tuple[float, Array]:
        return float(weights[0] + slope @ s + 0.5 * s @ matrix @ s), slope + matrix @ s

    starts, bounds = [np.zeros(size), scaled[int(np.argmin(values))]], [(-1.0, 1.0)] * size
    found = [
        minimize(fit, np.clip(s, -1.0, 1.0), jac=True, method="L-BFGS-B", bounds=bounds)
        for s in starts
    ]
    best = min(found, key=lambda end: float(end.fun))
    place = middle + half * np.clip(best.x, -1.0, 1.0)
    gain = fit((centre - middle) / half)[0] - float(best.fun)
    value = float(best.fun) * scale + float(values.mean())
    return place, value, gain * scale, scatter * scale
