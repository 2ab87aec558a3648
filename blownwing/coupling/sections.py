"""Strips that obey section tables: the incidence correction at which lattice and table agree.

Each strip's incidence is reduced by a correction δ until the lift that the lattice finds is the
table's at the strip's effective incidence. Past the peak several solutions exist, among them
saw-toothed ones in which neighbouring strips alternate; sections cannot stall independently within
a fraction of a chord, so the effective incidence is smoothed over a length, as short as gives a
solution, in what it differs from the linear wing's. Each solve starts from the linear wing, so a
result does not depend on the path to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lapack

from blownwing.airfoil.discrete import lattice_line, lattice_moment
from blownwing.airfoil.library import section_for
from blownwing.airfoil.packed import PackedSections, SectionValues, packed, packed_coefficients
from blownwing.airfoil.section import SectionTable
from blownwing.case.model import Case
from blownwing.coupling.surfaces import shape_of, surface_strips
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


_APART = 1e6  # m between the places of surfaces, far more than any strip is wide


class Table(NamedTuple):
    """A section of a strip's table: its name, the wing's flap it carries (−1: none), a control."""

    airfoil: str
    flap: int
    chord_fraction: float  # of the control, 0 without one
    angle: float  # rad, trailing edge down


class LatticeSection(NamedTuple):
    """The plane section of each strip as the lattice has it, controls turned.

    cl = slope sin(α − zero_lift)/cos(zero_lift), cm = moment cos α about the quarter chord.
    """

    slope: float  # per rad
    zero_lift: Array  # (columns,) rad
    moment: Array  # (columns,)


def lattice_section(
    lattice: Lattice, slopes: Array, hinged: Array, stretch: float
) -> LatticeSection:
    """The strips' own plane sections.

    slopes: (rows, columns) of the panels without twist, rad; hinged: the angles by which controls
    turn them, rad; stretch: of the lattice's frame, which steepens the sections by as much.
    """
    bent = np.arctan(np.tan(slopes) - hinged)
    slope, zero_lift = lattice_line(lattice.row_edges, bent)
    moment = lattice_moment(lattice.row_edges, bent)
    return LatticeSection(slope / stretch, zero_lift, moment / stretch)


@dataclass(frozen=True)
class StripSections:
    """Tables of the strips; (columns,) arrays."""

    pack: PackedSections
    tables: dict[Table, SectionTable]  # in the order of the pack
    first: Ints
    second: Ints
    share: Array
    chord: Array  # m
    spread: tuple[tuple[float, Array], ...]  # smoothing length in chords and its matrix

    def values(self, alpha: Array, reynolds: Array, mach: float) -> SectionValues:
        """Table coefficients of all strips at incidences alpha (…, columns) or (…, 1) [rad]."""
        return packed_coefficients(
            self.pack, self.first, self.second, self.share, alpha, reynolds, mach
        )

    def peak_incidence(self, reynolds: Array, mach: float, sign: float = 1.0) -> Array:
        """Incidence (columns,) [rad] of the tables' largest cl, with sign −1 of the least."""
        scan = sign * np.radians(np.arange(-10.0, 45.01, 0.25))
        cl = self.values(scan[:, None], reynolds, mach).cl
        return np.asarray(scan[np.argmax(sign * cl, axis=0)])

    def range(self, reynolds: Array, mach: float) -> tuple[Array, Array, Array]:
        """Incidences (columns,) [rad] of the tables' least cl, of no lift and of the largest cl."""
        step = np.radians(0.25)
        scan = np.arange(-np.pi / 4.0, np.pi / 4.0 + 0.5 * step, step)
        cl = self.values(scan[:, None], reynolds, mach).cl
        columns = np.arange(cl.shape[1])

        def peak(sign: float) -> Array:
            at = np.clip(np.argmax(sign * cl, axis=0), 1, scan.size - 2)
            before, here, after = (cl[at + k, columns] for k in (-1, 0, 1))
            bend = before - 2.0 * here + after
            way = 0.5 * (before - after) / np.where(bend == 0.0, 1.0, bend)
            return np.asarray(scan[at] + step * np.clip(way, -1.0, 1.0))

        lower, upper = peak(-1.0), peak(1.0)
        inside = (scan[:, None] >= lower) & (scan[:, None] <= upper)
        at = np.argmin(np.where(inside, np.abs(cl), np.inf), axis=0)
        slope = np.gradient(cl, step, axis=0)[at, columns]
        zero = scan[at] - cl[at, columns] / np.maximum(slope, 1.0)
        return lower, zero, upper


