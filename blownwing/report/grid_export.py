"""Wing, slipstream tubes, discs and a survey plane as blocks for general 3-D viewers.

Each block is a file in VTK's XML form for unstructured grids (``.vtu``, ASCII, not the legacy
form); a multi-block file (``.vtm``) names them all.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from xml.sax.saxutils import quoteattr

import numpy as np
from numpy.typing import NDArray

from blownwing import __version__
from blownwing.case.model import Case
from blownwing.coupling import solved_points
from blownwing.coupling.model import Point
from blownwing.coupling.survey import plane, velocities
from blownwing.solution.files import write_text

Array = NDArray[np.float64]

BLOCKS = ("wing", "tubes", "discs", "survey")
FIELDS = {
    "circulation_m2_per_s": "of the panel's bound vortex",
    "pressure_difference_Pa": "lower less upper side, by Kutta-Joukowski on the onset flow",
    "speed_ratio": "of the strip's stream over the free stream",
    "doublet_m2_per_s": "strength of the slipstream's edge",
    "thrust_per_area_Pa": "of the disc, mean",
    "velocity_m_per_s": "at the panel's collocation point, or at the point of the survey plane",
}
_RIM = 48  # corners of a disc
_POLYGON = 7  # cell type of the format
_BEHIND = 2.0  # largest chords behind the wing at which tubes are cut off
_ASTERN = 0.5  # largest chords behind the wing at which the survey plane stands
_ACROSS, _UP = 121, 49  # points of the survey plane


@dataclass(frozen=True)
class Patch:
    """Polygons: corner points (n, 3), corners of each cell, values per cell and per point."""

    points: Array
    cells: list[list[int]]
    values: Mapping[str, Array]  # (cells,) or (cells, 3)
    at_points: Mapping[str, Array] = field(default_factory=dict)  # (n,) or (n, 3)


def grid_places(path: str | Path) -> list[Path]:
    """The files that `write_grid` may write: the one of blocks, then the blocks."""
    path = Path(path)
    return [path, *(path.with_name(f"{path.stem}_{name}.vtu") for name in BLOCKS)]


def write_grid(case: Case, alpha: float, path: str | Path) -> list[Path]:
    """Solve ``case`` at ``alpha`` degrees and write its surfaces with what acts on them.

    Tubes are those of the slipstream edges; with ``model.jet_edge = false`` there are none. The
    survey plane stands half a chord behind the wing. Blocks that are empty are left out.

    Args:
        path: of the multi-block file (.vtm); blocks lie beside it.

    Raises:
        InputError: the place cannot be written.
        SolveError: no converged result, or the system refused while writing.
    """
    case = case.replace(**{"flow.alpha": alpha})
    point = solved_points(case)[0]
    first, *places = grid_places(path)
    written = []
    for place, parts in zip(places, blocks(case, point).values(), strict=True):
        if parts:
            written.append(write_text(place, grid_text(parts)))
    return [write_text(first, _index(written)), *written]


def blocks(case: Case, point: Point) -> dict[str, list[Patch]]:
    """Return the patches of every block of a converged state, both halves."""
    wing, tubes = [_wing(case, point)], _tubes(case, point)
    if point.model.system.lattice.symmetric:
        wing += [_mirrored(patch) for patch in wing]
        tubes += [_mirrored(patch) for patch in tubes]
    return {"wing": wing, "tubes": tubes, "discs": _discs(point), "survey": [_survey(case, point)]}


def _wing(case: Case, point: Point) -> Patch:
    lattice, wing = point.model.system.lattice, point.wing
    x = lattice.edge_x + lattice.row_edges[:, None] * lattice.edge_chord
    y, z = (np.broadcast_to(values, x.shape) for values in (lattice.edge_y, lattice.edge_z))
    strength = wing.strength.reshape(lattice.rows, lattice.columns)
    depth = np.diff(lattice.row_edges)[:, None] * lattice.chord
    load = point.flow.air.density * wing.ratio**2 * wing.speed * strength / depth
    ratio = wing.ratio
    if point.model.jets is None and point.flow.airspeed > 0.0:
        ratio = wing.speed / point.flow.airspeed
    points = np.ascontiguousarray(lattice.collocation)
    values = {
        "circulation_m2_per_s": (wing.ratio * strength).ravel(),
        "pressure_difference_Pa": load.ravel(),
        "speed_ratio": np.tile(ratio, lattice.rows),
        "velocity_m_per_s": velocities(case, point, points)[0].T,
    }
    corners = np.stack((x, y, z), axis=-1).reshape(-1, 3)
    cells = _quads(lattice.rows, lattice.columns)
    if lattice.parts:  # columns between surfaces are none
        drawn = np.tile(lattice.share > 0.0, lattice.rows)
        cells = [cell for cell, shown in zip(cells, drawn, strict=True) if shown]
        values = {name: value[drawn] for name, value in values.items()}
    return Patch(corners, cells, values)


def _tubes(case: Case, point: Point) -> list[Patch]:
    edge = point.model.edge
    if edge is None or edge.tubes.panels == 0:
        return []
    tubes = edge.tubes
    size = (tubes.rings + 1) * (tubes.around + 1)
    per_tube = tubes.rings * tubes.around
    result = []
    end = _trailing(case) + _BEHIND * _largest_chord(case)
    everywhere = tubes.basis.spread(point.wing.doublets)
    for k in range(tubes.panels // per_tube):
        nodes = tubes.nodes[:, k * size : (k + 1) * size].T
        doublets = everywhere[k * per_tube : (k + 1) * per_tube]
        cells = _quads(tubes.rings, tubes.around)
        near = np.array([nodes[cell, 0].max() <= end for cell in cells])
        kept = [cell for cell, inside in zip(cells, near, strict=True) if inside]
        result.append(Patch(nodes, kept, {"doublet_m2_per_s": doublets[near]}))
    return result


def _quads(rows: int, columns: int) -> list[list[int]]:
    """Corners of the cells of a grid of (rows + 1) × (columns + 1) points."""
    wide = columns + 1
    return [
        [r * wide + c, r * wide + c + 1, (r + 1) * wide + c + 1, (r + 1) * wide + c]
        for r in range(rows)
        for c in range(columns)
    ]


def _mirrored(patch: Patch) -> Patch:
    turn = np.array([1.0, -1.0, 1.0])
    values = {n: v * turn if v.ndim == 2 else v for n, v in patch.values.items()}
    return Patch(patch.points * turn, [c[::-1] for c in patch.cells], values)


def _trailing(case: Case) -> float:
    return max(station.x + station.chord for station in case.wing.stations)


def _largest_chord(case: Case) -> float:
    return max(station.chord for station in case.wing.stations)


def _survey(case: Case, point: Point) -> Patch:
    """A plane behind the wing, as high as discs and chord, a little wider than both."""
    discs, chord = point.model.discs.placed, _largest_chord(case)
    tips = [abs(station.y) for station in case.wing.stations]
    heights = [station.z for station in case.wing.stations]
    side = 1.1 * max([*tips, *(abs(item.position[1]) + item.radius for item in discs)])
    reach = 1.5 * max([chord, *(item.radius for item in discs)])
    low = min([*heights, *(item.position[2] for item in discs)]) - reach
    high = max([*heights, *(item.position[2] for item in discs)]) + reach
    x = _trailing(case) + _ASTERN * chord
    # rows upward, columns to starboard, as the cells are numbered
    points = plane(x, np.linspace(-side, side, _ACROSS), np.linspace(low, high, _UP))
    points = points.transpose(1, 0, 2).reshape(-1, 3)
    found = velocities(case, point, np.ascontiguousarray(points.T))[0].T
    cells = _quads(_UP - 1, _ACROSS - 1)
    return Patch(points, cells, {}, {"velocity_m_per_s": found})


def _discs(point: Point) -> list[Patch]:
    discs, result = point.model.discs, []
    angle = np.linspace(0.0, 2.0 * np.pi, _RIM, endpoint=False)
    for placed, source in zip(discs.placed, discs.source, strict=True):
        axis = np.array(placed.axis)
        across = np.cross(axis, [0.0, 0.0, 1.0])
        across /= np.linalg.norm(across)
        up = np.cross(across, axis)
        rim = placed.radius * (np.outer(np.cos(angle), across) + np.outer(np.sin(angle), up))
        load = point.states[source].thrust / (np.pi * placed.radius**2)
        values = {"thrust_per_area_Pa": np.array([load])}
        result.append(Patch(np.array(placed.position) + rim, [list(range(_RIM))], values))
    return result


def grid_text(parts: list[Patch]) -> str:
    """Return patches of one block, which have the same fields, as the text of a ``.vtu`` file."""
    starts = np.cumsum([0] + [len(patch.points) for patch in parts])
    cells = [
        [start + corner for corner in cell]
        for patch, start in zip(parts, starts, strict=False)
        for cell in patch.cells
    ]
    points = np.concatenate([patch.points for patch in parts])
    per_cell = {n: np.concatenate([patch.values[n] for patch in parts]) for n in parts[0].values}
    per_point = {
        n: np.concatenate([patch.at_points[n] for patch in parts]) for n in parts[0].at_points
    }
    ends = np.cumsum([len(cell) for cell in cells])
    lines = [
        '<?xml version="1.0"?>',
        f"<!-- blownwing {__version__}; metres, x aft, y to starboard, z up. "
        + "; ".join(f"{name}: {FIELDS[name]}" for name in (*per_cell, *per_point))
        + " -->",
        '<VTKFile type="UnstructuredGrid" version="1.0" byte_order="LittleEndian">',
        f'<UnstructuredGrid><Piece NumberOfPoints="{len(points)}" NumberOfCells="{len(cells)}">',
        "<Points>",
        _array("Float64", "points", _rows(points), 3),
        "</Points>",
        "<Cells>",
        _array("Int64", "connectivity", (" ".join(map(str, cell)) for cell in cells)),
        _array("Int64", "offsets", map(str, ends.tolist())),
        _array("UInt8", "types", (str(_POLYGON) for _ in cells)),
        "</Cells>",
        "<CellData>",
        *(_field(n, values) for n, values in per_cell.items()),
        "</CellData>",
        "<PointData>",
        *(_field(n, values) for n, values in per_point.items()),
        "</PointData>",
        "</Piece></UnstructuredGrid>",
        "</VTKFile>",
    ]
    return "\n".join(lines) + "\n"


def _index(files: list[Path]) -> str:
    """The text of the multi-block file."""
    lines = [
        '<?xml version="1.0"?>',
        '<VTKFile type="vtkMultiBlockDataSet" version="1.0" byte_order="LittleEndian">',
        "<vtkMultiBlockDataSet>",
    ]
    for number, place in enumerate(files):
        name = place.stem.rpartition("_")[2]
        lines.append(
            f'<DataSet index="{number}" name={quoteattr(name)} file={quoteattr(place.name)}/>'
        )
    return "\n".join([*lines, "</vtkMultiBlockDataSet>", "</VTKFile>"]) + "\n"


def _rows(values: Array) -> Iterable[str]:
    return (" ".join(map(repr, row)) for row in values.tolist())


def _field(name: str, values: Array) -> str:
    if values.ndim == 2:
        return _array("Float64", name, _rows(values), values.shape[1])
    return _array("Float64", name, map(repr, values.tolist()))


def _array(kind: str, name: str, values: Iterable[str], components: int = 1) -> str:
    several = f' NumberOfComponents="{components}"' if components > 1 else ""
    body = "\n".join(values)
    return (
        f'<DataArray type="{kind}" Name={quoteattr(name)}{several} format="ascii">\n{body}\n'
        "</DataArray>"
    )
