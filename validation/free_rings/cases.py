"""The cases of the free-ring model: runs them and writes `computed.csv` and `span_loads.csv`.

Run as a script, with the names of parts (see PARTS) to run only those and put their rows in the
place of the old ones. One core, about ten minutes for all; none takes more than four.
"""

from __future__ import annotations

import csv
import math
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))

from plate import plate  # noqa: E402 (path set above)
from rings import Flow, Setup, induced, march, settle  # noqa: E402
from tube import tube  # noqa: E402

Array = NDArray[np.float64]

LEVELS = {"coarse": 1.0, "medium": math.sqrt(2.0), "fine": 2.0}
ALPHA = math.radians(3.5)
PLATE_ALPHA = math.radians(1.7)
STATIONS = (0.0, 0.5, 1.0, 2.0, 4.0)
BESIDE = (1.5, 2.0, 3.0, 4.0)
WING_CASES = ((0.5, 0.5), (0.5, 1.5), (1.0, 0.5), (1.0, 2.5))  # R/c, disc ahead in chords
ASPECT = 8.0


@dataclass(frozen=True)
class Row:
    """One number of `computed.csv`."""

    case: str
    quantity: str
    place: str
    value: float
    unit: str = "1"


def turn(ratio: float) -> float:
    """ε/α of the far slipstream of an inclined disc, μ(μ − 1)/(μ² + 1)."""
    return ratio * (ratio - 1.0) / (ratio**2 + 1.0)


def far_radius(ratio: float) -> float:
    """Far radius of an ideal slipstream over the disc's, by conservation of mass."""
    return math.sqrt(0.5 * (1.0 + ratio) / ratio)


def base(ratio: float, **more: float) -> Setup:
    """The coarse level: 40 corners, steps of 0.08 R/V, cores of 0.1 R, rings followed for 10 R."""
    return replace(Setup(ratio, heed=7.0), **more)  # type: ignore[arg-type]


def on_axis(flow: Flow, stations: tuple[float, ...]) -> Array:
    """Velocity (s, 3) on the slipstream's axis."""
    return flow.velocity(np.array([flow.centre(x) for x in stations]))


def angles(flow: Flow, stations: tuple[float, ...]) -> Array:
    """Flow angle (s,) to the disc's axis on the slipstream's axis, rad."""
    u, _, w = on_axis(flow, stations).T
    return np.asarray(np.arctan2(w, u))


def disc_mean(flow: Flow) -> float:
    """Mean axial velocity through the disc, over its area."""
    nodes, weights = np.polynomial.legendre.leggauss(40)
    radius = np.sqrt(0.5 * (nodes + 1.0))
    points = np.stack([np.zeros_like(radius), radius, np.zeros_like(radius)], axis=1)
    return float(0.5 * weights @ flow.velocity(points)[:, 0])


def at_levels(name: str, run: Callable[[float], list[Row]]) -> list[Row]:
    """Rows of every level; those of the finest once more under the plain name."""
    rows: list[Row] = []
    for level, factor in LEVELS.items():
        found = run(factor)
        rows += [replace(row, case=f"{name} @{level}") for row in found]
    return rows + [replace(row, case=name) for row in found]


def axial() -> list[Row]:
    """A disc that faces the stream: what momentum and mass conservation demand."""
    rows = []
    for ratio in (1.1, 1.5, 2.0, 3.0):

        def run(factor: float, ratio: float = ratio) -> list[Row]:
            flow = settle(base(ratio).finer(factor), damping=0.3)
            out = [
                Row("", "axial speed on the axis over V", f"x = {x:g} R", float(u))
                for x, u in zip(
                    (-1.0, *STATIONS), on_axis(flow, (-1.0, *STATIONS))[:, 0], strict=True
                )
            ]
            out.append(Row("", "mean axial speed through the disc over V", "disc", disc_mean(flow)))
            for x in (2.0, 5.0):
                share = flow.radius(x) ** 2
                out.append(Row("", "area over the disc's", f"x = {x:g} R", share))
            return out

        rows += at_levels(f"axial mu {ratio:g}", run)
    return rows


