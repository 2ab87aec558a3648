"""Largest lift, and stall speeds: where it, propellers and tail included, is the weight."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from blownwing.aircraft.configuration import STALLED_AREA, Configuration
from blownwing.aircraft.driven import driven_polar
from blownwing.aircraft.polar import Polar, balanced, solved_polar, weights_at
from blownwing.case.model import Case
from blownwing.coupling.by_surface import exceeded
from blownwing.errors import SolveError

Array = NDArray[np.float64]

_STEPS = 30
_CLOSE = 2e-4  # of the weight: 0.01 % of the speed
_STEP_OVER = 2e-4  # of the speed
_LEAP = 0.5  # of the speed's logarithm, in one step
_STEP = 0.05  # deg, of the search for sections at their limits
_SCAN = (4.0, 8.0, 12.0, 16.0, 20.0, 24.0)  # deg, for the peak of sections from tables
_USUAL = 20.0  # deg, of that peak, where nothing is known of it


@dataclass(frozen=True)
class Stall:
    """A stall: speed m/s, incidence deg, CL of all lift on flight q, most loaded section's y m.

    `wing_CL` is the wing's part; the rest comes from propellers and tail. thrust: N in total.
    `is_peak` is False where lift still grew at the largest incidence looked at; `by_tail`
    names what of the tail could not balance more incidence, empty where the wing stalls.
    """

    speed: float
    alpha: float
    CLmax: float
    wing_CL: float
    first_y: float
    thrust: float
    is_peak: bool = True
    by_tail: str = ""


@dataclass(frozen=True)
class Largest:
    """The largest trimmed lift at a speed: N, incidence deg, wing's part N, y m of the stall.

    `by_tail`: what of the tail ended it; no lift at all where it can balance no incidence.
    """

    lift: float
    alpha: float
    wing: float
    y: float
    is_peak: bool
    by_tail: str = ""


def largest_lift(configuration: Configuration, polar: Polar) -> Largest:
    """Largest trimmed lift of a polar: the one place where maximum lift is decided.

    With section tables the peak of lift over incidence, at most 24 degrees, beyond which a body
    angle is of no use; with linear sections the incidence at
    which sections over a share of the wing reach the limits that the case gives.

    Raises:
        SolveError: when no stall is found.
    """
    return (_peak if configuration.by_tables else _limited)(configuration, polar)


def _limited(configuration: Configuration, polar: Polar) -> Largest:
    given = configuration.aircraft.stalled_area
    alpha, y, lost = stall_alpha(polar, STALLED_AREA if given is None else given)
    state = balanced(configuration, polar.at(alpha), polar.airspeed, polar.density)
    if state.tail_share > 1.0:
        return _within_tail(configuration, polar, alpha, y)
    return Largest(state.lift - lost, alpha, state.wing_lift - lost, y, True)


def _within_tail(configuration: Configuration, polar: Polar, most: float, y: float) -> Largest:
    """Largest lift at incidences up to `most` (deg) that the tail balances, perhaps none.

    Monotone cubics between the polar's own incidences: polynomials through a stall would swing.
    """
    states = [
        balanced(configuration, polar.at(alpha), polar.airspeed, polar.density)
        for alpha in polar.alphas.tolist()
    ]
    rows = np.array([(s.lift, s.wing_lift, s.tail_share) for s in states]).T
    curves = PchipInterpolator(polar.alphas, rows, axis=1)
    fine = np.append(np.arange(float(polar.alphas[0]), most, _STEP), most)
    lift, _, share = curves(fine)
    held = np.flatnonzero(share <= 1.0)
    limit = max(states, key=lambda s: s.tail_share).limit
    if held.size == 0:
        return Largest(0.0, float(polar.alphas[0]), 0.0, y, False, limit)
    top = int(held[np.argmax(lift[held])])
    alpha = float(fine[top])
    for beside in fine[max(top - 1, 0) : top + 2].tolist():
        if curves(beside)[2] > 1.0:  # the tail's limit itself
            alpha = float(brentq(lambda a: curves(a)[2] - 1.0, *sorted((alpha, beside))))
            break
    most_lift, wing, _ = curves(alpha).tolist()
    return Largest(most_lift, alpha, wing, y, True, limit)


def _peak(configuration: Configuration, polar: Polar) -> Largest:
    """Peak of the trimmed lift at a polar's incidences, by the parabola through its top three."""
    states = [
        balanced(configuration, polar.at(alpha), polar.airspeed, polar.density)
        for alpha in polar.alphas.tolist()
    ]
    lift = np.array([state.lift for state in states])
    wing = np.array([state.wing_lift for state in states])
    top = int(np.argmax(lift))
    y = float(polar.y[int(np.argmax(polar.loading[top]))])
    if states[top].tail_share > 1.0:
        return _within_tail(configuration, polar, float(polar.alphas[top]), y)
    if top in (0, lift.size - 1):
        return Largest(float(lift[top]), float(polar.alphas[top]), float(wing[top]), y, False)
    three = slice(top - 1, top + 2)
    x = polar.alphas[three] - polar.alphas[top]
    a, b, c = np.polyfit(x, lift[three], 2).tolist()
    at = -0.5 * b / a
    share = float(np.polyval(np.polyfit(x, wing[three], 2), at))
    return Largest(c - 0.25 * b * b / a, float(polar.alphas[top] + at), share, y, True)


