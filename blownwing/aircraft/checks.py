"""What the mission is held against: energy from new solves, limits of battery and motors."""

from __future__ import annotations

import math
from dataclasses import dataclass

from blownwing.aircraft.configuration import aircraft_of, configured
from blownwing.aircraft.driven import driven_polar
from blownwing.aircraft.mission import Mission
from blownwing.aircraft.polar import balanced, solved_polar
from blownwing.aircraft.power import motor_of, setting_thrust
from blownwing.aircraft.takeoff import climb_at
from blownwing.case.air import GRAVITY
from blownwing.case.model import Case


@dataclass(frozen=True)
class EnergyCheck:
    """Energy at one place of the trajectory.

    Attributes:
        where: the segment. altitude: m. speed: m/s.
        work: W, thrust less drag times speed from a coupled solve of its own, off the tables.
        gained: W, potential and kinetic energy gained per second on the trajectory.
        thrust_work: W, of the thrust, from that solve.
    """

    where: str
    altitude: float
    speed: float
    work: float
    gained: float
    thrust_work: float

    @property
    def error(self) -> float:
        """Work less gain over the work of the thrust."""
        return (self.work - self.gained) / self.thrust_work


def energy_checks(
    case: Case, mission: Mission, cruise_alpha: float, cruise_setting: float
) -> tuple[EnergyCheck, ...]:
    """Work of thrust against drag, solved anew, beside the energy that the trajectory gains.

    In the middle of the climb, between the altitudes of the tables that it was flown by, where the
    trajectory's own height over time gives the gain; and in cruise, which gains none.

    Args:
        case: the user's. mission: flown. cruise_alpha: deg, cruise_setting: share of the
            thrust available, of the level cruise.

    Raises:
        InputError: a case without an aircraft table.
        SolveError: a state does not converge, or the aircraft cannot fly it.
    """
    weight = aircraft_of(case).mass * GRAVITY
    found = []
    start = 0.0
    for segment in mission.segments:
        end = start + segment.time
        if segment.name == "climb":
            inside = (mission.time > start) & (mission.time < end)
            time, height = mission.time[inside], mission.altitude[inside]
            speed = float(mission.speed[inside][0])
            i = time.size // 2
            rise = float((height[i + 1] - height[i - 1]) / (time[i + 1] - time[i - 1]))
            middle = configured(case, "climb", float(height[i]))
            polar = driven_polar(case, middle, speed, 1.0)
            lift = weight * math.sqrt(max(1.0 - (rise / speed) ** 2, 0.0))
            _, state = climb_at(middle, polar, lift)
            found.append(
                EnergyCheck("climb", float(height[i]), speed, state.excess * speed, weight * rise,
                            (state.excess + state.drag) * speed)
            )  # fmt: skip
        start = end
    cruise = configured(case, "cruise")
    speed = aircraft_of(case).cruise.airspeed
    thrust = setting_thrust(case, cruise, speed, cruise_setting)
    polar = solved_polar(cruise, speed, thrust, (cruise_alpha,))
    state = balanced(cruise, polar.at(cruise_alpha), speed, polar.density)
    found.append(
        EnergyCheck("cruise", aircraft_of(case).cruise.altitude, speed, state.excess * speed, 0.0,
                    (state.excess + state.drag) * speed)
    )  # fmt: skip
    return tuple(found)


@dataclass(frozen=True)
class Duty:
    """How long a motor gives more than it may give for ever.

    Attributes:
        propellers: that such motors drive. continuous: W. most: W, the most asked of one.
        minutes: above continuous power in one flight, reserve included. allowed: minutes, None
            without a limit in the case.
    """

    propellers: tuple[str, ...]
    continuous: float
    most: float
    minutes: float
    allowed: float | None

    @property
    def is_kept(self) -> bool:
        """Whether the time above continuous power is within what is allowed."""
        return self.allowed is None or self.minutes <= self.allowed


def motor_duty(case: Case, mission: Mission) -> tuple[Duty, ...]:
    """Time above continuous power of every motor that has one.

    Motors of a phase share its power as their own powers do.

    Raises:
        InputError: a case without an aircraft table.
    """
    result = []
    for motor in aircraft_of(case).motors:
        if motor.continuous_power is None:
            continue
        share = motor.continuous_power / motor.power
        own = tuple(
            item.name for item in case.propeller_list() if motor_of(case, item.name) is motor
        )
        seconds, most, start = 0.0, 0.0, 0.0
        for segment, powered in zip(mission.segments, mission.powered, strict=True):
            end = start + segment.time
            if any(name in powered for name in own):
                inside = (mission.time >= start) & (mission.time <= end)
                time, load = mission.time[inside], mission.load[inside]
                most = max(most, float(load.max()))
                above = (load[1:] > share) & (load[:-1] > share)
                seconds += float(((time[1:] - time[:-1]) * above).sum())
            start = end
        result.append(
            Duty(own, motor.continuous_power, most * motor.power, seconds / 60.0,
                 motor.overload_time)
        )  # fmt: skip
    return tuple(result)
