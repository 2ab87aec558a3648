"""Incidence for a wanted lift, largest lift and stall speed, by solves at changing incidence."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from blownwing.case.model import Case
from blownwing.coupling import incidences, several_incidences
from blownwing.coupling.near import Left
from blownwing.errors import InputError, SolveError
from blownwing.solution.model import Solution

QUANTITIES = ("CL", "lift", "weight")
RANGE = (-15.0, 35.0)  # deg, in which trim and peak are looked for
_STEP = 2.0  # deg, of the scan for the peak
_FALL = 0.03  # of the lift: a scan this far below its best is past the peak
_CLOSE = 1e-6
_PEAK_WIDTH = 0.05  # deg
_BESIDE = 1.5  # deg, from where a peak is expected to the first looks to both sides
_FLAT = 2e-4  # of the lift: what one look more gained, where speed follows from the lift alone
_FLAT_PEAK, _LOOKS = 1e-5, 3  # the same for a peak itself, some 0.04 deg, and least looks at it
_TRIALS = 20
_LONGEST_STEP = 8.0  # deg
_FINEST = 1e-6  # deg


@dataclass(frozen=True)
class Peak:
    """A wing's largest lift.

    Attributes:
        alpha: deg. CL: of the wing on flight dynamic pressure, propeller forces not counted.
        CL_from_thrust: vertical part of the propeller forces there, over q S.
        stall_alpha: deg, at which the first strip reaches its section's peak.
        stall_y: m, that strip. stall_fraction: its |y| over the semi-span.
        solution: at the peak.
        scan: incidences (deg) and CL of all solves, in order of incidence.
        left: from which another speed's search starts.
        unsettled: incidences (deg) above it without a result; they count as past the peak.
    """

    alpha: float
    CL: float
    CL_from_thrust: float
    stall_alpha: float
    stall_y: float
    stall_fraction: float
    solution: Solution
    scan: tuple[tuple[float, float], ...]
    left: Left
    unsettled: tuple[float, ...] = ()


class Top(NamedTuple):
    """The largest lift alone: incidence alpha (deg), CL of the wing, the solution there."""

    alpha: float
    CL: float
    solution: Solution
    left: Left


@dataclass(frozen=True)
class StallSpeed:
    """Speed (m/s) at which the largest lift, propellers' vertical force included, is the weight."""

    speed: float
    peak: Top


def unblown(case: Case) -> Case:
    """The case without its propellers, and without the aircraft and the trim that need them."""
    tables = case.model_dump(by_alias=True, exclude_none=True)
    for name in ("aircraft", "trim"):
        tables.pop(name, None)
    return Case.from_tables({**tables, "propellers": []}, case.folder)


def measured(solution: Solution, quantity: str) -> float:
    """CL, the wing's lift (N), or the weight (N) it carries with the propellers' vertical force.

    Raises:
        InputError: an unknown quantity, or CL at rest.
    """
    if quantity not in QUANTITIES:
        raise InputError(f'target: found "{quantity}"; accepted are {", ".join(QUANTITIES)}')
    totals = solution.totals
    if quantity == "CL":
        if "CL" not in totals:
            raise InputError("target: found CL at rest; accepted there is lift")
        return float(totals["CL"])
    lift = float(totals["lift"])
    if quantity == "lift" or "CL" not in totals:
        return lift
    return lift * (1.0 + float(totals["CL_from_thrust"]) / float(totals["CL"]))


