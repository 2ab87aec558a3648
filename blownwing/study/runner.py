"""One case of a study: edit, solve, and its scalars, or the sentence why there are none."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from blownwing.case.model import Case
from blownwing.coupling import points_near, solve
from blownwing.errors import InputError, SolveError
from blownwing.study.fixed import fixed_lattice, keeps_lattice
from blownwing.study.journal import Outcome
from blownwing.study.scalars import of_point, of_solution


def used_lattice(base: Case, lattice: str) -> str:
    """What `prepared_runner` makes of the wish: "fixed" or "following"."""
    return "fixed" if lattice == "fixed" and keeps_lattice(base) else "following"


def coupled_run(base: Case) -> Callable[[dict[str, Any]], dict[str, float]]:
    """A function from dotted edits of a case to its scalars, on lattices that follow the streams.

    Each starts from the balance of the base case, so that none depends on those before it.
    """
    points = points_near(base.replace(**{"flow.alpha": base.alphas[0]}))

    def run(edits: dict[str, Any]) -> dict[str, float]:
        case = base.replace(**edits)
        if isinstance(case.flow.alpha, tuple):
            return of_solution(solve(case))
        return of_point(case, points(case))

    return run


def prepared_runner(base: Case, lattice: str) -> Callable[[dict[str, Any]], Outcome]:
    """A function from dotted edits of `base` to the outcome of the edited case.

    lattice: "fixed" keeps one factored lattice where it can, "following" never.
    """
    run = fixed_lattice(base) if lattice == "fixed" else None
    if run is None:
        run = coupled_run(base)

    def outcome(edits: dict[str, Any]) -> Outcome:
        try:
            return Outcome(values=run(edits))
        except (InputError, SolveError) as error:
            return Outcome(failure=" ".join(str(error).split()))
        except MemoryError:
            return Outcome(failure="there is not enough memory for this case; use fewer panels")

    return outcome
