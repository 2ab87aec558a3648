"""The wing's influence matrix against plain C, textbook NumPy and blocked NumPy.

One lattice of 10 × 100 panels, the full matrix of normal velocities. The rivals use the textbook
formula: bound segment by the Biot–Savart cross product (Katz & Plotkin, "Low-Speed Aerodynamics",
2nd ed., 2001, section 10.4.5) and two semi-infinite legs, each in the single form
(1 + x/r)/(4π h²). Minima of interleaved repeats in one warm process.
"""

from __future__ import annotations

import argparse
import ctypes
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

os.environ.setdefault("NUMBA_NUM_THREADS", "2")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "2")
os.environ.setdefault("OMP_NUM_THREADS", "2")

import numpy as np
from numpy.typing import NDArray

from blownwing.case.parts import Station, Wing
from blownwing.geometry.lattice import Lattice, build_lattice
from blownwing.kernels.vortex import normal_influence
from blownwing.wing.system import mirror_images

Array = NDArray[np.float64]
Rival = Callable[[Array, Array, Array, Array], Array]  # points, normals, port, starboard ends

SOURCE = Path(__file__).with_name("reference_influence.c")
FLAGS = ("-O3", "-march=native", "-ffast-math", "-fopenmp", "-shared", "-fPIC")
BLOCK = 32  # points per block of the blocked NumPy version; the fastest of 4 to 64 when tried
CLOSE = 1e-9  # accepted relative difference of any entry; the single-form leg loses some digits


@dataclass(frozen=True)
class Row:
    """One line of the table: a measured number against its budget."""

    what: str
    measured: float
    budget: float | None = None  # None: reported, not judged
    least: bool = False  # True: the budget is a floor, otherwise a ceiling
    unit: str = "×"

    @property
    def ok(self) -> bool:
        if self.budget is None:
            return True
        return self.measured >= self.budget if self.least else self.measured <= self.budget


def print_rows(rows: Sequence[Row]) -> None:
    """Print the table: what, measured, budget, measured over budget, verdict."""
    width = max(len(row.what) for row in rows)
    print(f"\n{'what':<{width}}  {'measured':>11}  {'budget':>11}  {'of budget':>9}  verdict")
    for row in rows:
        line = f"{row.what:<{width}}  {row.measured:>8.3g} {row.unit:<2}"
        if row.budget is None:
            print(f"{line}  {'-':>11}  {'-':>9}  -")
            continue
        limit = f"{'≥' if row.least else '≤'} {row.budget:g} {row.unit}"
        share = row.measured / row.budget
        print(f"{line}  {limit:>11}  {share:>9.2f}  {'pass' if row.ok else 'FAIL'}")


def best_times(tasks: Sequence[Callable[[], object]], repeats: int) -> list[float]:
    """Least time of each task, s; the tasks take turns, so that outside load meets all alike."""
    best = [float("inf")] * len(tasks)
    for task in tasks:
        task()
    for _ in range(repeats):
        for i, task in enumerate(tasks):
            start = time.perf_counter()
            task()
            best[i] = min(best[i], time.perf_counter() - start)
    return best


def lattice_of(rows: int, strips: int, whole: bool) -> Lattice:
    """A swept, tapered wing with dihedral; strips per half span."""
    wing = Wing(
        stations=(
            Station(y=0.0, x=0.0, z=0.0, chord=1.2),
            Station(y=6.0, x=0.8, z=0.3, chord=0.7),
        )
    )
    return build_lattice(wing, rows, strips, "cosine", whole=whole)


def panel_directions(lattice: Lattice, seed: int = 5) -> Array:
    """Unit normals (3, panels) leaning a little at random, so that every component counts."""
    lean = np.random.default_rng(seed).uniform(-0.1, 0.1, (3, lattice.panels))
    lean[2] = 1.0
    return np.asarray(lean / np.linalg.norm(lean, axis=0))


def horseshoe_ends(lattice: Lattice) -> tuple[Array, Array]:
    """Both ends (3, panels) of every bound segment, port and starboard, not shared."""
    nodes = lattice.nodes.reshape(3, lattice.rows, lattice.columns + 1)
    port, starboard = nodes[:, :, :-1], nodes[:, :, 1:]
    return (
        np.ascontiguousarray(port.reshape(3, -1)),
        np.ascontiguousarray(starboard.reshape(3, -1)),
    )