def stall_alpha(polar: Polar, extent: float) -> tuple[float, float, float]:
    """Incidence (deg) of the stall, the most loaded section's y (m), lift lost there (N).

    The wing stalls when sections over a share `extent` of its area have reached their limits: 0 is
    the rule of the first (critical) section, which judges a whole wing by one strip beside a flap's
    or slipstream's edge. Lift above the limits of those sections is lost.

    Raises:
        SolveError: when the wing does not stall between the polar's incidences.

    Source: Anderson, R. F. (1936), "Determination of the Characteristics of Tapered Wings", NACA
    Report 572, for the critical section; the share is a judgement of ours.
    """
    fine = np.append(np.arange(polar.alphas[0], polar.alphas[-1], _STEP), polar.alphas[-1])
    weights = np.array([weights_at(polar.alphas, a, "incidence", "deg") for a in fine.tolist()])
    loading = weights @ polar.loading
    level = exceeded(loading, polar.share[None, :], extent)
    over = np.flatnonzero(level >= 1.0)
    if over.size == 0 or over[0] == 0:
        raise SolveError(
            f"stall at {polar.airspeed:.1f} m/s: section loading runs from {level[0]:.2f} to "
            f"{level[-1]:.2f} of the limit between {polar.alphas[0]:g} and {polar.alphas[-1]:g} "
            "deg, so that no stall is found"
        )
    i = int(over[0])
    part = (1.0 - level[i - 1]) / (level[i] - level[i - 1])
    alpha = float(fine[i - 1] + part * (fine[i] - fine[i - 1]))
    row = weights_at(polar.alphas, alpha, "incidence", "deg")
    at, lift = row @ polar.loading, row @ polar.strip_lift
    lost = float(np.sum(lift * np.where(at > 1.0, 1.0 - 1.0 / np.maximum(at, 1.0), 0.0)))
    return alpha, float(polar.y[int(np.argmax(at))]), lost


def no_thrust_stall(case: Case, configuration: Configuration, near: Stall | None = None) -> Stall:
    """The stall at zero thrust of every powered propeller, those that hold a setting included.

    near: a stall to start from. Errors as for `stall`.
    """
    idle = dict.fromkeys(configuration.powered, 0.0)
    return stall(case, configuration, 0.0, thrust=idle, near=near)


def stall(
    case: Case,
    configuration: Configuration,
    setting: float,
    weight: float | None = None,
    *,
    thrust: Mapping[str, float] | None = None,
    near: Stall | None = None,
) -> Stall:
    """Speed at which the largest lift carries the weight.

    Args:
        case: the user's. configuration: of the phase.
        setting: share of the thrust available at the speed itself; 0 is zero thrust.
        weight: N; absent: the aircraft's.
        thrust: N, of each powered propeller, instead of a setting. near: a stall to start from.

    Raises:
        InputError: a propeller without a motor.
        SolveError: when no such speed is found.
    """
    wanted = configuration.weight if weight is None else weight
    guess = configuration.aircraft.section_clmax or 1.5
    density, area = configuration.case.air.density, configuration.area
    speed = near.speed if near else math.sqrt(2.0 * wanted / (density * area * guess))
    low, high = 0.0, math.inf
    previous: tuple[float, float] | None = None
    whole = _SCAN if configuration.by_tables else configuration.alphas
    scan, polar = _part_of(whole, near), None
    for _ in range(_STEPS):
        if thrust is None:
            polar = driven_polar(case, configuration, speed, setting, scan, near=polar)
        else:
            polar = solved_polar(configuration, speed, thrust, scan, near=polar)
        top = largest_lift(configuration, polar)
        ratio = top.lift / wanted
        # stalled sections jump between states, so that lift may step over the weight
        is_close = abs(ratio - 1.0) <= _CLOSE or high - low < _STEP_OVER * speed
        if scan != whole and (is_close or not _holds(whole, top)):
            scan = whole  # some other peak may have become the highest
            continue
        if is_close:
            unit = 0.5 * density * speed**2 * area
            return Stall(
                speed,
                top.alpha,
                top.lift / unit,
                top.wing / unit,
                top.y,
                polar.thrust,
                top.is_peak,
                top.by_tail,
            )
        low, high = (speed, high) if ratio < 1.0 else (low, speed)
        # lift grows like the square of speed, less where thrust carries: of use for the first step
        power = 1.5 if polar.thrust > 0.0 else 2.0
        place, gain = math.log(speed), math.log(max(ratio, 1e-3))
        if previous is not None and previous[0] != place:
            power = (gain - previous[1]) / (place - previous[0])
        previous = (place, gain)
        # where thrust carries most, lift hardly grows with speed: steps would lead anywhere
        step = -gain / power if power > 0.0 else math.inf
        if abs(step) < _LEAP and low < speed * math.exp(step) < high:
            speed *= math.exp(step)
        else:
            speed = 0.5 * (low + high) if math.isfinite(high) else 1.3 * low
        scan = _part_of(whole, top)
    raise SolveError(
        f"stall speed, {configuration.phase.replace('_', '-')}: not found within {_STEPS} steps "
        f"(last {speed:.2f} m/s)"
    )


def _part_of(whole: tuple[float, ...], top: Largest | Stall | None) -> tuple[float, ...]:
    """The three incidences of a scan of tables around a peak that another speed has."""
    if whole != _SCAN or (top is not None and top.by_tail):
        return whole
    first = int(np.argmin(np.abs(np.array(whole[1:-1]) - (top.alpha if top else _USUAL))))
    return whole[first : first + 3]


def _holds(whole: tuple[float, ...], top: Largest) -> bool:
    """Whether a part of a scan holds its peak, or ends where the scan does."""
    return not top.by_tail and (top.is_peak or top.alpha in (whole[0], whole[-1]))
