"""All propellers of a case at once, as arrays: what they are, and what they do at one inflow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from blownwing.coupling.parts import Discs
from blownwing.kernels import nearby
from blownwing.propeller.rotor import Rotor, azimuths
from blownwing.propeller.unit import UnitState
from blownwing.slipstream.streams import Streams

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Rates:
    """What one more rad/s (or rad) of the settings changes; shapes and units as in `Loaded`."""

    at: Array  # (units,) settings at which this was measured
    value: Array  # (units,)
    totals: Array  # (units, kernel.N_SUMS)
    radial: Array  # (units, kernel.N_RADIAL_FIELDS, annuli)
    axial: Array  # (units, annuli)
    swirl: Array  # (units, annuli)
    angles: Array  # (units, azimuths, annuli)


@dataclass(frozen=True)
class Loaded:
    """State of all units at one inflow, as arrays."""

    ideal: dict[int, UnitState]  # states of the units that are ideal discs
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
    # motion, at one element: what its azimuth contributes to the value and to its annulus' means
    by_onset: Array

    def turned(self, signs: Sequence[float]) -> Loaded:
        """The mirror image in its plane x-up of those units whose sign is −1."""
        factor = np.array(signs)[:, None]
        onset = self.onset.copy()
        onset[:, 1] *= factor[:, :, None]
        by_onset = self.by_onset.copy()
        by_onset[nearby.SWIRL] *= factor[:, :, None]
        return replace(
            self,
            onset=onset,
            swirl=self.swirl * factor,
            by_setting=replace(self.by_setting, swirl=self.by_setting.swirl * factor),
            by_onset=by_onset,
        )


@dataclass(frozen=True)
class Build:
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


def build_of(discs: Discs) -> Build:
    """The arrays of discs with equal numbers of samples and annuli, at least one."""
    units, source = discs.units, list(discs.source)
    shape = units[0].samples.shape[1:]
    given = [units[k].placed.definition.speed_ratio is not None for k in source]
    none = np.zeros(len(source))
    axes = np.array([placed.axis for placed in discs.placed])
    middles = np.stack([units[k].middles for k in source])
    jets = Streams(
        centres=np.zeros_like(axes),
        axes=axes,
        courses=axes,
        radii=np.array([units[k].placed.radius for k in source]),
        growth=np.where(given, 0.0, 1.0),
        normal_speed=none,
        mean=none,
        cross=np.zeros_like(axes),
        push=np.zeros_like(axes),
        held=np.where([units[k].placed.definition.nozzle for k in source], 0.0, 1.0),
        middles=middles,
        axial=np.zeros_like(middles),
        swirl=np.zeros_like(middles),
    )
    makes: dict[int, tuple[Rotor, list[int]]] = {}
    for k, unit in enumerate(units):
        if unit.rotor is not None:
            makes.setdefault(id(unit.rotor), (unit.rotor, []))[1].append(k)
    spins = np.array([float(unit.placed.rotation) for unit in units])
    arms = [unit.middles if unit.rotor is None else unit.rotor.r for unit in units]
    psi = azimuths(shape[0])
    return Build(
        shape=shape,
        makes=[(rotor, np.array(members)) for rotor, members in makes.values()],
        axes=np.stack([unit.axes for unit in units]),
        weights=np.stack([unit.weights for unit in units]),
        spread=np.stack([unit.spread.T for unit in units]),
        radii=np.array([unit.placed.radius for unit in units]),
        spins=spins,
        # clockwise from behind turns about the upstream axis
        arms=-2.0 * spins[:, None] * np.stack(arms),
        along=np.stack([(spin * np.cos(psi), -np.sin(psi)) for spin in spins.tolist()]),
        source=np.array(source),
        flips=np.where(discs.mirrored, -1.0, 1.0),
        jets=jets,
    )
