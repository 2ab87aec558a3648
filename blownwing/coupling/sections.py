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
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lapack

from blownwing.airfoil.discrete import lattice_line, lattice_moment
from blownwing.airfoil.library import section_for
from blownwing.airfoil.packed import (
    PackedSections,
    SectionValues,
    packed,
    packed_coefficients,
    strip_values,
)
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

    @cached_property
    def pairs(self) -> Ints:
        """Both tables of every strip, (2, columns)."""
        return np.stack((self.first, self.second)).astype(np.int64)

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
    scale = np.cos(zero_lift) / slope
    sine, steep = _turned(_lift_scale(speed, chord) * circulation * scale)
    return zero_lift + sine, scale * steep


def _lift_scale(speed: Array, chord: Array) -> Array:
    """cl of strips (columns,) over their circulation, s/m²; 0 in still air."""
    moving = speed > 0.0
    return np.where(moving, 2.0 / (np.where(moving, speed, 1.0) * chord), 0.0)


def _turned(sine: Array) -> tuple[Array, Array]:
    """Angles of sines, straight on beyond the linear part, and their slopes."""
    inner = np.minimum(np.maximum(sine, -_LINEAR_PART), _LINEAR_PART)
    steep = 1.0 / np.sqrt(1.0 - inner * inner)
    return np.arcsin(inner) + (sine - inner) * steep, steep


class _Error(NamedTuple):
    """cl less the table's at some corrections, (columns,) each, and what its slopes follow from."""

    error: Array
    size: float  # the largest of the errors
    slope: Array  # dcl/dα of the tables
    tilt: Array  # the same of the lattice's plane section
    steep: Array  # rad, of the lattice's incidence by its circulation, s/m²


@dataclass(frozen=True)
class Strips:
    """Strips of a lattice that is linear in their corrections; (columns,) arrays."""

    sections: StripSections
    plane: LatticeSection  # the lattice's own sections
    circulation: Array  # m²/s over m, at `correction`
    correction: Array  # rad
    response: Array  # (columns, columns), derivative of the circulation, m²/s per rad
    speed: Array  # m/s over m
    reynolds: Array
    mach: float  # for the tables
    tolerance: float  # on cl

    @cached_property
    def linear(self) -> Array:
        """Circulations without corrections."""
        return np.asarray(self.circulation - self.response @ self.correction)

    @cached_property
    def scale(self) -> Array:
        """cl over circulation, s/m²; 0 in still air."""
        return _lift_scale(self.speed, self.sections.chord)

    @cached_property
    def lifted(self) -> Array:
        """How cl answers to corrections, (columns, columns) per rad."""
        return np.asarray(self.scale[:, None] * self.response)

    @cached_property
    def rise(self) -> Array:
        """Slope of the lattice's sections by the sine of their incidence above zero lift."""
        return np.asarray(self.plane.slope / np.cos(self.plane.zero_lift))

    @cached_property
    def still(self) -> Ints:
        """Strips in still air: nothing to correct."""
        return np.flatnonzero(self.speed <= 0.0)

    @cached_property
    def machs(self) -> Array:
        """The Mach number of every strip."""
        return np.full(self.speed.size, self.mach)

    def lines(self, delta: Array) -> tuple[Array, Array, Array]:
        """cl at corrections, incidence of the tables there, and the latter's slope by circulation.

        delta: rad; slope: s/m².
        """
        cl = self.scale * (self.linear + self.response @ delta)
        turn, steep = _turned(cl / self.rise)
        return cl, self.plane.zero_lift + turn + delta, steep * self.scale / self.rise

    def error(self, delta: Array, spread: Array) -> _Error:
        """How far lattice and tables are apart at corrections; spread: of the smoothing."""
        cl, alpha, steep = self.lines(delta)
        tables = self.sections
        table, _, _, slope = strip_values(
            tables.pack, tables.pairs, tables.share, alpha, self.reynolds, self.machs
        )
        # As in `_turned`, straight beyond its linear part: deep in the stall, between fast
        # streams, incidences come near 90°, where a sine tells nothing apart.
        turn = alpha - self.plane.zero_lift
        inner = np.minimum(np.maximum(turn, -_STRAIGHT), _STRAIGHT)
        tilt = self.rise * np.cos(inner)
        line = self.rise * np.sin(inner) + (turn - inner) * tilt
        lack = table - line
        lack[self.still] = 0.0
        error = cl - line - spread @ lack
        error[self.still] = -delta[self.still]
        return _Error(error, float(np.abs(error).max(initial=0.0)), slope, tilt, steep)

    def jacobian(self, at: _Error, spread: Array) -> Array:
        """How the error changes with the corrections, (columns, columns)."""
        gap = at.slope - at.tilt
        gap[self.still] = 0.0
        change = spread * gap
        np.fill_diagonal(change, change.diagonal() + at.tilt)
        found = self.lifted - change - (change * at.steep) @ self.response
        found[self.still] = 0.0
        found[self.still, self.still] = -1.0
        return np.asarray(found)


def balanced(strips: Strips, least: float, fresh: bool) -> Balance:
    """Corrections at which table and lattice agree, with the lattice linear in them.

    least: shortest smoothing length to try, chords; fresh: start from the linear wing, not from
    the corrections. Raises SolveError when no smoothing length gives a solution.
    """
    for smoothing, spread in strips.sections.spread:
        if smoothing < least:
            continue
        found = _solved(strips, spread, fresh)
        if found is not None:
            return Balance(found, strips.lines(found)[1], smoothing)
    raise SolveError("the strips' lift does not settle on their section tables")


def _solved(strips: Strips, spread: Array, fresh: bool) -> Array | None:
    """Newton where the flow is attached, else relaxation from the linear wing, then Newton."""
    first = np.zeros_like(strips.correction) if fresh else strips.correction
    close = _TOLERANCE if fresh else max(strips.tolerance, _TOLERANCE)
    found = _newton(strips, spread, first, close)
    if found is not None:
        delta, at = found
        if not fresh or np.all((at.slope > 0.0) | (strips.speed <= 0.0)):
            return delta
    return _relaxed(strips, spread, first, close)


def _newton(
    strips: Strips, spread: Array, delta: Array, close: float
) -> tuple[Array, _Error] | None:
    at = strips.error(delta, spread)
    for _ in range(_NEWTON_STEPS):
        if at.size < close:
            return delta, at
        step, size = _limited(strips.jacobian(at, spread), at.error), at.size
        if step is None:
            return None
        for _ in range(6):
            trial = delta + step
            at = strips.error(trial, spread)
            if at.size < size:
                break
            step *= 0.5
        else:
            return None
        delta = trial
    return None


def _relaxed(strips: Strips, spread: Array, delta: Array, close: float) -> Array | None:
    """Implicit steps of d(cl)/dt = cl_table − cl, growing as the error falls."""
    at, time = strips.error(delta, spread), _FIRST_STEP
    size = float(np.linalg.norm(at.error))
    lifted = strips.lifted.copy()
    lifted[strips.still, strips.still] = -1.0
    for _ in range(_RELAXATION_STEPS):
        if at.size < close:
            return delta
        step = _limited(strips.jacobian(at, spread) + lifted / time, at.error)
        if step is None:
            return None
        delta = delta + step
        at = strips.error(delta, spread)
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
