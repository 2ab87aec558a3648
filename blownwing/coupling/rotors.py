"""All propellers of a case at once: their state at any inflow, and to first order nearby.

In a fixed point the rotor speed (or pitch) that delivers a wanted thrust or power takes one Newton
step per pass, instead of being found anew in every pass; where that would lead far it is searched.
How a state changes with the setting and with the onset can be measured once and kept: it predicts
the states of neighbouring cases so well that one or two evaluations of the blade elements finish
most of them.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from blownwing.case.units import RPM
from blownwing.coupling.discs import same_build
from blownwing.coupling.loaded import Loaded, Rates
from blownwing.coupling.parts import Discs, Flow
from blownwing.errors import SolveError
from blownwing.kernels import blade as kernel
from blownwing.kernels import nearby
from blownwing.propeller.rotor import ANGLE_TOLERANCE, RESIDUAL_LIMIT, check_closed, packed_loads
from blownwing.propeller.trim import LOOK_BACK, refuse_stalled
from blownwing.propeller.unit import Unit, UnitState, unit_state

Array = NDArray[np.float64]

_INPLANE = [kernel.SUM_RIGHT, kernel.SUM_UP]
_NEAR = 0.1  # relative step in rotor speed up to which known rates are trusted
_NEAR_PITCH = math.radians(2.0)
_CLOSE = 0.1  # of these, a step from where it was led: the rates need not be measured anew
_HOLDS = 0.3  # of these, the way from where the rates were measured: likewise
_ROUND_OFF = 1e-12  # rad, below which no angle of an element can be found
_LEFT = 0.3  # of an error of the trim after the step that follows it: rates are better than that
_ASIDE = 1e-4  # relative steps, and radians of pitch, over which rates are measured


class Rotors:
    """The units of one case; evaluates all of them at given induced velocities.

    Args:
        flow, discs: of the case.
        tolerance: of the coupling; the blade elements' own is much finer.
    """

    def __init__(self, flow: Flow, discs: Discs, tolerance: float) -> None:
        units = discs.units
        self._finest = min(max(0.01 * tolerance, _ROUND_OFF), ANGLE_TOLERANCE)
        self.flow, self.units, self.packed = flow, units, discs.packed
        self.samples = disc_samples(discs)
        self.core = 0.2 * min((unit.placed.radius for unit in units), default=0.0)  # of tubes, m
        self._free = flow.onset(self.samples)
        tasks = [_task(unit) for unit in units]
        self._quantities = [task[0] for task in tasks]
        self._targets = np.array([task[1] for task in tasks])
        self._by_pitch = np.array([task[2] for task in tasks], dtype=bool)
        self._speeds = np.array([task[3] for task in tasks])
        self._pitches = np.array([task[4] for task in tasks])
        self._trimmed = np.array([task[0] is not None for task in tasks], dtype=bool)
        self._powered = np.array([task[0] == "power" for task in tasks], dtype=bool)

    def onset(self, x: Array) -> Array:
        """Onset (units, 3, azimuths, radii) at the samples, disc axes, with induced x (3, n)."""
        shape = self.packed.shape
        velocity = (self._free + x).reshape(3, len(self.units), shape[0] * shape[1])
        return (self.packed.axes @ velocity.transpose(1, 0, 2)).reshape(-1, 3, *shape)

    def near(self, known: Loaded, x: Array) -> Loaded:
        """To first order the trimmed state at induced velocities x (3, n), from a known state."""
        onset = self.onset(x)
        state = (known.values, known.axial, known.swirl, known.angles)
        values, axial, swirl, angles = (part.copy() for part in state)
        if known.by_onset is not None:
            nearby.blown_loads(
                onset - known.onset, self.packed.along, self.packed.spread, known.by_onset,
                values, axial, swirl, angles,
            )  # fmt: skip
        blown = known._replace(onset=onset, values=values, axial=axial, swirl=swirl, angles=angles)
        step, rates = self._steps(blown), known.by_setting
        return blown._replace(
            settings=known.settings + step,
            values=values + rates.value * step,
            axial=axial + rates.axial * step[:, None],
            swirl=swirl + rates.swirl * step[:, None],
            angles=angles + rates.angles * step[:, None, None],
        )

    def blown(self, loaded: Loaded) -> tuple[Array, Array, Array]:
        """What makes the units' slipstreams one Newton step of the trim on, to first order.

        Induced axial speed and r·v_θ (units, annuli), forces in the discs' planes (units, 2), N.
        """
        step, rates = self._steps(loaded), loaded.by_setting
        column = step[:, None]
        inplane = loaded.sums[:, -1, _INPLANE] + rates.totals[:, _INPLANE] * column
        return loaded.axial + rates.axial * column, loaded.swirl + rates.swirl * column, inplane

    def trim_error(self, loaded: Loaded) -> float:
        """Largest error of a wanted thrust or power one Newton step on, over its target.

        The error now times what the step may leave of it; targets below 1 N or W count as that.
        """
        scale = np.maximum(np.abs(self._targets), 1.0)
        return _LEFT * float(np.max(np.abs(self._errors(loaded)) / scale, initial=0.0))

    def start(self, x: Array, guess: Loaded | None) -> Loaded:
        """State at induced velocities x (3, n), trimmed or nearly so.

        guess: a state that may be near, from `near`; None leaves the trim to be searched. Raises
        SolveError naming the propeller when the wanted thrust or power cannot be reached.
        """
        if guess is None:
            loaded = self._unknown(self.onset(x))
            settings = self._firsts(loaded)
        else:
            loaded = self.at(x, guess)
            step = np.abs(self._errors(loaded) / loaded.by_setting.value)
            reach = self._reach(loaded.settings)
            moved = np.abs(loaded.settings - loaded.by_setting.at)
            if np.all((step <= _CLOSE * reach) & (moved <= _HOLDS * reach)):
                return loaded
            settings = loaded.settings + self._steps(loaded)
            for k in np.flatnonzero(step > reach).tolist():
                settings[k] = self._setting(k, self._searched(k, loaded.onset[k], None))
        loaded = self._evaluated(loaded.onset, loaded._replace(settings=settings))
        return self.sloped(loaded) if np.any(self._trimmed) else loaded

    def _firsts(self, loaded: Loaded) -> Array:
        """Settings (units,) that give what is wanted, searched from nothing; like units in turn."""
        settings = loaded.settings.copy()
        found: dict[tuple[object, ...], UnitState] = {}
        for k in np.flatnonzero(self._trimmed).tolist():
            like = task(self.units[k])
            found[like] = self._searched(k, loaded.onset[k], found.get(like))
            settings[k] = self._setting(k, found[like])
        return settings

    def at(self, x: Array, guess: Loaded) -> Loaded:
        """State at induced velocities x (3, n) and the settings of a guess; rates are its own."""
        return self._evaluated(self.onset(x), guess)

    def sloped(self, loaded: Loaded) -> Loaded:
        """The same state with its rates by the settings measured anew.

        Raises:
            SolveError: the wanted quantity does not grow with what trims it.
        """
        step = _ASIDE * np.where(self._by_pitch, 1.0, loaded.settings)
        step = np.where(self._trimmed, step, 0.0)
        beside = self._evaluated(loaded.onset, loaded._replace(settings=loaded.settings + step))
        step = np.where(self._trimmed, step, 1.0)
        slopes = np.where(self._trimmed, (beside.values - loaded.values) / step, 1.0)
        for k in np.flatnonzero(slopes <= 0.0).tolist():
            raise SolveError(
                f"propeller {self.units[k].placed.name}: {self._quantities[k]} does not grow with "
                "what trims it at the trimmed state"
            )
        column = step[:, None]
        totals = (beside.sums[:, -1] - loaded.sums[:, -1]) / column
        totals[:, [kernel.WORST, kernel.EVALS]] = 0.0  # say how the state was found
        rates = Rates(
            at=loaded.settings,
            value=slopes,
            totals=totals,
            radial=(beside.radial - loaded.radial) / column[:, None],
            axial=(beside.axial - loaded.axial) / column,
            swirl=(beside.swirl - loaded.swirl) / column,
            angles=(beside.angles - loaded.angles) / column[:, None],
        )
        return loaded._replace(by_setting=rates)

    def measured(self, loaded: Loaded) -> Loaded:
        """The same state with all of its rates measured anew; those by the onset take a while."""
        rates = np.zeros((nearby.N_RATES, 2, *loaded.angles.shape))
        parts = self._values(loaded.sums, loaded.settings)[:, :-1]
        speeds, _ = self._operating(loaded.settings)
        gusts = _ASIDE * np.maximum(speeds * self.packed.radii, max(self.flow.airspeed, 1.0))
        column = gusts[:, None]
        for k in range(self.packed.shape[0]):
            axial, across = np.zeros_like(loaded.onset), np.zeros_like(loaded.onset)
            axial[:, 0, k] = column
            across[:, 1:, k] = self.packed.along[:, :, k, None] * column[:, None]
            for c, gust in enumerate((axial, across)):
                there = self._evaluated(loaded.onset + gust, loaded)
                values = self._values(there.sums, there.settings)[:, :-1]
                rates[nearby.VALUE, c, :, k] = (values - parts) / column
                rates[nearby.AXIAL, c, :, k] = (there.axial - loaded.axial) / column
                rates[nearby.SWIRL, c, :, k] = (there.swirl - loaded.swirl) / column
                rates[nearby.ANGLE, c, :, k] = (there.angles - loaded.angles)[:, k] / column
        return self.sloped(loaded)._replace(by_onset=rates)

    def states(self, loaded: Loaded) -> tuple[UnitState, ...]:
        """The state one Newton step of the trim on, to first order, for results."""
        step, rates = self._steps(loaded), loaded.by_setting
        speeds, pitches = self._operating(loaded.settings + step)
        totals = loaded.sums[:, -1] + rates.totals * step[:, None]
        fields = loaded.radial + rates.radial * step[:, None, None]
        inflow = loaded.onset @ self.packed.spread[:, None]
        means = np.einsum("ucj,uj->uc", inflow.mean(axis=2), self.packed.weights)
        result = []
        for k, unit in enumerate(self.units):
            if unit.rotor is None:
                result.append(loaded.alone[k])
                continue
            speed, pitch = float(speeds[k]), float(pitches[k])
            loads = packed_loads(unit.rotor, speed, pitch, totals[k], fields[k])
            result.append(
                UnitState(
                    loads=loads,
                    thrust=loads.thrust,
                    power=loads.power,
                    force=np.array([-loads.thrust, loads.force_right, loads.force_up]) @ unit.axes,
                    axial=loads.axial_induced,
                    swirl=self.packed.arms[k] * loads.tangential_induced,
                    inflow=means[k],
                    blade_flow=inflow[k],
                )
            )
        return tuple(result)

    def _unknown(self, onset: Array) -> Loaded:
        """A state of which nothing is known but the given settings."""
        count, annuli = self.packed.weights.shape
        none, flat = np.zeros(count), np.zeros((count, annuli))
        sums = np.zeros((count, annuli + 1, kernel.N_SUMS))
        radial = np.zeros((count, kernel.N_RADIAL_FIELDS, annuli))
        angles = np.zeros((count, self.packed.shape[0], annuli))
        settings = np.where(self._by_pitch, self._pitches, self._speeds)
        return Loaded(
            alone={},
            sums=sums,
            radial=radial,
            onset=onset,
            settings=settings,
            values=none,
            axial=flat,
            swirl=flat,
            angles=angles,
            by_setting=Rates(settings, none + 1.0, sums[:, -1], radial, flat, flat, angles),
        )

    def _evaluated(self, onset: Array, guess: Loaded) -> Loaded:
        """The state at an onset and the settings of a guess, whose angles start the elements'."""
        speeds, pitches = self._operating(guess.settings)
        inflow = onset @ self.packed.spread[:, None]
        angles = guess.angles.copy()
        sums, radial = np.zeros_like(guess.sums), np.zeros_like(guess.radial)
        air = self.flow.air
        for rotor, members in self.packed.makes:
            kernel.rotors_loads(
                members, inflow, rotor.geometry, rotor.stations, rotor.polars, rotor.peaks,
                rotor.log_reynolds, float(rotor.blades), speeds, pitches, self.packed.spins,
                air.density, air.viscosity, air.speed_of_sound, self._finest,
                angles, sums, radial,
            )  # fmt: skip
        totals = sums[:, -1]
        closed = np.abs(totals[:, kernel.WORST]) <= RESIDUAL_LIMIT
        if not np.all(closed & np.isfinite(totals[:, kernel.SUM_THRUST])):
            self._explain(totals, speeds, pitches)
        axial = radial[:, kernel.AXIAL].copy()
        swirl = self.packed.arms * radial[:, kernel.SWIRL]
        alone: dict[int, UnitState] = {}
        for k, unit in enumerate(self.units):
            if unit.rotor is None:
                state = self._searched(k, onset[k], guess.alone.get(k))
                alone[k], axial[k], swirl[k] = state, state.axial, state.swirl
                totals[k, kernel.SUM_THRUST] = state.thrust
                if state.shaft is not None:
                    totals[k, _INPLANE] = state.shaft.force_right, state.shaft.force_up
        return guess._replace(
            alone=alone,
            sums=sums,
            radial=radial,
            onset=onset,
            values=self._values(totals, guess.settings),
            axial=axial,
            swirl=swirl,
            angles=angles,
        )

    def _explain(self, totals: Array, speeds: Array, pitches: Array) -> None:
        """Raise SolveError with the name of the propeller whose elements did not close."""
        for unit, sums, speed, pitch in zip(self.units, totals, speeds, pitches, strict=True):
            try:
                check_closed(sums, speed, pitch)
            except SolveError as error:
                raise SolveError(f"propeller {unit.placed.name}: {error}") from None

    def _searched(self, k: int, onset: Array, like: UnitState | None) -> UnitState:
        """The state of one unit that gives what is wanted, by the guaranteed search."""
        unit = self.units[k]
        velocity = np.tensordot(unit.axes.T, onset, axes=1)
        return unit_state(unit, self.flow.air, self.flow.airspeed, velocity, like)

    def _setting(self, k: int, state: UnitState) -> float:
        if state.loads is None:
            raise ValueError("a rotor has loads")
        return state.loads.pitch if self._by_pitch[k] else state.loads.omega

    def check_stall(self, loaded: Loaded) -> None:
        """Refuse powers found by pitch where less pitch gives more thrust.

        Raises:
            StalledBlades: naming the propeller.
        """
        held = self._powered & self._by_pitch & (self._targets > 0.0)
        if not np.any(held):
            return
        less = loaded._replace(settings=loaded.settings - np.where(held, LOOK_BACK, 0.0))
        thrusts = self._evaluated(loaded.onset, less).sums[:, -1, kernel.SUM_THRUST]
        for k in np.flatnonzero(held).tolist():
            now = float(loaded.sums[k, -1, kernel.SUM_THRUST])
            try:
                refuse_stalled(
                    float(self._targets[k]), float(loaded.settings[k]), now, float(thrusts[k])
                )
            except SolveError as error:
                raise SolveError(f"propeller {self.units[k].placed.name}: {error}") from None

    def _operating(self, settings: Array) -> tuple[Array, Array]:
        """Rotor speeds, rad/s, and pitches, rad, at settings (units,)."""
        by_pitch = self._by_pitch
        speeds = np.where(by_pitch, self._speeds, settings)
        return speeds, np.where(by_pitch, settings, self._pitches)

    def _values(self, sums: Array, settings: Array) -> Array:
        """The wanted quantity (units, …), N or W, from the kernel's sums; 0 without trim."""
        speeds, _ = self._operating(settings)
        power = (sums[..., kernel.SUM_TORQUE].T * speeds).T
        column = (...,) if sums.ndim == 2 else (..., None)
        value = np.where(self._powered[column], power, sums[..., kernel.SUM_THRUST])
        return np.where(self._trimmed[column], value, 0.0)

    def _steps(self, loaded: Loaded) -> Array:
        """(units,) Newton steps of the settings, as far as known rates are trusted."""
        reach = self._reach(loaded.settings)
        step = -self._errors(loaded) / loaded.by_setting.value
        return np.minimum(np.maximum(step, -reach), reach)

    def _errors(self, loaded: Loaded) -> Array:
        """(units,) of the wanted quantity, N or W; 0 without trim."""
        return np.asarray(loaded.values - self._targets)

    def _reach(self, settings: Array) -> Array:
        """(units,) steps up to which known rates are trusted."""
        return np.where(self._by_pitch, _NEAR_PITCH, _NEAR * settings)