@dataclass(frozen=True)
class StripAnswers:
    """How strip circulations answer to normal velocities on the panels; the wing alone."""

    sums: Array  # (columns, rows, columns) m²/s per m/s: of each strip, by each panel
    along: Array  # (rows, columns) of the normals, along x
    across: Array  # (rows, columns) of the normals, across x and the strip's span

    def by_correction(self, direction: Array, angle: Array, bank: Array) -> Array:
        """Derivative (columns, columns) of strip circulations by corrections, m/rad.

        direction: (3,) of a stream of unit speed; angle: (columns,) rad by which strips are turned
        nose down; bank: (columns,) rad of the strips' spans. A Newton matrix: the coupling's passes
        make up for the slipstreams' part.
        """
        cos, sin = np.cos(angle), np.sin(angle)
        up = direction[2] * np.cos(bank) - direction[1] * np.sin(bank)
        along, across = up * cos - direction[0] * sin, direction[0] * cos + up * sin
        push = along * self.along - across * self.across
        return np.asarray(np.einsum("irj,rj->ij", self.sums, push))


def strip_answers(system: WingSystem) -> StripAnswers:
    """Answers of a system's strips, of few rows where its matrix is not factored.

    Raises SolveError when they cannot be solved for.
    """
    if not system.direct:
        system = coarsened(system, min(_FEW_ROWS, system.lattice.rows))
    rows, columns = system.lattice.rows, system.lattice.columns
    picks = np.tile(-np.eye(columns), rows).T  # ordered as the solver wants it
    found = transposed_circulation(system, picks)
    sums = np.ascontiguousarray(found.T).reshape(columns, rows, columns)
    along, aside, up = system.normals.reshape(3, rows, columns)
    bank = system.lattice.dihedral
    return StripAnswers(sums, along, up * np.cos(bank) - aside * np.sin(bank))


@dataclass(frozen=True)
class Balance:
    """Corrections δ and effective incidences (columns,) [rad], smoothing length in chords."""

    correction: Array
    incidence: Array
    smoothing: float


def strip_sections(
    case: Case,
    lattice: Lattice,
    hinges: Sequence[tuple[float, Array]] = (),
    known: StripSections | None = None,
) -> StripSections:
    """Tables for every strip: blended between stations, with flap and control where they are.

    hinges: chord fractions and angles of the controls, from `hinge_angles`; known: of another
    lattice or other settings, whose tables serve where they are all that is needed. Raises
    InputError for an unknown section or a flap that has no table.
    """
    flap, fraction, angle = np.full(lattice.columns, -1), *np.zeros((2, lattice.columns))
    for k, item in enumerate(case.wing.flaps):
        flap[flap_cover(case.wing, lattice, item) > 0.0] = k
    for chord_fraction, turned in hinges:
        fraction = np.where(turned != 0.0, chord_fraction, fraction)
        angle = angle + turned
    keys = [[Table(case.wing.stations[0].airfoil, -1, 0.0, 0.0)] * lattice.columns for _ in (0, 1)]
    share = np.zeros(lattice.columns)
    for index, strips in surface_strips(lattice):
        stations = shape_of(case, index).stations
        left = np.minimum(lattice.station[strips].astype(int), len(stations) - 2)
        share[strips] = lattice.station[strips] - left
        own = flap[strips] if index == 0 else np.full(left.size, -1)
        carried = list(zip(own.tolist(), fraction[strips].tolist(), angle[strips].tolist(),
                           strict=True))  # fmt: skip
        for side in (0, 1):
            names = [stations[s + side].airfoil for s in left.tolist()]
            keys[side][strips] = [Table(n, *c) for n, c in zip(names, carried, strict=True)]
    needed = dict.fromkeys(key for side in keys for key in side)
    if known is not None and needed.keys() <= known.tables.keys():
        pack, tables = known.pack, known.tables
    else:
        at_hand = {} if known is None else known.tables
        tables = {key: at_hand.get(key) or _table(case, key) for key in needed}
        pack = packed(list(tables.values()))
    place = {key: k for k, key in enumerate(tables)}
    if known is not None and known.chord is lattice.chord:
        spread = known.spread
    else:
        spread = tuple((s, _spread(lattice, s)) for s in _SMOOTHING)
    return StripSections(
        pack=pack,
        tables=tables,
        first=np.array([place[key] for key in keys[0]]),
        second=np.array([place[key] for key in keys[1]]),
        share=share,
        chord=lattice.chord,
        spread=spread,
    )


