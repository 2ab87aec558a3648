"""Rules that need several lifting surfaces at once.

Chord lines run along x, so two surfaces cut each other where their lines across x cross and their
chords there overlap. Ends may touch: a fin stands on a wing, a tailplane on a fin.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple

from blownwing.case.controls import Control
from blownwing.case.messages import Fault, did_you_mean
from blownwing.case.parts import ModelOptions, Station, Wing
from blownwing.case.placed import PlacedPropeller
from blownwing.case.surfaces import Surface
from blownwing.case.trim import FLIGHT, Trim

_TOUCH = 1e-6  # of a segment's length: nearer to its end two surfaces touch, they do not cut


class _Edge(NamedTuple):
    """A straight stretch between two stations, seen along x."""

    a: tuple[float, float]
    b: tuple[float, float]
    x: tuple[float, float]
    chord: tuple[float, float]

    def chord_at(self, t: float) -> tuple[float, float]:
        lead = self.x[0] + t * (self.x[1] - self.x[0])
        return lead, lead + self.chord[0] + t * (self.chord[1] - self.chord[0])


def _edges(stations: Sequence[Station], symmetric: bool) -> Iterator[_Edge]:
    for s, t in pairwise(stations):
        for side in (1.0, -1.0) if symmetric else (1.0,):
            yield _Edge((side * s.y, s.z), (side * t.y, t.z), (s.x, t.x), (s.chord, t.chord))


def _meeting(one: _Edge, other: _Edge) -> tuple[float, float] | None:
    """Fractions of both stretches where they cut each other, None where they do not."""
    (ay, az), (by, bz) = one.a, one.b
    (cy, cz), (dy, dz) = other.a, other.b
    py, pz, qy, qz = by - ay, bz - az, dy - cy, dz - cz
    cross = py * qz - pz * qy
    size = math.hypot(py, pz) * math.hypot(qy, qz)
    ry, rz = cy - ay, cz - az
    if abs(cross) > 1e-12 * size:
        t, u = (ry * qz - rz * qy) / cross, (ry * pz - rz * py) / cross
        inside = _TOUCH < t < 1.0 - _TOUCH and -_TOUCH < u < 1.0 + _TOUCH
        across = _TOUCH < u < 1.0 - _TOUCH and -_TOUCH < t < 1.0 + _TOUCH
        # an end on the other's middle is a joint; both within is a cut
        return (t, u) if inside and across else None
    length = math.hypot(py, pz)
    if abs(ry * pz - rz * py) > _TOUCH * length * length:
        return None
    ends = sorted(
        ((y - ay) * py + (z - az) * pz) / length**2 for y, z in (other.a, other.b)
    )  # along `one`
    low, high = max(ends[0], 0.0), min(ends[1], 1.0)
    if high - low <= _TOUCH:
        return None
    t = 0.5 * (low + high)
    u = ((ay + t * py - cy) * qy + (az + t * pz - cz) * qz) / (qy * qy + qz * qz)
    return t, u


def check_surfaces(wing: Wing, surfaces: Sequence[Surface], model: ModelOptions) -> None:
    """Names are unique, no surface cuts another, and what the solve needs is there; else Fault."""
    if not surfaces:
        return
    if model.matrix == "compressed":
        raise Fault(
            ("model", "matrix"),
            'found "compressed" with [[surfaces]]; accepted is "auto" or "full"',
        )
    seen: dict[str, int] = {}
    known: list[tuple[str, list[_Edge]]] = [
        ("the wing", list(_edges(wing.stations, wing.symmetric)))
    ]
    for index, surface in enumerate(surfaces):
        if surface.name in seen:
            raise Fault(
                ("surfaces", index, "name"),
                f'found "{surface.name}" a second time; accepted are unique names',
            )
        seen[surface.name] = index
        own = list(_edges(surface.stations, surface.symmetric))
        for name, edges in known:
            for one in own:
                for other in edges:
                    met = _meeting(one, other)
                    if met is None:
                        continue
                    lead, trail = one.chord_at(met[0])
                    first, last = other.chord_at(met[1])
                    if lead < last and first < trail:
                        y = one.a[0] + met[0] * (one.b[0] - one.a[0])
                        z = one.a[1] + met[0] * (one.b[1] - one.a[1])
                        raise Fault(
                            ("surfaces", index, "stations"),
                            f'surface "{surface.name}" (x {lead:.4g} to {trail:.4g} m) cuts {name} '
                            f"(x {first:.4g} to {last:.4g} m) at y = {y:.4g} m, z = {z:.4g} m; "
                            "accepted are surfaces clear of each other, or touching at an end",
                        )
        known.append((f'surface "{surface.name}"', own))


def parts_of(wing: Wing, surfaces: Sequence[Surface]) -> list[tuple[str, Control]]:
    """All hinged parts as surface name and control; the wing's first."""
    own = [("wing", item) for item in wing.controls]
    return own + [(surface.name, item) for surface in surfaces for item in surface.controls]


