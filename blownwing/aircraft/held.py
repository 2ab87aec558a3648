"""A drawn aircraft with motors failed: control speeds and climb from balances of all six axes."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from blownwing.aircraft.configuration import Configuration, operating_case
from blownwing.aircraft.control import ControlSpeeds, smallest
from blownwing.aircraft.power import setting_thrust
from blownwing.case.drawn import lateral_settings, surface_of
from blownwing.case.model import Case
from blownwing.case.trim import Trim, Unknown
from blownwing.errors import InputError, SolveError
from blownwing.trim.balance import trimmed
from blownwing.trim.control import (
    SECTIONS,
    Limit,
    held,
    limits_at,
    nearest,
    smallest_speed,
    widened,
)
from blownwing.trim.failure import held_by_controls
from blownwing.trim.settings import with_trim

_UNHELD = 1.5  # share that is taken where no balance is reached
_FASTEST = 3.0  # times the lift-off speed, beyond which a control speed is of no use
_NEGLIGIBLE = 1e-6  # share of a control, below which nothing is to be held


@dataclass(frozen=True)
class HeldClimb:
    """A steady climb with motors failed, held by the controls.

    Attributes:
        gradient: sine. alpha, sideslip: deg. power: W at the shafts.
        limits: what it asks of each control and surface.
    """

    gradient: float
    alpha: float
    sideslip: float
    power: float
    limits: tuple[Limit, ...]

    @property
    def nearest(self) -> Limit:
        """The limit that is nearest."""
        return nearest(self.limits)


def held_climb(
    configuration: Configuration, airspeed: float, thrust: Mapping[str, float]
) -> HeldClimb:
    """The climb of a drawn aircraft with motors failed, at the sideslip that asks least of it.

    Args:
        configuration: with the failures. airspeed: m/s. thrust: N, of each powered propeller.

    Raises:
        SolveError: when nothing balances it, however far controls are moved.
    """
    case = _in_flight(configuration, airspeed, thrust)
    found, limits = held(case, configuration.tail_clmax)
    discs = found.point.model.discs
    return HeldClimb(
        gradient=math.sin(math.radians(found.path.climb)),
        alpha=found.named["alpha"],
        sideslip=found.case.flow.beta,
        power=sum(found.point.states[k].power for k in discs.source),
        limits=limits,
    )


def held_speeds(
    case: Case, configuration: Configuration, near: float, slowest: float
) -> ControlSpeeds:
    """Minimum control speeds of a drawn aircraft, the others at the take-off setting.

    In the air all six axes are in balance with a bank of at most 5 degrees and the sideslip that
    helps, on the ground the rudder holds the yaw alone.

    Args:
        case: the user's, for the motors. configuration: take-off, with the failure.
        near: m/s, to start from. slowest: m/s, the stall, below which none is looked for.

    Raises:
        InputError: a propeller without a motor.
        SolveError: when the controls hold at no speed.
    """
    setting = configuration.aircraft.take_off.setting
    clmax = configuration.tail_clmax

    def at(speed: float) -> Case:
        thrust = setting_thrust(case, configuration, speed, setting)
        return _in_flight(configuration, speed, thrust)

    air = smallest_speed(at, near, slowest, _FASTEST * near, clmax)
    ran_out = air.limit.name if air.is_at_limit and air.speed > slowest else "stall"
    last = ""

    def yaw(speed: float) -> float:
        nonlocal last
        thrust = setting_thrust(case, configuration, speed, setting)
        rolling = _on_wheels(configuration, speed, thrust)
        try:
            limits = limits_at(trimmed(widened(rolling)), rolling, clmax)
        except SolveError:
            return _UNHELD
        own = [item for item in limits if item.name in _yawing(rolling)]
        worst = nearest(own)
        last = worst.name
        return worst.share if worst.share > _NEGLIGIBLE else 0.0

    ground = smallest(yaw, near)
    return ControlSpeeds(ground, air.speed, True, last if ground > 0.0 else "", ran_out)


def _yawing(case: Case) -> tuple[str, ...]:
    """Names of the limits that count for the yaw: the rudder's, and its surface's sections."""
    yaw = lateral_settings(case.wing, case.surfaces)[1]
    if yaw is None:
        return ()
    place = surface_of(yaw, case.wing, case.surfaces)
    return (yaw, *(f"{what} of the {place}" for what in SECTIONS))


def _in_flight(configuration: Configuration, airspeed: float, thrust: Mapping[str, float]) -> Case:
    """A case in balance about all axes by controls, bank and the path's angle."""
    base = operating_case(configuration, airspeed, (0.0,), thrust)
    start = configuration.alphas[1]
    area = configuration.drag_area + configuration.folded_drag_area
    if base.fuselage is not None:
        area -= base.fuselage.drag_area  # which the body brings itself
    trim = _own(configuration).model_copy(update={"drag_area": area})
    return held_by_controls(with_trim(base.replace(**{"flow.alpha": start}), trim))


def _on_wheels(configuration: Configuration, airspeed: float, thrust: Mapping[str, float]) -> Case:
    """A case on its wheels whose rudder holds the yaw."""
    setup = configuration.aircraft.take_off
    base = operating_case(configuration, airspeed, (0.0,), thrust, setup.ground_height)
    trim = _own(configuration)
    name = lateral_settings(base.wing, base.surfaces)[1] or ""
    yaw = next((item for item in trim.unknowns if item.name == name), Unknown(name=name))
    alone = trim.model_copy(update={"unknowns": (yaw,), "equations": ("yaw",)})
    return with_trim(base.replace(**{"flow.alpha": setup.ground_alpha}), alone)


def _own(configuration: Configuration) -> Trim:
    if configuration.trim is None:
        raise InputError("trim: this table is missing, needed with [aircraft] and [[surfaces]]")
    return configuration.trim
