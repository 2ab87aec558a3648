"""Strips that obey section tables: the incidence correction at which lattice and table agree.

Each strip's incidence is reduced by a correction δ until the lift that the lattice finds is the
table's at the strip's effective incidence. Past the peak several solutions exist, among them
saw-toothed ones in which neighbouring strips alternate; sections cannot stall independently within
a fraction of a chord, so the effective incidence is smoothed over a length, as short as gives a
solution, in what it differs from the linear wing's. Each solve starts from the linear wing, so a
result does not depend on the path to it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from blownwing.airfoil.discrete import lattice_line, lattice_moment
from blownwing.airfoil.flaps import flapped
from blownwing.airfoil.library import section_for
from blownwing.airfoil.packed import PackedSections, SectionValues, packed, packed_coefficients
from blownwing.airfoil.section import SectionTable
from blownwing.case.model import Case
from blownwing.errors import SolveError
from blownwing.geometry.lattice import Lattice
from blownwing.wing.normals import flap_cover
from blownwing.wing.system import WingSystem, coarsened, transposed_circulation

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

_SMOOTHING = (1.0, 2.0, 4.0, 8.0)  # chords, tried in turn
_LINEAR_PART = 0.9  # of the largest sine; beyond it the lattice's lift line is continued straight
_TOLERANCE = 1e-10  # on cl, at most
_FEW_ROWS = 2  # of the Newton matrix of a lattice that is too large to be factored
_STRAIGHT = float(np.arcsin(_LINEAR_PART))  # rad
_NEWTON_STEPS = 40
_LARGEST_STEP = 0.15  # rad
_RELAXATION_STEPS = 400
_FIRST_STEP = 0.5  # of the relaxation, in units of its own time scale


@dataclass(frozen=True)
class StripSections:
    """Tables of the strips and the lattice's own plane section; (columns,) arrays."""

    pack: PackedSections
    made: dict[tuple[str, int], int]  # places in the pack by section and flap, −1 for none
    first: Ints
    second: Ints
    share: Array
    zero_lift: Array  # rad
    slope: float  # per rad
    moment: Array  # cm about the quarter chord of the lattice's own section
    chord: Array  # m
    spread: tuple[tuple[float, Array], ...]  # smoothing length in chords and its matrix

    def values(self, alpha: Array, reynolds: Array, mach: float) -> SectionValues:
        """Table coefficients of all strips at incidences alpha (…, columns) or (…, 1) [rad]."""
        return packed_coefficients(
            self.pack, self.first, self.second, self.share, alpha, reynolds, mach
        )

    def peak_incidence(self, reynolds: Array, mach: float) -> Array:
        """Incidence (columns,) [rad] of the tables' largest cl."""
        scan = np.radians(np.arange(-10.0, 45.01, 0.25))
        cl = self.values(scan[:, None], reynolds, mach).cl
        return np.asarray(scan[np.argmax(cl, axis=0)])


@dataclass(frozen=True)
class StripAnswers:
    """How strip circulations answer to normal velocities on the panels; the wing alone."""

    sums: Array  # (columns, rows, columns) m²/s per m/s: of each strip, by each panel
    normals: Array  # (3, rows, columns)

    def by_correction(self, direction: Array, correction: Array) -> Array:
        """Derivative (columns, columns) of strip circulations by corrections (columns,), m/rad.

        direction: (3,) of a stream of unit speed. A Newton matrix: the coupling's passes make up
        for the slipstreams' part.
        """
        cos, sin = np.cos(correction), np.sin(correction)
        along, up = direction[0] * cos + direction[2] * sin, direction[2] * cos - direction[0] * sin
        push = up * self.normals[0] - along * self.normals[2]
        return np.asarray(np.einsum("irj,rj->ij", self.sums, push))


def strip_answers(system: WingSystem) -> StripAnswers:
    """Answers of a system's strips, of few rows where its matrix is not factored.

    Raises SolveError when they cannot be solved for.
    """
    if not system.direct:
        system = coarsened(system, min(_FEW_ROWS, system.lattice.rows))
    rows, columns = system.lattice.rows, system.lattice.columns
    picks = np.asfortranarray(np.tile(np.eye(columns), (rows, 1)))
    found = -transposed_circulation(system, picks)
    sums = np.ascontiguousarray(found.T).reshape(columns, rows, columns)
    return StripAnswers(sums, system.normals.reshape(3, rows, columns))


@dataclass(frozen=True)
class Balance:
    """Corrections δ and effective incidences (columns,) [rad], smoothing length in chords."""

    correction: Array
    incidence: Array
    smoothing: float