def setting_names(wing: Wing, surfaces: Sequence[Surface]) -> list[str]:
    """Names of all settings that move something, in order."""
    found = [gear.setting for _, item in parts_of(wing, surfaces) for gear in item.moved_by]
    return list(dict.fromkeys(found))


def check_settings(wing: Wing, surfaces: Sequence[Surface], settings: Mapping[str, float]) -> None:
    """Settings move something, and no hinged part turns too far for thin-aerofoil theory.

    settings: deg, by name. Raises Fault.
    """
    names = setting_names(wing, surfaces)
    for name in settings:
        if name not in names:
            known = ", ".join(names) if names else "none, since no surface has controls"
            raise Fault(
                ("controls", name),
                f"moves nothing{did_you_mean(name, names)}; accepted are {known}",
            )
    for place, item in parts_of(wing, surfaces):
        turned = sum(abs(gear.ratio * settings.get(gear.setting, 0.0)) for gear in item.moved_by)
        if turned > LARGEST_DEFLECTION:
            name = next(g.setting for g in item.moved_by if settings.get(g.setting, 0.0))
            raise Fault(
                ("controls", name),
                f'found {settings[name]:g}, which turns "{item.name}" of {place} by {turned:g} '
                f"deg; accepted is at most {LARGEST_DEFLECTION:g} deg",
            )


LARGEST_DEFLECTION = 45.0  # deg


def mirror_symmetric(
    wing: Wing, surfaces: Sequence[Surface], settings: Mapping[str, float]
) -> bool:
    """Whether the surfaces and what moves on them are mirrored about y = 0.

    A fin on the plane counts where nothing on it turns the flow: no twist, setting, camber.
    settings: deg, by name.
    """
    for _, item in parts_of(wing, surfaces):
        if any(g.opposed and settings.get(g.setting, 0.0) * g.ratio for g in item.moved_by):
            return False
    for surface in surfaces:
        if surface.symmetric:
            continue
        if not surface.upright or surface.incidence:
            return False
        if any(s.twist or not _plain(s.airfoil) for s in surface.stations):
            return False
        moved = (g for item in surface.controls for g in item.moved_by)
        if any(settings.get(g.setting, 0.0) * g.ratio for g in moved):
            return False
    return True


def _plain(airfoil: str) -> bool:
    return airfoil == "flat" or airfoil.startswith("naca00")


def check_discs_clear(surfaces: Sequence[Surface], propellers: Sequence[PlacedPropeller]) -> None:
    """No disc's plane cuts a surface between leading and trailing edge; else Fault."""
    steps = [step / 20.0 for step in range(21)]
    for surface in surfaces:
        for edge in _edges(surface.stations, surface.symmetric):
            (a_y, a_z), (b_y, b_z) = edge.a, edge.b
            for item in propellers:
                (x, y, z), radius = item.position, item.radius
                if _apart(edge, y, z) >= radius:
                    continue
                axis = item.axis
                for t in steps:
                    at_y, at_z = a_y + t * (b_y - a_y), a_z + t * (b_z - a_z)
                    if math.hypot(at_y - y, at_z - z) >= radius:
                        continue
                    plane = x - (axis[1] * (at_y - y) + axis[2] * (at_z - z)) / axis[0]
                    lead, trail = edge.chord_at(t)
                    if lead < plane < trail:
                        raise Fault(
                            ("propellers", item.index, "position"),
                            f'disc "{item.name}" cuts surface "{surface.name}" at y = {at_y:.4g} '
                            f"m, z = {at_z:.4g} m, where it stands at x = {plane:.4g} m between "
                            f"the leading edge {lead:.4g} m and the trailing edge {trail:.4g} m; "
                            "accepted is a disc ahead of or behind the surface",
                        )


