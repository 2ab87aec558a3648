"""Slipstream edges against theory, an independent prototype and published trends.

Run as a script for the tables and the figures (`--quick` leaves the figures out). The lifting line
and the plane jet are the test-only solvers of tests/jet_edge.
"""

from __future__ import annotations

import csv
import math
import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
sys.path.insert(0, str(ROOT / "tests" / "jet_edge"))

from edge_scenes import increment, jet, plate, scene  # noqa: E402 (path set above)
from koning_line import loaded_line  # noqa: E402
from plane_jet import lift_factor  # noqa: E402

from blownwing import Case, solve  # noqa: E402
from blownwing.solution.model import Solution  # noqa: E402

Array = NDArray[np.float64]
BLADE = str(ROOT / "shared" / "blades" / "tunnel_4.csv")


def computed(case: str) -> dict[tuple[float, float], float]:
    """Values of `computed.csv` for one case, by its two parameters."""
    lines = (HERE / "computed.csv").read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return {
        (float(r["a"] or "nan"), float(r["b"] or "nan")): float(r["value"])
        for r in rows
        if r["case"] == case
    }


def chain(radius: float, ratio: float, edge: bool = True) -> float:
    """Increment ΔCL/CL of the plate A = 8 through the whole calculation, default settings."""
    one = jet(radius, ratio, along=2.0, nozzle=True)
    return float(increment(solve(scene([one], model={"jet_edge": edge}))))


def increments() -> None:
    """Increments of the flat wing A = 8 against the prototype."""
    print("\nIncrement of CL of a flat wing, A = 8, one jet from a nozzle on its middle")
    print("  R/c  Vj/V   prototype  its lattice          default           superposed  default")
    plain = computed("increment_plain")
    for (radius, ratio), value in computed("increment_edge").items():
        same = plate(4.0, radius, 14, 28, middle=True).increment(ratio)
        ours, added = chain(radius, ratio), chain(radius, ratio, edge=False)
        print(
            f" {radius:5.2f} {ratio:5.2f} {value:10.4f} {same:10.4f} {same / value - 1:+7.1%}"
            f" {ours:10.4f} {ours / value - 1:+7.1%} {plain[radius, ratio]:12.3f} {added:8.4f}"
        )


def strip_convergence(radius: float, ratio: float, middle: bool) -> tuple[list[int], list[float]]:
    """Increments with n strips on the half of the jet (2 n in a span segment)."""
    counts = [7, 14, 28, 56] if middle else [4, 7, 14, 28]
    return counts, [plate(4.0, radius, n, 2 * n, middle=middle).increment(ratio) for n in counts]


def convergence() -> None:
    """Both places of the collocation points, strips and tube panels refined."""
    print("\nIncrement against strips on half the jet; points at middles | at middle angles")
    for radius, ratio in ((0.25, 1.5), (0.5, 1.5), (0.5, 2.0)):
        parts = []
        for middle in (True, False):
            counts, found = strip_convergence(radius, ratio, middle)
            parts.append("  ".join(f"{n}: {v:.4f}" for n, v in zip(counts, found, strict=True)))
        print(f"  R/c {radius:4.2f}, Vj/V {ratio:3.1f}:  {parts[0]}  |  {parts[1]}")
    print("\nIncrement against tube panels (around × rings), whole calculation")
    for y, radius, ratio in ((0, 0.25, 1.5), (0, 0.5, 2.0), (0, 1.0, 2.0), (2, 0.25, 1.5),
                             (2, 0.5, 2.0), (2, 1.0, 2.0)):  # fmt: skip
        grids = ((18, 8), (36, 16), (72, 32), (144, 64))
        found = [
            increment(solve(scene([jet(radius, ratio, y=float(y), along=2.0)],
                                  model={"jet_around": a, "jet_rings": r})))
            for a, r in grids
        ]  # fmt: skip
        text = "  ".join(f"{a}×{r}: {v:.4f}" for (a, r), v in zip(grids, found, strict=True))
        print(f"  y {y}, R/c {radius:4.2f}, Vj/V {ratio:3.1f}:  {text}  "
              f"(default to double {found[2] / found[1] - 1:+.2%})")  # fmt: skip


def open_jet_factor(aspect: float, size: float) -> float:
    """δ of Δα = δ (S/C) CL in still air; size: span over jet diameter."""
    radius = 0.5 * aspect / size
    wing = plate(0.5 * aspect, radius, 0, 16, rows=6, ahead=2.0 * radius)
    width = wing.lattice.width
    free, bound = (
        2.0 * float(np.sum(wing.strip_strengths(m) * width)) / width.sum() for m in (1.0, math.inf)
    )
    return float((bound / free - 1.0) / bound * math.pi * radius**2 / aspect)