def _table(case: Case, key: Table) -> SectionTable:
    """The table of a section, with a flap of the wing and a control set; a control is plain."""
    flaps: list[tuple[str, float, float]] = []
    if key.flap >= 0:
        item = case.wing.flaps[key.flap]
        flaps.append((item.kind, item.chord_fraction, float(np.radians(item.deflection))))
    if key.angle != 0.0:
        flaps.append(("plain", key.chord_fraction, key.angle))
    return section_for(key.airfoil, case.folder, tuple(flaps))


def strip_places(lattice: Lattice) -> Array:
    """Increasing places (columns,) [m] by which strips of two lattices of a case are compared.

    y on a wing alone, which comes first; along its span on every other surface.
    """
    places: Array = lattice.quarter[1].copy()
    for k, part in enumerate(lattice.parts[1:], start=1):
        places[part.first - 1] = (k - 0.5) * _APART
        edges = np.cumsum(lattice.width[part.strips])
        places[part.strips] = k * _APART + edges - 0.5 * lattice.width[part.strips]
    return places


def _spread(lattice: Lattice, chords: float) -> Array:
    """Matrix (columns, columns) of the smoothing (1 − σ² d²/ds²)⁻¹ with free ends."""
    width = lattice.width
    between = 0.5 * (width[1:] + width[:-1])
    local = 0.5 * (lattice.chord[1:] + lattice.chord[:-1])
    flux = (chords * local) ** 2 / between
    for part in lattice.parts[1:]:
        flux[part.first - 2 : part.first] = 0.0  # either side of the column between two surfaces
    if not flux.size:
        return np.ones((1, 1))
    diagonal = width.copy()
    diagonal[1:] += flux
    diagonal[:-1] += flux
    return np.asarray(lapack.dptsv(diagonal, -flux, np.diag(width))[2])


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
    plane: LatticeSection,
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

    plane: the lattice's own sections; circulation: (columns,) of the strips, m²/s over m, at
    `correction` (columns,), rad; response: (columns, columns) its derivative; speed: (columns,) m/s
    over m; reynolds: (columns,); mach: for the tables; least: shortest smoothing length to try,
    chords; tolerance: on cl, None to start from the linear wing instead of `correction`. Raises
    SolveError when no smoothing length gives a solution.
    """
    linear = circulation - response @ correction
    for smoothing, spread in sections.spread:
        if smoothing < least:
            continue
        close = max(tolerance or 0.0, _TOLERANCE)
        problem = _Problem(sections, plane, linear, response, spread, speed, reynolds, mach, close)
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
    plane: LatticeSection
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
        scale, plane = self._scale(), self.plane
        circulation = self.linear + self.response @ delta
        alpha, steep = lattice_incidence(
            circulation, self.speed, self.sections.chord, plane.zero_lift, plane.slope
        )
        return scale * circulation, alpha + delta, steep * scale

    def incidence(self, delta: Array) -> Array:
        """Effective incidence (columns,) of the strips."""
        return self._line(delta)[1]

    def _error(self, delta: Array) -> _Error:
        own = self.plane
        cl, alpha, steep = self._line(delta)
        table = self.sections.values(alpha, self.reynolds, self.mach)
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
