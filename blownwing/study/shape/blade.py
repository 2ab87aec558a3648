"""The blade that lifts a wing most for its power: what thrust is worth along the radius, searched.

Lift gained per kilowatt is stationary where the power that a newton more of thrust costs in any
annulus is a common price times the worth of thrust there, 1 plus what the wing gains from it. That
worth is smooth along the radius; it is sought as a parabola over the disc's area, by the coupled
solve itself. Least loss is the even worth, and lies where power is flat: unless the wing gains
alike from all radii, something near it is better.

Inward loadings win on wings as deep as the propeller is wide: thrust goes with the area of the
stream, lift with its width.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blownwing.errors import SolveError
from blownwing.propeller.design import BladeDesign, valued_design
from blownwing.propeller.finish import finished
from blownwing.propeller.task import DesignTask

Array = NDArray[np.float64]

_MOST = 0.4  # of either part of the worth: thrust is worth something everywhere
_FIRST_STEP, _LAST_STEP, _TRIALS = 0.1, 0.04, 10


@dataclass(frozen=True)
class LiftBlade:
    """A blade and how it was found.

    Attributes:
        design: finished. worth: its linear and quadratic part, see `worth_of`.
        measure: what it was sought for. trials: blades that were measured.
    """

    design: BladeDesign
    worth: tuple[float, float]
    measure: float
    trials: int


def worth_of(linear: float, quadratic: float) -> Callable[[Array], Array]:
    """Worth of thrust over r/R: 1 + linear (1 − 2s) + quadratic (1 − 6s + 6s²), s = (r/R)².

    linear, quadratic: without unit; the mean over the disc's area stays 1.
    """

    def worth(x: Array) -> Array:
        s = x * x
        return 1.0 + linear * (1.0 - 2.0 * s) + quadratic * (1.0 - 6.0 * s + 6.0 * s * s)

    return worth


def best_lift_blade(
    task: DesignTask,
    measure: Callable[[BladeDesign], float],
    tell: Callable[[str], None] | None = None,
) -> LiftBlade:
    """The finished blade of largest measure among the valued ones.

    Args:
        task: what for.
        measure: of a finished blade, above 0, such as lift gained per watt.
        tell: called with a few words after each blade.

    Raises:
        InputError: a size that makes no rotor.
        SolveError: not one blade could be designed and measured; says why.
    """
    from scipy.optimize import minimize

    best: list[LiftBlade] = []
    failures: list[SolveError] = []
    count = 0

    def loss(worth: Array) -> float:
        nonlocal count
        count += 1
        pair = float(worth[0]), float(worth[1])
        try:
            design = finished(valued_design(task, worth_of(*pair)))
            value = measure(design)
        except SolveError as error:
            failures.append(error)
            return 0.0
        if tell is not None:
            tell(f"{count} blades tried")
        if not best or value > best[0].measure:
            best[:] = [LiftBlade(design, pair, value, count)]
        # in parts of the first one's, about 1
        scale.append(value)
        return -value / scale[0]

    scale: list[float] = []
    minimize(
        loss,
        np.zeros(2),
        method="COBYQA",
        bounds=[(-_MOST, _MOST)] * 2,
        options={
            "initial_tr_radius": _FIRST_STEP,
            "final_tr_radius": _LAST_STEP,
            "maxfev": _TRIALS,
        },
    )
    if not best or not math.isfinite(best[0].measure):
        raise failures[0] if failures else SolveError("propeller design: no blade was found")
    found = best[0]
    return LiftBlade(found.design, found.worth, found.measure, count)