def inclined() -> list[Row]:
    """One disc at incidence: the direction of its slipstream and the upwash beside it."""
    rows = []
    for ratio in (1.1, 1.5, 2.0, 3.0):

        def run(factor: float, ratio: float = ratio) -> list[Row]:
            setup = base(ratio, alpha=ALPHA).finer(factor)
            flow = settle(setup, damping=0.3)
            out = [
                Row("", "flow angle inside over alpha", f"x = {x:g} R", float(a) / ALPHA)
                for x, a in zip(STATIONS, angles(flow, STATIONS), strict=True)
            ]
            cross = on_axis(flow, (0.0,))[0, 2] / math.sin(ALPHA)
            out.append(Row("", "cross-flow at the disc's centre over V sin alpha", "disc", cross))
            straight = settle(replace(setup, alpha=0.0), damping=0.3)
            points = np.array([flow.centre(4.0) + np.array([0.0, y, 0.0]) for y in BESIDE])
            change = flow.velocity(points) - straight.velocity(points)
            for y, w in zip(BESIDE, change[:, 2] - math.sin(ALPHA), strict=True):
                place = f"x = 4 R, y = {y:g} R"
                out.append(Row("", "upwash beside over V alpha", place, float(w) / ALPHA))
            return out

        rows += at_levels(f"inclined mu {ratio:g}", run)
        linear = tube(ratio, far_radius(ratio))
        doublets = linear.doublets(lambda p: p[:, 2])
        points = np.array([[x, 0.0, 0.0] for x in STATIONS] + [[4.0, y, 0.0] for y in BESIDE])
        w = linear.velocity(points, doublets)[:, 2]
        name = f"inclined mu {ratio:g}, tube of the far radius"
        for x, value in zip(STATIONS, 1.0 + w[: len(STATIONS)], strict=True):
            rows.append(Row(name, "flow angle inside over alpha", f"x = {x:g} R", float(value)))
        for y, value in zip(BESIDE, w[len(STATIONS) :], strict=True):
            place = f"x = 4 R, y = {y:g} R"
            rows.append(Row(name, "upwash beside over V alpha", place, float(value)))
    return rows + checks()


def checks() -> list[Row]:
    """What the tail, the incidence, the core alone and time marching do to the inclined disc."""
    rows = []
    setup = base(1.5, alpha=ALPHA)
    flow = settle(setup, damping=0.3)
    others = {
        "rings followed for 16 R": settle(replace(setup, length=16.0), damping=0.3),
        "tail of 80 R": settle(replace(setup, reach=80.0), damping=0.3),
        "half the incidence": settle(replace(setup, alpha=0.5 * ALPHA), damping=0.3),
        "half the core": settle(replace(setup, core=0.05), damping=0.3),
        "twice the corners": settle(replace(setup, nodes=80), damping=0.3),
        "half the step": settle(replace(setup, step=0.04), damping=0.3),
        "marched 15 steps on": march(flow, 15),
    }
    for name, other in {"as it is": flow, **others}.items():
        for x, a in zip(STATIONS, angles(other, STATIONS) / other.setup.alpha, strict=True):
            case = f"inclined mu 1.5 @coarse, {name}"
            rows.append(Row(case, "flow angle inside over alpha", f"x = {x:g} R", float(a)))
    return rows


LINE_X, LINE_Z, LINE_GAMMA = 1.5, 4.0, 0.4  # two lines along y at z = ±4 R, strength over V R


def line_velocity(points: Array) -> Array:
    """Velocity (p, 3) of the two line vortices."""
    out = np.zeros_like(points)
    for z in (LINE_Z, -LINE_Z):
        dx, dz = points[:, 0] - LINE_X, points[:, 2] - z
        share = LINE_GAMMA / (2.0 * math.pi * (dx**2 + dz**2))
        out[:, 0] += share * dz
        out[:, 2] -= share * dx
    return out


def line_potential(points: Array) -> Array:
    """Their potential (p,), zero on z = 0; the cuts lie at |z| = 4 R."""
    dx = points[:, 0] - LINE_X
    angle = [np.arctan2(points[:, 2] - z, dx) for z in (LINE_Z, -LINE_Z)]
    return np.asarray(-LINE_GAMMA / (2.0 * math.pi) * (angle[0] + angle[1]))


