"""Pieces that an aircraft's figures share: frame, axes, marks, stored numbers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from blownwing.case.units import KNOT
from blownwing.report import style
from blownwing.solution.model import CAUTION
from blownwing.solution.records import Group

Array = NDArray[np.float64]
Groups = Mapping[str, Group]


def framed(title: str, what: str, width: float = 9.0, height: float = 4.8) -> Figure:
    """A figure that carries its case's name above and the caution below its axes.

    width, height: inches.
    """
    figure = style.new_figure(width, height)
    name = f"{title}: {what}" if title else what
    figure.suptitle(name, x=0.01, ha="left", fontsize=12, parse_math=False)
    figure.supxlabel(CAUTION, fontsize=6.5, color=style.GREY)
    return figure


def number(groups: Groups, path: str) -> float | None:
    """A stored number by its path; None where there is none. In the unit it has there."""
    group, _, name = path.rpartition("/")
    quantity = groups.get(group, {}).get(name)
    return None if quantity is None else float(quantity.value)


def series(groups: Groups, group: str, *names: str) -> list[Array]:
    """Stored arrays of a group, in the shapes and units that they have there."""
    return [np.asarray(groups[group][name].value, dtype=float) for name in names]


def knots(axes: Axes) -> None:
    """A second axis in knots above an axis of speeds in m/s."""

    def slower(speed: Any) -> Any:
        return speed / KNOT

    def metres(speed: Any) -> Any:
        return speed * KNOT

    top = axes.secondary_xaxis("top", functions=(slower, metres))
    top.set_xlabel("kt")


def mark(axes: Axes, speed: float | None, name: str, dash: str = "-") -> None:
    """A named vertical line at a speed, m/s."""
    if speed is None:
        return
    axes.axvline(speed, color=style.BLACK, lw=0.8, ls=dash)
    axes.annotate(
        name, (speed, 0.98), xycoords=("data", "axes fraction"), rotation=90, ha="right", va="top",
        fontsize=8.5,
    )  # fmt: skip


def plain(index: int) -> dict[str, Any]:
    """Colour of the line with this index."""
    return {"color": style.SERIES[index]}
