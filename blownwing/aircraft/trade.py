"""How many propellers: the same aircraft evaluated over their number."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from blownwing.aircraft.configuration import aircraft_of, configured
from blownwing.aircraft.power import motor_of
from blownwing.aircraft.redesign import Keep, Row, baseline_row, with_propellers
from blownwing.aircraft.scalars import AIMS, VARIABLES, aircraft_scalars, unbeaten
from blownwing.aircraft.stall import stall
from blownwing.case.model import Case
from blownwing.errors import InputError, SolveError
from blownwing.solution.records import Group, Quantity, finite, valued

FLAT = 0.02  # counts within this of the best share the optimum


@dataclass(frozen=True)
class Choice:
    """The aircraft with one number of propellers in its row.

    Attributes:
        count: of them. power: W, of each of their motors. values: as of `scalars.VARIABLES`.
    """

    count: int
    power: float
    values: Mapping[str, float]


@dataclass(frozen=True)
class Trade:
    """All counts that could be evaluated, those that could not and why, and what was kept.

    `by_tables`: whether stalls come from section tables. density: kg/m³ at take-off.
    """

    keep: Keep
    row: Row
    choices: tuple[Choice, ...]
    refused: dict[int, str]
    by_tables: bool = True
    density: float = 1.225

    @property
    def asked(self) -> tuple[int, ...]:
        """All counts tried, in order, whether they could be evaluated or not."""
        return tuple(sorted({*(choice.count for choice in self.choices), *self.refused}))


@dataclass(frozen=True)
class Best:
    """Best count for one goal, its value, and the counts within 2 % of it.

    A count is the best only where the counts tried on both sides of it could be evaluated too and
    are no better: `unproven` says what is missing, and is empty where nothing is.
    """

    goal: str
    count: int
    value: float
    near: tuple[int, ...]
    unproven: str = ""


# goal, of which number
GOALS = (
    ("shortest take-off", "take_off_distance"),
    ("largest CLmax, blown", "CLmax"),
    ("least cruise power", "cruise_power"),
    ("longest range", "range"),
    ("lightest", "mass"),
    ("steepest climb, motor failed", "gradient_failed"),
    ("least roll to hold, motor failed", "roll_failed"),
    ("quietest, rotational", "noise"),
)


def counts_from(text: str) -> tuple[int, ...]:
    """Even numbers of propellers from ``propellers=2..16`` or ``propellers=4,8,12``.

    Raises:
        InputError: for any other text.
    """
    accepted = "accepted is propellers=2..16 or propellers=4,8,12, even numbers from 2 to 40"
    name, _, values = text.partition("=")
    ends = re.fullmatch(r"(\d+)\.\.(\d+)", values.strip())
    listed = re.fullmatch(r"\d+(\s*,\s*\d+)*", values.strip())
    if name.strip() != "propellers" or not (ends or listed):
        raise InputError(f'--trade: found "{text}"; {accepted}')
    if ends:
        first, last = int(ends[1]), int(ends[2])
        counts = tuple(n for n in range(first, min(last, 42) + 1) if n % 2 == 0)
    else:
        counts = tuple(sorted({int(word) for word in values.split(",")}))
    if not counts or any(n % 2 or not 2 <= n <= 40 for n in counts):
        raise InputError(f'--trade: found "{text}"; {accepted}')
    return counts


def traded(
    case: Case,
    counts: Sequence[int],
    keep: Keep = "coverage",
    progress: Callable[[str], None] | None = None,
    later: Callable[..., Callable[[], Choice]] = partial,
) -> Trade:
    """Evaluate the aircraft with each number of propellers.

    Args:
        case: the baseline, with an aircraft. counts: even numbers. keep: coverage of the span by
            the row; total disc area (disc loading at equal total power); or coverage and total
            thrust at lift-off.
        progress: called with each step's name. later: as for `performance.evaluated`.

    Raises:
        InputError: for a baseline the trade cannot resize.
        SolveError: when none of the counts can be evaluated.
    """
    row = baseline_row(case)
    tell = progress or (lambda _step: None)
    choices: list[Choice] = []
    refused: dict[int, str] = {}
    aircraft = aircraft_of(case)
    slow = stall(case, configured(case, "take_off"), aircraft.take_off.setting).speed
    lift_off = slow * aircraft.take_off.lift_off_margin
    middle = 0.5 * (lift_off + aircraft.cruise.airspeed)
    with tempfile.TemporaryDirectory(prefix="blownwing-") as folder:
        rest = (keep, Path(folder), middle, lift_off)
        started = [later(_choice, case, row, count, *rest) for count in counts]
        for count, choice in zip(counts, started, strict=True):
            tell(f"{count} propellers")
            try:
                choices.append(choice())
            except (InputError, SolveError) as error:  # kept beside the others, with its reason
                refused[count] = str(error)
    if not choices:
        reason = next(iter(refused.values()), "no counts given")
        raise SolveError(f"aircraft --trade: no count could be evaluated (first: {reason})")
    ready = configured(case, "take_off")
    return Trade(keep, row, tuple(choices), refused, ready.by_tables, ready.case.air.density)


def _choice(
    case: Case, row: Row, count: int, keep: Keep, folder: Path, middle: float, lift_off: float
) -> Choice:
    """The aircraft with a number of propellers; arguments as for `with_propellers`."""
    resized = with_propellers(case, row, count, keep, folder, middle, lift_off)
    power = motor_of(resized, resized.propellers[0].name).power
    return Choice(count, power, aircraft_scalars(resized))


def compromises(trade: Trade) -> tuple[Choice, ...]:
    """Counts that no other beats in take-off distance, range and noise at once (Pareto)."""
    kept = unbeaten([choice.values for choice in trade.choices])
    return tuple(trade.choices[i] for i in kept)


def best_choices(trade: Trade) -> tuple[Best, ...]:
    """For each goal the best count and how flat its optimum is.

    Noise is compared in decibels, 2 % of which means little: there "near" is within 1 dB.
    """
    result = []
    for goal, name in GOALS:
        values = np.array([choice.values[name] for choice in trade.choices])
        best = int(np.argmin(values) if AIMS[name] else np.argmax(values))
        slack = 1.0 if name == "noise" else FLAT * abs(values[best])
        near = tuple(
            choice.count
            for choice, value in zip(trade.choices, values.tolist(), strict=True)
            if abs(value - values[best]) <= slack
        )
        count = trade.choices[best].count
        result.append(Best(goal, count, float(values[best]), near, _unproven(trade, count)))
    return tuple(result)


def _unproven(trade: Trade, count: int) -> str:
    """What keeps a count from being the best of its neighbourhood; empty where nothing does."""
    asked = trade.asked
    at = asked.index(count)
    beside = [asked[i] for i in (at - 1, at + 1) if 0 <= i < len(asked)]
    lost = [str(n) for n in beside if n in trade.refused]
    if lost:
        return f"{' and '.join(lost)} beside it could not be evaluated"
    if len(beside) < 2:
        return "it is the only count tried" if not beside else "it is at the end of those tried"
    return ""


def trade_record(trade: Trade) -> Group:
    """The trade as stored quantities over the number of propellers.

    SolveError: a value that is not finite.
    """
    counts = np.array([float(choice.count) for choice in trade.choices])
    group: Group = {"count": Quantity(counts, "1", "number of propellers", ("count",))}
    if trade.refused:
        lost = np.array([float(count) for count in sorted(trade.refused)])
        group["failed"] = Quantity(lost, "1", "counts that could not be evaluated", ("failed",))
    powers = np.array([choice.power for choice in trade.choices])
    group["power"] = Quantity(powers, "W", "shaft power of each motor of the row", ("count",))
    for name, about in VARIABLES.items():
        if name in trade.choices[0].values:
            values = np.array([choice.values[name] for choice in trade.choices])
            group[name] = valued(about, finite(name, values), ("count",))
    return group