def trimmed(case: Case, quantity: str, target: float) -> Solution:
    """The case at the incidence at which a quantity has its target, on the side below stall.

    Args:
        case: its own incidence is where the search starts.
        quantity: "CL", "lift" (N) or "weight" (N), see `measured`.
        target: the wanted value.

    Raises:
        InputError: an unknown quantity, a target that is not finite.
        SolveError: when no incidence gives the target; says what was found.
    """
    if not math.isfinite(target):
        raise InputError(f"target: found {quantity} of {target:g}; accepted is a finite number")
    found: dict[float, Solution] = {}
    solved = incidences(case)

    def value(alpha: float) -> float:
        if alpha not in found:
            found[alpha] = solved(alpha)
        return measured(found[alpha], quantity)

    slope = _first_slope(case, quantity)
    close = _CLOSE * max(abs(target), abs(slope))
    alpha = case.alphas[0]
    value(alpha)
    if alpha > 0.0 and "stall_margin" in found[alpha].strips and _stalled(found[alpha]):
        alpha = 0.0  # a start past the stall says nothing of the side below it
    for _ in range(_TRIALS):
        if abs(value(alpha) - target) <= close:
            return found[alpha]
        step = float(np.clip((target - value(alpha)) / slope, -_LONGEST_STEP, _LONGEST_STEP))
        trial = float(np.clip(alpha + step, *RANGE))
        gain = (value(trial) - value(alpha)) * (trial - alpha)
        if gain <= 0.0 and trial > alpha:  # past the peak
            low = max((a for a in found if a < alpha), default=alpha - _LONGEST_STEP)
            reached = _below_peak(value, target, low, trial)
            if reached is not None and abs(value(reached) - target) <= close:
                return found[reached]
        if gain <= 0.0:
            break
        slope = (value(trial) - value(alpha)) / (trial - alpha)
        alpha = trial
    nearest = min(found, key=lambda a: abs(value(a) - target))
    raise SolveError(
        f"{quantity} of {target:.5g} is not reached between {RANGE[0]:g} and {RANGE[1]:g} deg: the "
        f"nearest found is {value(nearest):.5g} at {nearest:.2f} deg"
    )


def _below_peak(
    value: Callable[[float], float], target: float, low: float, high: float
) -> float | None:
    """Incidence (deg) with the target below the peak that lies between two, None if it is lower."""
    from scipy.optimize import brentq

    top = _top(value, low, high)
    if value(top) < target or value(low) > target:
        return None
    return float(brentq(lambda alpha: value(alpha) - target, low, top, xtol=_FINEST))


def _first_slope(case: Case, quantity: str) -> float:
    """Rough growth of the quantity per degree: Helmbold's slope of a straight wing."""
    aspect = case.wing.span**2 / case.wing.area
    ratio = 2.0 / aspect
    slope = math.radians(1.0) * 2.0 * math.pi / (math.hypot(1.0, ratio) + ratio)
    if quantity == "CL":
        return slope
    return slope * 0.5 * case.air.density * case.flow.airspeed**2 * case.wing.area


def peak_lift(
    case: Case, near: float | None = None, progress: Callable[[float, float], None] | None = None
) -> Peak:
    """Largest CL over incidence, propellers as the case has them (thrust held where it is given).

    Args:
        case: needs ``model.sections = "tables"``.
        near: deg, where the peak is expected; the scan starts 4 deg below it.
        progress: called with incidence and CL after every solve.

    Raises:
        InputError: linear sections, or a case at rest.
        SolveError: when lift still grows at the end of the range.
    """
    if case.model.sections != "tables":
        raise InputError(
            'model.sections: found "linear"; accepted for the largest lift is "tables"'
        )
    if case.flow.airspeed == 0.0:
        raise InputError("flow.airspeed: found 0; accepted for the largest lift is above 0")
    found: dict[float, Solution] = {}
    unsettled: set[float] = set()
    left = Left(case, [])
    lift = _lifts(case, found, unsettled, progress, left)
    around = _bracket(lift, 8.0 if near is None else near - 4.0)
    _narrowed(lift, around, _FLAT_PEAK, _LOOKS)
    alpha = max(found, key=lift)
    solution = found[alpha]
    lowest = min(found)
    while lowest > RANGE[0] and _stalled(found[lowest]):
        lowest = max(lowest - _STEP, RANGE[0])
        lift(lowest)
    first, y = _first_stall(found)
    return Peak(
        alpha=alpha,
        CL=lift(alpha),
        CL_from_thrust=float(solution.totals.get("CL_from_thrust", 0.0)),
        stall_alpha=first,
        stall_y=y,
        stall_fraction=2.0 * abs(y) / case.wing.span,
        solution=solution,
        scan=tuple((a, lift(a)) for a in sorted(found)),
        left=left,
        unsettled=tuple(sorted(a for a in unsettled if a > alpha)),
    )


