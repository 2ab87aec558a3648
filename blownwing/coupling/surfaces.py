"""Surfaces beside the wing in the coupling: their strips, slopes, settings, and what passes them.

Controls and settings of a surface turn the flow that its panels meet, they do not turn the panels:
the matrix stays that of the drawn shape while a trim moves them. A control's lift is that of
thin-aerofoil theory, linear in its angle; a flap's goes with the tangent.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from blownwing.case.controls import Control
from blownwing.case.model import Case
from blownwing.case.parts import Wing
from blownwing.case.surfaces import Surface
from blownwing.geometry.lattice import Lattice, build_lattice, planform_at
from blownwing.geometry.surfaces import in_line, joined, part_lattice, path_at, pieces
from blownwing.geometry.tube import Cut
from blownwing.slipstream.streams import Streams
from blownwing.wing.normals import flap_share, panel_slopes

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

_ASIDE = 1.5  # radii from a disc's axis within which its stream may meet a surface


def laid_lattice(case: Case, breaks: Sequence[float], others: Sequence[Array]) -> Lattice:
    """Lattice of the wing and of all other surfaces, strips ending where slipstreams do.

    breaks: on the wing, y, m; others: (surfaces,) of arrays, the same along each other surface's
    span, m from its first station. Raises InputError for stations of which two coincide.
    """
    wing, model, whole = case.wing, case.model, not case.is_symmetric
    shared = [in_line(wing, surface, model.spanwise) for surface in case.surfaces]
    asked = list(breaks)
    for surface, found, near in zip(case.surfaces, others, shared, strict=True):
        if near:
            hinges = [surface.arcs[-1] * f for c in surface.controls for f in (c.start, c.end)]
            places = np.concatenate((np.array(surface.arcs), np.array(hinges), found))
            asked += [float(y) for y in path_at(surface, places)[1]]
    lattice = build_lattice(
        wing, model.chordwise, model.spanwise, model.spacing, _once(asked), whole=whole
    )
    if not case.surfaces:
        return lattice
    edges, place = lattice.edge_y, lattice.fraction
    if whole and wing.symmetric:  # the surfaces mirror their own half
        middle = lattice.columns // 2
        edges, place = edges[middle:], place[middle:]
    found_pieces = [
        piece
        for k, surface in enumerate(case.surfaces)
        for piece in pieces(
            surface,
            k + 1,
            model.spacing,
            [float(b) for b in others[k]],
            whole,
            (edges, place) if shared[k] else None,
        )
    ]
    return joined(model.chordwise, not whole, lattice, found_pieces)


def _once(places: Sequence[float]) -> list[float]:
    return sorted({round(place, 12) for place in places})


def surface_slopes(case: Case, lattice: Lattice) -> Array:
    """Angles (rows, columns) [rad] by which camber and flaps tilt the panels' normals back.

    Raises InputError for an unknown section.
    """
    if not lattice.parts:
        return panel_slopes(case.wing, lattice, case.folder)
    slopes = np.zeros((lattice.rows, lattice.columns))
    for part in lattice.parts:
        shape = shape_of(case, part.surface)
        slopes[:, part.strips] = panel_slopes(shape, part_lattice(lattice, part), case.folder)
    return slopes


def shape_of(case: Case, index: int) -> Wing:
    """The wing, or what of another surface its slopes need: sections and no flaps."""
    if index == 0:
        return case.wing
    surface = case.surfaces[index - 1]
    return Wing.model_construct(
        symmetric=surface.symmetric, stations=surface.stations, flaps=(), controls=()
    )


def live_normals(lattice: Lattice, normals: Array) -> Array:
    """Normals (3, panels), zero where a column carries nothing: there is no condition there.

    normals: (3, panels) unit.
    """
    if not lattice.parts:
        return normals
    return np.ascontiguousarray(normals * np.tile(lattice.live, lattice.rows))


def surface_settings(case: Case, lattice: Lattice) -> Array:
    """Angles (columns,) [rad] by which surfaces beside the wing are set nose up."""
    setting = np.zeros(lattice.columns)
    for index, strips in surface_strips(lattice):
        if index > 0:
            setting[strips] = np.radians(case.surfaces[index - 1].incidence)
    return setting


def panel_turns(lattice: Lattice, hinges: Sequence[tuple[float, Array]]) -> Array:
    """Angles (rows, columns) [rad] by which controls turn the panels trailing edge down.

    hinges: from `hinge_angles`.
    """
    turns = np.zeros((lattice.rows, lattice.columns))
    for chord_fraction, angle in hinges:
        turns += flap_share(lattice, chord_fraction)[:, None] * angle
    return turns


def hinge_angles(case: Case, lattice: Lattice) -> list[tuple[float, Array]]:
    """Chord fraction and angles (columns,) [rad] of every control that its settings move."""
    found: list[tuple[float, Array]] = []
    if not any(case.controls.values()):
        return found
    for index, strips in surface_strips(lattice):
        surface: Wing | Surface = case.wing if index == 0 else case.surfaces[index - 1]
        port = 0.5 * (lattice.edge_y[1:] + lattice.edge_y[:-1])[strips] < 0.0
        at = _fractions(surface, lattice, strips)
        for item in surface.controls:
            own, turned = _deflections(item, case.controls)
            angle = np.zeros(lattice.columns)
            angle[strips] = np.where(port, turned, own) * ((at >= item.start) & (at <= item.end))
            if np.any(angle):
                found.append((item.chord_fraction, angle))
    return found


def surface_strips(lattice: Lattice) -> list[tuple[int, slice]]:
    """Which surface, 0 for the wing, has which columns."""
    if not lattice.parts:
        return [(0, slice(0, lattice.columns))]
    return [(part.surface, part.strips) for part in lattice.parts]


def _fractions(surface: Wing | Surface, lattice: Lattice, strips: slice) -> Array:
    """Places (columns,) of a surface's strips in the fractions that its controls are given in."""
    if isinstance(surface, Surface):
        arcs = surface.arcs
        return np.interp(lattice.station[strips], np.arange(len(arcs)), arcs) / arcs[-1]
    y = 0.5 * (lattice.edge_y[1:] + lattice.edge_y[:-1])[strips]
    first, last = surface.stations[0].y, surface.stations[-1].y
    if surface.symmetric:
        return np.abs(y) / last
    return np.asarray((y - 0.5 * (first + last)) / (0.5 * (last - first)))


