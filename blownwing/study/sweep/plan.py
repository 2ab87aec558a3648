"""From a study to its cases: which values every parameter takes in every case, in a fixed order."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blownwing.aircraft.scalars import VARIABLES as AIRCRAFT
from blownwing.case.edits import edited, places_of, values_at
from blownwing.case.messages import did_you_mean
from blownwing.case.model import Case
from blownwing.errors import InputError
from blownwing.solution.variables import BALANCED, VARIABLES
from blownwing.study.model import EVERY, MOST_CASES, SPINS, Parameter, Study, Sweep
from blownwing.study.place.spins import pattern_edits, spin_patterns
from blownwing.study.scalars import OF_PROPELLERS

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Plan:
    """The cases of a study.

    Attributes:
        keys: of the parameters. factors: those whose values are factors on what the case has.
        rows: one tuple of parameter values per case.
        shape: counts of a grid's values, in the order of the keys; empty otherwise.
    """

    keys: tuple[str, ...]
    rows: tuple[tuple[Any, ...], ...]
    shape: tuple[int, ...] = ()
    factors: frozenset[str] = frozenset()

    def edits(self, case: Case, index: int) -> dict[str, Any]:
        """Dotted edits that make one case from the base case."""
        result: dict[str, Any] = {}
        for key, value in zip(self.keys, self.rows[index], strict=True):
            if key == SPINS:
                result |= pattern_edits(case, value)
            elif key in self.factors:
                result |= {k: v * value for k, v in _numbers(case, key).items()}
            else:
                result[key] = value
        return result


def _numbers(case: Case, key: str) -> dict[str, float]:
    """The numbers that a dotted key stands for in a case, each by its own path.

    Raises:
        InputError: none, or something that is no number.
    """
    found = {k: v for k, v in places_of(case.model_dump(), key).items() if v is not None}
    numbers = {k: float(v) for k, v in found.items() if isinstance(v, float | int)}
    if not found or len(numbers) < len(found):
        raise InputError(f"sweep.parameters: found no numbers at {key}; a factor needs them")
    return numbers


def planned(study: Study) -> Plan:
    """All cases of a study's sweep.

    Raises:
        InputError: the study has no sweep, too many cases, or a key that leads nowhere.
    """
    sweep = study.sweep
    if sweep is None:
        search = (
            ""
            if study.optimize is None and study.placement is None
            else ("; a search is run by 'blownwing optimize'")
        )
        raise InputError(f"sweep: this table is missing; accepted is a study with [sweep]{search}")
    keys = tuple(item.key for item in sweep.parameters)
    factors = frozenset(item.key for item in sweep.parameters if item.factor)
    count = case_count(study.base, sweep)
    if count > MOST_CASES:
        raise InputError(f"sweep: found {count} cases; accepted are up to {MOST_CASES}")
    if sweep.method == "grid":
        axes = [_axis(study.base, item) for item in sweep.parameters]
        rows = tuple(itertools.product(*axes))
        plan = Plan(keys, rows, tuple(len(axis) for axis in axes), factors)
    elif sweep.method == "list":
        columns = [item.values for item in sweep.parameters if isinstance(item.values, list)]
        plan = Plan(keys, tuple(zip(*columns, strict=True)), factors=factors)
    else:
        plan = Plan(keys, _sampled(study.base, sweep), factors=factors)
    _check_switches(study.base, sweep)
    if sweep.results == "aircraft":
        _check_aircraft(study)
    else:
        check_quantity(study.base, study.ranking[0], "sweep.rank_by")
    tables = study.base.model_dump()
    for key, value in plan.edits(study.base, 0).items():
        try:
            edited(tables, {key: value})
        except InputError as error:
            raise InputError(f"sweep.parameters: {error}") from None
    return plan


def _check_aircraft(study: Study) -> None:
    """Raise InputError for a study of whole aircraft without one, or ranked by something else."""
    if study.base.aircraft is None:
        raise InputError('sweep.results: found "aircraft"; accepted for a case with [aircraft]')
    name = study.ranking[0]
    if name not in AIRCRAFT:
        raise InputError(
            f'sweep.rank_by: found "{name}"{did_you_mean(name, AIRCRAFT)}; accepted are '
            f"{', '.join(AIRCRAFT)}"
        )


def _check_switches(case: Case, sweep: Sweep) -> None:
    """Raise InputError for true or false as a value of a key that is no switch."""
    tables = case.model_dump()
    for number, item in enumerate(sweep.parameters):
        values = item.values if isinstance(item.values, list) else []
        for value in values:
            if not isinstance(value, bool):
                continue
            if not all(isinstance(now, bool) for now in values_at(tables, item.key)):
                raise InputError(
                    f"sweep.parameters[{number}].values: found {str(value).lower()}; accepted for "
                    f"{item.key} are values as in the case file, not true or false"
                )


def check_quantity(case: Case, name: str, where: str) -> None:
    """Raise InputError, naming the key `where`, unless `name` is a column of a study's table."""
    owner, _, quantity = name.rpartition(".")
    names = [item.name for item in case.propeller_list()]
    totals = [
        total
        for total in VARIABLES["totals"]
        if total not in BALANCED and (case.wing.half_model or not total.startswith("half_"))
    ]
    if (owner in names and quantity in OF_PROPELLERS) or name in totals:
        return
    accepted = [*totals, *(f"{p}.{q}" for p in names[:1] for q in OF_PROPELLERS)]
    raise InputError(
        f'{where}: found "{name}"{did_you_mean(name, accepted)}; accepted are results such '
        f"as {', '.join(accepted)}"
    )