def textbook(points: Array, normals: Array, port: Array, starboard: Array) -> Array:
    """Normal velocities (n, panels) by broadcasting over (n, panels, 3) arrays."""
    a, b = port.T[None], starboard.T[None]
    r1, r2 = points.T[:, None] - a, points.T[:, None] - b
    d1, d2 = np.linalg.norm(r1, axis=-1), np.linalg.norm(r2, axis=-1)
    cross = np.cross(r1, r2)
    r0 = b - a
    strength = np.sum(r0 * (r1 / d1[..., None] - r2 / d2[..., None]), axis=-1)
    velocity = cross * (strength / np.sum(cross * cross, axis=-1))[..., None]
    aft = np.array([1.0, 0.0, 0.0])
    for sign, r, d in ((-1.0, r1, d1), (1.0, r2, d2)):
        turn = np.cross(aft, r)
        leg = (1.0 + r[..., 0] / d) / np.sum(turn * turn, axis=-1)
        velocity += sign * turn * leg[..., None]
    return np.asarray(np.sum(velocity * normals.T[:, None], axis=-1) / (4.0 * np.pi))


def blocked(
    points: Array, normals: Array, port: Array, starboard: Array, block: int = BLOCK
) -> Array:
    """The same numbers block by block of points, one component at a time, shared products once."""
    out = np.empty((points.shape[1], port.shape[1]))
    span = starboard - port
    for start in range(0, points.shape[1], block):
        part = slice(start, start + block)
        x1, y1, z1 = (points[c, part, None] - port[c] for c in range(3))
        x2, y2, z2 = (points[c, part, None] - starboard[c] for c in range(3))
        nx, ny, nz = (normals[c, part, None] for c in range(3))
        h1, h2 = y1 * y1 + z1 * z1, y2 * y2 + z2 * z2
        d1, d2 = np.sqrt(x1 * x1 + h1), np.sqrt(x2 * x2 + h2)
        cx, cy, cz = y1 * z2 - z1 * y2, z1 * x2 - x1 * z2, x1 * y2 - y1 * x2
        dot1 = span[0] * x1 + span[1] * y1 + span[2] * z1
        dot2 = span[0] * x2 + span[1] * y2 + span[2] * z2
        bound = (dot1 / d1 - dot2 / d2) / (cx * cx + cy * cy + cz * cz)
        total = bound * (nx * cx + ny * cy + nz * cz)
        total += (1.0 + x2 / d2) / h2 * (nz * y2 - ny * z2)
        total -= (1.0 + x1 / d1) / h1 * (nz * y1 - ny * z1)
        out[part] = total / (4.0 * np.pi)
    return out


def compiled_loop(folder: str) -> Rival | None:
    """The C loop behind a Python call, or None (said in print) where it cannot be built.

    The call returns the same array every time: fresh memory would time the system's page faults.
    """
    compiler = shutil.which("gcc")
    if compiler is None:
        print("no gcc found: the comparison with the C loop is skipped")
        return None
    library = Path(folder) / "reference_influence.so"
    build = subprocess.run(
        [compiler, *FLAGS, str(SOURCE), "-o", str(library), "-lm"],
        capture_output=True,
        text=True,
        check=False,
    )
    if build.returncode != 0:
        print(f"gcc could not build {SOURCE.name}, the comparison is skipped:\n{build.stderr}")
        return None
    function: Any = ctypes.CDLL(str(library)).reference_influence
    pointer = np.ctypeslib.ndpointer(np.float64, flags="C_CONTIGUOUS")
    function.argtypes = [ctypes.c_long, ctypes.c_long, *[pointer] * 13]
    function.restype = None

    kept: dict[tuple[int, int], Array] = {}

    def call(points: Array, normals: Array, port: Array, starboard: Array) -> Array:
        shape = points.shape[1], port.shape[1]
        if shape not in kept:
            kept[shape] = np.zeros(shape)
        out = kept[shape]
        function(*shape, *points, *normals, *port, *starboard, out)
        return out

    return call


