"""Propellers' places searched together with their spins: patterns and places in turn.

Every spin pattern is tried at one place, mirror images once; places are searched with the best of
them; then the patterns are tried again there, until none is better than the one searched with.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from blownwing.case.model import Case
from blownwing.errors import InputError, SolveError
from blownwing.study.lift.trim import Trim
from blownwing.study.model import PlacementSearch
from blownwing.study.place.search import (
    PlacementResult,
    Progress,
    asked,
    best_placement,
    signed,
)
from blownwing.study.place.spins import pattern_edits, spin_patterns
from blownwing.study.runner import coupled_run, keeps_lattice

_ROUNDS = 4
_BETTER = 1e-6  # of the objective, that another pattern has to gain


def best_placement_and_spins(
    base: Case, problem: PlacementSearch, progress: Progress | None = None
) -> PlacementResult:
    """Search the ranges of a problem's parameters and the spins of all propellers with blades.

    Arguments and errors as in `search.best_placement`; SolveError also when patterns go on
    taking turns.
    """
    patterns = spin_patterns(base)
    solved = 0

    def count(number: int) -> None:
        if progress is not None:
            progress(solved + number)

    trim = Trim(base, asked(problem), coupled_run(base, still=keeps_lattice(base)))

    def ranked(places: dict[str, Any]) -> list[tuple[str, float]]:
        nonlocal solved
        before = trim.runs
        found = _ranked(base, problem, patterns, places, trim)
        solved += trim.runs - before
        count(0)
        return found

    edits_before, before = trim.met({})
    solved = trim.runs
    ranking = ranked({})
    for _ in range(_ROUNDS):
        pattern = ranking[0][0]
        spins = pattern_edits(base, pattern)
        found = best_placement(base.replace(**spins), problem, count)
        solved += found.runs
        ranking = ranked({item.key: found.edits[item.key] for item in problem.parameters})
        own = dict(ranking).get(pattern)  # none where its lattice has no result
        if own is not None and ranking[0][1] >= own - _BETTER * abs(own):
            return replace(
                found,
                edits={**spins, **found.edits},
                edits_before=edits_before,
                before=before,
                patterns=tuple(ranking),
                runs=solved,
            )
    raise SolveError(f"spin patterns still take turns after {_ROUNDS} searches of the places")


def _ranked(
    base: Case, problem: PlacementSearch, patterns: list[str], places: dict[str, Any], trim: Trim
) -> list[tuple[str, float]]:
    """Patterns and the objective with each (least is best), best first, at given places.

    A pattern with which what is held is not met is left out. Raises SolveError when that is all.
    """
    found, failed = [], ""
    for pattern in patterns:
        try:
            _, values = trim.met({**places, **pattern_edits(base, pattern)})
            found.append((pattern, signed(problem, values)))
        except (InputError, SolveError) as error:
            failed = str(error)
    if not found:
        raise SolveError(f"no spin pattern has a result; the last says: {failed}")
    return sorted(found, key=lambda item: item[1])
