"""Uncertain inputs by polynomial chaos: few cases, indices from the coefficients, errors stated.

Results are fitted by polynomials that are orthonormal over the inputs' distributions, Legendre's
for uniform and Hermite's for normal ones; then the variance is the sum of squared coefficients, and
its parts are the indices of Sobol.

Sources: Sudret 2008, "Global sensitivity analysis using polynomial chaos expansions", Reliability
Engineering & System Safety 93, 964-979 (formulas from memory); Efron & Stein 1981, "The jackknife
estimate of variance", Annals of Statistics 9, 586-596 (bands).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from blownwing.errors import SolveError
from blownwing.study.model import Parameter
from blownwing.study.sweep.table import StudyTable

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

MOST_DEGREE = 3
PER_TERM = 2  # cases for each coefficient, at least
MOST_LOST = 0.1  # share of cases without a result that the others may stand for
TAIL = 0.05  # of an input's distribution beyond either end of its swing


@dataclass(frozen=True)
class Expansion:
    """A fitted result.

    Attributes:
        powers: (terms, inputs) degree of each term in each input. coefficients: (terms,).
        band: (inputs,) standard error of the main effects, jackknife.
        error: variance that is left at points left out of the fit, over the variance.
        swings: (inputs, 2) values at the lower and upper ends of each input, the others in the
            middle. middle: all of them there.
    """

    powers: Whole
    coefficients: Array
    band: Array
    error: float
    swings: Array
    middle: float

    @property
    def mean(self) -> float:
        """Mean over the inputs' distributions."""
        return float(self.coefficients[0])

    @property
    def deviation(self) -> float:
        """Standard deviation over the inputs' distributions."""
        return float(np.sqrt(np.sum(self.coefficients[1:] ** 2)))

    @property
    def effects(self) -> Array:
        """(inputs,) main effects: what each input explains of the variance alone."""
        return _effects(self.powers, self.coefficients)

    @property
    def totals(self) -> Array:
        """(inputs,) total effects: the same with all interactions."""
        part = self.coefficients**2
        return np.asarray((self.powers > 0).T @ part / part[1:].sum())


def least_samples(inputs: int) -> int:
    """Fewest cases of a linear expansion in a number of inputs."""
    return PER_TERM * (inputs + 1)


def propagated_expansion(table: StudyTable, parameters: Sequence[Parameter]) -> StudyTable:
    """The table with mean, deviation, effects, their bands and swings of every varying quantity.

    Args:
        table: of the cases. parameters: of its sweep, ranges or normal distributions.

    Raises:
        SolveError: too many cases failed, so that the others do not stand for the distribution.
    """
    kept = table.solved
    lost = int((~kept).sum())
    if lost > MOST_LOST * kept.size or kept.sum() < least_samples(len(parameters)):
        first = int(np.flatnonzero(~kept)[0])
        raise SolveError(
            f"{lost} of {kept.size} cases have no result, so means and effects would be biased; "
            f"the first (case {first}) says: {table.messages[first]}"
        )
    columns = [_standard(item, table.parameters[item.key][kept]) for item in parameters]
    points, normal = np.stack(columns, axis=1), [item.mean is not None for item in parameters]
    summary = {}
    for name, values in table.results.items():
        y = values[kept]
        if np.isnan(y).any() or np.ptp(y) <= 1e-12 * max(float(np.max(np.abs(y))), 1e-300):
            continue
        found = expanded(points, normal, y)
        keys = list(table.parameters)
        summary[name] = {
            "mean": found.mean,
            "standard_deviation": found.deviation,
            "unexplained": found.error,
            "middle": found.middle,
            **{f"effect {k}": float(v) for k, v in zip(keys, found.effects, strict=True)},
            **{f"total {k}": float(v) for k, v in zip(keys, found.totals, strict=True)},
            **{f"band {k}": float(v) for k, v in zip(keys, found.band, strict=True)},
            **{f"low {k}": float(v) for k, v in zip(keys, found.swings[:, 0], strict=True)},
            **{f"high {k}": float(v) for k, v in zip(keys, found.swings[:, 1], strict=True)},
        }
    return replace(table, summary=summary)


