"""Approach: the setting that holds the path, and the margins in speed and angle."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from blownwing.aircraft.gust import gust_angle
from blownwing.aircraft.polar import Balance
from blownwing.aircraft.stall import Stall
from blownwing.aircraft.tables import Table
from blownwing.errors import SolveError


@dataclass(frozen=True)
class ApproachState:
    """A steady approach and its margins.

    Attributes:
        speed: m/s. setting: of the thrust available. alpha: deg. path: deg.
        holds_path: False when zero thrust is still too much for the path, which is then flown at
            the lowest setting and shallower than asked.
        stall_speed, stall_alpha: at this setting, m/s and deg. unblown_stall_speed: zero thrust.
        alpha_margin: deg to the stall. gust_alpha: deg that the vertical gust adds.
        power: W at the shafts. control: of a drawn aircraft, the angle that balances it, deg.
        margin_after_failure: approach speed over the stall speed once all thrust is lost.
    """

    speed: float
    setting: float
    alpha: float
    path: float
    holds_path: bool
    stall_speed: float
    stall_alpha: float
    unblown_stall_speed: float
    alpha_margin: float
    gust_alpha: float
    power: float
    control: float

    @property
    def stall_jump(self) -> float:
        """Rise of the stall speed (m/s) when the thrust is cut."""
        return self.unblown_stall_speed - self.stall_speed

    @property
    def margin_after_failure(self) -> float:
        """Approach speed over the stall speed at zero thrust."""
        return self.speed / self.unblown_stall_speed


def approach_state(
    table: Table, settings: Sequence[float], stalls: Sequence[Stall]
) -> ApproachState:
    """The approach on its path at the margin over the stall speed at its own thrust.

    Thrust sets the stall speed, that sets the approach speed, and the path at that speed sets the
    thrust: the three are found together.

    Args:
        table: of the approach configuration. stalls: two or more, at rising
            settings: shares of the thrust available, from 0 upward.

    Raises:
        SolveError: when no setting holds the path.
    """
    configuration = table.configuration
    setup = configuration.aircraft.approach
    speeds = PchipInterpolator(settings, [s.speed for s in stalls])
    alphas = PchipInterpolator(settings, [s.alpha for s in stalls])
    gradient = math.sin(math.radians(setup.path))
    lift = configuration.weight * math.cos(math.radians(setup.path))

    def state(setting: float) -> tuple[float, float, Balance]:
        speed = setup.speed_margin * float(speeds(setting))
        alpha = table.trimmed_alpha(speed, setting, lift)
        return speed, alpha, table.balance(speed, setting, alpha)

    def short(setting: float) -> float:
        return state(setting)[2].excess - gradient * configuration.weight

    lowest, highest = float(settings[0]), float(settings[-1])
    holds = short(lowest) <= 0.0
    if not holds:
        setting = lowest
    elif short(highest) < 0.0:
        raise SolveError(f"approach: no setting holds the path of {setup.path:g} deg")
    else:
        setting = float(brentq(short, lowest, highest, xtol=1e-8))
    speed, alpha, final = state(setting)
    flown = math.degrees(math.asin(final.excess / configuration.weight))
    stall_alpha = float(alphas(setting))
    return ApproachState(
        speed=speed,
        setting=setting,
        alpha=alpha,
        path=flown,
        holds_path=holds,
        stall_speed=float(speeds(setting)),
        stall_alpha=stall_alpha,
        unblown_stall_speed=stalls[0].speed,
        alpha_margin=stall_alpha - alpha,
        gust_alpha=float(np.degrees(gust_angle(speed, setup.vertical_gust))),
        power=final.power,
        control=final.control,
    )
