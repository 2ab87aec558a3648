"""One case of a study: edit, solve, and its scalars, or the sentence why there are none.

On a fixed lattice what depends only on the wing is assembled and factored once per study. It has no
strip edges at the slipstream edges, which move from case to case; a strip that an edge cuts feels
the slipstream on the part that it covers.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from blownwing.aircraft.scalars import aircraft_scalars
from blownwing.case.model import Case
from blownwing.coupling import points_near
from blownwing.errors import InputError, SolveError
from blownwing.study.lift.trim import Held, Trim
from blownwing.study.model import AIRCRAFT
from blownwing.study.scalars import Run, of_point
from blownwing.study.sweep.journal import Outcome

MOST_PANELS = 1500  # beyond, the dense matrices that are kept cost more than they save


def keeps_lattice(base: Case) -> bool:
    """Whether the edits of a case can run on kept lattices.

    Not when it wants lattices that follow its slipstreams (`model.jet_edge`), has section tables,
    measured propellers or surfaces beside the wing, or is too large for dense matrices to be kept.
    """
    if base.has_measured or base.has_surfaces:
        return False
    halves = 1 if base.is_symmetric else 2
    panels = halves * base.model.chordwise * base.model.spanwise
    return not base.model.jet_edge and panels <= MOST_PANELS and base.model.sections == "linear"


def used_lattice(base: Case, lattice: str) -> str:
    """What `prepared_runner` makes of the wish: "fixed", "following" or "aircraft"."""
    if lattice == AIRCRAFT:
        return lattice
    return "fixed" if lattice == "fixed" and keeps_lattice(base) else "following"


def coupled_run(base: Case, still: bool = False, along: bool = False) -> Run:
    """A function from dotted edits of a case to its scalars.

    Each starts from the balance of the base case, so that none depends on those before it. still:
    on one lattice for all that share a wing, instead of one that follows the slipstreams. along:
    one that differs from the last by incidence alone starts from that instead. Errors as
    for `coupling.solve`, here or there; InputError also for edits that give several incidences or
    what a kept lattice cannot have.
    """
    points = points_near(base.replace(**{"flow.alpha": base.alphas[0]}), still, along)

    def run(edits: dict[str, Any]) -> dict[str, float]:
        case = base.replace(**edits)
        if isinstance(case.flow.alpha, tuple):
            raise InputError("flow.alpha: found a list; accepted in a study is one angle per case")
        if still and (case.model.jet_edge or case.has_measured):
            found = "slipstream edges" if case.model.jet_edge else "a measured propeller"
            raise InputError(
                f"model.jet_edge and propellers.kind: found {found} in a sweep whose base case has "
                'none; set sweep.lattice = "following"'
            )
        return of_point(case, points(case))

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
    that none depends on those before it. An outcome tells an edited case's error; one of the base
    is raised, an InputError or a SolveError.
    """
    if lattice == AIRCRAFT:
        run = _aircraft_run(base)
    else:
        run = coupled_run(base, still=used_lattice(base, lattice) == "fixed")
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
