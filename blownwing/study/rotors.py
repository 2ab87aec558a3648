"""All propellers of a case at once, for fixed points that carry the trim along.

Rotors that were built once serve every case. In a fixed point the rotor speed (or pitch) that
delivers a wanted thrust or power takes one Newton step per pass with a slope that is measured in
the first, instead of being found anew in every pass.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blownwing.case.model import Case
from blownwing.case.placed import PlacedPropeller
from blownwing.coupling.parts import Discs, Flow
from blownwing.coupling.setup import placed_discs
from blownwing.errors import SolveError
from blownwing.kernels import blade as kernel
from blownwing.propeller.rotor import ANGLE_TOLERANCE, Rotor, integrated_loads, packed_loads
from blownwing.propeller.unit import Unit, UnitState, built_unit, unit_state

Array = NDArray[np.float64]

_NEAR = 0.1  # relative step in rotor speed up to which the slope at the start is trusted
_CLOSE = 0.1  # of these: the slope need not be measured anew
_NEAR_PITCH = math.radians(2.0)


class DiscBank:
    """Discs of cases, with rotors and units built once for all cases that share them."""

    def __init__(self) -> None:
        self._units: dict[tuple[Any, ...], Unit] = {}
        self._rotors: dict[tuple[Any, ...], Rotor | None] = {}

    def discs(self, case: Case) -> Discs:
        """As `coupling.setup.placed_discs`, from what is there already."""
        placed = tuple(case.propeller_list())
        keys = [_unit_key(case, item) for item in placed]
        if any(key not in self._units for key in keys):
            self._add(case, keys)
        folded = case.is_symmetric
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
        mirrored = tuple(folded and item.position[1] < 0.0 for item in placed)
        return Discs(placed, tuple(units), tuple(source), mirrored)

    def _add(self, case: Case, keys: list[tuple[Any, ...]]) -> None:
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
    return (
        _rotor_key(case, item), item.rotation, item.incidence, item.toe, case.model.azimuth,
    )  # fmt: skip


def _moved(unit: Unit, item: PlacedPropeller) -> Unit:
    centre = np.array(item.position)
    return replace(unit, placed=item, centre=centre, samples=unit.samples + centre[:, None, None])


@dataclass(frozen=True)
class Loaded:
    """State of all units at one inflow, as arrays.

    `predicted` and `wanted` say what the state will be one trim step on.
    """

    found: tuple[Any, ...]  # per unit: the kernel's (sums, radial), or the state of an ideal disc
    inflow: Array  # (units, 3) mean onset through each disc, disc axes, m/s
    axial: Array  # (units, annuli) induced axial speed, m/s
    swirl: Array  # (units, annuli) r·v_θ behind the disc, right-handed about the downstream axis
    settings: Array  # (units,) what the trim varies, rad/s or rad; the given speed without trim
    slopes: Array  # (units,) of the wanted quantity by the setting; infinite without trim
    rates: Array  # (units, 2, annuli) of axial and swirl by the setting
    errors: Array  # (units,) of the wanted quantity, N or W
    trim_error: float  # largest error over its target

    @property
    def wanted(self) -> Array:
        """(units,) settings one Newton step on."""
        return np.asarray(self.settings - self.errors / self.slopes)

    @property
    def predicted(self) -> tuple[Array, Array]:
        """Axial and swirl (units, annuli) at the wanted settings, to first order."""
        step = (self.errors / self.slopes)[:, None]
        return self.axial - step * self.rates[:, 0], self.swirl - step * self.rates[:, 1]

    def turned(self, signs: Sequence[float]) -> Loaded:
        """The same state of rotors of which some turn the other way (sign −1)."""
        factor = np.array(signs)
        rates = np.stack((self.rates[:, 0], self.rates[:, 1] * factor[:, None]), axis=1)
        return replace(self, swirl=self.swirl * factor[:, None], rates=rates)


class Rotors:
    """The units of one case; evaluates all of them at given induced velocities.

    Args:
        flow, discs: of the case, with at least one unit.
    """

    def __init__(self, flow: Flow, discs: Discs) -> None:
        units = discs.units
        self.flow, self.units = flow, units
        self.samples = np.ascontiguousarray(
            np.concatenate([unit.samples.reshape(3, -1) for unit in units], axis=1)
        )
        self.weights = np.stack([unit.weights for unit in units])
        self._shape = units[0].samples.shape[1:]
        self._axes = np.stack([unit.axes for unit in units])
        self._spread = np.stack([unit.spread.T for unit in units])[:, None]
        self._onset = flow.onset(self.samples)
        self._targets = [_target(unit) for unit in units]
        self._scales = np.array([1.0 if t is None else max(abs(t[1]), 1.0) for t in self._targets])

    def start(self, x: Array, before: Loaded | None) -> Loaded:
        """State at induced velocities x (3, samples), trimmed, with slopes of the trim.

        before: the state of a neighbouring case with the same units, or None.
        """
        local, inflow, mean = self._inflow(x)
        count, annuli = len(self.units), self.weights.shape[1]
        slopes, rates = np.full(count, math.inf), np.zeros((count, 2, annuli))
        settings = np.empty(count)
        found, errors = [], np.empty(count)
        for k in range(count):
            seed = None
            if before is not None:
                seed = (float(before.settings[k]), float(before.slopes[k]), before.rates[k])
            item, settings[k], slopes[k], rates[k], errors[k] = self._started(
                k, local[k], inflow[k], seed
            )
            found.append(item)
        return self._loaded(found, mean, settings, slopes, rates, errors)

    def at(self, x: Array, settings: Array, before: Loaded) -> Loaded:
        """State at induced velocities x (3, samples) and settings (units,); slopes are kept."""
        local, inflow, mean = self._inflow(x)
        found, errors = [], np.empty(len(self.units))
        for k, setting in enumerate(settings.tolist()):
            item, errors[k] = self._evaluated(k, local[k], inflow[k], setting)
            found.append(item)
        return self._loaded(found, mean, settings, before.slopes, before.rates, errors)

    def states(self, loaded: Loaded) -> tuple[UnitState, ...]:
        """The state under the names of `UnitState`, for results."""
        result = []
        for k, (unit, item) in enumerate(zip(self.units, loaded.found, strict=True)):
            if unit.rotor is None:
                result.append(item)
                continue
            omega, pitch = self._operating(k, float(loaded.settings[k]))
            loads = packed_loads(unit.rotor, omega, pitch, *item)
            result.append(
                UnitState(
                    loads=loads,
                    thrust=loads.thrust,
                    power=loads.power,
                    force=np.array([-loads.thrust, loads.force_right, loads.force_up]) @ unit.axes,
                    axial=loaded.axial[k],
                    swirl=loaded.swirl[k],
                    inflow=loaded.inflow[k],
                )
            )
        return tuple(result)

    def _loaded(
        self, found: Any, mean: Array, settings: Array, slopes: Array, rates: Array, errors: Array
    ) -> Loaded:
        axial, swirl = np.empty(self.weights.shape), np.empty(self.weights.shape)
        for k, item in enumerate(found):
            axial[k], swirl[k] = self._induced(k, item)
        worst = float(np.max(np.abs(errors) / self._scales))
        return Loaded(tuple(found), mean, axial, swirl, settings, slopes, rates, errors, worst)

    def _induced(self, k: int, item: Any) -> tuple[Array, Array]:
        """Induced axial speed and r·v_θ (annuli,) of one unit."""
        unit = self.units[k]
        if unit.rotor is None:
            return item.axial, item.swirl
        radial = item[1]
        sense = -2.0 * unit.placed.rotation  # clockwise from behind turns about the upstream axis
        return radial[kernel.AXIAL], sense * radial[kernel.SWIRL] * unit.rotor.r

    def _inflow(self, x: Array) -> tuple[Array, Array, Array]:
        """Onset at the samples and at the elements, disc axes, and its mean through each disc."""
        count = len(self.units)
        velocity = (self._onset + x).reshape(3, count, -1).transpose(1, 0, 2)
        local = (self._axes @ velocity).reshape(count, 3, *self._shape)
        inflow = np.ascontiguousarray(local @ self._spread)
        mean = (inflow.mean(axis=2) @ self.weights[:, :, None])[..., 0]
        return local, inflow, mean

    def _started(
        self, k: int, local: Array, inflow: Array, seed: tuple[float, float, Array] | None
    ) -> tuple[Any, float, float, Array, float]:
        """What was found, setting, slope, rates and error of one unit, trimmed or nearly so."""
        unit, target = self.units[k], self._targets[k]
        if target is None or unit.rotor is None:
            speed = (unit.placed.definition.rpm or 0.0) * math.pi / 30.0
            item, _ = self._evaluated(k, local, inflow, speed)
            return item, speed, math.inf, np.zeros((2, self.weights.shape[1])), 0.0
        by_pitch = target[2]
        if seed is not None and 0.0 < seed[1] < math.inf:
            setting, slope, rates = seed
            item, error = self._evaluated(k, local, inflow, setting)
            step = -error / slope
            reach = _NEAR_PITCH if by_pitch else _NEAR * setting
            if abs(step) <= _CLOSE * reach:
                return item, setting, slope, rates, error
            if abs(step) <= reach:
                beside, value = self._evaluated(k, local, inflow, setting + step)
                secant = (value - error) / step
                if 0.5 * slope < secant < 2.0 * slope:
                    return beside, setting + step, secant, self._rates(k, item, beside, step), value
        # Far from the start: the guaranteed search, and a slope measured beside its root.
        velocity = np.tensordot(unit.axes.T, local, axes=1)
        state = unit_state(unit, self.flow.air, self.flow.airspeed, velocity, None)
        if state.loads is None:
            raise ValueError("a rotor has loads")
        setting = state.loads.pitch if by_pitch else state.loads.omega
        aside = 1e-4 if by_pitch else 1e-4 * setting
        item, error = self._evaluated(k, local, inflow, setting)
        beside, value = self._evaluated(k, local, inflow, setting + aside)
        slope = (value - error) / aside
        if not slope > 0.0:
            raise SolveError(
                f"propeller {unit.placed.name}: {target[0]} does not grow with what trims it at "
                "the trimmed state"
            )
        return item, setting, slope, self._rates(k, item, beside, aside), error

    def _rates(self, k: int, item: Any, beside: Any, step: float) -> Array:
        """(2, annuli) change of induced axial speed and swirl by the setting."""
        return np.stack(self._induced(k, beside)) / step - np.stack(self._induced(k, item)) / step

    def _operating(self, k: int, setting: float) -> tuple[float, float]:
        """Rotor speed, rad/s, and pitch, rad, at a setting."""
        target, made = self._targets[k], self.units[k].placed.definition
        if target is not None and target[2]:
            return (made.rpm or 0.0) * math.pi / 30.0, setting
        return setting, math.radians(made.pitch)

    def _evaluated(self, k: int, local: Array, inflow: Array, setting: float) -> tuple[Any, float]:
        """What one unit does at a setting, and the error of what is wanted of it."""
        unit, target, air = self.units[k], self._targets[k], self.flow.air
        if unit.rotor is None:
            velocity = np.tensordot(unit.axes.T, local, axes=1)
            return unit_state(unit, air, self.flow.airspeed, velocity, None), 0.0
        omega, pitch = self._operating(k, setting)
        spin = float(unit.placed.rotation)
        try:
            sums, radial = integrated_loads(
                unit.rotor, air, omega, pitch, spin, inflow, ANGLE_TOLERANCE
            )
        except SolveError as error:
            raise SolveError(f"propeller {unit.placed.name}: {error}") from None
        if target is None:
            return (sums, radial), 0.0
        value = sums[kernel.SUM_THRUST]
        if target[0] == "power":
            value = sums[kernel.SUM_TORQUE] * omega
        return (sums, radial), float(value) - target[1]


def _target(unit: Unit) -> tuple[str, float, bool] | None:
    """Quantity, wanted value and whether pitch trims it; None for a given speed."""
    made = unit.placed.definition
    if unit.rotor is None:
        return None
    if made.thrust is not None:
        return "thrust", made.thrust, made.trim == "pitch"
    return None if made.power is None else ("power", made.power, made.trim == "pitch")


def same_build(one: Unit, other: Unit) -> bool:
    """Whether two units share rotor and size, so that one's state is a guess for the other's."""
    return one.rotor is other.rotor and one.placed.radius == other.placed.radius
