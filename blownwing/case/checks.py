"""Rules that need more than one table of the case at once.

Each function takes what it needs and raises `Fault` with the path of the key to blame.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from blownwing.case.air import Air
from blownwing.case.messages import Fault
from blownwing.case.parts import Flow, ModelOptions, Propeller, Station, Wing
from blownwing.case.placed import PlacedPropeller

HIGHEST_MACH = 0.8  # linearised subsonic theory ends where supersonic pockets begin
STRIPS_PER_EDGE = 4  # strips that every slipstream edge adds to the lattice
_OVERLAP = 1.0 / 3.0  # of the smaller radius, in a staggered row
_STAGGER = 0.1  # of the larger radius, along the axis
_ROUND_OFF = 1e-9


def check_stations(wing: Wing) -> None:
    """Stations ascend in y; those of a symmetric wing start at the centre line; else Fault."""
    for index, (inner, outer) in enumerate(pairwise(wing.stations), start=1):
        if outer.y <= inner.y:
            raise Fault(
                ("wing", "stations", index, "y"),
                f"found {outer.y:g} after {inner.y:g}, so that stations cross; accepted is a "
                "value above the one before",
            )
    first = wing.stations[0].y
    if wing.symmetric and first != 0.0:
        raise Fault(
            ("wing", "stations", 0, "y"),
            f"found {first:g}; accepted is 0 for the first station of a symmetric wing",
        )


def check_flaps(wing: Wing) -> None:
    """Flaps lie on the wing, have a width and do not overlap; else Fault."""
    lowest = 0.0 if wing.symmetric else -1.0
    for index, flap in enumerate(wing.flaps):
        path = ("wing", "flaps", index)
        for key, value in (("from", flap.start), ("to", flap.end)):
            if not lowest <= value <= 1.0:
                raise Fault(
                    (*path, key),
                    f"found {value:g}; accepted is a fraction of the semi-span from {lowest:g} "
                    "to 1",
                )
        if flap.end <= flap.start:
            raise Fault(
                (*path, "to"),
                f"found {flap.end:g} with from = {flap.start:g}; accepted is a value above from",
            )
        for other, earlier in enumerate(wing.flaps[:index]):
            if flap.start < earlier.end and earlier.start < flap.end:
                raise Fault(
                    (*path, "from"),
                    f"found a flap from {flap.start:g} to {flap.end:g} that overlaps "
                    f"wing.flaps[{other}] from {earlier.start:g} to {earlier.end:g}; accepted are "
                    "flaps side by side",
                )


def check_half_model(wing: Wing, symmetric: bool) -> None:
    """A half model on a reflection plane has a mirror image of everything.

    symmetric: whether shape, flow and propellers are mirrored. Raises Fault.
    """
    if wing.half_model and not symmetric:
        raise Fault(
            ("wing", "half_model"),
            "found true in a case whose halves differ; accepted is a symmetric wing without "
            "sideslip, roll and yaw, with every propeller mirrored",
        )


def check_names(propellers: Sequence[PlacedPropeller]) -> None:
    """Names are unique, twins included; else Fault."""
    seen: dict[str, PlacedPropeller] = {}
    for item in propellers:
        if item.name in seen:
            # The later definition is to blame: a twin may follow the name it clashes with.
            index = max(item.index, seen[item.name].index)
            twin = " (twins count)" if item.is_twin or seen[item.name].is_twin else ""
            raise Fault(
                ("propellers", index, "name"),
                f'found "{item.name}" a second time{twin}; accepted are unique names',
            )
        seen[item.name] = item


def check_discs_apart(propellers: Sequence[PlacedPropeller]) -> None:
    """No disc cuts another; in a staggered row they may overlap a little.

    One more than a diameter behind another may lie in its slipstream. Raises Fault.
    """
    axes = [item.axis for item in propellers]
    for later, one in enumerate(propellers):
        for earlier, other in enumerate(propellers[:later]):
            reach = one.radius + other.radius
            offset = [a - b for a, b in zip(one.position, other.position, strict=True)]
            # Clear of each other side by side or one behind the other, without a closer look.
            if max(map(abs, offset)) > 2.5 * reach:
                continue
            mean = [a + b for a, b in zip(axes[later], axes[earlier], strict=True)]
            size = math.hypot(*mean)
            along = sum(a * b for a, b in zip(offset, mean, strict=True)) / size
            across = math.sqrt(max(sum(a * a for a in offset) - along**2, 0.0))
            widest, least = max(one.radius, other.radius), min(one.radius, other.radius)
            deep = across < reach - _OVERLAP * least * (1.0 + _ROUND_OFF)
            clear = (2.0 if deep else _STAGGER) * widest
            if across < reach * (1.0 - _ROUND_OFF) and abs(along) < clear * (1.0 - _ROUND_OFF):
                raise Fault(
                    ("propellers", one.index, "position"),
                    f'disc "{one.name}" cuts disc "{other.name}": centres {across:.4g} m apart '
                    f"across the axis, radii {one.radius:g} and {other.radius:g} m; accepted are "
                    "discs side by side, overlapping by a third of the smaller radius at most if a "
                    "tenth of the larger radius apart along the axis, or more than one diameter "
                    "apart along it",
                )


def _section(stations: Sequence[Station], y: float) -> tuple[float, float, float]:
    """Leading edge x, chord and z of the wing at y, m."""
    index = next((i for i, station in enumerate(stations) if i and y <= station.y), -1)
    inner, outer = stations[index - 1], stations[index]
    t = (y - inner.y) / (outer.y - inner.y)
    return (
        inner.x + t * (outer.x - inner.x),
        inner.chord + t * (outer.chord - inner.chord),
        inner.z + t * (outer.z - inner.z),
    )


def check_discs_clear_of_wing(wing: Wing, propellers: Sequence[PlacedPropeller]) -> None:
    """No disc's plane cuts the wing between leading and trailing edge; else Fault."""
    stations = wing.stations
    foremost = min(station.x for station in stations)
    aftmost = max(station.x + station.chord for station in stations)
    low = -stations[-1].y if wing.symmetric else stations[0].y
    high = stations[-1].y
    for item in propellers:
        (x, y, z), radius, axis = item.position, item.radius, item.axis
        lean = radius * math.sqrt(max(1.0 - axis[0] ** 2, 0.0))
        if x + lean <= foremost or x - lean >= aftmost:
            continue
        start, end = max(low, y - radius), min(high, y + radius)
        for step in range(21):
            if start >= end:
                break
            at = start + (end - start) * step / 20.0
            edge, chord, height = _section(stations, abs(at) if wing.symmetric else at)
            if (at - y) ** 2 + (height - z) ** 2 >= radius**2 * (1.0 - _ROUND_OFF):
                continue
            plane = x - (axis[1] * (at - y) + axis[2] * (height - z)) / axis[0]
            slack = _ROUND_OFF * chord
            if edge + slack < plane < edge + chord - slack:
                raise Fault(
                    ("propellers", item.index, "position"),
                    f'disc "{item.name}" cuts the wing at y = {at:.4g} m, where it stands at '
                    f"x = {plane:.4g} m between the leading edge {edge:.4g} m and the trailing "
                    f"edge {edge + chord:.4g} m; accepted is a disc ahead of or behind the wing",
                )


