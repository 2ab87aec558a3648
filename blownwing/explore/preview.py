"""Answers for the page: the case's own model each time, or a coarser one while something moves.

Each answer starts from the last one's balance. A case whose own model takes longer than a hand
waits is solved on a coarser lattice with single, coarser tubes while something is dragged, and the
page says so.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import NamedTuple

from blownwing.case.model import Case
from blownwing.coupling import neighbours
from blownwing.solution.model import Solution

WAIT = 0.1  # s that a hand waits for an answer while it drags
_COARSE = {"chordwise": 4, "spanwise": 20, "jet_around": 12, "jet_rings": 10, "radial": 10,
           "azimuth": 8, "jet_layers": 1}  # fmt: skip
_TOLERANCE = 1e-4  # enough for a picture


class Answer(NamedTuple):
    """A solution and how it was found."""

    solution: Solution
    seconds: float
    provisional: bool  # of a coarser model than the case's own


def answerer() -> Callable[[Case, bool], Answer]:
    """A function from a case at one incidence, and whether it is being dragged, to its answer.

    Raises (the function):
        InputError: a file of the case cannot be used.
        SolveError: it does not converge.
    """
    own, coarse = neighbours(), neighbours()
    pace = [WAIT]  # s that the own model took when it last answered

    def answer(case: Case, dragging: bool) -> Answer:
        provisional = dragging and pace[0] > WAIT
        start = time.perf_counter()
        solution = coarse(_coarser(case)) if provisional else own(case)
        seconds = time.perf_counter() - start
        if not provisional:
            pace[0] = seconds
        return Answer(solution, seconds, provisional)

    return answer


def _coarser(case: Case) -> Case:
    """The case on as coarse a model as still shows what a move does."""
    model = case.model
    edits: dict[str, object] = {"model.tolerance": max(model.tolerance, _TOLERANCE)}
    for key, most in _COARSE.items():
        found = getattr(model, key)
        edits[f"model.{key}"] = most if found == "auto" else min(found, most)
    return case.replace(**edits)
