"""Discs of cases, with rotors that are built once and serve every case of a study."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from blownwing.case.model import Case
from blownwing.case.placed import PlacedPropeller
from blownwing.coupling.parts import Discs
from blownwing.coupling.setup import placed_discs
from blownwing.propeller.rotor import Rotor
from blownwing.propeller.unit import Unit, built_unit
from blownwing.study.loaded import Build, build_of


class DiscBank:
    """Discs of cases, with rotors and units built once for all cases that share them."""

    def __init__(self) -> None:
        self._units: dict[tuple[Any, ...], Unit] = {}
        self._rotors: dict[tuple[Any, ...], Rotor | None] = {}
        self._builds: dict[tuple[Any, ...], Build] = {}

    def discs(self, case: Case, folded: bool) -> tuple[Discs, Build | None]:
        """As `coupling.setup.placed_discs`, from what is there already, and all as arrays.

        folded: whether one half stands for both, as `Case.is_symmetric` says.
        """
        placed = tuple(case.propeller_list())
        keys = tuple([_unit_key(case, item) for item in placed])
        if any(key not in self._units for key in keys):
            self._add(case, keys)
        units: list[Unit] = []
        source = [-1] * len(placed)
        for i, item in enumerate(placed):
            if not folded or item.position[1] >= 0.0:
                source[i] = len(units)
                units.append(_moved(self._units[keys[i]], item))
        places = {placed[i].position: s for i, s in enumerate(source) if s >= 0}
        for i, item in enumerate(placed):
            if source[i] < 0:
                x, y, z = item.position
                source[i] = places[(x, -y, z)]
        mirrored = tuple([folded and item.position[1] < 0.0 for item in placed])
        discs = Discs(placed, tuple(units), tuple(source), mirrored)
        if not placed:
            return discs, None
        build = (keys, discs.source, mirrored)
        if build not in self._builds:
            self._builds[build] = build_of(discs)
        return discs, self._builds[build]

    def _add(self, case: Case, keys: Sequence[tuple[Any, ...]]) -> None:
        """Build what is missing, at the origin: a unit must not depend on where it was seen first.

        Rotors are kept too, so that cases with the same rotor know each other by it.
        """
        built = placed_discs(case)
        rotors = {unit.placed.index: unit.rotor for unit in built.units}
        for key, item in zip(keys, built.placed, strict=True):
            if key in self._units:
                continue
            rotor = self._rotors.setdefault(_rotor_key(case, item), rotors[item.index])
            home = replace(item, position=(0.0, 0.0, 0.0))
            self._units[key] = built_unit(home, rotor, case.model.radial, case.model.azimuth)


def _rotor_key(case: Case, item: PlacedPropeller) -> tuple[Any, ...]:
    made = item.definition
    return (
        made.kind, made.blade, made.diameter, made.blades, made.hub_ratio, case.model.radial,
    )  # fmt: skip


def _unit_key(case: Case, item: PlacedPropeller) -> tuple[Any, ...]:
    given = item.definition.speed_ratio is not None
    return (
        _rotor_key(case, item), item.rotation, item.incidence, item.toe, case.model.azimuth, given,
    )  # fmt: skip


def _moved(unit: Unit, item: PlacedPropeller) -> Unit:
    centre = np.array(item.position)
    return replace(unit, placed=item, centre=centre, samples=unit.samples + centre[:, None, None])


def same_build(one: Unit, other: Unit) -> bool:
    """Whether two units share rotor and size, so that one's state is a guess for the other's."""
    return one.rotor is other.rotor and one.placed.radius == other.placed.radius
