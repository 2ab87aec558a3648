"""Lifting surfaces beside the wing.

A surface is given by stations along its span, in any direction across x: a tailplane, a V-tail, an
upright fin. What needs two surfaces at once is checked in `surface_checks`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, StrictBool, StrictStr, field_validator, model_validator

from blownwing.case import units
from blownwing.case.controls import Control, check_controls, plain_name
from blownwing.case.fields import Accepted, Angle, Table, Unit, Whole
from blownwing.case.messages import Fault
from blownwing.case.parts import Station


def _rise(value: object) -> object:
    return value if value == "local" else units.length(value)


Rise = Annotated[
    float | Literal["local"], BeforeValidator(_rise), Unit("m"), Accepted('number, "local"')
]


class Surface(Table):
    """A lifting surface beside the wing, straight between its stations."""

    name: StrictStr = Field(description="unique; letters, digits, _ and -")
    symmetric: StrictBool = Field(
        default=True, description="stations describe the starboard half and are mirrored"
    )
    stations: tuple[Station, ...] = Field(min_length=2, description="along the span, any direction")
    incidence: Angle = Field(default=0.0, ge=-30.0, le=30.0, description="setting, nose up")
    controls: tuple[Control, ...] = ()
    stream_rise: Rise = Field(
        default=0.0,
        description="how far wakes and slipstreams have risen over a line along x when they pass "
        'it; "local": by the flow behind the wing',
    )
    strips: Whole = Field(default=12, ge=1, le=10_000, description="strips of the described half")

    @field_validator("name")
    @classmethod
    def _plain(cls, value: str) -> str:
        return plain_name(value)

    @model_validator(mode="after")
    def _drawn(self) -> Surface:
        for index, (inner, outer) in enumerate(pairwise(self.stations), start=1):
            if inner.y == outer.y and inner.z == outer.z:
                raise Fault(
                    ("stations", index, "y"),
                    f"found {outer.y:g} at the same z as the station before; accepted is a station "
                    "elsewhere across the stream",
                )
        for index, station in enumerate(self.stations):
            if self.symmetric and station.y < 0.0:
                raise Fault(
                    ("stations", index, "y"),
                    f"found {station.y:g}; accepted is at least 0 with symmetric = true",
                )
        if self.symmetric and self.upright:
            raise Fault(
                ("symmetric",),
                "found true for a surface on the plane of symmetry, which has no other side; "
                "accepted is false",
            )
        check_controls(self.controls, 0.0)
        return self

    @property
    def rise(self) -> float:
        """`stream_rise`, 0 where it is to be found."""
        return 0.0 if self.stream_rise == "local" else self.stream_rise

    @property
    def upright(self) -> bool:
        """Whether it stands on the plane of symmetry."""
        return all(station.y == 0.0 for station in self.stations)

    @property
    def steepness(self) -> float:
        """Part of its length along the surface by which it rises: the sine of a dihedral."""
        rises = sum(abs(b.z - a.z) for a, b in pairwise(self.stations))
        return rises / self.arcs[-1]

    @property
    def at_root(self) -> bool:
        """Whether a symmetric surface's halves meet on the plane of symmetry."""
        return self.symmetric and self.stations[0].y == 0.0

    @property
    def arcs(self) -> tuple[float, ...]:
        """Places of the stations along the span, m from the first."""
        result = [0.0]
        for a, b in pairwise(self.stations):
            result.append(result[-1] + math.hypot(b.y - a.y, b.z - a.z))
        return tuple(result)

    @property
    def area(self) -> float:
        """Both halves, measured along the surface, m²."""
        return self._integral(lambda station: 1.0)

    @property
    def volume_arm(self) -> float:
        """x of the area's quarter-chord centre, m."""
        return self._integral(lambda s: s.x + 0.25 * s.chord) / self.area

    @property
    def span(self) -> float:
        """Length along the surface from end to end, both halves, m."""
        return (2.0 if self.symmetric else 1.0) * self.arcs[-1]

    def _integral(self, of: Callable[[Station], float]) -> float:
        total = 0.0
        for (a, s), (b, t) in pairwise(zip(self.stations, self.arcs, strict=True)):
            f, g = of(a), of(b)
            c, d = a.chord, b.chord
            total += (t - s) * (c * (2.0 * f + g) + d * (f + 2.0 * g)) / 6.0
        return (2.0 if self.symmetric else 1.0) * total
