"""How many propellers: the same aircraft evaluated over their number."""

from __future__ import annotations

import math
import re
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from blownwing.aircraft.configuration import (
    aircraft_of,
    configured,
)
from blownwing.aircraft.headlines import headlines
from blownwing.aircraft.polar import solved_states
from blownwing.aircraft.power import motor_of, setting_thrust
from blownwing.aircraft.redesign import Keep, Row, baseline_row, with_propellers
from blownwing.aircraft.stall import stall
from blownwing.aircraft.takeoff import TakeOffRun
from blownwing.case.model import Case
from blownwing.errors import InputError, SolveError
from blownwing.propeller.noise import gutin_tones
from blownwing.solution.groups import Group, Quantity, finite

FLAT = 0.02  # counts within this of the best share the optimum
NOISE_DISTANCE = 100.0  # m
_NOISE_ANGLES = np.radians(np.arange(5.0, 176.0, 5.0))


@dataclass(frozen=True)
class Choice:
    """The aircraft with one number of propellers; SI units.

    Attributes:
        count: of propellers. diameter: m. power: W, of each motor. mass: kg, of the aircraft.
        take_off_distance: m to the screen. lift_off: m/s. CLmax, CLmax_unblown: take-off setting
            and zero thrust. approach_stall: m/s at full thrust, flaps as in approach.
        thrust: N at lift-off, all. cruise_power: W at the shafts. range: m, all usable energy in
            cruise. gradient_failed: climb with the outermost motor failed. roll_failed: Cl to hold.
        noise: dB at 100 m, rotational, take-off. tip_mach: at lift-off, of the row.
        coverage: diameters of the row over the span. disc_loading: N/m², its thrust at lift-off
            over its discs. radius_over_chord: of the row, mean. blown_fraction: wing area behind
            its discs over wing area.
    """

    count: int
    diameter: float
    power: float
    mass: float
    take_off_distance: float
    lift_off: float
    CLmax: float
    CLmax_unblown: float
    approach_stall: float
    thrust: float
    cruise_power: float
    range: float
    gradient_failed: float
    roll_failed: float
    noise: float
    tip_mach: float
    coverage: float
    disc_loading: float
    radius_over_chord: float
    blown_fraction: float


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


# goal, attribute, whether less is better
GOALS = (
    ("shortest take-off", "take_off_distance", True),
    ("largest CLmax, blown", "CLmax", False),
    ("least cruise power", "cruise_power", True),
    ("longest range", "range", False),
    ("lightest", "mass", True),
    ("steepest climb, motor failed", "gradient_failed", False),
    ("least roll to hold, motor failed", "roll_failed", True),
    ("quietest, rotational", "noise", True),
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
) -> Trade:
    """Evaluate the aircraft with each number of propellers.

    Args:
        case: the baseline, with an aircraft. counts: even numbers. keep: coverage of the span by
            the row; total disc area (disc loading at equal total power); or coverage and total
            thrust at lift-off.
        progress: called with each step's name.

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
        for count in counts:
            tell(f"{count} propellers")
            try:
                resized = with_propellers(case, row, count, keep, Path(folder), middle, lift_off)
                choices.append(_choice(resized, count))
            except (InputError, SolveError) as error:  # kept beside the others, with its reason
                refused[count] = str(error)
    if not choices:
        reason = next(iter(refused.values()), "no counts given")
        raise SolveError(f"aircraft --trade: no count could be evaluated (first: {reason})")
    ready = configured(case, "take_off")
    return Trade(keep, row, tuple(choices), refused, ready.by_tables, ready.case.air.density)


def _choice(case: Case, count: int) -> Choice:
    found = headlines(case)
    thrust, noise, tip_mach, loading = _at_lift_off(case, found.run, count)
    row = [
        item for item in case.propeller_list() if item.definition.name in _row_names(case, count)
    ]
    chords = [chord_at(case, item.position[1]) for item in row]
    diameter = case.propellers[0].diameter
    return Choice(
        count=count,
        diameter=diameter,
        power=motor_of(case, case.propellers[0].name).power,
        mass=aircraft_of(case).mass,
        take_off_distance=found.take_off_distance,
        lift_off=found.lift_off,
        CLmax=found.CLmax,
        CLmax_unblown=found.CLmax_unblown,
        approach_stall=found.approach_stall,
        thrust=thrust,
        cruise_power=found.cruise_power,
        range=found.range,
        gradient_failed=found.gradient_failed,
        roll_failed=found.roll_failed,
        noise=noise,
        tip_mach=tip_mach,
        coverage=count * diameter / case.wing.span,
        disc_loading=loading,
        radius_over_chord=0.5 * diameter * float(np.mean(1.0 / np.array(chords))),
        blown_fraction=diameter * sum(chords) / case.wing.area,
    )


def chord_at(case: Case, y: float) -> float:
    """The wing's chord (m) at a place along the span, m."""
    stations = case.wing.stations
    at = abs(y) if case.wing.symmetric else y
    return float(np.interp(at, [s.y for s in stations], [s.chord for s in stations]))


