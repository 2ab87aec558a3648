"""Tip loss: Prandtl's factor against Goldstein's exact one, and what it does to propellers.

Run as a script for the tables and the figure.
"""

from __future__ import annotations

import csv
import importlib.util
import math
import sys
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np
from numpy.typing import NDArray

from blownwing.propeller.rotor import Rotor, axial_inflow, coefficients, solve_rotor

HERE = Path(__file__).parent

Array = NDArray[np.float64]


def goldstein() -> tuple[Array, dict[int, tuple[Array, Array]]]:
    """Radii r/R, and for every number of blades the wake pitches λ and G (n_λ, n_r)."""
    lines = (HERE / "goldstein.csv").read_text(encoding="utf-8").splitlines()
    rows = list(csv.reader(line for line in lines if not line.startswith("#")))
    radii = np.array([float(x) for x in rows[0][2:]])
    values = np.array([[float(x) for x in row] for row in rows[1:]])
    tables = {}
    for blades in np.unique(values[:, 0]):
        own = values[values[:, 0] == blades]
        tables[int(blades)] = (own[:, 1], own[:, 2:])
    return radii, tables


def exact_factor(blades: int, wake_pitch: Array, x: Array) -> Array:
    """Goldstein's loss factor G (x² + λ²)/x², linear in λ and x; scaled as Prandtl's to the tip."""
    radii, tables = goldstein()
    pitches, circulation = tables[blades]
    factor = circulation * (radii**2 + pitches[:, None] ** 2) / radii**2
    inside = np.clip(x, radii[0], radii[-1])
    at = np.array([np.interp(inside, radii, row) for row in factor])
    lam = np.clip(wake_pitch, pitches[0], pitches[-1])
    place = np.clip(np.searchsorted(pitches, lam) - 1, 0, len(pitches) - 2)
    t = (lam - pitches[place]) / np.diff(pitches)[place]
    column = np.arange(len(x))
    known = (1.0 - t) * at[place, column] + t * at[place + 1, column]
    scale = prandtl(blades, lam, x) / prandtl(blades, lam, inside)
    return np.clip(known * scale, 0.01, 0.9999)


def prandtl(blades: int, wake_pitch: Array | float, x: Array) -> Array:
    """Prandtl's factor with the tip's angle: f = (B/2)(1 − x)√(1 + λ²)/λ."""
    exponent = 0.5 * blades * (1.0 - x) * np.sqrt(1.0 + np.square(wake_pitch)) / wake_pitch
    factor: Array = 2.0 / math.pi * np.arccos(np.exp(-exponent))
    return factor


def solved_with_goldstein(
    rotor: Rotor, air: object, speed: float, omega: float
) -> tuple[float, float]:
    """CT and CP with Goldstein's factor in place of Prandtl's, by repeated solves.

    The exponent of the solver's factor is set, element by element, so that it gives Goldstein's
    value at the wake pitch λ = x tan φ of the last solve.
    """
    x = rotor.r / rotor.radius
    changed = rotor
    inflow = axial_inflow(rotor, speed)
    for _ in range(6):
        loads = solve_rotor(changed, air, omega, 0.0, "clockwise", inflow)
        wanted = exact_factor(rotor.blades, x * np.tan(np.abs(loads.phi)), x)
        geometry = rotor.geometry.copy()
        geometry[4] = -np.log(np.cos(0.5 * math.pi * wanted)) * np.abs(np.sin(loads.phi))
        changed = replace(rotor, geometry=geometry)
    result = coefficients(rotor, air, loads, speed)
    return result.thrust, result.power


def propellers() -> ModuleType:
    """The comparison of isolated propellers, a script of its own."""
    place = HERE.parent / "isolated_propellers" / "compare.py"
    spec = importlib.util.spec_from_file_location("isolated_propellers_for_tip_loss", place)
    if spec is None or spec.loader is None:
        raise FileNotFoundError(place)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def measured_errors() -> dict[str, Array]:
    """By propeller, mean errors (2, 2): rows Prandtl and Goldstein, columns CT and CP."""
    isolated = propellers()
    air = isolated.air_at()
    result = {}
    sizes = {row["propeller"]: row for row in isolated.rows_of("measured.csv")}
    for c in isolated.comparison():
        size = sizes[c.name]
        rotor = isolated.build_rotor(
            isolated.read_blade(isolated.BLADES / f"uiuc_{c.name}.csv"),
            float(size["diameter_in"]) * isolated.INCH,
            int(size["blades"]),
        )
        omega = c.rpm * math.pi / 30.0
        values = []
        for j in c.measured[:, 0]:
            speed = float(j) * c.rpm / 60.0 * rotor.diameter
            values.append(solved_with_goldstein(rotor, air, speed, omega))
        other = replace(c, computed=np.array(values))
        result[c.name] = np.array([c.mean_errors, other.mean_errors])
    return result


def draw(path: Path) -> None:
    """G over the radius, Goldstein's and Prandtl's, one panel for each number of blades."""
    from matplotlib.figure import Figure

    radii, tables = goldstein()
    figure = Figure(figsize=(11.0, 3.6), layout="constrained")
    axes = figure.subplots(1, len(tables), sharey=True)
    x = np.linspace(0.05, 1.0, 300)
    colours = ("#0072B2", "#D55E00", "#009E73", "#CC79A7")
    for axis, (blades, (pitches, values)) in zip(axes, tables.items(), strict=True):
        for pitch, row, colour in zip(pitches, values, colours, strict=True):
            approximate = prandtl(blades, pitch, x) * x**2 / (x**2 + pitch**2)
            axis.plot(x, approximate, color=colour, lw=1.4)
            axis.plot(radii, row, "o", color=colour, ms=3.5, label=f"λ = {pitch:.3g}")
        axis.set_title(f"{blades} blades", fontsize=10)
        axis.set_xlabel("r/R")
        axis.grid(alpha=0.3)
    axes[0].set_ylabel("G = BΓΩ/2πw(V + w)")
    axes[-1].legend(fontsize=8)
    figure.suptitle("Circulation of the optimum propeller: points Goldstein, lines Prandtl")
    figure.savefig(path, dpi=130)


if __name__ == "__main__":
    at, known = goldstein()
    print("Prandtl's G over Goldstein's")
    for number, (wakes, rows) in known.items():
        for wake, line in zip(wakes, rows, strict=True):
            ratio = prandtl(number, wake, at) * at**2 / (at**2 + wake**2) / line
            print(f"B {number} λ {wake:.3f}: " + " ".join(f"{value:.3f}" for value in ratio))
    print("\nMean errors of measured propellers, in parts of the largest value")
    print(f"{'propeller':16}{'Prandtl CT':>12}{'CP':>8}{'Goldstein CT':>15}{'CP':>8}")
    for name, errors in measured_errors().items():
        print(
            f"{name:16}{errors[0, 0]:12.2%}{errors[0, 1]:8.2%}{errors[1, 0]:15.2%}"
            f"{errors[1, 1]:8.2%}"
        )
    draw(HERE / "tip_loss.png")
