"""Propellers as they stand around the wing: twins written out, spins resolved."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from blownwing.case.parts import Propeller


@dataclass(frozen=True)
class PlacedPropeller:
    """One propeller or disc, after mirroring.

    Attributes:
        name: the definition's, with ``_port`` or ``_starboard`` appended for a twin.
        definition: the propeller as the user wrote it.
        index: its place in ``case.propellers``.
        is_twin: whether it is the mirrored one.
        position: disc centre, m.
        rotation: +1 clockwise seen from behind, -1 counterclockwise, 0 for an ideal disc.
        incidence: disc axis against the x axis, nose up, deg.
        toe: disc axis, nose to starboard, deg.
    """

    name: str
    definition: Propeller
    index: int
    is_twin: bool
    position: tuple[float, float, float]
    rotation: int
    incidence: float
    toe: float

    @property
    def radius(self) -> float:
        """Tip radius, m."""
        return self.definition.diameter / 2.0

    @property
    def axis(self) -> tuple[float, float, float]:
        """Unit vector along the disc's axis, pointing downstream (thrust acts against it)."""
        up, starboard = math.radians(self.incidence), math.radians(self.toe)
        return (
            math.cos(up) * math.cos(starboard),
            -math.cos(up) * math.sin(starboard),
            -math.sin(up),
        )


def _rotation(spin: str | None, y: float) -> int:
    if spin is None:
        return 0
    if spin in ("clockwise", "counterclockwise"):
        return 1 if spin == "clockwise" else -1
    inboard_up = 1 if y > 0.0 else -1
    return inboard_up if spin == "inboard_up" else -inboard_up


def placed(propellers: Iterable[Propeller]) -> list[PlacedPropeller]:
    """All propellers in file order, each followed by its twin if it has one.

    Args:
        propellers: definitions from the case.
    """
    result = []
    for index, item in enumerate(propellers):
        x, y, z = item.position
        own = _rotation(item.spin, y)
        result.append(
            PlacedPropeller(
                item.name, item, index, False, item.position, own, item.incidence, item.toe
            )
        )
        if item.mirror:
            side = "port" if y > 0.0 else "starboard"
            spin = -own if item.twin_spin is None else _rotation(item.twin_spin, -y)
            result.append(
                PlacedPropeller(
                    f"{item.name}_{side}",
                    item,
                    index,
                    True,
                    (x, -y, z),
                    spin,
                    item.incidence,
                    0.0 - item.toe,  # not -0.0
                )
            )
    return result


# what two definitions of the same make may differ in
_SAME = dict.fromkeys(("name", "position", "spin", "mirror", "twin_spin", "incidence", "toe"))


def is_mirror_image(one: PlacedPropeller, other: PlacedPropeller) -> bool:
    """Whether two placed propellers are exact mirror images about the plane y = 0."""
    (x, y, z), (u, v, w) = one.position, other.position
    return (
        (x, y, z) == (u, -v, w)
        and one.rotation == -other.rotation
        and one.incidence == other.incidence
        and one.toe == -other.toe
        and (
            one.definition is other.definition
            or vars(one.definition) | _SAME == vars(other.definition) | _SAME
        )
    )


def mirror_symmetric(propellers: Iterable[PlacedPropeller]) -> bool:
    """Whether every propeller has its mirror image, a centre-line disc being its own."""
    items = list(propellers)
    places: dict[tuple[float, float, float], list[PlacedPropeller]] = {}
    for item in items:
        x, y, z = item.position
        places.setdefault((x, -y, z), []).append(item)
    return all(
        any(is_mirror_image(one, other) for other in places.get(one.position, ())) for one in items
    )