def _apart(edge: _Edge, y: float, z: float) -> float:
    """Distance of a place from a stretch, both seen along x, m."""
    (a_y, a_z), (b_y, b_z) = edge.a, edge.b
    p, q = b_y - a_y, b_z - a_z
    t = ((y - a_y) * p + (z - a_z) * q) / (p * p + q * q)
    t = min(max(t, 0.0), 1.0)
    return math.hypot(a_y + t * p - y, a_z + t * q - z)


def check_trim(
    trim: Trim,
    wing: Wing,
    surfaces: Sequence[Surface],
    propellers: Sequence[str],
    airspeed: float,
) -> None:
    """Every unknown of a trim is something that there is, and there is air to fly on.

    propellers: names; airspeed: m/s. Raises Fault.
    """
    if airspeed == 0.0:
        raise Fault(("trim",), "found at zero airspeed; accepted is a case that flies")
    settings = setting_names(wing, surfaces)
    known = [*FLIGHT, *settings, *(f"{s.name}.incidence" for s in surfaces)]
    known += ["throttle"] if propellers else []
    for index, item in enumerate(trim.unknowns):
        where = ("trim", "unknowns", index)
        for number, name in enumerate(item.propellers):
            if name not in propellers:
                raise Fault(
                    (*where, "propellers", number),
                    f'found "{name}"{did_you_mean(name, propellers)}; accepted are '
                    f"{', '.join(propellers) if propellers else 'none, since there are none'}",
                )
        if item.propellers:
            if item.name in known and item.name != "throttle":
                raise Fault(
                    (*where, "name"),
                    f'found "{item.name}" for a group of propellers; accepted is a name that '
                    "nothing else has",
                )
        elif item.name not in known:
            raise Fault(
                (*where, "name"),
                f'found "{item.name}"{did_you_mean(item.name, known)}; accepted are '
                f"{', '.join(known)}",
            )


def lateral(
    trim: Trim, wing: Wing, surfaces: Sequence[Surface], propellers: Sequence[PlacedPropeller]
) -> bool:
    """Whether a trim moves something that has a side, so that half the span does not tell all."""
    sided = {"beta", "bank"}
    for place, item in parts_of(wing, surfaces):
        alone = any(s.name == place and not s.symmetric for s in surfaces)
        sided |= {g.setting for g in item.moved_by if g.opposed or alone}
    sided |= {f"{s.name}.incidence" for s in surfaces if not s.symmetric}
    for unknown in trim.unknowns:
        group = set(unknown.propellers)
        whole = all(_other_side(p, propellers) in group for p in propellers if p.name in group)
        if unknown.name in sided or not whole:
            return True
    return bool(trim.bank) or (trim.load_factor != 1.0 and trim.manoeuvre == "turn")


def _other_side(one: PlacedPropeller, propellers: Sequence[PlacedPropeller]) -> str:
    x, y, z = one.position
    return next((p.name for p in propellers if p.position == (x, -y, z)), "")


def check_rises(
    wing: Wing, surfaces: Sequence[Surface], propellers: Sequence[PlacedPropeller]
) -> None:
    """A surface that is laid where streams pass it has no disc of its own between wing and it.

    Raises Fault.
    """
    for index, surface in enumerate(surfaces):
        name = disc_between(wing, surface, propellers)
        if surface.stream_rise != 0.0 and name:
            raise Fault(
                ("surfaces", index, "stream_rise"),
                f'found with disc "{name}" between the wing and the surface, whose stream '
                "starts there; accepted is 0",
            )


def disc_between(wing: Wing, surface: Surface, propellers: Sequence[PlacedPropeller]) -> str:
    """Name of a disc between the wing and a surface behind it, empty without one."""
    trail = max(station.x + station.chord for station in wing.stations)
    lead = max(station.x for station in surface.stations)
    return next((item.name for item in propellers if trail < item.position[0] < lead), "")