def _lifts(
    case: Case,
    found: dict[float, Solution],
    unsettled: set[float],
    progress: Callable[[float, float], None] | None,
    left: Left,
    beside: Left | None = None,
) -> Callable[..., float]:
    """CL over incidence (deg); fills the solutions found and the incidences without one.

    Further incidences that it is given will be asked for next and are solved beside the first.
    left, beside: as for `several_incidences`.
    """
    several = several_incidences(case, left, beside)

    def lift(alpha: float, *next_ones: float) -> float:
        known = {*found, *unsettled}
        if alpha not in known:
            new = (alpha, *(a for a in next_ones if a not in known and a <= RANGE[1]))
            for at, outcome in zip(new, several(new), strict=True):
                if not isinstance(outcome, SolveError):
                    found[at] = outcome
                    if progress is not None:
                        progress(at, float(outcome.totals["CL"]))
                # Past a state that has a result this is deep in the stall; alone it is a failure.
                elif not found or at < min(found):
                    raise outcome
                else:
                    unsettled.add(at)
        return -math.inf if alpha in unsettled else float(found[alpha].totals["CL"])

    return lift


def _bracket(lift: Callable[..., float], start: float) -> tuple[float, float, float]:
    """Incidences below, at and above the largest lift, by steps up until it has clearly fallen."""
    alpha = max(start, RANGE[0])
    while alpha > RANGE[0] and lift(alpha - _STEP, alpha) > lift(alpha):
        alpha = max(alpha - 2.0 * _STEP, RANGE[0])
    best = alpha
    while alpha < RANGE[1]:
        alpha += _STEP
        if lift(alpha, alpha + _STEP) > lift(best):
            best = alpha
        elif lift(alpha) < (1.0 - _FALL) * lift(best) or alpha - best > 2.0 * _STEP:
            return best - _STEP, best, best + _STEP
    raise SolveError(
        f"the largest lift lies above {RANGE[1]:g} deg: CL {lift(best):.3f} at {best:.1f} deg"
    )


def _top(lift: Callable[[float], float], low: float, high: float) -> float:
    """Incidence of the largest lift in a bracket (Brent 1973, by scipy); no lift counts as 0."""
    from scipy.optimize import minimize_scalar

    found = minimize_scalar(
        lambda alpha: -max(lift(float(alpha)), 0.0),
        bounds=(low, high),
        method="bounded",
        options={"xatol": _PEAK_WIDTH},
    )
    return float(found.x)


def _stalled(solution: Solution) -> bool:
    """Whether a strip is past its section's peak."""
    return float(np.min(solution.strips["stall_margin"])) < 0.0


def _first_stall(found: dict[float, Solution]) -> tuple[float, float]:
    """Incidence (deg) at which the first strip reaches its peak, and the strip's y (m).

    Between the last solve without and the first with a stalled strip, linear in that strip's
    margin. Without a stalled strip: the highest incidence and the strip with the least margin.
    """
    order = sorted(found)
    index = next((k for k, alpha in enumerate(order) if _stalled(found[alpha])), len(order) - 1)
    strips = found[order[index]].strips
    strip = int(np.argmin(strips["stall_margin"]))
    after, alpha, y = float(strips["stall_margin"][strip]), order[index], float(strips["y"][strip])
    if index == 0 or after >= 0.0:
        return alpha, y
    before = float(np.min(found[order[index - 1]].strips["stall_margin"]))
    return alpha - (alpha - order[index - 1]) * after / (after - before), y


