"""Sensitivities of an aircraft in words and as bars."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.figure import Figure

from blownwing.aircraft.sensitivity import LOOKED_AT, Sensitivities
from blownwing.case.model import Case
from blownwing.report import style
from blownwing.report.aircraft_drawing import framed
from blownwing.report.assumed import assumed
from blownwing.report.words import ASSUMED
from blownwing.solution.groups import Words
from blownwing.solution.records import Group


def sensitivity_words(result: Sensitivities, case: Case) -> Words:
    """The sensitivities in words: a section for each number, the strongest input first.

    Raises InputError for a blade file that cannot be read.
    """
    sections = []
    for name, scale, unit, words in LOOKED_AT:
        start = getattr(result.base, name)
        rows = []
        for item in sorted(result.items, key=lambda i: -_swing(i.change(name, result.base))):
            texts = [
                "failed" if value is None else f"{scale * value:+.3g}"
                for value in item.change(name, result.base)
            ]
            rows.append((item.name, " / ".join(texts), unit))
        head = f"{words[0].upper()}{words[1:]}: {scale * start:.4g} {unit}"
        sections.append((head.replace(" 1", "") if unit == "1" else head, tuple(rows)))
    failed = tuple(f"{item.name}: {item.why_not}" for item in result.items if item.why_not)
    lead = (
        f"Each input {100.0 * result.step:.0f} % less / more, the others as they are; mass does "
        "not follow chord, power or energy."
    )
    lists = (("Failed", failed), (ASSUMED, tuple(assumed(case))))
    return Words(lead, tuple(sections), tuple(item for item in lists if item[1]))


def _swing(change: tuple[float | None, float | None]) -> float:
    return max((abs(value) for value in change if value is not None), default=0.0)


def sensitivity_figure(groups: Mapping[str, Group], title: str) -> Figure:
    """Bars of each number's change, the strongest input on top; within `style.settings`."""
    figure = framed(title, "what the aircraft hangs on", 10.5, 7.0)
    inputs = {
        path.split("_", 1)[1].replace("_per_", "/").replace("_", " "): group
        for path, group in groups.items()
        if path.startswith("sensitivities/")
    }
    step = 100.0 * float(groups["sensitivities"]["step"].value)
    for axes, (name, scale, unit, words) in zip(
        np.ravel(figure.subplots(2, 2)), LOOKED_AT, strict=True
    ):
        found = [
            (label, _value(group, f"{name}_less", scale), _value(group, f"{name}_more", scale))
            for label, group in inputs.items()
        ]
        found.sort(key=lambda row: float(np.nanmax(np.abs([row[1], row[2], 0.0]))))
        places = np.arange(len(found))
        for side, (words_of, colour, offset) in enumerate(
            ((f"{step:.0f} % less", style.BLUE, -0.2), (f"{step:.0f} % more", style.ORANGE, 0.2))
        ):
            axes.barh(places + offset, [row[1 + side] for row in found], 0.38, color=colour,
                      label=words_of)  # fmt: skip
        axes.axvline(0.0, color=style.BLACK, lw=0.8)
        axes.set_yticks(places, [row[0] for row in found])
        start = scale * float(groups["sensitivities"][name].value)
        named = "" if unit == "1" else f" {unit}"
        style.head(axes, f"{words[0].upper()}{words[1:]}: {start:.4g}{named}")
        axes.set_xlabel("change" if unit == "1" else f"change, {unit}")
    figure.axes[0].legend(loc="lower right")
    return figure


def _value(group: Group, name: str, scale: float) -> float:
    """A stored change; a gap where that side failed."""
    return scale * float(group[name].value) if name in group else float("nan")
