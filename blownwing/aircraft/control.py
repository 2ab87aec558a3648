"""Control with a motor failed: moments to be held, minimum control speeds."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from blownwing.aircraft.configuration import Configuration, failed
from blownwing.aircraft.driven import driven_polar
from blownwing.aircraft.polar import Polar
from blownwing.case.model import Case
from blownwing.errors import SolveError

_STEPS = 25
_CLOSE = 2e-3  # of the speed
_FASTEST = 4.0  # times the speed to start from: beyond it no answer is of use


@dataclass(frozen=True)
class Moments:
    """Moments that a failure leaves and those that the controls give, as coefficients.

    Attributes:
        speed: m/s. roll, yaw: C_roll and C_yaw (on q S b) to be held.
        roll_available: of full ailerons.
        yaw_available: of fin and rudder; None without a fin in the case: yaw is not checked.
    """

    speed: float
    roll: float
    roll_available: float
    yaw: float
    yaw_available: float | None

    @property
    def is_held(self) -> bool:
        """Whether ailerons and fin hold the moments at this speed."""
        return self.demand <= 1.0

    @property
    def demand(self) -> float:
        """Largest share of a control's moment that is needed; above 1 it is not held."""
        return max(self.roll_demand, self.yaw_demand)

    @property
    def roll_demand(self) -> float:
        """Share of the ailerons' moment that is needed."""
        return _share(self.roll, self.roll_available)

    @property
    def yaw_demand(self) -> float:
        """Share of the fin's moment that is needed; 0 where yaw is not checked."""
        return 0.0 if self.yaw_available is None else _share(self.yaw, self.yaw_available)


def _share(needed: float, available: float) -> float:
    if needed <= 1e-9:
        return 0.0
    return needed / available if available > 0.0 else math.inf


def moments_left(
    configuration: Configuration, roll: float, yaw: float, speed: float, density: float
) -> Moments:
    """Moments that a failure leaves, as coefficients beside what ailerons and fin give at a speed.

    roll, yaw: N m. speed: m/s. density: kg/m³. The fin gives q S_fin cl_fin l_fin whatever the
    speed, ailerons a coefficient of their own (common practice, no source).
    """
    controls = configuration.aircraft.controls
    pressure = 0.5 * density * speed * speed
    unit = pressure * configuration.area * configuration.case.wing.span
    fin = None
    if controls.fin_area is not None and controls.fin_arm is not None:
        fin = pressure * controls.fin_area * controls.fin_clmax * controls.fin_arm / unit
    return Moments(speed, abs(roll) / unit, controls.roll_coefficient, abs(yaw) / unit, fin)


@dataclass(frozen=True)
class ControlSpeeds:
    """Smallest speeds at which a failed motor's moments are held at the take-off setting, m/s.

    `ground`: yaw on the wheels, by the fin alone, without a steered nose wheel; 0 where yaw is not
    checked. `air`: yaw and roll after lift-off, wings level at no sideslip. `checks_yaw`: whether
    the case has a fin. ground_limit, air_limit: of a drawn aircraft, what runs out below; "stall"
    in the air where controls hold down to it.
    """

    ground: float
    air: float
    checks_yaw: bool
    ground_limit: str = ""
    air_limit: str = ""


def control_speeds(
    case: Case, configuration: Configuration, name: str, near: float, alpha: float
) -> ControlSpeeds:
    """Minimum control speeds on the ground and in the air, the others at the take-off setting.

    Args:
        case: the user's. configuration: take-off, all motors. name: of the failed propeller.
        near: m/s, to start from. alpha: deg, at which the moments in the air are taken.

    Raises:
        InputError: a propeller without a motor.
        SolveError: when no speed is found at which the controls hold.
    """
    setup = configuration.aircraft.take_off
    fewer = failed(configuration, (name,))
    checks = configuration.aircraft.controls.fin_area is not None

    last: Polar | None = None

    def at(speed: float, incidence: float, height: float | None) -> Moments:
        nonlocal last
        last = driven_polar(case, fewer, speed, setup.setting, (incidence,), height, last)
        forces = last.at(incidence)
        return moments_left(fewer, forces["roll"], forces["yaw"], speed, last.density)

    ground = 0.0
    if checks:
        ground = smallest(lambda v: at(v, setup.ground_alpha, setup.ground_height).yaw_demand, near)
    return ControlSpeeds(ground, smallest(lambda v: at(v, alpha, None).demand, near), checks)


def smallest(demand: Callable[[float], float], near: float) -> float:
    """Speed (m/s) from which on a demand is at most 1, sought from a near one.

    The first step takes moments to keep with speed, coefficients to go as 1/V²; later ones go by
    the power that the last two show.

    demand: airspeed (m/s) to the largest share of a control that is needed. near: m/s.

    Raises:
        SolveError: not held up to several times the near speed.
    """
    speed, power, previous = near, 2.0, (0.0, 0.0)
    for step in range(_STEPS):
        needed = demand(speed)
        if needed == 0.0:
            return 0.0
        if not math.isfinite(needed):
            break
        place, excess = math.log(speed), math.log(needed)
        if step:
            power = max((previous[1] - excess) / (place - previous[0]), 1.0)
        previous = place, excess
        new = math.exp(place + excess / power)
        if abs(new - speed) <= _CLOSE * speed:
            return new
        if new < 0.05 * near:
            return new
        if new > _FASTEST * near:
            break
        speed = new
    raise SolveError(
        f"minimum control speed: ailerons and fin do not hold the failed motor's moments up to "
        f"{_FASTEST * near:.0f} m/s"
    )
