"""An aircraft whose tail is drawn: what pitches, rolls and yaws it, and what its case needs."""

from __future__ import annotations

from collections.abc import Sequence

from blownwing.case.aircraft import Aircraft
from blownwing.case.messages import Fault
from blownwing.case.parts import Wing
from blownwing.case.surface_checks import parts_of, setting_names
from blownwing.case.surfaces import Surface
from blownwing.case.trim import Trim, Unknown

_STEEP = 0.34  # of its span that a surface rises, 20 deg, from which on opposed controls yaw
_SHORT = ("fin_area", "fin_arm")  # of [aircraft.controls], what a drawn fin says


def lateral_settings(wing: Wing, surfaces: Sequence[Surface]) -> tuple[str | None, str | None]:
    """Settings that roll and that yaw the aircraft.

    Opposed parts roll it; parts of surfaces on the plane of symmetry yaw it, and so do opposed ones
    of steep surfaces: a V-tail, a pair of fins.
    """
    alone = {surface.name for surface in surfaces if surface.upright}
    steep = {surface.name for surface in surfaces if surface.steepness > _STEEP}
    roll = yaw = None
    for place, item in parts_of(wing, surfaces):
        for gear in item.moved_by:
            if place in alone or (gear.opposed and place in steep):
                yaw = yaw or gear.setting
            elif gear.opposed:
                roll = roll or gear.setting
    return roll, yaw


def pitch_unknown(trim: Trim, wing: Wing, surfaces: Sequence[Surface]) -> Unknown | None:
    """The first unknown of a trim that pitches: a setting, or the incidence of a surface."""
    others = lateral_settings(wing, surfaces)
    known = set(setting_names(wing, surfaces)) | {f"{s.name}.incidence" for s in surfaces}
    return next((u for u in trim.unknowns if u.name in known and u.name not in others), None)


def surface_of(name: str, wing: Wing, surfaces: Sequence[Surface]) -> str:
    """Name of the surface that a setting moves parts of, or whose incidence it is."""
    if name.endswith(".incidence"):
        return name.removesuffix(".incidence")
    return next(
        place
        for place, item in parts_of(wing, surfaces)
        if any(gear.setting == name for gear in item.moved_by)
    )


def check_drawn(
    aircraft: Aircraft, trim: Trim | None, wing: Wing, surfaces: Sequence[Surface]
) -> None:
    """A tail is given once, drawn or in short; a drawn one has controls and a centre of gravity.

    Raises Fault.
    """
    if not surfaces:
        if aircraft.tail is None:
            raise Fault(
                ("aircraft", "tail"),
                "this key is missing; accepted is [aircraft.tail], or [[surfaces]] with [trim]",
            )
        return
    if aircraft.tail is not None:
        raise Fault(
            ("aircraft", "tail"),
            "found beside [[surfaces]]; accepted is one of the two, the short form or the drawing",
        )
    for name in _SHORT:
        if getattr(aircraft.controls, name) is not None:
            raise Fault(
                ("aircraft", "controls", name),
                f"found {getattr(aircraft.controls, name):g} beside [[surfaces]]; accepted is a "
                "drawn fin alone",
            )
    if trim is None:
        raise Fault(
            ("trim",),
            "this table is missing, needed with [aircraft] and [[surfaces]]: centre_of_gravity and "
            "the controls with their limits as unknowns",
        )
    if pitch_unknown(trim, wing, surfaces) is None:
        raise Fault(
            ("trim", "unknowns"),
            "found none that pitches the aircraft; accepted with [aircraft] is a setting such as "
            "that of an elevator, or SURFACE.incidence",
        )
    roll, yaw = lateral_settings(wing, surfaces)
    if roll is None:
        raise Fault(
            ("wing", "controls"),
            "found none that rolls the aircraft; accepted with [aircraft] is a control whose "
            "gearing is opposed",
        )
    if yaw is None:
        raise Fault(
            ("surfaces",),
            "found none that yaws the aircraft; accepted with [aircraft] is a control on an "
            "upright surface, or an opposed one of a V-tail",
        )
