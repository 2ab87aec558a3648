"""Rotational noise of the whole aircraft at take-off power: below its path and beside the field."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from blownwing.aircraft.configuration import Configuration, aircraft_of
from blownwing.aircraft.driven import driven_polar
from blownwing.aircraft.takeoff import TakeOffRun
from blownwing.case.model import Case
from blownwing.case.units import RPM
from blownwing.propeller.array_noise import Source, array_levels, complex_tones
from blownwing.propeller.noise import levels

Array = NDArray[np.float64]

ANGLES = tuple(float(a) for a in np.linspace(15.0, 165.0, 13))


@dataclass(frozen=True)
class Heard:
    """Levels over the direction to the aircraft, dB re 20 µPa, tones only.

    Attributes:
        angle: (n,) deg from straight ahead of the aircraft. incoherent: (n,) powers added, the mean
            where rotor speeds drift. worst, best: (n,) over all positions of the blades.
    """

    angle: Array
    incoherent: Array
    worst: Array
    best: Array

    @property
    def loudest(self) -> int:
        """Index of the loudest direction, phases drifting."""
        return int(np.argmax(self.incoherent))


@dataclass(frozen=True)
class Noise:
    """Along a fly-over and at the field's edge; `left_out`: ideal discs, which have no tones."""

    fly_over: Heard
    edge: Heard
    left_out: tuple[str, ...]


class LiftOffState(NamedTuple):
    """The case flown at lift-off, and its propellers' results by name."""

    flown: Case
    values: Mapping[str, Mapping[str, Any]]


def lift_off_state(case: Case, ready: Configuration, run: TakeOffRun) -> LiftOffState:
    """Propellers at take-off setting and lift-off speed, thrusts within their motors.

    Raises:
        InputError: a case without an aircraft table.
        SolveError: a state that does not converge.
    """
    alphas = (run.lift_off_alpha,)
    polar = driven_polar(case, ready, run.lift_off, aircraft_of(case).take_off.setting, alphas)
    return LiftOffState(polar.left.case, polar.states[0].found.propellers)


def take_off_noise(case: Case, ready: Configuration, run: TakeOffRun) -> Noise | None:
    """Tones at take-off setting and lift-off speed; None where all propellers are ideal discs.

    The observer stands straight below the path, `noise.fly_over` metres lower, and beside the
    runway, `noise.edge` metres from its middle line with the aircraft at lift-off. Ahead and behind
    the distance grows with the direction. No Doppler shift, no ground.

    Raises:
        InputError: a case without an aircraft table, or an observer too near (`gutin_tones`).
        SolveError: a state that does not converge.
    """
    setup, places = aircraft_of(case).take_off, aircraft_of(case).noise
    state = lift_off_state(case, ready, run)
    sources, left_out = _sources(state)
    if not sources:
        return None

    def heard(aside: float, below: float) -> Heard:
        found = [
            array_levels(sources, place, state.flown.air.speed_of_sound)
            for place in _observers(aside, below)
        ]
        return Heard(
            np.array(ANGLES),
            np.array([f.incoherent for f in found]),
            np.array([f.worst for f in found]),
            np.array([f.best for f in found]),
        )

    edge = heard(places.edge, setup.ground_height)
    return Noise(heard(0.0, places.fly_over), edge, tuple(left_out))


def loudest_tones(case: Case, state: LiftOffState) -> float | None:
    """The loudest direction below the path, dB re 20 µPa, powers added; None without tones.

    Raises:
        InputError: a case without an aircraft table, or an observer too near (`gutin_tones`).
    """
    sources, _ = _sources(state)
    if not sources:
        return None
    sound = state.flown.air.speed_of_sound
    places = _observers(0.0, aircraft_of(case).noise.fly_over)
    power = [float(np.sum(np.abs(complex_tones(sources, at, sound)) ** 2)) for at in places]
    return float(levels(math.sqrt(max(power))))


def _observers(aside: float, below: float) -> list[tuple[float, float, float]]:
    """Places of an observer in case axes, one for each of `ANGLES`."""
    away = math.hypot(aside, below)
    return [(-away / math.tan(a), aside, -below) for a in np.radians(ANGLES).tolist()]


def _sources(state: LiftOffState) -> tuple[list[Source], list[str]]:
    """Propellers as sources of tones, and the names of those that have none."""
    sources, left_out = [], []
    for item in state.flown.propeller_list():
        own = state.values[item.name]
        turns, blades = own.get("rpm", 0.0), item.definition.blades
        if not turns > 0.0 or blades is None:
            left_out.append(item.name)
            continue
        x, y, z = item.axis
        sources.append(
            Source(
                own["thrust"],
                own["power"],
                turns * RPM,
                blades,
                item.definition.diameter,
                item.position,
                (-x, -y, -z),
                1 if item.rotation > 0 else -1,
            )
        )
    return sources, left_out