def _deflections(item: Control, settings: dict[str, float]) -> tuple[float, float]:
    """Deflections [rad] of a control on its own side, and on the port side."""
    alike = sum(g.ratio * settings.get(g.setting, 0.0) for g in item.moved_by if not g.opposed)
    other = sum(g.ratio * settings.get(g.setting, 0.0) for g in item.moved_by if g.opposed)
    return float(np.radians(alike + other)), float(np.radians(alike - other))


def turned_about_spans(onset: Array, turn: Array, hinged: Array, lattice: Lattice) -> Array:
    """Onset (3, panels) [m/s] turned about each strip's span, upwards, and bent by controls.

    turn: (columns,) rad; hinged: (rows, columns) rad, which adds its share of the velocity along x
    across it, as thin-aerofoil theory has it.
    """
    sin_b, cos_b = np.sin(lattice.dihedral), np.cos(lattice.dihedral)
    x, y, z = onset.reshape(3, lattice.rows, lattice.columns)
    across = z * cos_b - y * sin_b
    sin, cos = np.sin(turn), np.cos(turn)
    along = x * cos - across * sin
    change = across * cos + x * sin + hinged * along - across
    return np.stack((along, y - change * sin_b, z + change * cos_b)).reshape(3, -1)


def met_planform(case: Case, centres: Array, radii: Array) -> tuple[Array, Array, Array]:
    """Leading edge x and z and chord (d,) [m] where each disc's stream first meets a surface.

    centres: (d, 3) m; radii: (d,) m. The wing where it meets none.
    """
    x, z, chord, _, _ = planform_at(case.wing, centres[:, 1])
    if not case.surfaces:
        return x, z, chord
    x, z, chord = x.copy(), z.copy(), chord.copy()
    for d, met in enumerate(met_surfaces(case, centres, radii)):
        if met:
            x[d], z[d], chord[d] = met[0]
    return x, z, chord


