"""Whether a shape's gain is real: compared again on a finer lattice and by the full coupling."""

from __future__ import annotations

from dataclasses import dataclass

from blownwing.case.model import Case
from blownwing.study.lift import trimmed
from blownwing.study.shape_search import ShapeResult, at_lift

FINER = 2
AGREES = 0.1  # of the gain
SUSPECT = 0.1  # of the drag: published gains do not exceed it


@dataclass(frozen=True)
class Confirmation:
    """Drag before and after, N, and what is saved, as a share.

    Attributes:
        finer: on FINER times the panels both ways, same model as the search.
        coupled: by the full coupling on the case's lattice, with slipstream edges where the case
            has them, incidence trimmed to the same lift. The near-field drag counts.
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
        objective: "induced_drag" or "drag", as it was searched.

    Raises:
        InputError: a finer lattice that does not fit in memory.
        SolveError: a case that does not converge.
    """
    lift = result.shape_after.lift.value
    finer, coupled = [], []
    for case in (result.before, result.after):
        options = case.model
        fine = case.replace(
            **{
                "model.chordwise": FINER * options.chordwise,
                "model.spanwise": FINER * options.spanwise,
            }
        )
        _, shape = at_lift(fine, lift)
        friction = shape.profile.value if objective == "drag" else 0.0
        finer.append(shape.induced.value + friction)
        coupled.append(_coupled_drag(case, lift, objective))
    return Confirmation((finer[0], finer[1]), (coupled[0], coupled[1]))


def _coupled_drag(case: Case, lift: float, objective: str) -> float:
    totals = trimmed(case, "lift", lift).totals
    if objective == "drag":
        return float(totals["drag"])
    unit = float(totals["reference_dynamic_pressure"]) * float(totals["reference_area"])
    return float(totals["CD_induced"]) * unit