def ours(lattice: Lattice, normals: Array) -> Callable[[], Array]:
    """`normal_influence` for a lattice, images of a folded one included; fills one kept array."""
    images = mirror_images(lattice.symmetric, None)
    out = np.zeros((lattice.panels, lattice.panels))

    def call() -> Array:
        normal_influence(
            *lattice.collocation, *normals, *lattice.nodes, lattice.columns, images, out
        )
        return out

    return call


def difference(value: Array, reference: Array) -> float:
    """Largest relative difference of any entry."""
    return float(np.max(np.abs(value - reference) / np.abs(reference)))


def folded_difference(half: Lattice, whole: Lattice, matrix: Array) -> float:
    """Folded matrix against the whole one summed over mirrored columns, same normals on both."""
    upright = np.zeros((3, whole.panels))
    upright[2] = 1.0
    full = ours(whole, upright)().reshape(whole.rows, whole.columns, whole.rows, whole.columns)
    star = full[:, half.columns :]
    summed = star[..., half.columns :] + star[..., half.columns - 1 :: -1]
    return difference(matrix.reshape(summed.shape), summed)


def measured(repeats: int = 40) -> list[Row]:
    """Rows for the full and the folded matrix of 1 000 panels."""
    whole, half = lattice_of(10, 50, whole=True), lattice_of(10, 50, whole=False)
    normals = panel_directions(whole)
    half_normals = np.ascontiguousarray(  # the starboard columns of the same normals
        normals.reshape(3, whole.rows, whole.columns)[:, :, half.columns :].reshape(3, -1)
    )
    ends = horseshoe_ends(whole)
    arguments = (np.ascontiguousarray(whole.collocation), normals, *ends)
    pairs = whole.panels**2
    kernel, folded = ours(whole, normals), ours(half, half_normals)
    rows: list[Row] = []
    with tempfile.TemporaryDirectory() as folder:
        loop = compiled_loop(folder)
        rivals: dict[str, Rival] = {} if loop is None else {"C loop": loop}
        rivals |= {"textbook NumPy": textbook, "blocked NumPy": blocked}
        reference = kernel()
        for name, rival in rivals.items():
            apart = difference(rival(*arguments), reference)
            rows.append(Row(f"difference of results, {name}", apart, CLOSE, unit=""))
        upright = np.zeros((3, half.panels))
        upright[2] = 1.0
        apart = folded_difference(half, whole, ours(half, upright)())
        rows.append(Row("difference of results, folded", apart, CLOSE, unit=""))
        quick = [kernel, folded]
        if loop is not None:
            quick.append(lambda: loop(*arguments))
        times = best_times(quick, 10 * repeats)
        slow = best_times(
            [kernel, lambda: blocked(*arguments), lambda: textbook(*arguments)],
            max(3, repeats // 8),
        )
    per_pair = [1e9 * t / pairs for t in times]
    best = min(times[0], slow[0])
    print(f"kernel {1e9 * best / pairs:.2f} ns per pair, folded {per_pair[1]:.2f} ns per pair of "
          f"the full matrix, blocked NumPy {1e9 * slow[1] / pairs:.1f} ns, textbook NumPy "
          f"{1e9 * slow[2] / pairs:.0f} ns")  # fmt: skip
    if loop is not None:
        print(f"C loop {per_pair[2]:.2f} ns per pair")
        rows.append(Row("influence, full matrix: time / C loop", times[0] / times[2], 0.85))
        half_c = times[1] / times[2]
        rows.append(Row("influence, folded: time / C loop's full matrix", half_c, 0.85 / 2))
    rows.append(Row("influence, folded: time / full matrix", times[1] / times[0], None))
    rows.append(Row("influence, folded: per full-matrix pair", per_pair[1], 0.65, unit="ns"))
    rows.append(Row("influence: textbook NumPy / ours", slow[2] / best, 150.0, least=True))
    rows.append(Row("influence: blocked NumPy / ours", slow[1] / best, 20.0, least=True))
    return rows


def main() -> int:
    parser = argparse.ArgumentParser(description="influence matrix against C and NumPy")
    parser.add_argument("--repeats", type=int, default=40)
    rows = measured(parser.parse_args().repeats)
    print_rows(rows)
    return 0 if all(row.ok for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
