"""A commented case to start from: a wing and a row of propellers by a handful of numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from blownwing.case.writer import value_text
from blownwing.errors import InputError

SPINS = ("inboard_up", "outboard_up", "alternating")
_SPACING = 1.3  # diameters between discs of a row that is not told its diameter
_AHEAD = 0.6  # of the chord from leading edge to disc
_ROOT = 0.12  # of the semi-span that a fuselage takes
_LOADING = 1.0  # thrust over dynamic pressure and disc area: a blown approach, common practice
_ADVANCE = 0.75  # advance ratio at the tip speed that the blade's twist is laid out for
_BLADES = 5


@dataclass(frozen=True)
class Start:
    """What a new case is made of, SI.

    Attributes:
        title: of the case. span, chord, tip_chord: m, of a straight wing, unless `stations`.
        stations: of the starboard half, tables of a case; empty for the straight wing.
        airspeed: m/s. alpha: deg.
        propellers: of the whole aircraft, an even number, 0 for none. diameter, thrust: m and N of
            each, None for values that suit the wing. spin: one of `SPINS`. ideal: discs, no blades.
    """

    title: str = "New case"
    span: float = 10.0
    chord: float = 1.2
    tip_chord: float | None = None
    stations: Sequence[Mapping[str, Any]] = field(default_factory=tuple)
    airspeed: float = 30.0
    alpha: float = 5.0
    propellers: int = 4
    diameter: float | None = None
    thrust: float | None = None
    spin: str = "inboard_up"
    ideal: bool = False


@dataclass(frozen=True)
class Started:
    """Texts of the case's file and of its blade's, None where no blade is needed."""

    case: str
    blade: str | None


def started(start: Start, blade_name: str) -> Started:
    """The texts of a new case.

    Args:
        start: its numbers. blade_name: of the blade's file, beside the case.

    Raises:
        InputError: a number that no case can have, or an odd number of propellers.
    """
    _check(start)
    stations = [dict(item) for item in start.stations] or _straight(start)
    semi = float(stations[-1]["y"])
    count = start.propellers // 2
    places = [semi * (_ROOT + (1.0 - _ROOT) * (k + 0.5) / count) for k in range(count)]
    room = semi * (1.0 - _ROOT) / max(count, 1)
    chord = float(np.interp(0.5 * semi, *_along(stations, "chord")))
    size = start.diameter or min(room / _SPACING, 1.1 * chord)
    if count and size >= room:
        raise InputError(
            f"--diameter: found {size:g} m with {start.propellers} propellers on a span of "
            f"{2.0 * semi:g} m; accepted is below {room:.3g} m, where discs clear each other"
        )
    pressure = 0.5 * 1.225 * start.airspeed**2
    thrust = start.thrust or float(f"{_LOADING * pressure * 0.25 * math.pi * size**2:.3g}")
    parts = [_head(start), _wing(stations)]
    for index, y in enumerate(places):
        parts.append(_propeller(start, stations, index, y, size, thrust, blade_name))
    parts.append(_MODEL)
    blade = None if start.ideal or not count else _blade(start.airspeed, size)
    return Started("\n".join(parts), blade)


def _check(start: Start) -> None:
    positive = {
        "--span": start.span, "--chord": start.chord, "--tip-chord": start.tip_chord,
        "--airspeed": start.airspeed, "--diameter": start.diameter, "--thrust": start.thrust,
    }  # fmt: skip
    for name, value in positive.items():
        if value is not None and not (math.isfinite(value) and value > 0.0):
            raise InputError(f"{name}: found {value:g}; accepted is above 0")
    if start.propellers % 2 or not 0 <= start.propellers <= 40:
        raise InputError(
            f"--propellers: found {start.propellers}; accepted are even numbers from 0 to 40"
        )
    if start.spin not in SPINS:
        raise InputError(f'--spin: found "{start.spin}"; accepted are {", ".join(SPINS)}')
    if start.stations and float(start.stations[0]["y"]) != 0.0:
        raise InputError(
            f"--wing: found the first station at y = {start.stations[0]['y']:g}; accepted is 0, "
            "since stations describe the starboard half"
        )


def _straight(start: Start) -> list[dict[str, Any]]:
    tip = start.chord if start.tip_chord is None else start.tip_chord
    quarter = 0.25 * (start.chord - tip)  # a straight quarter chord
    return [
        {"y": 0.0, "x": 0.0, "chord": start.chord, "twist": 0.0, "airfoil": "naca2412"},
        {"y": 0.5 * start.span, "x": quarter, "chord": tip, "twist": -1.5, "airfoil": "naca2412"},
    ]


def _along(stations: Sequence[Mapping[str, Any]], name: str) -> tuple[list[float], list[float]]:
    return [float(s["y"]) for s in stations], [float(s.get(name, 0.0)) for s in stations]


def _head(start: Start) -> str:
    return f"""\
