"""Phases of flight in the ``[aircraft]`` table: their settings, and what each propeller does."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, StrictStr, model_validator

from blownwing.case.fields import (
    Angle,
    Area,
    Length,
    Minutes,
    Number,
    Revolutions,
    Seconds,
    Speed,
    Table,
)
from blownwing.case.messages import Fault

Idle = Literal["folded", "stopped", "windmilling"]
State = Literal["powered", "folded", "stopped", "windmilling"]
PhaseName = Literal["take_off", "climb", "cruise", "descent", "approach", "landing"]
FlapAngle = Annotated[Angle, Field(ge=-10.0, le=80.0)]


class TakeOff(Table):
    """Take-off: configuration, ground and margins."""

    flap: Angle | None = Field(default=None, ge=-10.0, le=80.0, description="all flaps")
    flaps: tuple[FlapAngle, ...] | None = Field(
        default=None, description="one for each [[wing.flaps]] in order, instead of flap"
    )
    drag_area: Area = Field(default=0.0, ge=0.0, description="what the phase adds")
    setting: Number = Field(default=1.0, gt=0.0, le=1.0, description="of the thrust available")
    altitude: Length = Field(default=0.0, description="pressure altitude")
    ground_height: Length = Field(gt=0.0, description="reference point above the ground")
    ground_alpha: Angle = Field(
        default=2.0, ge=-10.0, le=20.0, description="incidence on its wheels"
    )
    rotation_limit: Angle = Field(
        default=12.0, ge=0.0, le=40.0, description="incidence of a tail strike"
    )
    rotation_time: Seconds = Field(default=1.0, ge=0.0, description="at lift-off speed")
    friction: Number = Field(default=0.04, ge=0.0, le=0.5, description="rolling, dry runway")
    braking: Number = Field(default=0.3, gt=0.0, le=1.0, description="friction with brakes")
    reaction_time: Seconds = Field(default=2.0, ge=0.0, description="from failure to brakes")
    slope: Number = Field(default=0.0, ge=-0.1, le=0.1, description="uphill rise over run")
    headwind: Speed = Field(default=0.0, ge=-15.0, le=30.0, description="along the runway")
    lift_off_margin: Number = Field(default=1.1, ge=1.0, description="over the stall speed")
    screen_margin: Number = Field(default=1.2, ge=1.0, description="over the stall speed")
    obstacle: Length = Field(default=15.24, gt=0.0, description="screen height")
    runway: Length | None = Field(
        default=None, gt=0.0, description="length available; absent: not compared"
    )


class Approach(Table):
    """Approach and landing configuration."""

    flap: Angle | None = Field(default=None, ge=-10.0, le=80.0, description="all flaps")
    flaps: tuple[FlapAngle, ...] | None = Field(
        default=None, description="one for each [[wing.flaps]] in order, instead of flap"
    )
    drag_area: Area = Field(default=0.0, ge=0.0, description="what the phase adds")
    path: Angle = Field(default=-3.0, gt=-20.0, lt=0.0, description="flight path")
    speed_margin: Number = Field(default=1.3, ge=1.0, description="over the stall speed")
    vertical_gust: Speed = Field(default=5.0, gt=0.0, description="for the angle margin")


class Cruise(Table):
    """Cruise, and what the propellers that are not needed do."""

    altitude: Length = Field(default=0.0, description="pressure altitude")
    airspeed: Speed = Field(gt=0.0, description="true airspeed")
    idle: tuple[StrictStr, ...] = Field(default=(), description="names of idle propellers")
    idle_state: Idle = Field(default="folded", description="folded ones are left out")
    gust: Speed = Field(
        default=15.24, gt=0.0, description="derived gust velocity, equivalent airspeed"
    )
    reserve_time: Minutes = Field(default=30.0, ge=0.0, description="at cruise power")


class Landing(Table):
    """From the screen to the stop: flare, roll, and the factor on the distance."""

    braking: Number = Field(default=0.3, gt=0.0, le=1.0, description="friction with brakes")
    delay: Seconds = Field(default=2.0, ge=0.0, description="from touchdown to brakes")
    touchdown_margin: Number = Field(default=1.15, ge=1.0, description="over the stall speed")
    flare_load: Number = Field(default=1.2, gt=1.0, le=2.0, description="load factor of the flare")
    reverse: Number = Field(
        default=0.0, ge=0.0, le=1.0, description="reverse thrust / thrust available at rest"
    )
    spoiled_lift: Number = Field(
        default=0.0, ge=0.0, le=1.0, description="share of the lift spoiled on the ground"
    )
    factor: Number = Field(default=1.67, ge=1.0, description="field length / distance")


class NoisePlaces(Table):
    """Where the tones of take-off are heard."""

    fly_over: Length = Field(default=120.0, ge=30.0, description="height over the observer")
    edge: Length = Field(default=150.0, ge=30.0, description="from the runway's middle line")


class Scheduled(Table):
    """What some propellers do in some phases; later rows overrule earlier ones."""

    phases: tuple[PhaseName, ...] = Field(min_length=1, description="in which this holds")
    propellers: tuple[StrictStr, ...] = Field(min_length=1, description="names")
    state: State = Field(default="powered", description="what they do")
    setting: Number | None = Field(
        default=None, gt=0.0, le=1.0,
        description="share of the thrust available, held; absent: follows the phase's lever",
    )  # fmt: skip
    rpm: Revolutions | None = Field(default=None, gt=0.0, description="held by a governor")
    pitch: Angle | None = Field(
        default=None, ge=-90.0, le=90.0, description="added to the blade's twist"
    )

    @model_validator(mode="after")
    def _consistent(self) -> Scheduled:
        if self.state != "powered":
            for name in ("setting", "rpm"):
                if getattr(self, name) is not None:
                    raise Fault(
                        (name,),
                        f'found {getattr(self, name):g}; not accepted with state = "{self.state}", '
                        "whose propellers are not driven",
                    )
        if self.state == "folded" and self.pitch is not None:
            raise Fault(("pitch",), 'not accepted with state = "folded"')
        return self