def line_shares(ratio: float, aspects: tuple[float, ...]) -> list[float]:
    """Lattice over lifting line with images, lift slope, R/b = 0.15."""
    return [
        plate(0.5 * a, 0.15 * a, 10, 20, rows=4, ahead=0.3 * a).lift_slope(ratio)
        / loaded_line(a, 0.15, ratio)[2]
        for a in aspects
    ]


def limits() -> None:
    """Classical limits."""
    print("\nOpen jet (Vj/V → ∞), δ at span/diameter 0.4, 0.2, 0.1 and extrapolated; −0.125")
    for aspect in (4.0, 8.0):
        found = [open_jet_factor(aspect, s) for s in (0.4, 0.2, 0.1)]
        print(f"  A {aspect:.0f}: " + "  ".join(f"{v:.4f}" for v in found)
              + f"   → {2 * found[2] - found[1]:.4f}")  # fmt: skip
    print("\nLattice over lifting line with images (R/b = 0.15), A = 12, 24, 48 and extrapolated")
    for (share, ratio), value in computed("line_slope").items():
        found = line_shares(ratio, (12.0, 24.0, 48.0))
        line = loaded_line(6.0, share, ratio)[2]
        print(f"  Vj/V {ratio:4.2f}: line at A = 6 {line:.3f} ({value:.3f});  "
              + "  ".join(f"{v:.4f}" for v in found)
              + f"   → {2 * found[2] - found[1]:.4f}")  # fmt: skip
    print("\nPlane jet, K of doublet sheets against the image series")
    for (chord, ratio), value in computed("plane_jet").items():
        print(f"  c/H {chord:3.1f}, Vj/V {ratio:4.2f}: {lift_factor(chord, ratio):.5f} {value:.5f}")
    k = 0.5 * math.pi
    print(f"  c/H 1.0, Vj/V 100: {lift_factor(1.0, 100.0):.5f}, still air {math.tanh(k) / k:.5f}")
    print(
        "\nWing wholly inside a jet of R = 40 c: lift over V²-lift times μ² (stream), μ²(1 − ε/α)"
    )
    for ratio in (1.25, 2.0):
        wide = {"radius": 40.0, "ratio": ratio, "ahead": 120.0}
        ours = [solve(scene([jet(**wide, along=a)], 0.5)).totals for a in (0.5, 0.0)]
        held = 1.0 - ratio * (ratio - 1.0) / (ratio**2 + 1.0)
        print(f"  Vj/V {ratio:4.2f}: " + "  ".join(
            f"{t['lift'] / t['lift_unblown'] / ratio**2 / n - 1:+.3%}"
            for t, n in zip(ours, (1.0, held), strict=True)))  # fmt: skip


def transport(alpha: float, thrust: float, speed: float, density: float, edge: bool) -> Case:
    """An invented transport: span 36 m, four discs of 4 m; thrust of each, N."""
    discs = [
        {
            "name": name,
            "kind": "disc",
            "position": [-1.5, y, -0.3],
            "diameter": 4.0,
            "thrust": thrust,
            "mirror": True,
        }
        for name, y in (("inner", 4.9), ("outer", 9.6))
    ]
    stations = [
        {"y": 0.0, "chord": 4.4, "airfoil": "naca2415"},
        {"y": 6.0, "chord": 4.4, "airfoil": "naca2415"},
        {"y": 18.0, "x": 0.55, "z": 0.6, "chord": 2.2, "airfoil": "naca2412"},
    ]
    flow = {"airspeed": speed, "alpha": alpha, "density": density}
    tables = {"flow": flow, "wing": {"stations": stations}, "propellers": discs}
    return Case.from_tables({**tables, "model": {"jet_edge": edge}})


def lift_slope_changes(
    thrust: float, speed: float, density: float, edge: bool
) -> tuple[float, float]:
    """Change of dCL/dα by the slipstreams: the wing's, and with the thrust's lift component."""
    low, high = (solve(transport(a, thrust, speed, density, edge)).totals for a in (1.0, 5.0))
    clean = high["CL_unblown"] - low["CL_unblown"]
    wing = high["CL"] - low["CL"]
    thrust_part = high["CL_from_thrust"] - low["CL_from_thrust"]
    return wing / clean - 1.0, (wing + thrust_part) / clean - 1.0


def turboprop() -> None:
    """Lift slope of the invented four-engined transport."""
    print("\nLift slope of a four-propeller transport: wing alone, with thrust; edges | superposed")
    for name, thrust, speed, density in (
        ("cruise", 9e3, 150.0, 0.6), ("climb", 24e3, 80.0, 1.1), ("take-off", 35e3, 55.0, 1.2)
    ):  # fmt: skip
        loading = thrust / (0.5 * density * speed**2 * math.pi * 4.0)
        edge, plain = (lift_slope_changes(thrust, speed, density, e) for e in (True, False))
        print(f"  {name:9} Tc {loading:4.2f}, Vj/V {math.sqrt(1 + loading):4.2f}: "
              f"{edge[0]:+.1%} {edge[1]:+.1%}  |  {plain[0]:+.1%} {plain[1]:+.1%}")  # fmt: skip


