"""Hinged trailing edges that settings move, on the wing or on any other surface."""

from __future__ import annotations

import re

from pydantic import AliasChoices, Field, StrictBool, StrictStr, field_validator

from blownwing.case import units
from blownwing.case.fields import Number, Table
from blownwing.case.messages import Fault
from blownwing.errors import InputError

_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_-]*")


def plain_name(value: str) -> str:
    """A name that paths and files can hold, else InputError."""
    if not _NAME.fullmatch(value) or value in ("all", "wing"):
        raise InputError(
            f"found {units.found(value)}; accepted is a letter followed by letters, digits, _ or "
            '-, and neither "all" nor "wing"'
        )
    return value


class Gearing(Table):
    """How far a hinged part turns with a setting."""

    setting: StrictStr = Field(description="of [controls]")
    ratio: Number = Field(default=1.0, description="angle of the part / setting")
    opposed: StrictBool = Field(
        default=False, description="the port half turns the other way, as ailerons do"
    )


class Control(Table):
    """A hinged trailing edge that settings move; `from` and `to` in the file.

    Of the wing they are fractions of the semi-span, as of its flaps; of another surface fractions
    of the way from the first station to the last. Positive is trailing edge down; on an upright
    surface whose stations rise, trailing edge to starboard.
    """

    name: StrictStr = Field(description="unique on its surface")
    start: Number = Field(
        validation_alias=AliasChoices("from", "start"),
        serialization_alias="from",
        description="inner end",
    )
    end: Number = Field(
        validation_alias=AliasChoices("to", "end"),
        serialization_alias="to",
        description="outer end",
    )
    chord_fraction: Number = Field(gt=0.0, le=0.6, description="control chord / local chord")
    gearing: tuple[Gearing, ...] = Field(
        default=(), description="settings that move it; absent: the one of its own name"
    )

    @field_validator("name")
    @classmethod
    def _plain(cls, value: str) -> str:
        return plain_name(value)

    @property
    def moved_by(self) -> tuple[Gearing, ...]:
        """Settings that move it."""
        return self.gearing or (Gearing(setting=self.name),)


def check_controls(controls: tuple[Control, ...], lowest: float) -> None:
    """Hinged parts of one surface lie on it, have a width, own names and do not overlap.

    lowest: the least fraction, 0 or -1. Raises Fault.
    """
    for index, item in enumerate(controls):
        for key, value in (("from", item.start), ("to", item.end)):
            if not lowest <= value <= 1.0:
                raise Fault(
                    ("controls", index, key),
                    f"found {value:g}; accepted is a fraction of the span from {lowest:g} to 1",
                )
        if item.end <= item.start:
            raise Fault(
                ("controls", index, "to"),
                f"found {item.end:g} with from = {item.start:g}; accepted is a value above from",
            )
        for other, earlier in enumerate(controls[:index]):
            if item.name == earlier.name:
                raise Fault(
                    ("controls", index, "name"),
                    f'found "{item.name}" a second time; accepted are unique names',
                )
            if item.start < earlier.end and earlier.start < item.end:
                raise Fault(
                    ("controls", index, "from"),
                    f"found a control from {item.start:g} to {item.end:g} that overlaps "
                    f"controls[{other}] from {earlier.start:g} to {earlier.end:g}; accepted are "
                    "controls side by side",
                )
