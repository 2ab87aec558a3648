"""The smallest speed at which controls hold an aircraft, and the control that runs out there.

A rudder and a fin in sideslip carry the same force, and bank gives way to it: of the balances at
one speed the search takes the one, over sideslip, that asks for the smallest share of any limit.
Controls are free to go beyond their limits while it looks, so that shares are smooth in speed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from blownwing.case.drawn import lateral_settings, pitch_unknown, surface_of
from blownwing.case.model import Case
from blownwing.case.surface_checks import LARGEST_DEFLECTION, parts_of
from blownwing.case.trim import Unknown
from blownwing.coupling.by_surface import most_loaded, stall_ways
from blownwing.errors import SolveError
from blownwing.trim.balance import Trimmed, trimmed
from blownwing.trim.failure import LARGEST_BANK, held_by_controls, with_failures
from blownwing.trim.settings import is_throttle, limits_of, required, with_trim

Array = NDArray[np.float64]

SECTIONS = ("section lift", "section stall")  # of linear sections, by section tables
LARGEST_SIDESLIP = 10.0  # deg; common practice, no source
_TRIED_SIDESLIP = 4.0  # deg, at which the shares' slopes are measured
_LOWEST = 0.3  # of the case's airspeed, below which no control speed is sought, nor above 1/it
_LARGEST_STEP = 1.25  # between speeds
_AS_PRESSURE, _SLOWEST, _STEEPEST = 2.0, 0.5, 4.0  # powers of 1/V by which shares fall
_FINE = 0.002  # of the speed
_OVER = 0.004  # of a limit, by which it may be exceeded at the speed found
_MOVED = 0.005  # share of a limit per deg of sideslip, from which on sideslip is said to move it
_GAIN = 0.005  # of a limit's share, below which sideslip stays as it is
_SPEEDS = 25
_WIDE = 0.97  # of the largest deflection that a case may have
_WIDE_INCIDENCE, _WIDE_BANK, _WIDE_ALPHA = 25.0, 40.0, 25.0  # deg


class Limit(NamedTuple):
    """Something that a balance asks for, and where it ends: angles in deg, cl, way to a stall."""

    name: str
    value: float
    least: float
    most: float

    @property
    def share(self) -> float:
        """Of the limit on the side of the value."""
        return abs(self.value) / max(abs(self.end), 1e-9)

    @property
    def end(self) -> float:
        """The limit on the side of the value."""
        return self.most if self.value > 0.0 else self.least

    @property
    def words(self) -> str:
        """What ran out, and where."""
        unit = "" if self.name.startswith("section") else " deg"
        return f"{self.name} ran out at its limit of {self.end:g}{unit}"


def nearest(limits: Iterable[Limit]) -> Limit:
    """The one that is nearest to its end, or farthest beyond it."""
    return max(limits, key=lambda item: item.share)


@dataclass(frozen=True)
class ControlSpeed:
    """The smallest speed at which an aircraft is held, and what runs out below it."""

    speed: float  # m/s
    state: Trimmed  # at that speed
    limits: tuple[Limit, ...]  # there
    lost: str = ""  # why there is no balance below, where that ends it before any limit

    @property
    def limit(self) -> Limit:
        """The one that is nearest to its end."""
        return nearest(self.limits)

    @property
    def runs_out(self) -> str:
        """What runs out below that speed, in words."""
        return self.lost if self.lost and not self.is_at_limit else self.limit.words

    @property
    def is_at_limit(self) -> bool:
        """Whether a control or section is at its limit there."""
        # A search ends where the next speed is as near as `_FINE`.
        return self.limit.share >= 1.0 - _STEEPEST * _FINE


def limits_at(found: Trimmed, asked: Case, clmax: float | None = None) -> tuple[Limit, ...]:
    """What a balance asks for beside its limits.

    asked: the case whose unknowns' limits count; clmax: of the sections of the surfaces that carry
    the controls of pitch and yaw, either sign, on their local dynamic pressure; None without one.

    Raises InputError for a case without a trim.
    """
    known = {item.name: item for item in required(asked).unknowns}
    result = []
    for item, value in zip(found.trim.unknowns, found.values.tolist(), strict=True):
        if is_throttle(item) or item.name in ("path_angle", "acceleration", "beta"):
            continue
        if item.name == "alpha" and not _has_ends(known.get("alpha")):
            continue  # the wing's stall is what ends it
        ends = limits_of(known.get(item.name, Unknown(name=item.name)))
        if item.name == "bank":
            ends = (-LARGEST_BANK, LARGEST_BANK)
        result.append(Limit(item.name, value, *ends))
    point, tabled = found.point, found.point.model.sections is not None
    for place in carrying(asked) if tabled or clmax is not None else ():
        index = 1 + [s.name for s in asked.surfaces].index(place)
        if tabled:
            ends = stall_ways(found.case, point.flow, point.model, point.wing, index)
        else:
            ends = most_loaded(point, index)
        value = max(ends, key=abs)
        most = 1.0 if tabled or clmax is None else clmax
        result.append(Limit(f"{SECTIONS[tabled]} of the {place}", value, -most, most))
    return tuple(result)


def _has_ends(item: Unknown | None) -> bool:
    return item is not None and (item.least is not None or item.most is not None)


def carrying(case: Case) -> list[str]:
    """Names of the surfaces beside the wing that carry the controls of pitch and yaw.

    Raises InputError for a case without a trim.
    """
    trim = required(case)
    pitch = pitch_unknown(trim, case.wing, case.surfaces)
    yaw = lateral_settings(case.wing, case.surfaces)[1]
    names = [None if pitch is None else pitch.name, yaw]
    places = [surface_of(name, case.wing, case.surfaces) for name in names if name is not None]
    return [place for place in dict.fromkeys(places) if place != "wing"]


def widened(case: Case) -> Case:
    """The case with its trim's angles free to go beyond their limits.

    Raises InputError for a case without a trim.
    """
    trim = required(case)
    ratios: dict[str, float] = {}
    for _, part in parts_of(case.wing, case.surfaces):
        for gear in part.moved_by:
            ratios[gear.setting] = max(ratios.get(gear.setting, 0.0), abs(gear.ratio))
    others = {"alpha": _WIDE_ALPHA, "bank": _WIDE_BANK}
    free = []
    for item in trim.unknowns:
        end = others.get(item.name)
        if item.name in ratios:
            end = _WIDE * LARGEST_DEFLECTION / max(ratios[item.name], 1e-9)
        elif item.name.endswith(".incidence"):
            end = _WIDE_INCIDENCE
        update = {} if end is None else {"least": -end, "most": end}
        free.append(item.model_copy(update=update))
    return with_trim(case, trim.model_copy(update={"unknowns": tuple(free)}))


def control_speed(case: Case, failures: Mapping[str, str]) -> ControlSpeed:
    """Smallest airspeed at which the aircraft is in balance with propellers failed.

    The others keep the drive that the case has; the path climbs or sinks as that gives. Rudder and
    ailerons hold it with a bank of at most 5 degrees and the sideslip that helps. failures: as for
    `with_failures`, whose errors it has. Raises also SolveError when it is in balance at no speed
    within a third and three times the case's, or at all.
    """
    drives = [item for item in required(case).unknowns if not is_throttle(item)]
    trim = required(case).model_copy(update={"unknowns": tuple(drives)})
    plain = with_trim(case, trim)

    def at(speed: float) -> Case:
        here = with_failures(plain.replace(**{"flow.airspeed": speed}), failures)
        return held_by_controls(here)

    start = case.flow.airspeed
    found = smallest_speed(at, start, _LOWEST * start, start / _LOWEST)
    if not found.is_at_limit and not found.lost:
        raise SolveError(f"control speed: everything holds down to {found.speed:.3g} m/s")
    return found


def smallest_speed(
    at: Callable[[float], Case],
    start: float,
    lowest: float,
    highest: float,
    clmax: float | None = None,
) -> ControlSpeed:
    """Smallest speed, m/s, at which a case is in balance within its limits.

    at: the case at a speed, its trim with all that holds it; start, lowest, highest: m/s; clmax: as
    for `limits_at`. Where all holds at the lowest, that is it, with shares below 1. Raises
    SolveError where nothing holds up to the highest.
    """
    search = _Search(at, clmax)
    speed, power, lost = min(max(start, lowest), highest), _AS_PRESSURE, ""
    low, best = 0.0, None
    before: tuple[float, float] | None = None
    for _ in range(_SPEEDS):
        limits, lost = search.tried(speed, lost)
        needed = max((item.share for item in limits), default=math.inf)
        if search.found is not None and needed <= 1.0 + _OVER:
            if best is None or speed < best.speed:
                best = ControlSpeed(speed, search.found, limits, lost)
        else:
            low = max(low, speed)
        if limits and before is not None and before[0] != speed and needed > 0.0:
            # rudders go as 1/V², bank nearly keeps
            power = -math.log(needed / before[1]) / math.log(speed / before[0])
            power = min(max(power, _SLOWEST), _STEEPEST)
        before = (speed, needed) if limits and needed > 0.0 else None
        ratio = min(max(needed ** (1.0 / power), 1.0 / _LARGEST_STEP), _LARGEST_STEP)
        wanted = min(max(speed * ratio, lowest), highest)
        if best is not None and best.speed == speed and abs(wanted - speed) <= _FINE * speed:
            return best
        if best is not None and best.speed - low <= _FINE * best.speed:
            return replace(best, lost=lost)
        if best is not None and low > 0.0 and not low < wanted < best.speed:
            wanted = 0.5 * (low + best.speed)
        if wanted == speed:
            break
        speed = wanted
    if best is not None:
        return best
    worst = nearest(limits).words if limits else lost
    raise SolveError(f"control speed: up to {speed:.3g} m/s none is enough: {worst}")


def held(case: Case, clmax: float | None = None) -> tuple[Trimmed, tuple[Limit, ...]]:
    """A case in balance at the sideslip that asks least of its limits, which may be exceeded.

    case: its trim has all that holds it; clmax: as for `limits_at`. Raises SolveError where no
    balance is reached.
    """
    search = _Search(lambda _speed: case, clmax)
    limits = search.at(case.flow.airspeed)
    if search.found is None:
        raise ValueError("a search ends with a balance")
    return search.found, limits


class _Search:
    """Balances at one speed after another, each at the sideslip that asks least of the controls."""

    def __init__(self, at: Callable[[float], Case], clmax: float | None) -> None:
        self._at, self._clmax = at, clmax
        self.found: Trimmed | None = None
        self._beta = 0.0
        self._rates: Array | None = None  # of the limits' values by sideslip, 1/deg

    def at(self, speed: float) -> tuple[Limit, ...]:
        """What the balance at a speed asks for."""
        case = self._at(speed)
        limits = self._limits(case, self._beta)
        if self._rates is None:
            base = self.found
            aside = self._limits(case, _TRIED_SIDESLIP)
            pairs = zip(aside, limits, strict=True)
            self._rates = np.array([a.value - b.value for a, b in pairs]) / _TRIED_SIDESLIP
            self.found = base
        best = _least(limits, self._rates, self._beta)
        if best == self._beta:
            return limits
        self._beta = best
        return self._limits(case, best)

    def tried(self, speed: float, lost: str) -> tuple[tuple[Limit, ...], str]:
        """The same, none where no balance is reached, with the reason; lost: the last one."""
        kept = self.found
        try:
            return self.at(speed), lost
        except SolveError as error:
            self.found = kept
            return (), str(error)

    def _limits(self, case: Case, beta: float) -> tuple[Limit, ...]:
        here = widened(case.replace(**{"flow.beta": beta}))
        self.found = trimmed(here, self.found)
        return limits_at(self.found, case, self._clmax)


def _least(limits: tuple[Limit, ...], rates: Array, beta: float) -> float:
    """Sideslip, deg, of the smallest share of those that it moves; as it is where little is gained.

    rates: (limits,) of their values by sideslip, 1/deg.
    """
    moving = np.abs(rates) > _MOVED * np.array([abs(item.end) for item in limits])

    def share(aside: float) -> float:
        return max(
            (
                item._replace(value=item.value + (aside - beta) * rate).share
                for item, rate, moves in zip(limits, rates.tolist(), moving, strict=True)
                if moves
            ),
            default=0.0,
        )

    tried = np.linspace(-LARGEST_SIDESLIP, LARGEST_SIDESLIP, 201).tolist()
    best = min(tried, key=share)
    return float(best) if share(best) < share(beta) - _GAIN else beta