def expanded(points: Array, normal: Sequence[bool], values: Array) -> Expansion:
    """The expansion, up to the third degree, that foretells points left out best.

    Args:
        points: (n, inputs) standard inputs: within −1 and 1, or of mean 0 and deviation 1.
        normal: which are normal, the others uniform. values: (n,).
    """
    best: Expansion | None = None
    for degree in range(1, MOST_DEGREE + 1):
        powers = _powers(points.shape[1], degree)
        if degree > 1 and PER_TERM * len(powers) > len(values):
            break
        found = _fitted(points, normal, values, powers)
        if best is None or found.error < best.error:
            best = found
    if best is None:
        raise ValueError("an expansion of the first degree was not tried")
    return best


def _fitted(points: Array, normal: Sequence[bool], values: Array, powers: Whole) -> Expansion:
    matrix = _terms(points, normal, powers)
    inverse = np.linalg.pinv(matrix)
    coefficients = inverse @ values
    leverage = np.minimum(np.einsum("ij,ji->i", matrix, inverse), 1.0 - 1e-9)
    left = (values - matrix @ coefficients) / (1.0 - leverage)
    without = coefficients[:, None] - inverse * left  # (terms, n), each without one case
    effects = np.stack([_effects(powers, one) for one in without.T])
    count = len(values)
    spread = np.sum((effects - effects.mean(axis=0)) ** 2, axis=0)
    ends = _ends(normal)
    places = np.concatenate((np.zeros((1, len(normal))), *ends))
    at = _terms(places, normal, powers) @ coefficients
    return Expansion(
        powers,
        coefficients,
        np.sqrt((count - 1) / count * spread),
        float(np.mean(left**2) / np.var(values)),
        at[1:].reshape(-1, 2),
        float(at[0]),
    )


def _effects(powers: Whole, coefficients: Array) -> Array:
    part = coefficients**2
    alone = (powers > 0) & ((powers > 0).sum(axis=1) == 1)[:, None]
    return np.asarray(alone.T @ part / part[1:].sum())


def _powers(inputs: int, degree: int) -> Whole:
    """(terms, inputs) all degrees that add up to at most `degree`, the constant first."""
    rows = itertools.product(range(degree + 1), repeat=inputs)
    kept = sorted((row for row in rows if sum(row) <= degree), key=sum)
    return np.array(kept, dtype=np.int64)


def _terms(points: Array, normal: Sequence[bool], powers: Whole) -> Array:
    """(n, terms) products of orthonormal polynomials at standard points (n, inputs)."""
    from numpy.polynomial import hermite_e, legendre

    degree = int(powers.max())
    result = np.ones((points.shape[0], powers.shape[0]))
    for k, is_normal in enumerate(normal):
        grow = np.arange(degree + 1)
        if is_normal:
            size = np.array([math.sqrt(math.factorial(int(n))) for n in grow])
            values = hermite_e.hermevander(points[:, k], degree) / size
        else:
            values = legendre.legvander(points[:, k], degree) * np.sqrt(2.0 * grow + 1.0)
        result *= values[:, powers[:, k]]
    return result


def _standard(item: Parameter, values: Array) -> Array:
    """An input's values in units of its distribution."""
    if item.mean is not None and item.deviation is not None:
        return (values - item.mean) / item.deviation
    if item.low is None or item.high is None:
        raise ValueError("an uncertain input was not validated")
    return (2.0 * values - item.low - item.high) / (item.high - item.low)


def _ends(normal: Sequence[bool]) -> list[Array]:
    """For each input its lower and upper end (2, inputs), the others in the middle."""
    from scipy.stats import norm

    found = []
    for k, is_normal in enumerate(normal):
        reach = -float(norm.ppf(TAIL)) if is_normal else 1.0 - 2.0 * TAIL
        rows = np.zeros((2, len(normal)))
        rows[:, k] = (-reach, reach)
        found.append(rows)
    return found