def case_count(case: Case, sweep: Sweep) -> int:
    """How many cases a sweep has."""
    if sweep.method == "grid":
        return math.prod(_axis_size(case, item) for item in sweep.parameters)
    if sweep.method == "list":
        return len(sweep.parameters[0].values or ())
    factor = len(sweep.parameters) + 2 if sweep.method == "uncertainty" else 1
    return factor * (sweep.samples or 0)


def _axis_size(case: Case, item: Parameter) -> int:
    if item.values == EVERY:
        return int(2 ** len(case.propellers))
    return len(item.values) if item.values is not None else item.count or 0


def _axis(case: Case, item: Parameter) -> Sequence[Any]:
    if item.values == EVERY:
        return spin_patterns(case)
    if isinstance(item.values, list):
        return item.values
    if item.low is None or item.high is None or item.count is None:
        raise ValueError("a grid's range was not validated")
    return [float(x) for x in np.linspace(item.low, item.high, item.count)]


def _sampled(case: Case, sweep: Sweep) -> tuple[tuple[Any, ...], ...]:
    """Rows of a sampling method; for uncertainties the three sets of Saltelli's scheme.

    Source: Saltelli, Annoni, Azzini, Campolongo, Ratto & Tarantola 2010, "Variance based
    sensitivity analysis of model output", Computer Physics Communications 181, 259-270.
    """
    from scipy.stats import qmc

    size, count = len(sweep.parameters), sweep.samples or 0
    if sweep.method == "latin_hypercube":
        unit = qmc.LatinHypercube(size, rng=np.random.default_rng(sweep.seed)).random(count)
    elif sweep.method in ("sobol", "expansion"):
        unit = qmc.Sobol(size, rng=np.random.default_rng(sweep.seed)).random(count)
    else:
        both = qmc.Sobol(2 * size, rng=np.random.default_rng(sweep.seed)).random(count)
        first, second = both[:, :size], both[:, size:]
        sets = [first, second]
        for column in range(size):
            mixed = first.copy()
            mixed[:, column] = second[:, column]
            sets.append(mixed)
        unit = np.concatenate(sets)
    columns = [_mapped(case, p, unit[:, i]) for i, p in enumerate(sweep.parameters)]
    return tuple(zip(*columns, strict=True))


def _mapped(case: Case, item: Parameter, unit: Array) -> list[Any]:
    """Values of one parameter at points (n,) of the unit interval."""
    if item.low is not None and item.high is not None:
        return [float(x) for x in item.low + (item.high - item.low) * unit]
    if item.mean is not None and item.deviation is not None:
        from scipy.stats import norm

        # Scrambled points come as near to 0 as 2⁻³⁰, the normal's tail beyond six deviations.
        inside = np.clip(unit, 1e-12, 1.0 - 1e-12)
        return [float(x) for x in item.mean + item.deviation * norm.ppf(inside)]
    choices = _axis(case, item)
    return [choices[int(k)] for k in np.minimum(unit * len(choices), len(choices) - 1)]
