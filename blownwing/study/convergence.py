"""Grid convergence: three lattices, observed order, extrapolated value, grid-convergence index.

Sources: Roache 1994, "Perspective: a method for uniform reporting of grid refinement studies",
J. Fluids Engineering 116, 405-413; for unequal refinement ratios Celik, Ghia, Roache, Freitas,
Coleman & Raad 2008, "Procedure for estimation and reporting of uncertainty due to discretization
in CFD applications", J. Fluids Engineering 130, 078001.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from blownwing.case.model import Case
from blownwing.coupling import solve
from blownwing.errors import InputError, SolveError
from blownwing.solution.files import write_whole
from blownwing.solution.model import Solution

QUANTITIES = ("CL", "CD_induced", "CD", "thrust", "power")
AT_REST = ("lift", "drag", "thrust", "power")
SAFETY = 1.25  # with an order that three lattices show
SAFETY_ASSUMED = 3.0  # without one, on an assumed first order
HIGHEST = 2.0  # order that the lattice can have
ORDERS = (0.5, 6.0)  # believable ones; outside, the lattices are not in the range of their order
_STEADY = 1e-7  # relative change that counts as none


@dataclass(frozen=True)
class Estimate:
    """One quantity on three lattices, coarse to fine.

    Attributes:
        name: of the quantity.
        values: on the three lattices.
        order: observed, None where the three values show none (they oscillate or do not settle).
        capped: the observed order is above what the method can have, which stands for it in bands.
        extrapolated: Richardson's value for vanishing panels, None without an order.
        index: grid-convergence index of the middle and of the fine lattice, shares of the value.
        steady: the quantity does not change with the lattice (such as a given thrust).
    """

    name: str
    values: tuple[float, float, float]
    order: float | None
    extrapolated: float | None
    index: tuple[float, float]
    steady: bool = False
    capped: bool = False


@dataclass(frozen=True)
class Convergence:
    """A grid-convergence study: panels of the lattices, coarse to fine, and the estimates."""

    panels: tuple[int, int, int]
    estimates: tuple[Estimate, ...]


def grid_convergence(
    case: Case, progress: Callable[[int], None] | None = None
) -> tuple[Convergence, Solution]:
    """Solve a case on half, once and twice its panels along chord and span.

    Args:
        case: at a single angle; its lattice is the middle one. Tubes and blade elements stay.
        progress: called with the number of finished lattices.

    Returns:
        The study and the middle lattice's solution.

    Raises:
        InputError: a list of angles, too few panels to halve, or a fine lattice too large.
        SolveError: a lattice did not converge.
    """
    if isinstance(case.flow.alpha, tuple):
        raise InputError(
            f"flow.alpha: found {len(case.flow.alpha)} angles; accepted in a grid-convergence "
            "study is one"
        )
    rows, strips = case.model.chordwise, case.model.spanwise
    if rows % 2 or strips < 4:
        raise InputError(
            f"model: found {rows} x {strips} panels; accepted in a grid-convergence study are an "
            "even number along the chord and at least 4 along the half span"
        )
    solutions = []
    for level, factor in enumerate((0.5, 1.0, 2.0)):
        edits = {
            "model.chordwise": round(rows * factor),
            "model.spanwise": round(strips * factor),
        }
        for index, surface in enumerate(case.surfaces):
            edits[f"surfaces.{index}.strips"] = max(round(surface.strips * factor), 1)
        try:
            solutions.append(solve(case.replace(**edits)))
        except SolveError as error:
            raise SolveError(f"lattice {level + 1} of 3: {error}") from None
        if progress is not None:
            progress(level + 1)
    counts = [
        round(rows * factor) * len(solution.strips["y"])
        for factor, solution in zip((0.5, 1.0, 2.0), solutions, strict=True)
    ]
    ratios = (math.sqrt(counts[1] / counts[0]), math.sqrt(counts[2] / counts[1]))
    names = QUANTITIES if "CL" in solutions[0].totals else AT_REST
    estimates = tuple(
        estimated(name, [float(s.totals[name]) for s in solutions], ratios) for name in names
    )
    return Convergence((counts[0], counts[1], counts[2]), estimates), solutions[1]


def estimated(name: str, values: Sequence[float], ratios: tuple[float, float]) -> Estimate:
    """Order, extrapolated value and index of a quantity from three lattices.

    Args:
        name: of the quantity.
        values: (3,) coarse to fine.
        ratios: of panel size, coarse to middle and middle to fine, above 1.

    Source: Celik and others 2008, "Procedure for estimation and reporting of uncertainty due to
    discretization in CFD applications", J. Fluids Engineering 130, 078001.
    """
    coarse, middle, fine = values
    both = (coarse, middle, fine)
    scale = max(abs(fine), 1e-300)
    first, second = middle - coarse, fine - middle
    if max(abs(first), abs(second)) <= _STEADY * scale:
        return Estimate(name, both, None, fine, (0.0, 0.0), steady=True)
    order = observed_order(first, second, ratios)
    if order is None:
        # As wide as the three values lie apart, and not below three times the last change.
        spread = max(both) - min(both)
        band = max(SAFETY_ASSUMED * abs(second) / (ratios[1] - 1.0), spread)
        around = band + abs(second)
        shares = (around / abs(middle) if middle else math.inf, band / scale)
        return Estimate(name, both, None, None, shares)
    power = min(order, HIGHEST)
    rest = second / (ratios[1] ** power - 1.0)
    # The middle lattice's own band: its distance to the fine one carried on by the order.
    index = (
        SAFETY * abs(rest) * ratios[1] ** power / max(abs(middle), 1e-300),
        SAFETY * abs(rest) / scale,
    )
    return Estimate(name, both, order, fine + rest, index, capped=order > HIGHEST)


def observed_order(first: float, second: float, ratios: tuple[float, float]) -> float | None:
    """Order at which the changes between three lattices fall, None where they show none.

    Args:
        first, second: middle minus coarse and fine minus middle value.
        ratios: of panel size, coarse to middle and middle to fine.

    Source: as for `estimated`, equation 5, solved between the believable orders.
    """
    from scipy.optimize import brentq

    if first == 0.0 or second == 0.0 or first * second < 0.0:
        return None
    seen = math.log(first / second)

    def excess(order: float) -> float:
        falls = (ratios[0] ** order - 1.0) / (ratios[1] ** order - 1.0)
        return order * math.log(ratios[1]) + math.log(falls) - seen

    if excess(ORDERS[0]) > 0.0 or excess(ORDERS[1]) < 0.0:
        return None
    return float(brentq(excess, *ORDERS, xtol=1e-12))


def export_convergence(found: Convergence, path: Path) -> Path:
    """Write the study as CSV, one row per quantity. Errors as for `write_whole`."""

    def write(partial: Path) -> None:
        with partial.open("x", newline="", encoding="utf-8") as stream:
            rows = csv.writer(stream, lineterminator="\n")
            panels = [f"{n} panels" for n in found.panels]
            rows.writerow(
                ["quantity", *panels, "order", "extrapolated", "index middle", "index fine"]
            )
            for item in found.estimates:
                extra = ["" if v is None else repr(v) for v in (item.order, item.extrapolated)]
                rows.writerow([item.name, *map(repr, item.values), *extra, *map(repr, item.index)])

    return write_whole(path, write)
