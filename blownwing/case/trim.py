"""The ``[trim]`` table: what is balanced, by what, within which limits."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, StrictStr, model_validator

from blownwing.case.fields import (
    Acceleration,
    Angle,
    Area,
    Inertias,
    Mass,
    Number,
    Point,
    Products,
    Speed,
    Table,
)
from blownwing.case.messages import Fault

Equation = Literal["axial", "normal", "side", "roll", "pitch", "yaw"]
EQUATIONS: tuple[Equation, ...] = ("axial", "normal", "side", "roll", "pitch", "yaw")
GRAVITY = 9.80665  # m/s²
FLIGHT = ("alpha", "beta", "bank", "path_angle", "acceleration")
# Equations that so many unknowns are for, unless they are named.
USUAL: dict[int, tuple[Equation, ...]] = {
    1: ("normal",),
    2: ("normal", "pitch"),
    3: ("normal", "pitch", "axial"),
    5: ("normal", "pitch", "side", "roll", "yaw"),
    6: ("normal", "pitch", "axial", "side", "roll", "yaw"),
}


class Unknown(Table):
    """One quantity that the trim finds, with its limits."""

    name: StrictStr = Field(
        description="alpha, beta, bank, path_angle, acceleration, a setting of [controls], "
        "SURFACE.incidence, throttle, or with propellers a name of your own"
    )
    least: Number | None = Field(default=None, description="lower limit; absent: a usual one")
    most: Number | None = Field(default=None, description="upper limit; absent: a usual one")
    start: Number | None = Field(default=None, description="first guess; absent: the case's value")
    propellers: tuple[StrictStr, ...] = Field(
        default=(), description="it scales thrust, power or rpm of these; absent, throttle: of all"
    )

    @model_validator(mode="after")
    def _ordered(self) -> Unknown:
        if self.least is not None and self.most is not None and self.most <= self.least:
            raise Fault(
                ("most",), f"found {self.most:g} with least = {self.least:g}; accepted is more"
            )
        return self


class Trim(Table):
    """Weight, centre of gravity, flight path, and what balances them."""

    mass: Mass = Field(gt=0.0, description="of the aircraft")
    centre_of_gravity: Point = Field(description="weight acts and moments are balanced there")
    unknowns: tuple[Unknown, ...] = Field(min_length=1, description="what the trim finds")
    equations: tuple[Equation, ...] = Field(
        default=(), description="what is balanced; absent: by the number of unknowns"
    )
    path_angle: Angle = Field(default=0.0, ge=-60.0, le=60.0, description="climb")
    bank: Angle = Field(default=0.0, ge=-80.0, le=80.0, description="starboard wing down")
    load_factor: Number = Field(default=1.0, gt=0.0, le=10.0, description="in a manoeuvre")
    manoeuvre: Literal["turn", "pull_up"] = Field(
        default="turn", description="level coordinated turn to starboard, or pull-up"
    )
    acceleration: Acceleration = Field(default=0.0, description="along the path")
    airspeeds: tuple[Speed, ...] = Field(
        default=(), description="at each of which it is trimmed too"
    )
    drag_area: Area = Field(default=0.0, ge=0.0, description="of all but the surfaces")
    inertia: Inertias | None = Field(
        default=None,
        description="moments of inertia about the centre of gravity: x forward, y starboard, z "
        "down; absent: a steady turn's are left out",
    )
    products_of_inertia: Products = Field(
        default=(0.0, 0.0, 0.0), description="sums of mass times both distances, same axes"
    )

    @model_validator(mode="after")
    def _consistent(self) -> Trim:
        for index, speed in enumerate(self.airspeeds):
            if speed <= 0.0:
                raise Fault(("airspeeds", index), f"found {speed:g}; accepted is above 0")
        seen: set[str] = set()
        for index, item in enumerate(self.unknowns):
            if item.name in seen:
                raise Fault(
                    ("unknowns", index, "name"),
                    f'found "{item.name}" a second time; accepted are unique names',
                )
            seen.add(item.name)
        if self.load_factor != 1.0 and ("bank" in seen or self.bank):
            raise Fault(
                ("load_factor",),
                f"found {self.load_factor:g} beside bank; accepted is one of them, a turn finds "
                "its bank",
            )
        if self.load_factor < 1.0 and self.manoeuvre == "turn":
            raise Fault(
                ("load_factor",),
                f"found {self.load_factor:g} in a turn; accepted is at least 1, less is a push: "
                'manoeuvre = "pull_up"',
            )
        self._check_inertia()
        return self

    def _check_inertia(self) -> None:
        """Moments and products of inertia are those of a body. Raises Fault."""
        if self.inertia is None:
            if any(self.products_of_inertia):
                raise Fault(("inertia",), "this key is missing, needed with products_of_inertia")
            return
        if min(self.inertia) <= 0.0:
            raise Fault(("inertia",), f"found {min(self.inertia):g}; accepted are values above 0")
        if 2.0 * max(self.inertia) > sum(self.inertia) * (1.0 + 1e-9):
            raise Fault(
                ("inertia",),
                f"found {max(self.inertia):g} beside {sum(self.inertia) - max(self.inertia):g} of "
                "the other two; accepted is at most the sum of the other two",
            )
        (x, y, z), (xy, xz, yz) = self.inertia, self.products_of_inertia
        whole = x * (y * z - yz * yz) - xy * (xy * z + xz * yz) - xz * (xy * yz + xz * y)
        if x * y <= xy * xy or whole <= 0.0:  # the leading minors
            found = ", ".join(f"{value:g}" for value in self.products_of_inertia)
            raise Fault(
                ("products_of_inertia",),
                f"found {found}, which no body has with these moments of inertia; accepted are "
                "smaller ones",
            )

    @property
    def weight(self) -> float:
        """N."""
        return self.mass * GRAVITY