def strip_sections(
    case: Case,
    lattice: Lattice,
    slopes: Array,
    stretch: float = 1.0,
    known: StripSections | None = None,
) -> StripSections:
    """Tables for every strip: blended between stations, flapped where a flap is.

    slopes: (rows, columns) of the panels without twist, rad; stretch: of the lattice's frame, which
    steepens its plane section by as much; known: of another lattice of the same wing, whose tables
    serve where they are all that is needed. Raises InputError for an unknown section or a flap that
    has no table.
    """
    wing = case.wing
    left = np.minimum(lattice.station.astype(int), len(wing.stations) - 2)
    carried = np.full(lattice.columns, -1)
    for k, item in enumerate(wing.flaps):
        carried[flap_cover(wing, lattice, item) > 0.0] = k
    pairs = list(zip(left.tolist(), carried.tolist(), strict=True))
    keys = [[(wing.stations[s + side].airfoil, f) for s, f in pairs] for side in (0, 1)]
    needed = dict.fromkeys(key for side in keys for key in side)
    if known is not None and needed.keys() <= known.made.keys():
        pack, made = known.pack, known.made
    else:
        pack = packed([_table(case, name, flap) for name, flap in needed])
        made = {key: k for k, key in enumerate(needed)}
    slope, zero_lift = lattice_line(lattice.row_edges, slopes)
    return StripSections(
        pack=pack,
        made=made,
        first=np.array([made[key] for key in keys[0]]),
        second=np.array([made[key] for key in keys[1]]),
        share=lattice.station - left,
        zero_lift=zero_lift,
        slope=slope / stretch,
        moment=lattice_moment(lattice.row_edges, slopes) / stretch,
        chord=lattice.chord,
        spread=tuple((s, _spread(lattice, s)) for s in _SMOOTHING),
    )


def _table(case: Case, name: str, flap: int) -> SectionTable:
    """The table of a section, with a flap of the wing set where it is not −1."""
    table = section_for(name, case.folder)
    if flap < 0:
        return table
    item = case.wing.flaps[flap]
    return flapped(table, item.kind, item.chord_fraction, np.radians(item.deflection)).table


def _spread(lattice: Lattice, chords: float) -> Array:
    """Matrix (columns, columns) of the smoothing (1 − σ² d²/ds²)⁻¹ with free ends."""
    width = lattice.width
    between = 0.5 * (width[1:] + width[:-1])
    local = 0.5 * (lattice.chord[1:] + lattice.chord[:-1])
    flux = (chords * local) ** 2 / between
    matrix = np.diag(width.astype(float))
    k = np.arange(width.size - 1)
    matrix[k, k] += flux
    matrix[k + 1, k + 1] += flux
    matrix[k, k + 1] -= flux
    matrix[k + 1, k] -= flux
    return np.asarray(np.linalg.solve(matrix, np.diag(width)))


def lattice_incidence(
    circulation: Array, speed: Array, chord: Array, zero_lift: Array, slope: float
) -> tuple[Array, Array]:
    """Incidence [rad] at which the lattice's plane section has this circulation, and dα/dcl.

    circulation: (columns,) m²/s over m; speed: (columns,) m/s; chord: (columns,) m; zero_lift:
    (columns,) α₀, rad; slope: a, per rad; cl = a sin(α − α₀)/cos α₀. Strips
    in still air are given their zero-lift angle.
    """
    moving = speed > 0.0
    cl = np.where(moving, 2.0 * circulation / (np.where(moving, speed, 1.0) * chord), 0.0)
    scale = np.cos(zero_lift) / slope
    sine = cl * scale
    inner = np.clip(sine, -_LINEAR_PART, _LINEAR_PART)
    steep = 1.0 / np.sqrt(1.0 - inner * inner)
    return zero_lift + np.arcsin(inner) + (sine - inner) * steep, scale * steep


def balanced(
    sections: StripSections,
    circulation: Array,
    correction: Array,
    response: Array,
    speed: Array,
    reynolds: Array,
    mach: float,
    least: float,
    tolerance: float | None,
) -> Balance:
    """Corrections at which table and lattice agree, with the lattice linear in them.

    circulation: (columns,) of the strips, m²/s over m, at `correction` (columns,), rad; response:
    (columns, columns) its derivative; speed: (columns,) m/s over m; reynolds: (columns,); mach: for
    the tables; fresh: start from the linear wing, not from `correction`; least: shortest smoothing
    length to try, chords. Raises SolveError when no smoothing length gives a solution.
    """
    linear = circulation - response @ correction
    for smoothing, spread in sections.spread:
        if smoothing < least:
            continue
        close = max(tolerance or 0.0, _TOLERANCE)
        problem = _Problem(sections, linear, response, spread, speed, reynolds, mach, close)
        found = problem.solved(None if tolerance is None else correction)
        if found is not None:
            return Balance(found, problem.incidence(found), smoothing)
    raise SolveError("the strips' lift does not settle on their section tables")


