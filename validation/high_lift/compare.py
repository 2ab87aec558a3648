"""High lift: stall of elliptic wings and ground effect against theory; the take-off case's polars.

Run as a script for the tables and the figures; the functions give the numbers alone. `--short`
leaves the take-off case out, which takes minutes.
"""

from __future__ import annotations

import argparse
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import blownwing.airfoil
from blownwing.airfoil.section import read_section
from blownwing.case.model import Case
from blownwing.case.reader import read_case
from blownwing.coupling import solve
from blownwing.study.lift.peak import Peak, peak_lift, unblown

HERE = Path(__file__).parent
CASE = HERE.parents[1] / "cases" / "short_field_takeoff.toml"
SECTION = Path(blownwing.airfoil.__file__).parent / "data" / "naca0012_tripped_80.csv"
ASPECTS = (6.0, 8.0, 10.0)
LIFT_BAR, ANGLE_BAR = 0.015, 0.7  # of CLmax, and deg
# 1 − σ of elliptic images, computed from the exact integral.
GROUND = {0.05: 0.3435, 0.10: 0.5158, 0.15: 0.6295, 0.20: 0.7095, 0.25: 0.7678, 0.50: 0.9065}
BLUE, ORANGE, GREEN = "#0072B2", "#D55E00", "#009E73"

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Stall:
    """Lift curve of an elliptic wing: exact, of the lattice, and the lattice's own delay, deg.

    later: incidence that a lifting surface needs beyond the lifting line's for the same lift.
    """

    aspect: float
    exact: Array  # (2, n) deg, CL
    lattice: Array  # (2, n)
    later: float

    @property
    def peaks(self) -> tuple[Array, Array]:
        """(deg, CL) of both largest lifts."""
        exact, lattice = (c[:, int(np.argmax(c[1]))] for c in (self.exact, self.lattice))
        return exact, lattice


def elliptic_wing(aspect: float, airfoil: str, **model: object) -> Case:
    """Untwisted, mean chord 1 m, straight quarter-chord line, incompressible."""
    angle = np.linspace(0.0, 0.5 * np.pi, 41)
    chord = np.maximum(4.0 / np.pi * np.cos(angle), 1e-3)
    stations = [
        {
            "y": float(0.5 * aspect * np.sin(t)),
            "x": float(-0.25 * c),
            "chord": float(c),
            "airfoil": airfoil,
        }
        for t, c in zip(angle, chord, strict=True)
    ]
    options = {"sections": "tables", "compressibility": False, "chordwise": 2, "spanwise": 24}
    return Case.from_tables(
        {
            "flow": {"airspeed": 90.0, "alpha": 1.0},
            "wing": {"stations": stations},
            "model": {**options, **model},
        }
    )


def exact_curve(aspect: float) -> Array:
    """(2, n) incidence, deg, and CL: α = α_e + cl(α_e)/(π A), for any section (Prandtl 1918)."""
    table = read_section(SECTION)
    local = np.arange(0.0, 30.0, 0.05)
    cl = np.interp(np.radians(local), table.alpha, table.cl[-1])
    return np.stack((local + np.degrees(cl / (np.pi * aspect)), cl))


def elliptic_stall(aspect: float) -> Stall:
    """The lattice's curve beside the exact one."""
    exact = exact_curve(aspect)
    peak, top = exact[:, int(np.argmax(exact[1]))]
    linear = solve(elliptic_wing(aspect, "flat", sections="linear"))
    slope = float(linear.totals["CL"]) / math.radians(1.0)
    line = 2.0 * math.pi * aspect / (aspect + 2.0)
    later = math.degrees(top * (1.0 / slope - 1.0 / line))
    alpha = np.unique(np.round(np.r_[0.5:28.0:1.5, peak - 0.4 : peak + 2.6 : 0.1], 6))
    found = solve(elliptic_wing(aspect, str(SECTION)).replace(**{"flow.alpha": alpha.tolist()}))
    return Stall(aspect, exact, np.stack((alpha, found.totals["CL"])), later)


def ground_factor(height: float, airfoil: str, aspect: float = 8.0) -> float:
    """Induced drag at given lift near the ground over that in free air; height in spans."""
    case = elliptic_wing(aspect, airfoil).replace(**{"flow.alpha": 2.0})
    near = case.replace(**{"flow.ground_height": height * aspect})
    drag = []
    for one in (near, case):
        totals = solve(one).totals
        drag.append(float(totals["CD_induced_farfield"]) / float(totals["CL"]) ** 2)
    return drag[0] / drag[1]


def wieselsberger(height: Array | float) -> Array:
    """Wieselsberger's fit of 1 − σ, for 1/15 < h/b < 1/4."""
    h = np.asarray(height)
    return np.asarray(1.0 - (1.0 - 1.32 * h) / (1.05 + 7.4 * h))


def take_off() -> tuple[Peak, Peak]:
    """Largest lift of the take-off case, blown and unblown; their scans are the polars."""
    case = read_case(CASE)
    return peak_lift(case, near=12.0), peak_lift(unblown(case), near=12.0)


def stall_table(stalls: list[Stall]) -> str:
    lines = [
        "  A   exact CLmax  alpha   lattice CLmax  alpha    CLmax  alpha   lifting surface  rest"
    ]
    for s in stalls:
        (a0, c0), (a1, c1) = s.peaks
        lines.append(
            f"{s.aspect:3.0f}{c0:14.4f}{a0:7.2f}{c1:16.4f}{a1:7.2f}{c1 / c0 - 1.0:9.2%}"
            f"{a1 - a0:+7.2f}{s.later:+18.2f}{a1 - a0 - s.later:+6.2f}"
        )
    return "\n".join(lines)