def met_surfaces(
    case: Case, centres: Array, radii: Array
) -> list[list[tuple[float, float, float]]]:
    """Leading edge x and z and chord, m, of all surfaces behind each disc, in its way, by x.

    centres: (d, 3) m; radii: of the discs (d,), m.
    """
    tip = case.wing.stations[-1].y
    low = -tip if case.wing.symmetric else case.wing.stations[0].y
    at = np.clip(centres[:, 1], low, tip)
    lead, height, chord, _, _ = planform_at(case.wing, at)
    apart = np.hypot(at - centres[:, 1], height - centres[:, 2])
    rows = [(apart, lead, height, chord)]
    for surface in case.surfaces:
        x, y, z, c, _, _ = path_at(surface, np.linspace(0.0, surface.arcs[-1], 129))
        side = np.abs(centres[:, 1]) if surface.symmetric else centres[:, 1]
        away = np.hypot(y - side[:, None], z - centres[:, 2:])
        near = np.argmin(away, axis=1)
        rows.append((away[np.arange(near.size), near], x[near], z[near], c[near]))
    found: list[list[tuple[float, float, float]]] = [[] for _ in radii]
    for away, x, z, c in rows:
        for d in np.flatnonzero((away < _ASIDE * radii) & (x + 0.25 * c > centres[:, 0])):
            found[d].append((float(x[d]), float(z[d]), float(c[d])))
    return [sorted(items) for items in found]


def span_crossings(
    surface: Surface, y: float, z: float, radius: float, cuts: Sequence[Cut]
) -> list[float]:
    """Places along a surface's span, m, where a stream's edge crosses it, the described half's.

    y, z, radius: of the stream, m; cuts: planes on which it ends.
    """
    found = []
    arcs = surface.arcs
    stations = surface.stations
    for k in range(len(stations) - 1):
        low = z + surface.rise
        a = np.array([stations[k].y - y, stations[k].z - low])
        b = np.array([stations[k + 1].y - y, stations[k + 1].z - low])
        step = b - a
        length = arcs[k + 1] - arcs[k]
        p, q, r = float(step @ step), float(a @ step), float(a @ a) - radius**2
        root = q * q - p * r
        here = [] if root <= 0.0 else [(-q + s * float(np.sqrt(root))) / p for s in (-1.0, 1.0)]
        for cut in cuts:
            normal = np.array([np.cos(cut.angle), np.sin(cut.angle)])
            rate = float(step @ normal)
            if abs(rate) > 1e-12:
                here.append((cut.distance - float(a @ normal)) / rate)
        for t in here:
            if not 0.0 < t < 1.0:
                continue
            point = a + t * step
            inside = float(np.hypot(*point)) <= radius * (1.0 + 1e-9)
            own = all(
                point[0] * np.cos(c.angle) + point[1] * np.sin(c.angle)
                <= c.distance + 1e-9 * radius
                for c in cuts
            )
            if inside and own:
                found.append(arcs[k] + t * length)
    return found


def behind_discs(case: Case, lattice: Lattice, streams: Streams) -> Bools | None:
    """Which strips (discs, columns) lie behind which discs; None for a wing alone."""
    if not lattice.parts:
        return None
    middle = 0.5 * (lattice.edge_x[1:] + lattice.edge_x[:-1]) + 0.25 * lattice.chord
    return np.asarray((middle[None, :] > streams.centres[:, :1]) & lattice.live[None, :])
