"""Figures of the blades: thrust and torque loading, incidence and lift along the radius."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.figure import Figure

from blownwing.report import style
from blownwing.report.layout import title_of
from blownwing.solution import Solution

ALIKE = 0.01  # of the greatest value: curves as near as this are drawn as one
PANELS = (
    ("dT_dr", "Thrust along the radius, all blades", "dT/dr, N/m"),
    ("dQ_dr", "Torque along the radius, all blades", "dQ/dr, N m/m"),
    ("alpha", "Angle of attack of the blade element", "α, °"),
    ("cl", "Lift coefficient of the blade element", "cl"),
)


def alike(solution: Solution, rtol: float = ALIKE) -> list[tuple[str, ...]]:
    """Group the propellers whose radial loads agree within ``rtol`` of their greatest value.

    Propellers without radial loads (ideal discs) are in no group.
    """
    groups: list[list[str]] = []
    for name, values in solution.propellers.items():
        if not any(quantity in values for quantity, *_ in PANELS):
            continue
        for group in groups:
            if _same(values, solution.propellers[group[0]], rtol):
                group.append(name)
                break
        else:
            groups.append([name])
    return [tuple(group) for group in groups]


def _same(one: Any, other: Any, rtol: float) -> bool:
    for name, *_ in PANELS:
        if (name in one) != (name in other):
            return False
        if name not in one:
            continue
        a, b = one[name], other[name]
        if a.shape != b.shape or np.max(np.abs(a - b)) > rtol * max(np.max(np.abs(a)), 1e-300):
            return False
    return True


def blade_loads(solution: Solution) -> Figure | None:
    """Draw the radial loads, one line per group of identical propellers; None without blades."""
    groups = alike(solution)
    if not groups:
        return None
    figure = style.new_figure(10.0, 6.6 + 0.22 * max(0, len(groups) - 6))
    handles: list[Any] = []
    grid = figure.subplots(2, 2, sharex=True)
    for axes, (name, title, label) in zip(grid.flat, PANELS, strict=True):
        for index, group in enumerate(groups):
            values = solution.propellers[group[0]]
            if name in values:
                (line,) = axes.plot(values["r"], values[name], **style.line_style(index))
                if len(handles) == index:
                    handles.append(line)
        axes.axhline(0.0, color=style.GREY, linewidth=0.8)
        axes.set_ylabel(label)
        style.head(axes, title)
    for axes in grid[1]:
        axes.set_xlabel("radius r, m")
    labels = [_group_label(group) for group in groups]
    note = f"Curves within {ALIKE:.0%} of their greatest value are drawn as one"
    figure.legend(
        handles, labels, loc="outside lower center", ncols=min(len(groups), 2),
        title=note if any(len(group) > 1 for group in groups) else None, title_fontsize=8,
    )  # fmt: skip
    style.name(figure, title_of(solution))
    return figure


def _group_label(group: tuple[str, ...]) -> str:
    if len(group) <= 3:
        return ", ".join(group)
    return f"{group[0]}, {group[1]}, … {group[-1]} ({len(group)} alike)"