def row_of(places: list[float], advance: float, alpha: float) -> Solution:
    """Propellers side by side far ahead of a wing; advance ratio J at 30 m/s, diameter 0.24 m."""
    turns = 30.0 / (advance * 0.24)
    propellers = [
        {
            "name": f"p{i}",
            "position": [-200.0, y, 0.0],
            "diameter": 0.24,
            "blades": 4,
            "blade": BLADE,
            "spin": "clockwise",
            "rpm": 60.0 * turns,
        }
        for i, y in enumerate(places)
    ]
    wing = {"stations": [{"y": 0.0, "chord": 0.25}, {"y": 0.75, "chord": 0.25}]}
    return solve(
        Case.from_tables(
            {
                "flow": {"airspeed": 30.0, "alpha": alpha},
                "wing": wing,
                "propellers": propellers,
                "model": {"jet_edge": False, "chordwise": 2, "spanwise": 8},
            }
        )
    )


def neighbours() -> None:
    """Efficiency of the middle one of three propellers, tip clearance 4 % R."""
    print("\nMiddle of three propellers, tip clearance 0.04 R: change of efficiency and thrust")
    pitch = 0.12 * 2.04
    for advance in (0.8, 1.0):
        for alpha in (0.0, 6.0):
            one = row_of([0.0], advance, alpha).propellers["p0"]
            mid = row_of([-pitch, 0.0, pitch], advance, alpha).propellers["p1"]
            change = [mid[name] / one[name] - 1.0 for name in ("efficiency", "thrust")]
            print(f"  J {advance:3.1f}, α {alpha:.0f}°: {change[0]:+.3%}  {change[1]:+.3%}"
                  "  (published about -1.5 % of efficiency)")  # fmt: skip


def mounted(y: float, lift: float, thrust: float, edge: bool = True) -> dict[str, float]:
    """Totals at CL of a half-model-like wing with a pair of propellers at ±y, inboard up."""

    def totals(alpha: float) -> dict[str, float]:
        stations = [{"y": s, "chord": 0.25, "airfoil": "naca0015"} for s in (0.0, 0.75)]
        propeller = {
            "name": "p",
            "position": [-0.2, y, 0.0],
            "diameter": 0.24,
            "blades": 4,
            "blade": BLADE,
            "spin": "inboard_up",
            "thrust": thrust,
            "mirror": True,
        }
        tables = {
            "flow": {"airspeed": 40.0, "alpha": alpha},
            "wing": {"stations": stations},
            "propellers": [propeller],
            "model": {"jet_edge": edge},
        }
        return dict(solve(Case.from_tables(tables)).totals)

    low, high = totals(0.8 * 12.0 * lift), totals(1.2 * 12.0 * lift)
    for _ in range(6):
        step = (lift - high["CL"]) / (high["CL"] - low["CL"]) * (high["alpha"] - low["alpha"])
        low, high = high, totals(high["alpha"] + step)
        if abs(high["CL"] - lift) < 1e-6:
            return high
    raise RuntimeError(f"CL = {lift:g} was not reached")


def thrust_of(coefficient: float) -> float:
    """Thrust, N, from CT = T/(ρ n² D⁴) at J = 0.8 and 40 m/s."""
    return coefficient * 1.225 * (40.0 / (0.8 * 0.24)) ** 2 * 0.24**4


def tip_against_inboard(lift: float, thrust: float, edge: bool = True) -> tuple[float, float]:
    """Relative difference in CD and in induced drag, tip against inboard."""
    tip, inboard = (mounted(y, lift, thrust, edge) for y in (0.75, 0.35))
    return tip["CD"] / inboard["CD"] - 1.0, tip["CD_induced"] / inboard["CD_induced"] - 1.0


def tips() -> None:
    """Tip-mounted against inboard propellers, inboard up."""
    print("\nTip against inboard mounting, inboard up: change of CD, of CD_induced; superposed: CD")
    points = [
        (f"CL {c}, CT {t}", c, thrust_of(t))
        for c, t in ((0.3, 0.12), (0.5, 0.12), (0.7, 0.12), (0.5, 0.06), (0.5, 0.18))
    ]
    points.append(("CL 0.5, T/(ρV²D²) 0.12", 0.5, 0.12 * 1.225 * 40.0**2 * 0.24**2))
    for name, lift, thrust in points:
        total, induced = tip_against_inboard(lift, thrust)
        plain, _ = tip_against_inboard(lift, thrust, edge=False)
        print(f"  {name:24} ({thrust:4.1f} N): {total:+.1%}  {induced:+.1%}   {plain:+.1%}")


if __name__ == "__main__":
    for part in (increments, convergence, limits, turboprop, neighbours, tips):
        part()
    if "--quick" not in sys.argv[1:]:
        from figures import draw

        draw()
