"""One case of a study: edit, solve, and its scalars, or the sentence why there are none."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from blownwing.aircraft.scalars import aircraft_scalars
from blownwing.case.model import Case
from blownwing.coupling import neighbours, solve
from blownwing.errors import InputError, SolveError
from blownwing.solution.model import Solution
from blownwing.study.fixed import fixed_lattice, keeps_lattice
from blownwing.study.journal import Outcome
from blownwing.study.model import AIRCRAFT
from blownwing.study.scalars import of_solution
from blownwing.study.trim import Held, Run, Trim


def used_lattice(base: Case, lattice: str) -> str:
    """What `prepared_runner` makes of the wish: "fixed", "following" or "aircraft"."""
    if lattice == AIRCRAFT:
        return lattice
    return "fixed" if lattice == "fixed" and keeps_lattice(base) else "following"


def coupled_run(base: Case) -> Callable[[dict[str, Any]], dict[str, float]]:
    """A function from dotted edits of a case to its scalars, by the full coupling.

    Each starts from the balance of the base case, so that none depends on those before it.
    """
    found: list[Callable[[Case], Solution]] = []

    def run(edits: dict[str, Any]) -> dict[str, float]:
        if not found:
            try:
                found.append(neighbours(base.replace(**{"flow.alpha": base.alphas[0]})))
            except SolveError:  # a base without a balance starts no other; each tells its own
                found.append(solve)
        case = base.replace(**edits)
        one = not isinstance(case.flow.alpha, tuple)
        return of_solution(found[0](case) if one else solve(case))

    return run


def _aircraft_run(base: Case) -> Run:
    return lambda edits: aircraft_scalars(base.replace(**edits))


def _at_lift(base: Case, lift: float, run: Run) -> Run:
    return lambda edits: Trim(base, Held(lift, False), run).met(edits)[1]


def prepared_runner(
    base: Case, lattice: str, lift: float | None = None
) -> Callable[[dict[str, Any]], Outcome]:
    """A function from dotted edits of `base` to the outcome of the edited case.

    lattice: "fixed" keeps one factored lattice where it can, "following" never; "aircraft" for the
    numbers of whole aircraft. lift: N, held by incidence, each case from the base's incidence so
    that none depends on those before it.
    """
    run: Run | None
    if lattice == AIRCRAFT:
        run = _aircraft_run(base)
    else:
        run = (fixed_lattice(base) if lattice == "fixed" else None) or coupled_run(base)
    if lift is not None:
        run = _at_lift(base, lift, run)

    def outcome(edits: dict[str, Any]) -> Outcome:
        try:
            return Outcome(values=run(edits))
        except (InputError, SolveError) as error:
            return Outcome(failure=" ".join(str(error).split()))
        except MemoryError:
            return Outcome(failure="there is not enough memory for this case; use fewer panels")

    return outcome
