"""Uncertain inputs carried to the results: mean, standard deviation, indices with their errors."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from blownwing.errors import SolveError
from blownwing.study.sweep.table import StudyTable

Array = NDArray[np.float64]


def propagated(table: StudyTable, inputs: int) -> StudyTable:
    """The table with mean, standard deviation and main effects of every varying quantity.

    Args:
        table: of the cases of Saltelli's scheme in the order of `plan`: A, B, then A with one
            column of B for every input.
        inputs: number of uncertain inputs.

    Raises:
        SolveError: some cases failed, so that the samples no longer stand for the distribution.
    """
    if not table.solved.all():
        first = int(np.flatnonzero(~table.solved)[0])
        raise SolveError(
            f"{int((~table.solved).sum())} of {table.solved.size} cases have no result, so means "
            f"and effects would be biased; the first (case {first}) says: {table.messages[first]}"
        )
    summary = {}
    for name, values in table.results.items():
        if np.isnan(values).any():
            continue
        sets = values.reshape(inputs + 2, -1)
        both = sets[:2].ravel()
        spread = float(np.std(both, ddof=1))
        if spread <= 1e-12 * max(abs(float(both.mean())), 1e-300):
            continue
        effects, errors = main_effects(sets[0], sets[1], sets[2:])
        totals = total_effects(sets[0], sets[1], sets[2:])
        keys = list(table.parameters)
        summary[name] = {
            "mean": float(both.mean()),
            "standard_deviation": spread,
            **{f"effect {k}": float(v) for k, v in zip(keys, effects, strict=True)},
            **{f"total {k}": float(v) for k, v in zip(keys, totals, strict=True)},
            **{f"band {k}": float(v) for k, v in zip(keys, errors, strict=True)},
        }
    return replace(table, summary=summary)


def main_effects(first: Array, second: Array, mixed: Array) -> tuple[Array, Array]:
    """Main-effect indices (inputs,) and their standard errors (inputs,).

    An index is what an input explains of the variance alone; errors are of the means over the
    sample.

    Args:
        first, second: (n,) results at two independent samples A and B.
        mixed: (inputs, n) results at A with one input from B.

    Source: Saltelli and others 2010, "Variance based sensitivity analysis of model output",
    Computer Physics Communications 181, 259-270, table 2 (b), with both samples centred first,
    which does not change the expectation and lowers the noise.
    """
    middle = 0.5 * (first.mean() + second.mean())
    parts = (second - middle) * (mixed - first) / np.var(np.concatenate((first, second)))
    return parts.mean(axis=1), parts.std(axis=1, ddof=1) / np.sqrt(first.size)


def total_effects(first: Array, second: Array, mixed: Array) -> Array:
    """Total-effect indices (inputs,): the same with all interactions.

    first, second: (n,); mixed: (inputs, n); as for `main_effects`. Source: Saltelli and others
    2010, as there, table 2 (f), after Jansen 1999.
    """
    variance = np.var(np.concatenate((first, second)))
    return np.asarray(0.5 * np.mean((first - mixed) ** 2, axis=1) / variance)