class _Error(NamedTuple):
    """cl less the table's at some corrections, (columns,) each, and what its slopes follow from."""

    error: Array
    slope: Array  # dcl/dα of the tables
    tilt: Array  # the same of the lattice's plane section
    steep: Array  # rad, of the lattice's incidence by its circulation, s/m²
    rises: bool  # whether every table's lift still grows


@dataclass(frozen=True)
class _Problem:
    sections: StripSections
    linear: Array
    response: Array
    spread: Array
    speed: Array
    reynolds: Array
    mach: float
    close: float  # on cl

    def _scale(self) -> Array:
        """cl of the strips (columns,) over their circulation, s/m²; 0 in still air."""
        moving, chord = self.speed > 0.0, self.sections.chord
        return np.where(moving, 2.0 / (np.where(moving, self.speed, 1.0) * chord), 0.0)

    def _line(self, delta: Array) -> tuple[Array, Array, Array]:
        """cl of the lattice, its incidence with δ put back, and dα/dcl."""
        own, scale = self.sections, self._scale()
        circulation = self.linear + self.response @ delta
        alpha, steep = lattice_incidence(
            circulation, self.speed, own.chord, own.zero_lift, own.slope
        )
        return scale * circulation, alpha + delta, steep * scale

    def incidence(self, delta: Array) -> Array:
        """Effective incidence (columns,) of the strips."""
        return self._line(delta)[1]

    def _error(self, delta: Array) -> _Error:
        own = self.sections
        cl, alpha, steep = self._line(delta)
        table = own.values(alpha, self.reynolds, self.mach)
        # As in `lattice_incidence`, straight beyond its linear part: deep in the stall, between
        # fast streams, incidences come near 90°, where a sine tells nothing apart.
        turn = alpha - own.zero_lift
        inner = np.clip(turn, -_STRAIGHT, _STRAIGHT)
        scale = own.slope / np.cos(own.zero_lift)
        line = scale * (np.sin(inner) + (turn - inner) * np.cos(inner))
        moving = self.speed > 0.0
        lack = np.where(moving, table.cl - line, 0.0)
        error = np.where(moving, cl - line - self.spread @ lack, -delta)
        rises = bool(np.all(table.lift_slope[moving] > 0.0))
        return _Error(error, table.lift_slope, scale * np.cos(inner), steep, rises)

    def _jacobian(self, at: _Error) -> tuple[Array, Array]:
        """How the error changes with the corrections, and the lattice's part of it."""
        moving, scale = self.speed > 0.0, self._scale()
        lattice = scale[:, None] * self.response
        moved = np.eye(scale.size) + at.steep[:, None] * self.response
        change = self.spread * np.where(moving, at.slope - at.tilt, 0.0)[None, :]
        jacobian = lattice - at.tilt[:, None] * moved - change @ moved
        # In still air there is nothing to correct.
        lattice[~moving] = jacobian[~moving] = -np.eye(scale.size)[~moving]
        return jacobian, lattice

    def solved(self, start: Array | None) -> Array | None:
        """Newton where the flow is attached, else relaxation from the linear wing, then Newton."""
        first = np.zeros_like(self.linear) if start is None else start
        found = self._newton(first)
        if found is not None and (start is not None or self._error(found).rises):
            return found
        return self._relaxed(np.zeros_like(self.linear) if start is None else start)

    def _newton(self, delta: Array) -> Array | None:
        at = self._error(delta)
        for _ in range(_NEWTON_STEPS):
            size = float(np.max(np.abs(at.error)))
            if size < self.close:
                return delta
            step = _limited(self._jacobian(at)[0], at.error)
            if step is None:
                return None
            for _ in range(6):
                trial = delta + step
                at = self._error(trial)
                if float(np.max(np.abs(at.error))) < size:
                    break
                step *= 0.5
            else:
                return None
            delta = trial
        return None

    def _relaxed(self, delta: Array) -> Array | None:
        """Implicit steps of d(cl)/dt = cl_table − cl, growing as the error falls."""
        time = _FIRST_STEP
        at = self._error(delta)
        size = float(np.linalg.norm(at.error))
        for _ in range(_RELAXATION_STEPS):
            if float(np.max(np.abs(at.error))) < self.close:
                return delta
            jacobian, lattice = self._jacobian(at)
            step = _limited(jacobian + lattice / time, at.error)
            if step is None:
                return None
            delta = delta + step
            at = self._error(delta)
            norm = float(np.linalg.norm(at.error))
            time = float(np.clip(time * min(max(size / max(norm, 1e-300), 0.5), 2.0), 0.05, 1e6))
            size = norm
        return None


def _limited(matrix: Array, error: Array) -> Array | None:
    """Newton step of at most _LARGEST_STEP, or None for a singular matrix."""
    try:
        step = np.linalg.solve(matrix, -error)
    except np.linalg.LinAlgError:
        return None
    largest = float(np.max(np.abs(step), initial=0.0))
    return np.asarray(step * min(1.0, _LARGEST_STEP / max(largest, 1e-300)))