def lines() -> list[Row]:
    """A disc along the stream, in the cross-flow of two line vortices."""
    rows = []
    places = (-1.0, -0.5, 0.0, 0.5, 1.0, 2.0, 3.0, 4.0)
    axis = np.array([[x, 0.0, 0.0] for x in places])
    alone = line_velocity(axis)[:, 2]

    def table(name: str, found: Array, quantity: str = "flow angle") -> list[Row]:
        pairs = zip(places, found, strict=True)
        unit = "rad" if quantity == "flow angle" else "1"
        return [Row(name, quantity, f"x = {x:g} R", float(a), unit) for x, a in pairs]

    def rings(name: str, setup: Setup) -> list[Row]:
        flow = settle(setup, damping=0.3)
        u, _, w = on_axis(flow, places).T
        # Ahead of the disc the linear theory knows no axial speed but V: there w/V is its angle.
        return table(name, np.arctan2(w, u)) + table(name, w, "cross-flow over V")

    rows += table("lines without a disc", alone)
    for ratio in (1.5, 2.0):

        def run(factor: float, ratio: float = ratio) -> list[Row]:
            return rings("", base(ratio, onset=line_velocity).finer(factor))

        rows += at_levels(f"lines mu {ratio:g}", run)
        longer = base(ratio, onset=line_velocity, length=16.0)
        rows += rings(f"lines mu {ratio:g} @coarse, rings followed for 16 R", longer)
        weak = base(ratio, onset=lambda p: 0.5 * line_velocity(p))
        rows += [
            replace(row, value=2.0 * row.value)
            for row in rings(f"lines mu {ratio:g} @coarse, twice the angles at half strength", weak)
        ]
        for radius, words in ((far_radius(ratio), "the far radius"), (1.0, "the disc's radius")):
            for around, suffix in ((32, ""), (24, ", 24 x 24")):
                linear = tube(ratio, radius, around, around)
                w = linear.velocity(axis, linear.doublets(line_potential))[:, 2]
                rows += table(f"lines mu {ratio:g}, tube of {words}{suffix}", alone + w)
        linear = tube(ratio, far_radius(ratio))
        still = linear.doublets(line_potential, condition=False)
        w = linear.velocity(axis, still)[:, 2]
        rows += table(f"lines mu {ratio:g}, tube without the disc's condition", alone + w)
    return rows


def pair() -> list[Row]:
    """Two inclined discs side by side, centres 2.4 R apart."""
    rows = []
    half = 1.2
    beside = (0.0, 2.7, 3.2, 4.2)
    for ratio in (1.5, 2.0):

        def both(values: Array, inside: Array) -> list[Row]:
            out = [
                Row("", "flow angle inside over alpha", f"x = {x:g} R", float(a))
                for x, a in zip((1.0, 2.0), inside, strict=True)
            ]
            return out + [
                Row("", "upwash beside over V alpha", f"x = 2 R, y = {y:g} R", float(w))
                for y, w in zip(beside, values, strict=True)
            ]

        def run(factor: float, ratio: float = ratio) -> list[Row]:
            # Far behind, the two edges that face each other do not settle at μ = 2.
            setup = base(ratio, alpha=ALPHA, y=half, length=4.0, heed=2.8).finer(factor)
            flow = settle(setup, tolerance=1e-4, damping=0.3)
            straight = settle(replace(setup, alpha=0.0), tolerance=1e-4, damping=0.3)
            z = flow.centre(2.0)[2]
            points = np.array([[2.0, y, z] for y in beside])
            change = flow.velocity(points) - straight.velocity(points)
            upwash = (change[:, 2] - math.sin(ALPHA)) / ALPHA
            return both(upwash, angles(flow, (1.0, 2.0)) / ALPHA)

        rows += at_levels(f"pair mu {ratio:g}", run)
        if ratio == 1.5:
            setup = base(ratio, alpha=ALPHA, y=half, heed=4.5, length=7.0)
            flow = settle(setup, tolerance=1e-4, damping=0.3)
            name = f"pair mu {ratio:g} @coarse, rings followed for 7 R"
            for x, a in zip((1.0, 2.0), angles(flow, (1.0, 2.0)) / ALPHA, strict=True):
                rows.append(Row(name, "flow angle inside over alpha", f"x = {x:g} R", float(a)))
        for radius, words in ((far_radius(ratio), "the far radius"), (1.0, "the disc's radius")):
            linear = tube(ratio, radius, 24, 28, places=(half, -half))
            doublets = linear.doublets(lambda p: p[:, 2])
            points = np.array([[2.0, y, 0.0] for y in beside])
            inside = np.array([[x, half, 0.0] for x in (1.0, 2.0)])
            found = both(
                linear.velocity(points, doublets)[:, 2],
                1.0 + linear.velocity(inside, doublets)[:, 2],
            )
            rows += [replace(r, case=f"pair mu {ratio:g}, tubes of {words}") for r in found]
    return rows


@dataclass(frozen=True)
class Wing:
    """What a wing run gives: coefficients (lift, induced drag), strips' cl on the free stream."""

    blown: Array
    clean: Array
    y: Array
    width: Array
    cl: Array
    cl_clean: Array

    @property
    def gains(self) -> Array:
        """ΔCL, ΔCL/CL, ΔCD, ΔCD/CD."""
        change = self.blown - self.clean
        return np.array(
            [change[0], change[0] / self.clean[0], change[1], change[1] / self.clean[1]]
        )