def _row_names(case: Case, count: int) -> set[str]:
    """Names of the row's definitions: the first ones of a resized case."""
    return {item.name for item in case.propellers[: count // 2]}


def _at_lift_off(case: Case, run: TakeOffRun, count: int) -> tuple[float, float, float, float]:
    """Thrust (N) and rotational noise (dB) of all, the row's tip Mach number and disc loading."""
    ready = configured(case, "take_off")
    setting = aircraft_of(case).take_off.setting
    thrust = setting_thrust(case, ready, run.lift_off, setting)
    _, solution = solved_states(ready, run.lift_off, thrust, (run.lift_off_alpha,))
    found = solution.at(0).propellers
    sound = ready.case.air.speed_of_sound
    powers = np.zeros(_NOISE_ANGLES.size)
    for item in ready.case.propeller_list():
        values = found.get(item.name)
        if values is None or not values.get("rpm", 0.0) > 0.0:
            continue
        levels = [
            gutin_tones(
                values["thrust"],
                values["power"],
                values["rpm"] * math.pi / 30.0,
                int(item.definition.blades or 1),
                item.definition.diameter,
                sound,
                NOISE_DISTANCE,
                angle,
            ).overall
            for angle in _NOISE_ANGLES.tolist()
        ]
        powers += 10.0 ** (0.1 * np.array(levels))  # propellers add without phase
    first = case.propellers[0]
    tip = found[first.name]["rpm"] * math.pi / 60.0 * first.diameter
    area = 0.25 * math.pi * first.diameter**2 * count
    row = sum(thrust[i.name] for i in case.propeller_list()
              if i.definition.name in _row_names(case, count))  # fmt: skip
    return (
        sum(thrust.values()),
        10.0 * math.log10(float(powers.max())),
        math.hypot(tip, run.lift_off) / sound,
        row / area,
    )


def compromises(trade: Trade) -> tuple[Choice, ...]:
    """Counts that no other beats in take-off distance, range and noise at once (Pareto)."""

    def aims(choice: Choice) -> tuple[float, float, float]:
        return choice.take_off_distance, -choice.range, choice.noise

    def beaten(mine: tuple[float, ...], other: tuple[float, ...]) -> bool:
        pairs = tuple(zip(other, mine, strict=True))
        return all(o <= m for o, m in pairs) and any(o < m for o, m in pairs)

    return tuple(
        c for c in trade.choices if not any(beaten(aims(c), aims(o)) for o in trade.choices)
    )


def best_choices(trade: Trade) -> tuple[Best, ...]:
    """For each goal the best count and how flat its optimum is.

    Noise is compared in decibels, 2 % of which means little: there "near" is within 1 dB.
    """
    result = []
    for goal, name, less in GOALS:
        values = np.array([getattr(choice, name) for choice in trade.choices])
        best = int(np.argmin(values) if less else np.argmax(values))
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


_UNITS = {
    "diameter": ("m", "disc diameter"),
    "power": ("W", "shaft power of each motor"),
    "mass": ("kg", "mass of the aircraft"),
    "take_off_distance": ("m", "take-off distance to the screen"),
    "lift_off": ("m/s", "lift-off speed"),
    "CLmax": ("1", "largest lift coefficient, take-off setting"),
    "CLmax_unblown": ("1", "largest lift coefficient, zero thrust"),
    "approach_stall": ("m/s", "stall speed in approach configuration, full thrust"),
    "thrust": ("N", "thrust of all propellers at lift-off"),
    "cruise_power": ("W", "shaft power in cruise"),
    "range": ("m", "range in cruise on all usable energy"),
    "gradient_failed": ("1", "climb gradient with the outermost motor failed"),
    "roll_failed": ("1", "rolling moment coefficient to be held then"),
    "noise": ("dB", "rotational noise at 100 m, take-off, re 20 uPa"),
    "tip_mach": ("1", "tip Mach number of the row at lift-off"),
    "coverage": ("1", "diameters of the row over the span"),
    "disc_loading": ("N/m^2", "thrust of the row at lift-off over its discs"),
    "radius_over_chord": ("1", "radius of the row's discs over the chord behind them"),
    "blown_fraction": ("1", "wing area behind the row's discs over wing area"),
}


def trade_record(trade: Trade) -> Group:
    """The trade as stored quantities over the number of propellers."""
    counts = np.array([float(choice.count) for choice in trade.choices])
    group: Group = {"count": Quantity(counts, "1", "number of propellers", ("count",))}
    if trade.refused:
        lost = np.array([float(count) for count in sorted(trade.refused)])
        group["failed"] = Quantity(lost, "1", "counts that could not be evaluated", ("failed",))
    for name, (units, meaning) in _UNITS.items():
        values = np.array([getattr(choice, name) for choice in trade.choices])
        group[name] = Quantity(finite(name, values), units, meaning, ("count",))
    return group