def carried(known: Loaded | None, before: Discs, now: Discs) -> Loaded | None:
    """State of other discs as a first guess, where rotors are alike and driven alike.

    A rotor that turns the other way has its swirl turned too.
    """
    if known is None or len(before.units) != len(now.units):
        return None
    signs = []
    for one, other in zip(now.units, before.units, strict=True):
        items = [unit.placed.definition for unit in (one, other)]
        driven = [(d.trim, d.rpm is None, d.thrust is None, d.power is None) for d in items]
        if not same_build(one, other) or driven[0] != driven[1]:
            return None
        signs.append(1.0 if one.placed.rotation == other.placed.rotation else -1.0)
    return known.turned(signs) if min(signs, default=1.0) < 0.0 else known


def disc_samples(discs: Discs) -> Array:
    """Inflow samples (3, n) of all units, case axes, m."""
    if not discs.units:
        return np.zeros((3, 0))
    return np.concatenate([unit.samples.reshape(3, -1) for unit in discs.units], axis=1)


def task(unit: Unit) -> tuple[object, ...]:
    """What a unit is and is asked for: equal for two whose trims are each other's first guess."""
    item = unit.placed.definition
    return (item.blade, item.blades, item.diameter, item.hub_ratio, item.rpm, item.thrust,
            item.power, item.pitch, item.trim)  # fmt: skip


def _task(unit: Unit) -> tuple[str | None, float, bool, float, float]:
    """Wanted quantity (None for a given speed) and its value, whether pitch trims it; the given
    speed, rad/s, and pitch, rad."""
    made = unit.placed.definition
    speed, pitch = (made.rpm or 0.0) * RPM, math.radians(made.pitch)
    if unit.rotor is not None and made.thrust is not None:
        return "thrust", made.thrust, made.trim == "pitch", speed, pitch
    if unit.rotor is not None and made.power is not None:
        return "power", made.power, made.trim == "pitch", speed, pitch
    return None, 0.0, False, speed, pitch