def wing_run(
    size: float,
    ahead: float,
    factor: float,
    nodes: int = 0,
    ratio: float = 1.5,
    alpha: float = PLATE_ALPHA,
    rows: int = 8,
    strips: tuple[int, int] = (25, 20),
    behind: float = 2.0,
    wing_core: float = 0.03,
    core: float = 0.0,
) -> Wing:
    """A flat wing behind a disc on its chord plane, the disc's axis along the chord.

    Args:
        size: disc radius over chord.
        ahead: disc ahead of the leading edge, chords.
        factor: level.
        nodes: corners of a ring, 0 for the level's.
        ratio: μ.
        alpha: incidence of wing and disc, rad.
        rows: panels along the chord.
        strips: strips over the slipstream and beside it, half span.
        behind: how far behind the trailing edge rings are followed, disc radii.
        wing_core: core of the wing's vortices as the rings see them, disc radii.
        core: core of the rings, 0 for the level's.
    """
    chord = 1.0 / size
    wing = plate(induced, chord, ahead * chord, ASPECT, 1.25, strips, rows)
    end = (ahead + 1.0) * chord
    setup = Setup(ratio, alpha=alpha, length=end + behind, heed=end + 0.7).finer(factor)
    setup = replace(
        setup,
        wing=wing,
        wing_core=wing_core,
        wing_parts=8,
        nodes=nodes or setup.nodes,
        core=core or setup.core,
    )

    def coefficients(force: Array) -> Array:
        """Lift and drag (2, s) of the strips over ½ V²."""
        x, _, z = 2.0 * force.T
        lift = z * math.cos(alpha) - x * math.sin(alpha)
        return np.array([lift, x * math.cos(alpha) + z * math.sin(alpha)])

    def stream(points: Array) -> Array:
        return np.broadcast_to(setup.stream, points.shape)

    flow = settle(setup, tolerance=1e-4, damping=0.3)
    width = np.diff(wing.edges)
    area = ASPECT * chord**2
    clean = coefficients(wing.forces(wing.solve(stream(wing.points)), stream))
    blown = coefficients(wing.forces(flow.gamma, flow.without_wing))
    return Wing(
        blown=blown.sum(axis=1) / area,
        clean=clean.sum(axis=1) / area,
        y=0.5 * (wing.edges[1:] + wing.edges[:-1]) / chord,
        width=width / chord,
        cl=blown[0] / (width * chord),
        cl_clean=clean[0] / (width * chord),
    )


NAMES = (("ΔCL", "1"), ("ΔCL/CL", "1"), ("ΔCDi", "1"), ("ΔCDi/CDi", "1"))


def wing_name(size: float, ahead: float) -> str:
    """Name of a wing case in the files."""
    return f"wing R/c {size:g}, {ahead:g} c ahead"


