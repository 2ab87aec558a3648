"""Figures of designed propellers: shape, loading, performance map, motor."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from blownwing.case.units import RPM
from blownwing.propeller.motor import Motor, efficiency_map
from blownwing.propeller.motor_table import GearedTable, table_map
from blownwing.report import style
from blownwing.report.propeller_comparison import Product

NAMES = {"minimum_loss": "minimum loss", "high_lift": "high lift"}


def write_propeller_figures(
    products: Sequence[Product],
    motor: Motor | GearedTable | None,
    folder: Path,
    fmt: style.Format = "png",
) -> list[Path]:
    """Write every figure and return the files.

    ``blades`` (chord, twist, cl, angle), ``loading`` (thrust, torque, induced velocities),
    ``map_<kind>`` for each blade and, with a motor, ``motor``. Errors as for `style.save_figures`.
    """
    with style.settings():
        figures = {"blades": blade_shapes(products), "loading": blade_loadings(products)}
        figures |= {f"map_{p.design.kind}": map_figure(p) for p in products}
        if motor is not None:
            figures["motor"] = motor_figure(motor, products)
        return style.save_figures(figures, folder, fmt)


def blade_shapes(products: Sequence[Product]) -> Figure:
    """Chord, twist, design cl and incidence along the radius, both blades."""
    figure = style.new_figure(10.0, 6.6)
    grid = figure.subplots(2, 2, sharex=True)
    titles = ("Chord", "Twist", "Design lift coefficient of the section", "Design angle of attack")
    labels = ("c/R", "twist, °", "cl", "α, °")
    for index, product in enumerate(products):
        design = product.design
        x, radius = design.r / design.task.radius, design.task.radius
        values = (
            design.chord / radius,
            np.degrees(design.twist),
            design.lift,
            np.degrees(design.alpha),
        )
        for axes, value in zip(grid.flat, values, strict=True):
            axes.plot(x, value, **_named(product, index))
    for axes, title, label in zip(grid.flat, titles, labels, strict=True):
        style.head(axes, title)
        axes.set_ylabel(label)
        if label != labels[-1]:  # a cambered section may be loaded at a negative angle
            axes.set_ylim(bottom=0.0)
    _finish(figure, grid)
    return figure


def blade_loadings(products: Sequence[Product]) -> Figure:
    """Loads and induced velocities along the radius at the design point, by blade elements."""
    figure = style.new_figure(10.0, 6.6)
    grid = figure.subplots(2, 2, sharex=True)
    titles = (
        "Thrust along the radius, all blades",
        "Torque along the radius, all blades",
        "Axial velocity induced at the disc, azimuth mean",
        "Swirl velocity behind the disc, azimuth mean",
    )
    labels = ("dT/dr, N/m", "dQ/dr, N m/m", "u, m/s", "v, m/s")
    for index, product in enumerate(products):
        loads = product.loads
        values = (
            loads.dT_dr,
            loads.dQ_dr,
            loads.axial_induced,
            2.0 * loads.tangential_induced,
        )
        for axes, value in zip(grid.flat, values, strict=True):
            axes.plot(loads.r / product.rotor.radius, value, **_named(product, index))
    for axes, title, label in zip(grid.flat, titles, labels, strict=True):
        style.head(axes, title)
        axes.set_ylabel(label)
        axes.set_ylim(bottom=0.0)
    _finish(figure, grid)
    return figure


def map_figure(product: Product) -> Figure:
    """Efficiency and thrust coefficient over J and pitch; power coefficient beside it."""
    table = product.map
    # between the grid points as the map itself is read
    j = np.linspace(table.advance_ratio[0], table.advance_ratio[-1], 241)
    pitch = np.linspace(table.pitch[0], table.pitch[-1], 161)
    thrust, power = table.coefficients(j[None, :], pitch[:, None])
    driving = (thrust > 0.0) & (power > 0.0)
    efficiency = np.ma.masked_where(~driving, j * thrust / np.where(driving, power, 1.0))
    degrees = np.degrees(pitch)
    figure = style.new_figure(10.0, 4.8)
    left, right = figure.subplots(1, 2, sharex=True, sharey=True)
    shown = left.contourf(j, degrees, efficiency, levels=np.linspace(0.0, 1.0, 21), cmap="viridis")
    figure.colorbar(shown, ax=left, label="efficiency")
    lines = left.contour(j, degrees, thrust, levels=_steps(thrust), colors="k", linewidths=0.8)
    left.clabel(lines, fmt="%.2g", fontsize=8)
    shown = right.contourf(j, degrees, power, levels=24, cmap="cividis")
    figure.colorbar(shown, ax=right, label="power coefficient CP")
    zero = right.contour(j, degrees, power, levels=[0.0], colors="w", linewidths=1.2)
    right.clabel(zero, fmt="CP = 0", fontsize=8)
    task = product.design.task
    here = task.airspeed / (task.omega / (2.0 * math.pi) * task.diameter)
    for axes in (left, right):
        axes.plot(here, 0.0, "o", color=style.VERMILION, markeredgecolor="w")
        axes.set_xlabel("advance ratio J = V/nD")
        axes.grid(False)
    left.set_ylabel("pitch added to the twist, °")
    style.head(left, f"{NAMES[product.design.kind].capitalize()}: efficiency, lines of CT")
    style.head(right, "CP; dot: design point")
    return figure


def motor_figure(motor: Motor | GearedTable, products: Sequence[Product]) -> Figure:
    """Efficiency of motor and controller over torque and speed, with the design points."""
    top_q = 2.0 * max(product.loads.torque for product in products)
    top_w = 1.5 * max(product.loads.omega for product in products)
    torque, omega = np.linspace(0.01 * top_q, top_q, 121), np.linspace(0.01 * top_w, top_w, 121)
    figure = style.new_figure(7.0, 4.6)
    axes = figure.subplots()
    found = (
        efficiency_map(motor, torque, omega)
        if isinstance(motor, Motor)
        else table_map(motor, torque, omega)
    )
    values = np.ma.masked_invalid(found)
    rpm = omega / RPM
    levels = np.linspace(0.5, 1.0, 21)  # where motors are used
    shown = axes.contourf(rpm, torque, values, levels=levels, cmap="viridis", extend="min")
    figure.colorbar(shown, ax=axes, label="efficiency")
    lines = axes.contour(
        rpm, torque, values, levels=[0.5, 0.7, 0.8, 0.85, 0.9, 0.95], colors="w", linewidths=0.7
    )
    axes.clabel(lines, fmt="%g", fontsize=8)
    for index, product in enumerate(products):
        place = product.loads.omega / RPM, product.loads.torque
        marker = "os^D"[index % 4]
        axes.plot(*place, marker, color=style.VERMILION, markeredgecolor="w", linestyle="none",
                  label=NAMES[product.design.kind])  # fmt: skip
    handles, labels = axes.get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=len(labels))
    axes.set_xlabel("propeller speed, rpm")
    axes.set_ylabel("propeller torque, N m")
    axes.grid(False)
    rest = "; white: not in the table"
    if isinstance(motor, Motor):
        limited = motor.supply_voltage is not None or motor.current_limit is not None
        rest = "; white: beyond supply or current limit" if limited else ""
    style.head(axes, f"Motor and controller efficiency{rest}")
    return figure


def _named(product: Product, index: int) -> dict[str, Any]:
    return {**style.line_style(index), "label": NAMES[product.design.kind]}


def _finish(figure: Figure, grid: Any) -> None:
    for axes in grid[1]:
        axes.set_xlabel("r/R")
    handles, labels = grid[0, 0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=len(labels))


def _steps(values: np.ndarray) -> np.ndarray:
    """Round contour levels of a coefficient."""
    spread = float(values.max() - values.min())
    step = next(s for s in (0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0) if spread / s <= 14)
    return np.arange(math.ceil(values.min() / step), math.floor(values.max() / step) + 1) * step
