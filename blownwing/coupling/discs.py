"""Discs of cases: rotors and units are built once for all cases that share them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from blownwing.case.model import Case
from blownwing.case.placed import PlacedPropeller
from blownwing.coupling.loaded import Packed, packed_discs
from blownwing.coupling.parts import Discs, Key
from blownwing.errors import InputError
from blownwing.propeller.blade import read_blade
from blownwing.propeller.measured import HUB_RATIO, MeasuredRotor
from blownwing.propeller.performance import read_performance
from blownwing.propeller.rotor import Rotor, build_rotor
from blownwing.propeller.unit import Unit, built_unit


def placed_discs(case: Case, known: Discs | None = None) -> Discs:
    """Discs of all propellers; in a mirror-symmetric case only one of each pair is computed.

    known: of another case, whose rotors serve where they are the same. Raises InputError when a
    blade or a measured table cannot be used.
    """
    return disc_bank(known)(case)


def disc_bank(known: Discs | None = None) -> Callable[[Case], Discs]:
    """As `placed_discs` for many cases, which share what they have in common.

    A unit does not depend on where it was seen first: it is built at the origin and moved.
    The function raises InputError when a blade or its table cannot be used.
    """
    rotors = {} if known is None else dict(known.rotors)
    units: dict[Key, Unit] = {}
    packs: dict[Key, Packed] = {}

    def unit_of(case: Case, item: PlacedPropeller, key: Key) -> Unit:
        if key not in units:
            make = key[0]
            if make not in rotors:
                rotors[make] = _rotor(case, item.index), _measured(case, item.index)
            rotor, table = rotors[make]
            home = replace(item, position=(0.0, 0.0, 0.0))
            units[key] = built_unit(home, rotor, case.model.radial, case.model.azimuth, table)
        return _moved(units[key], item)

    def discs(case: Case) -> Discs:
        placed, folded = tuple(case.propeller_list()), case.is_symmetric
        keys = tuple([_unit_key(case, item) for item in placed])
        found: list[Unit] = []
        source = [-1] * len(placed)
        for i, item in enumerate(placed):
            if not folded or item.position[1] >= 0.0:
                source[i] = len(found)
                found.append(unit_of(case, item, keys[i]))
        places = {placed[i].position: s for i, s in enumerate(source) if s >= 0}
        for i, item in enumerate(placed):
            if source[i] < 0:
                x, y, z = item.position
                source[i] = places[(x, -y, z)]
        mirrored = tuple([folded and item.position[1] < 0.0 for item in placed])
        pack = (keys, *source, *mirrored)
        if pack not in packs:
            packs[pack] = packed_discs(placed, found, source, mirrored)
        return Discs(placed, tuple(found), tuple(source), mirrored, packs[pack], rotors)

    return discs


def same_build(one: Unit, other: Unit) -> bool:
    """Whether two units share rotor and size, so that one's state is a guess for the other's."""
    return (
        one.rotor is other.rotor
        and one.measured is other.measured
        and one.placed.radius == other.placed.radius
        and one.samples.shape == other.samples.shape
        and one.spread.shape == other.spread.shape
    )


def _unit_key(case: Case, item: PlacedPropeller) -> Key:
    made = item.definition
    make = (
        case.folder, made.kind, made.blade, made.table, made.shape, made.diameter, made.blades,
        made.hub_ratio, made.solidity, case.model.radial,
    )  # fmt: skip
    given = made.speed_ratio is not None
    azimuth = case.model.azimuth
    return make, item.rotation, item.incidence, item.toe, azimuth, given, made.nozzle


def _moved(unit: Unit, item: PlacedPropeller) -> Unit:
    centre = np.array(item.position)
    return replace(unit, placed=item, centre=centre, samples=unit.samples + centre[:, None, None])


def _rotor(case: Case, index: int) -> Rotor | None:
    item = case.propellers[index]
    if item.blade is None or item.blades is None:
        return None
    try:
        blade = read_blade(case.file_path(item.blade))
        hub = None if item.hub_ratio is None else 0.5 * item.hub_ratio * item.diameter
        return build_rotor(blade, item.diameter, item.blades, case.model.radial, hub)
    except InputError as error:
        raise InputError(f"propellers[{index}].blade: {error}") from None


def _measured(case: Case, index: int) -> MeasuredRotor | None:
    """The table of a measured propeller, with its sizes; None for one of another kind."""
    item = case.propellers[index]
    if item.table is None or item.blades is None:
        return None
    try:
        table = read_performance(case.file_path(item.table))
    except InputError as error:
        raise InputError(f"propellers[{index}].table: {error}") from None
    radius, shape = 0.5 * item.diameter, None
    hub = HUB_RATIO * radius if item.hub_ratio is None else item.hub_ratio * radius
    solidity = item.solidity
    if item.shape is not None:
        try:
            blade = read_blade(case.file_path(item.shape))
            given = None if item.hub_ratio is None else hub
            shape = build_rotor(blade, item.diameter, item.blades, case.model.radial, given)
        except InputError as error:
            raise InputError(f"propellers[{index}].shape: {error}") from None
        hub = shape.hub_radius
        solidity = shape.solidity if solidity is None else solidity
    return MeasuredRotor(table, radius, hub, item.blades, solidity, shape)
