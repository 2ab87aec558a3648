"""Figures of what a search found, from its stored groups."""

from __future__ import annotations

from collections.abc import Mapping

from matplotlib.figure import Figure
from matplotlib.patches import Circle

from blownwing.report import style
from blownwing.report.aircraft_drawing import framed, series
from blownwing.solution.records import Group

CAPTIONS = {
    "loading": "Lift along the span, and discs seen from behind, before and after the search.",
    "shape": "Chord and twist before and after the search; shaded: behind a disc.",
    "spins": "The objective with every spin pattern at the places found, best first.",
}
_LOOKS = (("before", style.BLACK, "--"), ("after", style.BLUE, "-"))


def optimum_figures(groups: Mapping[str, Group], title: str) -> dict[str, Figure]:
    """All figures that the groups have data for; within `style.settings`."""
    made = {"loading": _loading(groups, title)}
    if "stations/after" in groups:
        made["shape"] = _shape(groups, title)
    if "spins" in groups:
        made["spins"] = _spins(groups, title)
    return made


def _loading(groups: Mapping[str, Group], title: str) -> Figure:
    figure = framed(title, "lift along the span, and discs seen from behind", 9.0, 5.8)
    upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=(3, 2))
    for label, colour, dash in _LOOKS:
        y, z, load = series(groups, f"loading/{label}", "y", "z", "load")
        upper.plot(y, load, dash, color=colour, label=label)
        lower.plot(y, z, "-", color=style.BLACK, linewidth=1.0)
        if f"discs/{label}" in groups:
            places = series(groups, f"discs/{label}", "y", "z", "radius")
            for at, height, radius in zip(*(p.tolist() for p in places), strict=True):
                lower.add_patch(
                    Circle((at, height), radius, fill=False, edgecolor=colour, linestyle=dash)
                )
    units = {groups[f"loading/{side}"]["load"].units for side in ("before", "after")}
    upper.set_ylabel("lift per span, N/m" if units == {"N/m"} else "cl c, m")
    upper.set_ylim(bottom=min(upper.get_ylim()[0], 0.0))
    lower.set_aspect("equal", adjustable="datalim")
    lower.set_ylabel("z, m")
    lower.set_xlabel("y, m")
    upper.legend(loc="lower center", ncols=2)
    return figure


def _shape(groups: Mapping[str, Group], title: str) -> Figure:
    figure = framed(title, "chord and twist at the same lift", 9.0, 5.8)
    upper, lower = figure.subplots(2, 1, sharex=True)
    low = 0.0
    for label, colour, dash in _LOOKS:
        y, chord, twist = series(groups, f"stations/{label}", "y", "chord", "twist")
        upper.plot(y, chord, dash, color=colour, label=label)
        lower.plot(y, twist, dash, color=colour)
        low = float(y[0])
    if "discs/after" in groups:
        places = series(groups, "discs/after", "y", "radius")
        shaded = "behind a disc"
        for at, radius in zip(*(p.tolist() for p in places), strict=True):
            if at + radius > low:
                for axes in (upper, lower):
                    span = (max(at - radius, low), at + radius)
                    axes.axvspan(*span, **style.BAND, label=shaded if axes is upper else None)
                shaded = ""
    upper.set_ylim(bottom=0.0)
    upper.set_ylabel("chord, m")
    lower.set_ylabel("twist, °")
    lower.set_xlabel("y, m")
    upper.legend(loc="lower center", ncols=3)
    return figure


def _spins(groups: Mapping[str, Group], title: str) -> Figure:
    figure = framed(title, "spin patterns at the places found", 8.0, 4.0)
    axes = figure.subplots()
    (name,) = (key for key in groups["spins"] if key != "pattern")
    rank, values = series(groups, "spins", "pattern", name)
    axes.plot(rank + 1.0, values, "o", color=style.BLUE)
    axes.set_xlabel("rank of the pattern")
    units = groups["spins"][name].units
    axes.set_ylabel(name if units == "1" else f"{name}, {units}")
    return figure
