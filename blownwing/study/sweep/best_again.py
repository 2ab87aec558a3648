"""Single cases of a sweep: as a case of its own, and the best solved again with edges."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from blownwing.case.model import Case
from blownwing.case.reader import read_case
from blownwing.coupling import solve
from blownwing.errors import InputError, SolveError
from blownwing.solution.model import Solution
from blownwing.study.model import Study
from blownwing.study.scalars import of_solution
from blownwing.study.sweep.plan import planned
from blownwing.study.sweep.ranking import ranked
from blownwing.study.sweep.table import StudyTable


@dataclass(frozen=True)
class Again:
    """One of a sweep's best cases, solved again.

    Attributes:
        case: its number. swept, swept_CL: what the sweep gave. solution: with edges, None where
            there is none and `failure` says why. value: of the ranked quantity.
    """

    case: int
    swept: float
    swept_CL: float | None
    solution: Solution | None
    value: float | None
    failure: str = ""


def row_case(study: Study, row: int, own_model: bool = False) -> Case:
    """One case of a sweep.

    Args:
        study: with a sweep. row: number of the case, from 0.
        own_model: keep the case file's own [model], whatever the study's edits make of it.

    Raises:
        InputError: no such row, or a case that the edits break.
    """
    plan = planned(study)
    if not 0 <= row < len(plan.rows):
        raise InputError(f"--row: found {row}; accepted are 0 to {len(plan.rows) - 1}")
    case = study.base.replace(**plan.edits(study.base, row))
    own: dict[str, Any] = {}
    if own_model:
        model = read_case(study.case_file).model
        own = {f"model.{name}": value for name, value in model.model_dump().items()}
    title = f"{case.title}, case {row}" if case.title else f"Case {row}"
    if study.title:
        title += f" of: {study.title}"
    return case.replace(**own, title=title)


def best_again(
    study: Study, table: StudyTable, count: int, progress: Callable[[int], None] | None = None
) -> list[Again]:
    """Solve the best cases again on the case file's own lattice, with slipstream edges.

    Args:
        study: with its sweep. table: its rows. count: how many of the best.
        progress: called with the number of finished solves.

    Returns:
        In the order that the new values give, those without a result last.

    Raises:
        InputError: the table does not have the quantity that orders the cases.
    """
    name, best = study.ranking
    again = []
    for case in ranked(table, name, best)[:count].tolist():
        lift = float(table.results["CL"][case]) if "CL" in table.results else None
        swept = float(table.results[name][case])
        try:
            edged = row_case(study, case, own_model=True).replace(**{"model.jet_edge": True})
            solution = solve(edged)
            value = of_solution(solution)[name]
            again.append(Again(case, swept, lift, solution, value))
        except (InputError, SolveError) as error:
            again.append(Again(case, swept, lift, None, None, str(error)))
        if progress is not None:
            progress(len(again))
    sign = -1.0 if best == "largest" else 1.0
    return sorted(again, key=lambda item: (item.value is None, sign * (item.value or 0.0)))
