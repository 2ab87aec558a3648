"""Isolated propellers: blade-element momentum against measured thrust and power.

Run as a script for the table and the figure; `comparison` gives the numbers alone.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from blownwing.case.air import Air, air_at
from blownwing.propeller.blade import read_blade
from blownwing.propeller.rotor import (
    Rotor,
    axial_inflow,
    build_rotor,
    coefficients,
    solve_rotor,
)

HERE = Path(__file__).parent
BLADES = HERE.parents[1] / "shared" / "blades"
INCH = 0.0254
# Bars on the errors: from J = 0.4 up in CT and CP, and in the advance ratio of zero thrust.
FROM_J, CT_BAR, CP_BAR, J_BAR = 0.4, 0.012, 0.010, 0.05

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Comparison:
    """One propeller: measured rows (J, CT, CP) and the computed CT, CP at the same J and rpm."""

    name: str
    rpm: float
    measured: Array
    computed: Array
    zero_thrust: tuple[float, float]

    @property
    def errors(self) -> tuple[float, float, float]:
        """Largest |ΔCT| and |ΔCP| from J = 0.4 up, and |Δ| of the zero-thrust J."""
        high = self.measured[:, 0] >= FROM_J
        delta = np.abs(self.computed - self.measured[:, 1:])[high].max(axis=0)
        return float(delta[0]), float(delta[1]), abs(self.zero_thrust[1] - self.zero_thrust[0])

    @property
    def within(self) -> bool:
        """Whether all three errors are within the bars."""
        return all(e <= bar for e, bar in zip(self.errors, (CT_BAR, CP_BAR, J_BAR), strict=True))


def comparison() -> list[Comparison]:
    """All propellers of `measured.csv`."""
    lines = (HERE / "measured.csv").read_text(encoding="utf-8").splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    air = air_at()
    result = []
    for name in dict.fromkeys(row["propeller"] for row in rows):
        own = [row for row in rows if row["propeller"] == name]
        measured = np.array([[float(row[key]) for key in ("J", "CT", "CP")] for row in own])
        blade = read_blade(BLADES / f"uiuc_{name}.csv")
        rotor = build_rotor(blade, float(own[0]["diameter_in"]) * INCH, int(own[0]["blades"]))
        rpm = [float(row["rpm"]) for row in own]
        computed = np.array(
            [ct_cp(rotor, air, j, n) for j, n in zip(measured[:, 0], rpm, strict=True)]
        )
        grid = np.linspace(0.3, 1.4, 111)
        curve = np.array([ct_cp(rotor, air, float(j), max(rpm[1:]))[0] for j in grid])
        zero = (
            zero_crossing(measured[1:, 0], measured[1:, 1]),
            zero_crossing(grid, curve),
        )
        result.append(Comparison(name, max(rpm[1:]), measured, computed, zero))
    return result


def ct_cp(rotor: Rotor, air: Air, advance_ratio: float, rpm: float) -> tuple[float, float]:
    """Computed CT and CP."""
    speed = advance_ratio * rpm / 60.0 * rotor.diameter
    omega = rpm * math.pi / 30.0
    loads = solve_rotor(rotor, air, omega, 0.0, "clockwise", axial_inflow(rotor, speed))
    result = coefficients(rotor, air, loads, speed)
    return result.thrust, result.power


def zero_crossing(advance_ratio: Array, thrust: Array) -> float:
    """J at which CT falls through zero, linear between points or from the last two."""
    below = np.flatnonzero(thrust < 0.0)
    k = int(below[0]) if len(below) else len(thrust) - 1
    (j0, j1), (t0, t1) = advance_ratio[k - 1 : k + 1], thrust[k - 1 : k + 1]
    return float(j0 + (j1 - j0) * t0 / (t0 - t1))


def table(results: list[Comparison]) -> str:
    """Errors as plain text."""
    lines = [
        f"{'propeller':16}{'rpm':>6}{'max|dCT|':>10}{'max|dCP|':>10}{'J(T=0) meas':>13}{'comp':>8}"
        f"{'static dCT':>12}{'dCP':>8}{'eta max meas':>14}{'comp':>8}  bars"
    ]
    for c in results:
        dct, dcp, _ = c.errors
        static = c.computed[0] / c.measured[0, 1:] - 1.0
        best = [
            float(np.max(c.measured[1:, 0] * values[1:, 0] / values[1:, 1]))
            for values in (c.measured[:, 1:], c.computed)
        ]
        lines.append(
            f"{c.name:16}{c.rpm:6.0f}{dct:10.4f}{dcp:10.4f}{c.zero_thrust[0]:13.3f}"
            f"{c.zero_thrust[1]:8.3f}{static[0]:12.1%}{static[1]:8.1%}{best[0]:14.3f}"
            f"{best[1]:8.3f}  {'met' if c.within else 'NOT met'}"
        )
    return "\n".join(lines)


def draw(results: list[Comparison], path: Path) -> None:
    """CT, CP and efficiency over J, a column for each propeller."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(3.2 * len(results), 7.6), layout="constrained")
    axes = figure.subplots(3, len(results), sharex="col", sharey="row", squeeze=False)
    for column, c in enumerate(results):
        j = c.measured[:, 0]
        columns = [
            np.column_stack([v, j * v[:, 0] / v[:, 1]]) for v in (c.measured[:, 1:], c.computed)
        ]
        for row, label in enumerate(
            ("Thrust coefficient CT", "Power coefficient CP", "Efficiency")
        ):
            axis = axes[row, column]
            shown = slice(None) if row < 2 else columns[0][:, 0] > 0.0
            axis.plot(
                j[shown], columns[0][shown, row], "o", ms=4, color="#0072B2", label="measured"
            )
            axis.plot(j[shown], columns[1][shown, row], "-", color="#D55E00", label="computed")
            axis.grid(alpha=0.3)
            axis.axhline(0.0, color="0.4", lw=0.7)
            if column == 0:
                axis.set_ylabel(label)
        axes[2, column].set_ylim(0.0, 1.0)
        axes[0, column].set_title(f"{c.name}, {c.rpm:.0f} rpm", fontsize=10)
        axes[2, column].set_xlabel("Advance ratio J = V/nD")
    axes[0, 0].legend()
    figure.suptitle("Isolated propellers, one general section table for all")
    figure.savefig(path, dpi=130)


if __name__ == "__main__":
    compared = comparison()
    print(table(compared))
    draw(compared, HERE / "isolated_propellers.png")
