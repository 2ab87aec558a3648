"""Whether a search's gain is real: both cases again on a finer lattice and by full coupling."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from blownwing.case.model import Case
from blownwing.coupling import solve
from blownwing.study.lift.peak import trimmed
from blownwing.study.lift.trim import Held, Trim
from blownwing.study.model import PlacementSearch
from blownwing.study.place.search import PlacementResult, asked
from blownwing.study.runner import coupled_run
from blownwing.study.shape.model import objective_of
from blownwing.study.shape.search import ShapeResult, at_lift

FINER = 2
AGREES = 0.1  # of the gain
SUSPECT = 0.1  # of the drag: published gains do not exceed it


@dataclass(frozen=True)
class PlacementCheck:
    """An objective before and after a placement search, solved again by the full coupling.

    Attributes:
        before, after: on FINER times the panels both ways, held quantities met again there.
        gain: share of the objective that the search found. finer: share that is left there.
    """

    before: float
    after: float
    gain: float
    finer: float

    @property
    def differs(self) -> bool:
        """Whether the finer lattice changes the gain by more than AGREES of it."""
        return abs(self.finer - self.gain) > AGREES * abs(self.gain)


@dataclass(frozen=True)
class Confirmation:
    """A shape search's objective before and after, N or W, and what is saved, as a share.

    Attributes:
        finer: on FINER times the panels both ways, same model as the search.
        coupled: by the full coupling on the case's lattice, with slipstream edges where the case
            has them, incidence (and for power the thrusts) trimmed to the same. The near-field
            drag counts.
    """

    finer: tuple[float, float]
    coupled: tuple[float, float]

    @property
    def gains(self) -> tuple[float, float]:
        """Shares saved on the finer lattice and by the full coupling."""
        return (
            1.0 - self.finer[1] / self.finer[0],
            1.0 - self.coupled[1] / self.coupled[0],
        )


def confirmed(result: ShapeResult, objective: str) -> Confirmation:
    """Solve both shapes again.

    Args:
        result: of `searched`.
        objective: as it was searched.

    Raises:
        InputError: a finer lattice that does not fit in memory.
        SolveError: a case that does not converge.
    """
    lift = result.shape_after.lift.value
    finer, coupled = [], []
    for case in (result.before, result.after):
        fine = finer_case(case, result.strips)
        _, shape = at_lift(fine, lift, objective)
        finer.append(objective_of(shape, objective))
        coupled.append(_coupled(case, lift, objective))
    return Confirmation((finer[0], finer[1]), (coupled[0], coupled[1]))


def confirmed_placement(
    base: Case,
    problem: PlacementSearch,
    result: PlacementResult,
    progress: Callable[[int], None] | None = None,
) -> PlacementCheck:
    """Solve the case as it was and as a placement search found it on a finer lattice.

    Args:
        base, problem: as they were searched. result: of `best_placement`.
        progress: called with the number of cases solved.

    Raises:
        InputError: a finer lattice that does not fit in memory.
        SolveError: a case that does not converge, or misses what is held.
    """
    name, count = problem.objective, 0
    values = []
    for changed in (result.edits_before, result.edits):
        here = base.replace(**changed)
        fine = finer_case(here, solve(here).strips["y"].size // 2)
        trim = Trim(fine, asked(problem), coupled_run(fine))
        values.append(trim.met({})[1][name])
        count += trim.runs + 1
        if progress is not None:
            progress(count)
    return PlacementCheck(
        before=values[0],
        after=values[1],
        gain=gained(result.before[name], result.after[name], problem.best),
        finer=gained(values[0], values[1], problem.best),
    )


def gained(before: float, after: float, best: str) -> float:
    """What a quantity has gained on the way to its best, as a share of what it was.

    before, after: in any one unit; best: "largest" or "least".
    """
    sign = 1.0 if best == "largest" else -1.0
    return sign * (after - before) / max(abs(before), 1e-300)


def finer_case(case: Case, strips: int) -> Case:
    """The case on FINER times the panels along the chord and across the half span.

    Args:
        case: any. strips: of its lattice's half span; slipstream edges add some to those it asks
            for, and go on doing so.

    Raises:
        InputError: a lattice that does not fit in memory.
    """
    options = case.model
    added = strips - options.spanwise
    return case.replace(
        **{
            "model.chordwise": FINER * options.chordwise,
            "model.spanwise": FINER * strips - added,
        }
    )


def _coupled(case: Case, lift: float, objective: str) -> float:
    if objective == "power":
        return Trim(case, Held(lift, True), coupled_run(case)).met({})[1]["power"]
    totals = trimmed(case, "lift", lift).totals
    if objective == "drag":
        return float(totals["drag"])
    unit = float(totals["reference_dynamic_pressure"]) * float(totals["reference_area"])
    return float(totals["CD_induced"]) * unit
