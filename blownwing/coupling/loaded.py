"""All propellers of a case at once, as arrays: what they are, and what they do at one inflow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from blownwing.case.placed import PlacedPropeller
from blownwing.kernels import nearby
from blownwing.propeller.rotor import Rotor, azimuths
from blownwing.propeller.unit import Unit, UnitState
from blownwing.slipstream.streams import Streams

Array = NDArray[np.float64]


class Rates(NamedTuple):
    """What one more rad/s (or rad) of the settings changes; shapes and units as in `Loaded`."""

    at: Array  # (units,) settings at which this was measured
    value: Array  # (units,)
    totals: Array  # (units, kernel.N_SUMS)
    radial: Array  # (units, kernel.N_RADIAL_FIELDS, annuli)
    axial: Array  # (units, annuli)
    swirl: Array  # (units, annuli)
    angles: Array  # (units, azimuths, annuli)


class Loaded(NamedTuple):
    """State of all units at one inflow, as arrays."""

    alone: dict[int, UnitState]  # of units without blade elements: ideal discs, measured ones
    sums: Array  # (units, annuli + 1, kernel.N_SUMS), the totals last
    radial: Array  # (units, kernel.N_RADIAL_FIELDS, annuli)
    onset: Array  # (units, 3, azimuths, radii) at the samples, disc axes, m/s
    settings: Array  # (units,) what the trim varies, rad/s or rad; the given speed without trim
    values: Array  # (units,) of the wanted quantity, N or W; 0 without trim
    axial: Array  # (units, annuli) induced axial speed, m/s
    swirl: Array  # (units, annuli) r·v_θ behind the disc, right-handed about the downstream axis
    angles: Array  # (units, azimuths, annuli) rad, by which induction turns the flow
    by_setting: Rates  # without trim 1 for the value and 0 for all else
    # (nearby.N_RATES, 2, units, azimuths, annuli) per m/s of onset, axial and along the blade's
    # motion, at one element: what its azimuth contributes to the value and to its annulus' means;
    # None where they were not measured
    by_onset: Array | None = None

    def turned(self, signs: Sequence[float]) -> Loaded:
        """The mirror image in its plane x-up of those units whose sign is −1."""
        factor = np.array(signs)[:, None]
        onset = self.onset.copy()
        onset[:, 1] *= factor[:, :, None]
        by_onset = None
        if self.by_onset is not None:
            by_onset = self.by_onset.copy()
            by_onset[nearby.SWIRL] *= factor[:, :, None]
        return self._replace(
            onset=onset,
            swirl=self.swirl * factor,
            by_setting=self.by_setting._replace(swirl=self.by_setting.swirl * factor),
            by_onset=by_onset,
        )

    @property
    def forgotten(self) -> Loaded:
        """The same without the elements' angles, which could hold on to another of two roots."""
        return self._replace(angles=np.zeros_like(self.angles))


@dataclass(frozen=True)
class Packed:
    """Discs as arrays, without their places and tasks; serves every case with like discs."""

    shape: tuple[int, int]  # azimuths and radii of the samples
    makes: list[tuple[Rotor, NDArray[np.int64]]]  # every rotor with the units that have it
    axes: Array  # (units, 3, 3) rows downstream, right, up
    weights: Array  # (units, annuli)
    spread: Array  # (units, radii, annuli)
    radii: Array  # (units,) m
    spins: Array  # (units,) as the kernel's, 0 for ideal discs
    arms: Array  # (units, annuli) r·v_θ behind the disc over the kernel's swirl, m
    along: Array  # (units, 2, azimuths) right and up components of the blades' motion
    source: NDArray[np.int64]  # (discs,) the unit that stands for each
    flips: Array  # (discs,) −1 for the mirror image of its unit
    jets: Streams  # of all discs as if they stood at the origin, without load


def packed_discs(
    placed: Sequence[PlacedPropeller],
    units: Sequence[Unit],
    source: Sequence[int],
    mirrored: Sequence[bool],
) -> Packed:
    """The arrays of discs with equal numbers of samples and annuli; arguments as in `Discs`.

    source: (placed,) the unit that stands for each.
    """
    shape = units[0].samples.shape[1:] if units else (1, 1)
    annuli = units[0].middles.size if units else 1
    makes: dict[int, tuple[Rotor, list[int]]] = {}
    for k, unit in enumerate(units):
        if unit.rotor is not None:
            makes.setdefault(id(unit.rotor), (unit.rotor, []))[1].append(k)
    spins = np.array([float(unit.placed.rotation) for unit in units])
    arms = _stacked([u.middles if u.rotor is None else u.rotor.r for u in units], annuli)
    psi = azimuths(shape[0])
    along = [np.stack((spin * np.cos(psi), -np.sin(psi))) for spin in spins.tolist()]
    return Packed(
        shape=shape,
        makes=[(rotor, np.array(members)) for rotor, members in makes.values()],
        axes=_stacked([unit.axes for unit in units], 3, 3),
        weights=_stacked([unit.weights for unit in units], annuli),
        spread=_stacked([unit.spread.T for unit in units], shape[1], annuli),
        radii=np.array([unit.placed.radius for unit in units]),
        spins=spins,
        # clockwise from behind turns about the upstream axis
        arms=-2.0 * spins[:, None] * arms,
        along=_stacked(along, 2, shape[0]),
        source=np.array(source, dtype=np.int64),
        flips=np.where(np.array(mirrored, dtype=bool), -1.0, 1.0),
        jets=_unloaded(placed, [units[k] for k in source], annuli),
    )


def _stacked(parts: Sequence[Array], *shape: int) -> Array:
    """Arrays of a shape, stacked; there may be none."""
    return np.stack(parts) if parts else np.zeros((0, *shape))


def _unloaded(placed: Sequence[PlacedPropeller], units: Sequence[Unit], annuli: int) -> Streams:
    """Streams of discs at the origin without load; units: of each disc."""
    made = [unit.placed.definition for unit in units]
    axes = np.array([item.axis for item in placed], dtype=float).reshape(-1, 3)
    middles = _stacked([unit.middles for unit in units], annuli)
    none = np.zeros(len(units))
    return Streams(
        centres=np.zeros_like(axes),
        axes=axes,
        courses=axes,
        radii=np.array([unit.placed.radius for unit in units]),
        growth=np.array([1.0 if item.speed_ratio is None else 0.0 for item in made]),
        normal_speed=none,
        mean=none,
        cross=np.zeros_like(axes),
        push=np.zeros_like(axes),
        held=np.array([0.0 if item.nozzle else 1.0 for item in made]),
        middles=middles,
        axial=np.zeros_like(middles),
        swirl=np.zeros_like(middles),
    )