def wing(size: float, ahead: float) -> tuple[list[Row], list[list[str]]]:
    """The blown wing at three levels, a few numbers of corners each, and what else matters.

    Args:
        size: disc radius over chord.
        ahead: disc ahead of the leading edge, chords.
    """
    rows: list[Row] = []
    loads: list[list[str]] = []
    # Corners no farther apart than the core, or the edge is lumpy where the wing cuts it; on a wing
    # of long chord so many wind round its wake and do not settle.
    dense = size >= 1.0

    def corners(factor: float) -> int:
        return 4 * round((15.0 if dense else 10.0) * factor)

    name = wing_name(size, ahead)
    place = "wing"
    everything = []
    for level, factor in LEVELS.items():
        first = corners(factor)
        # A corner that passes close to the plate matters; other corners pass elsewhere.
        strips = (40, 20) if level == "fine" else (25, 20)
        runs = [
            wing_run(size, ahead, factor, first + 4 * k, strips=strips) for k in range(4 - dense)
        ]
        gains = np.array([run.gains for run in runs])
        everything.append(gains)
        for k, (quantity, unit) in enumerate(NAMES):
            for text, value in (
                (quantity, gains[:, k].mean()),
                (f"{quantity}, least", gains[:, k].min()),
                (f"{quantity}, greatest", gains[:, k].max()),
            ):
                rows.append(Row(f"{name} @{level}", text, place, float(value), unit))
    last = runs[0]
    rows.append(Row(name, "CL unblown", place, float(last.clean[0])))
    rows.append(Row(name, "CDi unblown", place, float(last.clean[1])))
    for k, (quantity, unit) in enumerate(NAMES):
        every = np.concatenate(everything)[:, k]
        value = float(everything[-1][:, k].mean())
        rows.append(Row(name, quantity, place, value, unit))
        rows.append(Row(name, f"{quantity}, least of all", place, every.min(), unit))
        rows.append(Row(name, f"{quantity}, greatest of all", place, every.max(), unit))
    blown = np.mean([run.cl for run in runs], axis=0)
    for y, width, cl, clean in zip(last.y, last.width, blown, last.cl_clean, strict=True):
        loads.append([name, f"{y:.5f}", f"{width:.5f}", f"{cl:.6f}", f"{clean:.6f}"])
    medium = LEVELS["medium"]
    usual = corners(medium)
    others = {
        "16 rows": wing_run(size, ahead, medium, usual, rows=16),
        "40 + 30 strips": wing_run(size, ahead, medium, usual, strips=(40, 30)),
        "rings followed 1 R further": wing_run(size, ahead, medium, usual, behind=3.0),
        "wing cores 0.06 R": wing_run(size, ahead, medium, usual, wing_core=0.06),
        "ring cores 0.1 R": wing_run(size, ahead, medium, usual, core=0.1),
        "incidence 0.25 deg": wing_run(size, ahead, medium, usual, alpha=math.radians(0.25)),
    }
    words = "a third fewer corners" if dense else "half as many corners again"
    others[words] = wing_run(size, ahead, medium, 56 if dense else 84)
    same = wing_run(size, ahead, medium, usual)
    for text, run in {"as it is": same, **others}.items():
        for k in (1, 3):
            quantity, unit = NAMES[k]
            case = f"{name} @medium, one run, {text}"
            rows.append(Row(case, quantity, place, float(run.gains[k]), unit))
    return rows, loads


Found = tuple[list[Row], list[list[str]]]


def plain(run: Callable[[], list[Row]]) -> Callable[[], Found]:
    """A part without span loads."""
    return lambda: (run(), [])


# By the words with which the names of a part's cases begin.
PARTS: dict[str, Callable[[], Found]] = {
    "axial": plain(axial),
    "inclined": plain(inclined),
    "lines": plain(lines),
    "pair": plain(pair),
    **{wing_name(*case): partial(wing, *case) for case in WING_CASES},
}

NOTE = (
    "# computed: free vortex rings behind ideal discs (rings.py) and a linear tube of doublets"
    " (tube.py), by cases.py; not measured. @coarse, @medium, @fine: 40, 56, 80 corners, steps"
    " 0.08, 0.057, 0.04 R/V, cores 0.1, 0.071, 0.05 R (with a wing of R/c 1"
    " half as many corners again); without a level: the finest."
)
LOADS_NOTE = (
    "# computed: strip loads of the flat wing behind one disc, mu 1.5, alpha 1.7 deg, finest level,"
    " mean over three (R/c 1) or four numbers of corners; cl on the free stream's q and"
    " the chord (c cl / c)."
)


def merge(path: Path, note: str, header: list[str], part: str, rows: list[list[str]]) -> None:
    """Put a part's rows in the place of its old ones, parts in the order of PARTS."""
    kept: list[list[str]] = []
    if path.exists():
        with path.open(encoding="utf-8", newline="") as file:
            kept = [r for r in csv.reader(x for x in file if not x.startswith("#"))][1:]
    order = list(PARTS)

    def place(row: list[str]) -> int:
        return next(k for k, name in enumerate(order) if row[0].startswith(name))

    rows = [r for r in kept if place(r) != order.index(part)] + rows
    rows.sort(key=place)
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(note + "\n")
        csv.writer(file, lineterminator="\n").writerows([header, *rows])


def main(names: list[str]) -> None:
    """Run the named parts, or all, and write what they give."""
    for part in names or PARTS:
        began = time.perf_counter()
        rows, loads = PARTS[part]()
        table = [[r.case, r.quantity, r.place, f"{r.value:.6g}", r.unit] for r in rows]
        header = ["case", "quantity", "place", "value", "unit"]
        merge(HERE / "computed.csv", NOTE, header, part, table)
        if loads:
            header = ["case", "y_over_c", "width_over_c", "cl_blown", "cl_unblown"]
            merge(HERE / "span_loads.csv", LOADS_NOTE, header, part, loads)
        print(f"{part}: {time.perf_counter() - began:.0f} s", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
