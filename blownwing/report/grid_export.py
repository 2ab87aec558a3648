"""Lattice, slipstream tubes and discs as an unstructured grid for general 3-D viewers.

The file is VTK's XML form for unstructured grids (``.vtu``, ASCII, not the legacy form).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from xml.sax.saxutils import quoteattr

import numpy as np
from numpy.typing import NDArray

from blownwing import __version__
from blownwing.case.model import Case
from blownwing.coupling import solved_points
from blownwing.coupling.model import Point
from blownwing.solution.files import write_whole

Array = NDArray[np.float64]

WING, TUBE, DISC = 0.0, 1.0, 2.0
FIELDS = {
    "part": "0 wing or other surface, 1 slipstream edge, 2 disc",
    "circulation_m2_per_s": "of the panel's bound vortex; 0 off the wing",
    "pressure_difference_Pa": "lower less upper side, by Kutta-Joukowski on the onset flow",
    "speed_ratio": "of the strip's stream over the free stream; 0 off the wing",
    "doublet_m2_per_s": "strength of the slipstream's edge; 0 off it",
    "thrust_per_area_Pa": "of the disc, mean; 0 off it",
}
_RIM = 48  # corners of a disc
_POLYGON = 7  # cell type of the format


@dataclass(frozen=True)
class Patch:
    """Polygons: corner points (n, 3), corners of each cell, and values per cell by field."""

    points: Array
    cells: list[list[int]]
    values: Mapping[str, Array]


def write_grid(case: Case, alpha: float, path: str | Path) -> Path:
    """Solve ``case`` at ``alpha`` degrees and write its surfaces with what acts on them.

    Tubes are those of the slipstream edges; with ``model.jet_edge = false`` there are none.

    Raises:
        InputError: the place cannot be written.
        SolveError: no converged result, or the system refused while writing.
    """
    point = solved_points(case.replace(**{"flow.alpha": alpha}))[0]
    text = grid_text(patches(point))

    def put(partial: Path) -> None:
        partial.write_text(text, encoding="utf-8")

    return write_whole(path, put)


def patches(point: Point) -> list[Patch]:
    """Return wing, tubes and discs of a converged state, both halves."""
    found = [_wing(point), *_tubes(point)]
    if point.model.system.lattice.symmetric:
        found += [_mirrored(patch) for patch in found]
    return found + _discs(point)


def _wing(point: Point) -> Patch:
    lattice, wing = point.model.system.lattice, point.wing
    x = lattice.edge_x + lattice.row_edges[:, None] * lattice.edge_chord
    y, z = (np.broadcast_to(values, x.shape) for values in (lattice.edge_y, lattice.edge_z))
    strength = wing.strength.reshape(lattice.rows, lattice.columns)
    depth = np.diff(lattice.row_edges)[:, None] * lattice.chord
    load = point.flow.air.density * wing.ratio**2 * wing.speed * strength / depth
    ratio = wing.ratio
    if point.model.jets is None and point.flow.airspeed > 0.0:
        ratio = wing.speed / point.flow.airspeed
    values = {
        "part": np.full(lattice.panels, WING),
        "circulation_m2_per_s": (wing.ratio * strength).ravel(),
        "pressure_difference_Pa": load.ravel(),
        "speed_ratio": np.tile(ratio, lattice.rows),
    }
    corners = np.stack((x, y, z), axis=-1).reshape(-1, 3)
    cells = _quads(lattice.rows, lattice.columns)
    if lattice.parts:  # columns between surfaces are none
        drawn = np.tile(lattice.share > 0.0, lattice.rows)
        cells = [cell for cell, shown in zip(cells, drawn, strict=True) if shown]
        values = {name: value[drawn] for name, value in values.items()}
    return Patch(corners, cells, values)


def _tubes(point: Point) -> list[Patch]:
    edge = point.model.edge
    if edge is None or edge.tubes.panels == 0:
        return []
    tubes = edge.tubes
    size = (tubes.rings + 1) * (tubes.around + 1)
    per_tube = tubes.rings * tubes.around
    result = []
    everywhere = tubes.basis.spread(point.wing.doublets)
    for k in range(tubes.panels // per_tube):
        nodes = tubes.nodes[:, k * size : (k + 1) * size].T
        doublets = everywhere[k * per_tube : (k + 1) * per_tube]
        values = {"part": np.full(per_tube, TUBE), "doublet_m2_per_s": doublets}
        result.append(Patch(nodes, _quads(tubes.rings, tubes.around), values))
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
    return Patch(
        patch.points * np.array([1.0, -1.0, 1.0]), [c[::-1] for c in patch.cells], patch.values
    )


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
        values = {"part": np.array([DISC]), "thrust_per_area_Pa": np.array([load])}
        result.append(Patch(np.array(placed.position) + rim, [list(range(_RIM))], values))
    return result


def grid_text(parts: list[Patch]) -> str:
    """Return patches as the text of a ``.vtu`` file; a field a patch does not have is 0 on it."""
    starts = np.cumsum([0] + [len(patch.points) for patch in parts])
    cells = [
        [start + corner for corner in cell]
        for patch, start in zip(parts, starts, strict=False)
        for cell in patch.cells
    ]
    points = np.concatenate([patch.points for patch in parts])
    fields = {
        name: np.concatenate(
            [patch.values.get(name, np.zeros(len(patch.cells))) for patch in parts]
        )
        for name in FIELDS
    }
    ends = np.cumsum([len(cell) for cell in cells])
    lines = [
        '<?xml version="1.0"?>',
        f"<!-- blownwing {__version__}; metres, x aft, y to starboard, z up. "
        + "; ".join(f"{name}: {words}" for name, words in FIELDS.items())
        + " -->",
        '<VTKFile type="UnstructuredGrid" version="1.0" byte_order="LittleEndian">',
        f'<UnstructuredGrid><Piece NumberOfPoints="{len(points)}" NumberOfCells="{len(cells)}">',
        "<Points>",
        _array("Float64", "points", (" ".join(map(repr, p)) for p in points.tolist()), 3),
        "</Points>",
        "<Cells>",
        _array("Int64", "connectivity", (" ".join(map(str, cell)) for cell in cells)),
        _array("Int64", "offsets", map(str, ends.tolist())),
        _array("UInt8", "types", (str(_POLYGON) for _ in cells)),
        "</Cells>",
        "<CellData>",
        *(_array("Float64", n, map(repr, values.tolist())) for n, values in fields.items()),
        "</CellData>",
        "</Piece></UnstructuredGrid>",
        "</VTKFile>",
    ]
    return "\n".join(lines) + "\n"


def _array(kind: str, name: str, values: Iterable[str], components: int = 1) -> str:
    several = f' NumberOfComponents="{components}"' if components > 1 else ""
    body = "\n".join(values)
    return (
        f'<DataArray type="{kind}" Name={quoteattr(name)}{several} format="ascii">\n{body}\n'
        "</DataArray>"
    )