def stall_speed(
    case: Case,
    weight: float,
    progress: Callable[[float, float], None] | None = None,
    known: Peak | None = None,
) -> StallSpeed:
    """Speed at which the largest lift carries a weight, thrust as the case gives it.

    Args:
        case: its airspeed is where the search starts.
        weight: N.
        progress: as for `peak_lift`.
        known: the largest lift at the case's airspeed, where it is known already.

    Raises:
        InputError: a weight that is not above 0; as `peak_lift`.
        SolveError: when no speed is found.
    """
    if not 0.0 < weight < math.inf:
        raise InputError(f"weight: found {weight:g} N; accepted is above 0")
    peak = peak_lift(case, None, progress) if known is None else known
    top, speed = Top(peak.alpha, peak.CL, peak.solution, peak.left), case.flow.airspeed
    slope, last = -1.0, None
    for _ in range(_TRIALS):
        carried = measured(top.solution, "weight")
        # Lift grows with the square of speed at given CL; blown CL falls a little with it.
        gap = 0.5 * math.log(weight / carried) if carried > 0.0 else math.log(1.5)
        if abs(math.expm1(gap)) < 1e-3:
            return StallSpeed(speed * math.exp(gap), top)
        if last is not None:
            slope = float(np.clip((gap - last[1]) / math.log(speed / last[0]), -1.5, -0.5))
        last = speed, gap
        speed *= math.exp(-gap / slope)
        top = _top_near(case.replace(**{"flow.airspeed": speed}), top, progress)
    raise SolveError(f"stall speed: not found within {_TRIALS} steps (last {speed:.2f} m/s)")


def _top_near(case: Case, near: Top, progress: Callable[[float, float], None] | None) -> Top:
    """The largest lift near another speed's, by parabolas through the highest three looks.

    Raises:
        SolveError: when lift still grows at the end of the range.
    """
    found: dict[float, Solution] = {}
    left = Left(case, [])
    lift = _lifts(case, found, set(), progress, left, near.left)
    low, top, high = near.alpha - _BESIDE, near.alpha, near.alpha + _BESIDE
    while lift(low, high) > lift(top) or lift(high) > lift(top):
        if lift(low) > lift(high):
            low, top, high = low - _BESIDE, low, top
        else:
            low, top, high = top, high, high + _BESIDE
        if low < RANGE[0] or high > RANGE[1]:
            raise SolveError(
                f"the largest lift lies beyond {top:.1f} deg, at an end of the incidences from "
                f"{RANGE[0]:g} to {RANGE[1]:g} deg"
            )
    top = _narrowed(lift, (low, top, high), _FLAT, 1)
    return Top(top, lift(top), found[top], left)


def _narrowed(
    lift: Callable[[float], float], around: tuple[float, float, float], flat: float, least: int
) -> float:
    """Incidence (deg) of the largest lift by parabolas through the highest three looks.

    around: below, at and above it so far; flat: gain of a look, over the lift, that ends it; least:
    number of looks.
    """
    low, top, high = around
    gain, looks = math.inf, 0
    while (gain > flat * lift(top) or looks < least) and high - low > _PEAK_WIDTH:
        at = _vertex((low, top, high), (lift(low), lift(top), lift(high)))
        gain, looks = abs(lift(at) - lift(top)), looks + 1
        if lift(at) > lift(top):
            low, top, high = (top, at, high) if at > top else (low, at, top)
        else:
            low, high = (low, at) if at > top else (at, high)
    return top


def _vertex(x: tuple[float, float, float], y: tuple[float, float, float]) -> float:
    """The top of the parabola through three points, the middle one the highest.

    Halfway to the farther side where there is none, or where its top is a point that is known.
    """
    left, right = x[1] - x[0], x[2] - x[1]
    aside = x[1] + 0.5 * right if right > left else x[1] - 0.5 * left
    if not all(map(math.isfinite, y)):
        return aside
    fall, rise = (y[1] - y[0]) / left, (y[2] - y[1]) / right
    if rise >= fall:
        return aside
    at = 0.5 * (x[0] + x[1] + fall * (left + right) / (fall - rise))
    return at if min(abs(at - known) for known in x) > 0.1 * _PEAK_WIDTH else aside
