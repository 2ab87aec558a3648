"""The optional ``[fuselage]`` table: a slender body for moments and parasite drag."""

from __future__ import annotations

from itertools import pairwise

from pydantic import Field, model_validator

from blownwing.case.fields import Area, Length, Table
from blownwing.case.messages import Fault


class BodyStation(Table):
    """A cross-section of the body."""

    x: Length = Field(description="place along the body")
    z: Length = Field(default=0.0, description="middle, up")
    width: Length = Field(ge=0.0, description="of the body")
    height: Length | None = Field(
        default=None, ge=0.0, description="of the body; absent: the width"
    )


class Fuselage(Table):
    """A body on the plane of symmetry, from its nose back."""

    stations: tuple[BodyStation, ...] = Field(min_length=2, description="in order of x")
    drag_area: Area = Field(default=0.0, ge=0.0, description="parasite drag area")

    @model_validator(mode="after")
    def _ordered(self) -> Fuselage:
        for index, (a, b) in enumerate(pairwise(self.stations), start=1):
            if b.x <= a.x:
                raise Fault(
                    ("stations", index, "x"),
                    f"found {b.x:g} after {a.x:g}; accepted is a value above the one before",
                )
        return self