def ground_table(rows: list[tuple[float, float, float]]) -> str:
    lines = ["h/b    exact   Wieselsberger   flat, table   NACA 0012, table"]
    for (height, flat, table), exact in zip(rows, GROUND.values(), strict=True):
        lines.append(
            f"{height:4.2f}{exact:9.4f}{float(wieselsberger(height)):16.4f}{flat:14.4f}{table:19.4f}"
        )
    return "\n".join(lines)


def peak_table(blown: Peak, bare: Peak) -> str:
    lines = ["          CL wing  CL thrust  alpha   first stall: alpha, fraction of semi-span"]
    for name, peak in (("blown", blown), ("unblown", bare)):
        lines.append(
            f"{name:8}{peak.CL:9.3f}{peak.CL_from_thrust:11.3f}{peak.alpha:7.2f}"
            f"{peak.stall_alpha:22.2f}{peak.stall_fraction:10.2f}"
        )
    return "\n".join(lines)


def draw_stalls(stalls: list[Stall], path: Path) -> None:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10.5, 4.2), layout="constrained")
    axes = figure.subplots(1, len(stalls), sharey=True)
    for axis, s in zip(axes, stalls, strict=True):
        axis.plot(*s.exact, color=BLUE, label="exact, lifting line")
        shifted = s.exact[0] + s.later * s.exact[1] / s.exact[1].max()
        axis.plot(shifted, s.exact[1], "--", color=GREEN, lw=1, label="with lifting-surface shift")
        axis.plot(*s.lattice, "o-", ms=3, lw=0.8, color=ORANGE, label="lattice on the table")
        axis.set_title(f"Elliptic wing, A = {s.aspect:.0f}", fontsize=10)
        axis.set_xlabel("Incidence, deg")
        axis.set_xlim(0.0, 28.0)
        axis.set_ylim(0.0, 1.8)
        axis.grid(alpha=0.3)
    axes[0].set_ylabel("Lift coefficient CL")
    axes[0].legend(loc="upper left", fontsize=8)
    figure.suptitle("Stall of untwisted elliptic wings, measured NACA 0012 (Ladson 1988)")
    figure.savefig(path, dpi=130)


def draw_ground(rows: list[tuple[float, float, float]], path: Path) -> None:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(5.6, 4.2), layout="constrained")
    axis = figure.subplots()
    height = np.array([row[0] for row in rows])
    fit = np.linspace(1.0 / 15.0, 0.25, 50)
    exact = list(GROUND.values())
    axis.plot(height, exact, ".-", color=BLUE, lw=0.8, label="exact, elliptic images")
    axis.plot(fit, wieselsberger(fit), "--", color=GREEN, label="Wieselsberger (1922)")
    axis.plot(height, [r[1] for r in rows], "s", ms=7, mfc="none", color=ORANGE,
              label="lattice, flat section's table")  # fmt: skip
    axis.plot(height, [r[2] for r in rows], "x", ms=6, color="0.2", label="lattice, NACA 0012")
    axis.set_xlabel("Height over span h/b")
    axis.set_ylabel("Induced drag in ground effect / free air")
    axis.set_xlim(0.0, 0.55)
    axis.set_ylim(0.0, 1.0)
    axis.grid(alpha=0.3)
    axis.legend(loc="lower right", fontsize=8)
    figure.savefig(path, dpi=130)


def draw_take_off(blown: Peak, bare: Peak, path: Path) -> None:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.5, 4.2), layout="constrained")
    left, right = figure.subplots(1, 2)
    for name, peak, color in (("blown", blown, ORANGE), ("unblown", bare, BLUE)):
        alpha, lift = np.array(peak.scan).T
        left.plot(alpha, lift, "o-", ms=3, color=color, label=f"wing, {name}")
        left.plot(peak.alpha, peak.CL, "*", ms=12, color=color)
        left.annotate(f"{peak.CL:.2f}", (peak.alpha, peak.CL), xytext=(0, 8), ha="center",
                      textcoords="offset points", color=color)  # fmt: skip
        left.axvline(peak.stall_alpha, color=color, ls=":", lw=1)
        strips = peak.solution.strips
        right.plot(strips["y"], strips["stall_margin"], color=color, label=name)
    left.set_xlabel("Incidence, deg (dotted: first strip stalls)")
    left.set_ylabel("Lift coefficient CL, thrust not counted")
    left.set_ylim(top=2.95)
    left.legend(loc="lower right")
    right.axhline(0.0, color="0.4", lw=0.8)
    right.set_xlabel("Spanwise place y, m")
    right.set_ylabel("Incidence in hand at the largest lift, deg")
    right.set_ylim(top=32.0)
    right.legend(loc="upper center", ncols=2)
    for axis in (left, right):
        axis.grid(alpha=0.3)
    figure.suptitle("Take-off case: eight propellers at 350 N, slotted flaps 30°, 20 m/s")
    figure.savefig(path, dpi=130)


def main() -> None:
    parser = argparse.ArgumentParser(description="high lift against theory")
    parser.add_argument("--short", action="store_true", help="leave the take-off case out")
    short = parser.parse_args().short
    stalls = [elliptic_stall(aspect) for aspect in ASPECTS]
    print(stall_table(stalls), end="\n\n")
    draw_stalls(stalls, HERE / "elliptic_stall.png")
    rows = [(h, ground_factor(h, "flat"), ground_factor(h, str(SECTION))) for h in GROUND]
    print(ground_table(rows), end="\n\n")
    draw_ground(rows, HERE / "ground_effect.png")
    if not short:
        blown, bare = take_off()
        print(peak_table(blown, bare))
        draw_take_off(blown, bare, HERE / "take_off_polars.png")


if __name__ == "__main__":
    main()
