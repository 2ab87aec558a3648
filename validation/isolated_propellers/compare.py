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
# Bars on the mean absolute error of CT and CP, in parts of their largest measured value, from
# J = 0.2 to zero thrust, and on the static CT.
MEAN_FROM_J, MEAN_BAR, STATIC_BAR = 0.2, 0.06, 0.10

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
    def mean_errors(self) -> tuple[float, float]:
        """Mean |ΔCT| and |ΔCP| over their largest measured value, J = 0.2 to zero thrust."""
        driving = (self.measured[:, 0] >= MEAN_FROM_J) & (self.measured[:, 1] >= 0.0)
        values = self.measured[driving, 1:]
        mean = np.abs(self.computed[driving] - values).mean(axis=0) / values.max(axis=0)
        return float(mean[0]), float(mean[1])

    @property
    def static_thrust_error(self) -> float:
        """Relative error of CT at rest."""
        return float(self.computed[0, 0] / self.measured[0, 1] - 1.0)

    @property
    def within_means(self) -> bool:
        """Whether the mean errors and the static thrust are within the bars."""
        return max(self.mean_errors) <= MEAN_BAR and abs(self.static_thrust_error) <= STATIC_BAR

    @property
    def within(self) -> bool:
        """Whether all three errors are within the bars."""
        return all(e <= bar for e, bar in zip(self.errors, (CT_BAR, CP_BAR, J_BAR), strict=True))


def rows_of(name: str) -> list[dict[str, str]]:
    """Rows of a data file beside this script."""
    lines = (HERE / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def reynolds_trend() -> dict[str, Array]:
    """By propeller, rows of rpm, measured and computed efficiency where the measured one is best.

    The speeds rise with the rows, and with them the Reynolds numbers of the blades.
    """
    sizes = {row["propeller"]: row for row in rows_of("measured.csv")}
    air = air_at()
    result: dict[str, list[tuple[float, float, float]]] = {}
    for row in rows_of("reynolds.csv"):
        name, size = row["propeller"], sizes[row["propeller"]]
        rotor = build_rotor(
            read_blade(BLADES / f"uiuc_{name}.csv"),
            float(size["diameter_in"]) * INCH,
            int(size["blades"]),
        )
        j, ct, cp = (float(row[key]) for key in ("J", "CT", "CP"))
        thrust, power = ct_cp(rotor, air, j, float(row["rpm"]))
        point = (float(row["rpm"]), j * ct / cp, j * thrust / power)
        result.setdefault(name, []).append(point)
    return {name: np.array(points) for name, points in result.items()}


def comparison() -> list[Comparison]:
    """All propellers of `measured.csv`."""
    rows = rows_of("measured.csv")
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


def second_table(results: list[Comparison], trend: dict[str, Array]) -> str:
    """Mean errors, static thrust and the trend with Reynolds number as plain text."""
    lines = [
        f"{'propeller':16}{'mean CT':>9}{'mean CP':>9}{'static CT':>11}  bars     "
        "best efficiency over rising rpm: measured | computed"
    ]
    for c in results:
        points = trend[c.name]
        columns = [" ".join(f"{value:.3f}" for value in points[:, k]) for k in (1, 2)]
        lines.append(
            f"{c.name:16}{c.mean_errors[0]:9.1%}{c.mean_errors[1]:9.1%}"
            f"{c.static_thrust_error:11.1%}  {'met    ' if c.within_means else 'NOT met'}  "
            f"{columns[0]} | {columns[1]}"
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
    print()
    print(second_table(compared, reynolds_trend()))
    draw(compared, HERE / "isolated_propellers.png")