def check_ground(flow: Flow, wing: Wing, propellers: Sequence[PlacedPropeller]) -> None:
    """Wing and discs stay above the ground at zero incidence; else Fault."""
    if flow.ground_height is None:
        return
    ground = wing.reference_point[2] - flow.ground_height
    lowest = min(station.z for station in wing.stations)
    if lowest <= ground:
        raise Fault(
            ("flow", "ground_height"),
            f"found {flow.ground_height:g}, which puts the ground at z = {ground:g} m and the "
            f"wing's lowest station at {lowest:g} m; accepted is a height that leaves it above",
        )
    for item in propellers:
        bottom = item.position[2] - item.radius * math.hypot(item.axis[0], item.axis[1])
        if bottom <= ground:
            raise Fault(
                ("flow", "ground_height"),
                f"found {flow.ground_height:g}, which puts the ground at z = {ground:g} m and "
                f'the lowest blade tip of "{item.name}" at {bottom:.4g} m; accepted is a height '
                "that leaves it above",
            )


def check_speeds(
    flow: Flow, model: ModelOptions, air: Air, propellers: Sequence[Propeller]
) -> None:
    """Mach numbers stay where the theory holds; a jet by speed ratio has an airspeed.

    Raises Fault.
    """
    mach = flow.airspeed / air.speed_of_sound if flow.mach is None else flow.mach
    if model.compressibility and mach >= HIGHEST_MACH:
        raise Fault(
            ("flow", "airspeed" if flow.mach is None else "mach"),
            f"found Mach {mach:.3g}; accepted is below {HIGHEST_MACH:g} with "
            "model.compressibility = true",
        )
    for index, item in enumerate(propellers):
        if item.rpm is not None:
            tip = item.rpm * math.pi / 60.0 * item.diameter
            tip_mach = math.hypot(tip, flow.airspeed) / air.speed_of_sound
            if tip_mach > 1.0:
                raise Fault(
                    ("propellers", index, "rpm"),
                    f"found {item.rpm:g}, which gives a blade tip of diameter {item.diameter:g} m "
                    f"Mach {tip_mach:.3g}; accepted is a tip Mach number of at most 1",
                )
        if item.speed_ratio is not None and flow.airspeed == 0.0:
            raise Fault(
                ("propellers", index, "speed_ratio"),
                f"found {item.speed_ratio:g} at zero airspeed; accepted is thrust in a static case",
            )


STEEPEST = 60.0  # deg, of a disc's axis with slipstream edges, whose tubes are laid along x


def check_tilt(model: ModelOptions, propellers: Sequence[Propeller]) -> None:
    """Steeply tilted discs, as in hover, go without slipstream edges; else Fault."""
    for index, item in enumerate(propellers):
        if model.jet_edge and abs(item.incidence) > STEEPEST:
            raise Fault(
                ("propellers", index, "incidence"),
                f"found {item.incidence:g} with model.jet_edge = true; accepted is {STEEPEST:g} at "
                "most, and 90 with jet_edge = false",
            )


def problem_size(model: ModelOptions, symmetric: bool, discs: int) -> tuple[int, int]:
    """Wing panels and tube panels of a solve at the most usual layout.

    Args:
        symmetric: whether the starboard half tells everything.
        discs: number of propellers, twins included. Each brings strips at its slipstream's edges
            and, with slipstream edges, one tube for every layer (one where that is automatic).
    """
    layers = 1 if model.jet_layers == "auto" else int(model.jet_layers)
    solved = math.ceil(discs / 2) if symmetric else discs
    halves = 1 if symmetric else 2
    edges = 2 * solved * (layers if model.jet_edge else 1)
    panels = model.chordwise * (halves * model.spanwise + STRIPS_PER_EDGE * edges)
    tubes = solved * layers * model.jet_around * model.jet_rings if model.jet_edge else 0
    return panels, tubes