# Made by blownwing new. Angles in degrees, lengths in m, or a string with a unit ("18 in").
# Read it back in words with `blownwing check`, solve it with `blownwing solve`.

title = {value_text(start.title)}

[flow]
airspeed = {_text(start.airspeed)}        # m/s, true; or "60 kt"
altitude = 0.0         # m; isa_offset = 15 makes a hot day
alpha = {_text(start.alpha)}            # deg; a list such as [0, 4, 8] runs a polar

[wing]
symmetric = true       # stations describe the starboard half
reference_point = [0.3, 0.0, 0.0]   # of the moments
"""


def _wing(stations: Sequence[Mapping[str, Any]]) -> str:
    comments = {
        "y": "from the plane of symmetry",
        "x": "leading edge, aft",
        "z": "leading edge, up",
        "twist": "nose up",
        "airfoil": '"flat", a NACA name, or a file of section data',
    }
    text = ""
    for index, station in enumerate(stations):
        text += "[[wing.stations]]\n"
        for name, value in station.items():
            line = f"{name} = {value_text(value) if isinstance(value, str) else _text(value)}"
            note = comments.get(name) if index == 0 else None
            text += f"{line.ljust(22)} # {note}\n" if note else f"{line}\n"
        text += "\n"
    return (
        text
        + """\
# A flap (from and to are fractions of the semi-span):
# [[wing.flaps]]
# from = 0.1
# to = 0.7
# chord_fraction = 0.25
# deflection = 15.0
# kind = "plain"       # or split, single_slotted, fowler
"""
    )


def _propeller(
    start: Start, stations: Sequence[Mapping[str, Any]], index: int, y: float, size: float,
    thrust: float, blade_name: str,
) -> str:  # fmt: skip
    lead, height, chord = (
        float(np.interp(y, *_along(stations, name))) for name in ("x", "z", "chord")
    )
    place = [round(v, 4) for v in (lead - max(_AHEAD * chord, 0.35 * size), y, height)]
    spin = start.spin
    if spin == "alternating":
        spin = SPINS[index % 2]
    first = index == 0
    words = "   # disc centre: aft, starboard, up" if first else ""
    lines = [
        "[[propellers]]",
        f'name = "p{index + 1}"',
        f"position = {value_text(place)}{words}",
        f"diameter = {_text(round(size, 4))}",
    ]
    if start.ideal:
        note = "          # ideal disc: no blades, no swirl" if first else ""
        lines.append(f'kind = "disc"{note}')
    else:
        note = "      # the way the blade passes inboard; or outboard_up" if first else ""
        lines += [
            f"blades = {_BLADES}",
            f"blade = {value_text(blade_name)}",
            f'spin = "{spin}"{note}',
        ]
    note = "       # N; " + ("or speed_ratio" if start.ideal else "or rpm, or power in W")
    lines += [
        "mirror = true" + ("         # with a twin on the port half" if first else ""),
        f"thrust = {_text(thrust)}" + (note if first else ""),
    ]
    return "\n".join(lines) + "\n"


_MODEL = """\
[model]
chordwise = 6          # panels along the chord
spanwise = 40          # strips per half span: eight or more across each slipstream
# sections = "tables"  # strips follow section tables through the stall, for solve --peak
"""


def _blade(airspeed: float, diameter: float) -> str:
    """A blade of constant geometric pitch that suits a diameter's tip speed; invented."""
    radius = np.concatenate((np.linspace(0.18, 0.9, 9), [0.95, 1.0]))
    # at the disc the stream is faster than the flight by about a fifth of it at this loading
    pitch = 1.2 * _ADVANCE * diameter
    inflow = np.degrees(np.arctan2(pitch, math.pi * radius * diameter))
    chord = 0.17 * np.sqrt(np.clip(1.0 - (np.abs(radius - 0.55) / 0.75) ** 4, 0.2, None))
    rows = "".join(
        f"{r:.4f},{c:.4f},{t + 3.0:.3f},naca4412\n"
        for r, c, t in zip(radius, chord, inflow, strict=True)
    )
    return (
        "# source: invented by blownwing new; no real propeller\n"
        "# terms: made for this project, under its licence (MIT)\n"
        f"# Constant pitch for {airspeed:g} m/s at an advance ratio of {_ADVANCE:g}, plus 3 deg. "
        "blownwing design-propeller makes better ones.\n"
        "r/R,c/R,twist_deg,section\n"
        f"{rows}"
    )


def _text(value: float) -> str:
    return repr(float(f"{float(value):.6g}"))
