"""The trade's speeds of take-off and landing, with their margins over stall and control."""

from __future__ import annotations

from dataclasses import dataclass

from blownwing.aircraft import rules
from blownwing.aircraft.configuration import aircraft_of
from blownwing.aircraft.performance import Performance


@dataclass(frozen=True)
class NamedSpeed:
    """A speed of the trade.

    Attributes:
        name: V1, VR and so on. meaning: in words. speed: m/s.
        over_stall, over_control: margins over the stall speed of its configuration (at its own
            thrust) and over the minimum control speed; None where there is none.
        wanted: m/s, the slowest that the classical rule has, as orientation; None without one.
        rule: its name.
    """

    name: str
    meaning: str
    speed: float
    over_stall: float | None = None
    over_control: float | None = None
    wanted: float | None = None
    rule: str = ""

    @property
    def is_short(self) -> bool:
        """Whether the speed lies below what the rule has."""
        return self.wanted is not None and self.speed < self.wanted * (1.0 - 1e-4)


def named_speeds(p: Performance) -> tuple[NamedSpeed, ...]:
    """V1, VMC, VR, V2 and VREF of an aircraft.

    VMC is that of the take-off setting; the approach, with less thrust, needs no more.

    Raises:
        InputError: a case without an aircraft table.
    """
    setup = aircraft_of(p.case).take_off
    run, failure, final = p.take_off, p.failed_take_off, p.approach
    stall = p.stalls["take_off blown"].speed
    landing = final.stall_speed
    control = failure.control
    vmc = None if control is None else control.air
    screen = setup.screen_margin * run.stall_speed

    def over(speed: float, other: float | None) -> float | None:
        return speed / other if other else None

    found = [NamedSpeed("V1", "motor fails: decision", failure.speed, over(failure.speed, stall))]
    if control is not None and control.checks_yaw and control.ground > 0.0:
        by = control.ground_limit or "fin alone"
        found.append(NamedSpeed("VMCG", f"yaw held on the ground, {by}", control.ground))
    if vmc and control is not None:
        by = f": {control.air_limit}" if control.air_limit else ""
        words = f"yaw and roll held, motor failed{by}"
        found.append(NamedSpeed("VMC", words, vmc, over(vmc, stall)))
    rows = (
        ("VR", "rotation and lift-off", run.lift_off, stall, rules.ROTATION, rules.VMC_MARGIN),
        ("V2", "at the screen", screen, stall, rules.SCREEN, rules.SCREEN_VMC),
        ("VREF", "approach", final.speed, landing, rules.APPROACH, rules.APPROACH_VMC),
    )
    for name, meaning, speed, still, margin, controlled in rows:
        wanted = max(margin.value * still, controlled.value * (vmc or 0.0))
        found.append(
            NamedSpeed(name, meaning, speed, speed / still, over(speed, vmc), wanted, margin.name)
        )
    return tuple(found)
