"""What each propeller of a case can do: curves and maps of CT, CP and efficiency, printed, written.

From blade elements for blades, from its table for a measured propeller: one set of files for both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from blownwing.case.model import Case
from blownwing.case.parts import Propeller
from blownwing.case.units import RPM
from blownwing.coupling.discs import placed_discs
from blownwing.errors import InputError
from blownwing.propeller.curves import (
    LEAST_ANGLES,
    PerformanceCurve,
    blade_curves,
    table_curves,
    table_map,
)
from blownwing.propeller.map import PerformanceMap, map_grid, performance_map
from blownwing.propeller.unit import Unit, unit_state
from blownwing.report import style
from blownwing.report.figures import made_folder
from blownwing.report.general_section import general_section_note
from blownwing.solution.map_files import save_map
from blownwing.solution.model import CAUTION
from blownwing.solution.records import heading
from blownwing.solution.tables import write_columns

_CURVES = {"J": "advance", "CT": "thrust", "CP": "power", "efficiency": "efficiency"}
PITCHES = (-5.0, 0.0, 5.0, 10.0)  # deg, about the case's
MAP_PITCHES = (-10.0, 20.0)  # deg, about the case's
_MOST_LINES = 12


@dataclass(frozen=True)
class Characteristics:
    """Curves of propellers that are alike, and their map if they have one; words: where from."""

    names: tuple[str, ...]
    words: str
    curves: tuple[PerformanceCurve, ...]
    map: PerformanceMap | None


def characteristics(case: Case, names: tuple[str, ...], rpm: float | None) -> list[Characteristics]:
    """Curves and maps of a case's propellers, one of each pair of twins.

    Args:
        case: the case. names: of the propellers; none means all with blades or a table.
        rpm: 1/min; None takes the case's own: for blades the speed at which they are driven alone
            at the case's airspeed, for a table all of its rotor speeds.

    Raises:
        InputError: an unknown name, only ideal discs, an rpm not above 0.
        SolveError: a propeller that cannot be driven as the case says.
    """
    known = [item.name for item in case.propellers if item.kind != "disc"]
    for name in names:
        if name not in known:
            raise InputError(f'--name: found "{name}"; accepted are {", ".join(known) or "none"}')
    if not known:
        raise InputError("propellers: found ideal discs or none; accepted are blades or a table")
    if rpm is not None and not 0.0 < rpm < math.inf:
        raise InputError(f"--rpm: found {rpm:g}; accepted is above 0")
    found: dict[tuple[object, ...], Characteristics] = {}
    for unit in placed_discs(case).units:
        item = unit.placed.definition
        if item.kind == "disc" or (names and item.name not in names):
            continue
        key = _alike(item)
        if key not in found:
            found[key] = _of_unit(case, unit, rpm)
        elif item.name not in found[key].names:
            found[key] = replace(found[key], names=(*found[key].names, item.name))
    return list(found.values())


def _alike(item: Propeller) -> tuple[object, ...]:
    """What two propellers share whose curves and task are the same."""
    return (item.blade, item.table, item.shape, item.blades, item.diameter, item.hub_ratio,
            item.pitch, item.rpm, item.thrust, item.power, item.trim)  # fmt: skip


def _of_unit(case: Case, unit: Unit, rpm: float | None) -> Characteristics:
    item, air = unit.placed.definition, case.air
    turned = None if rpm is None else rpm * RPM
    if unit.measured is not None:
        omega = turned
        if omega is None and unit.measured.table.by == "reynolds":
            omega = _driven_speed(case, unit)
        curves = table_curves(unit.measured, air, omega)
        table = None
        if len(unit.measured.table.pitches) >= LEAST_ANGLES:
            table = table_map(unit.measured, air, omega or _driven_speed(case, unit))
        return Characteristics((item.name,), f"from {item.table}", tuple(curves), table)
    if unit.rotor is None:
        raise ValueError("a propeller has blades or a table")
    omega = turned if turned is not None else _driven_speed(case, unit)
    curves = blade_curves(unit.rotor, air, omega, [item.pitch + angle for angle in PITCHES])
    farthest = max(float(curve.advance[-1]) for curve in curves)
    low, high = (math.radians(item.pitch + angle) for angle in MAP_PITCHES)
    grid = map_grid((0.0, farthest), (low, high))
    table = performance_map(unit.rotor, air, omega, *grid)
    return Characteristics(
        (item.name,), f"blade elements of {item.blade}, {omega / RPM:.0f} rpm",
        tuple(curves), table,
    )  # fmt: skip


def _driven_speed(case: Case, unit: Unit) -> float:
    """Rotor speed, rad/s, of a propeller alone in axial flow, driven as the case says."""
    speed = case.flow.airspeed
    onset = np.zeros_like(unit.samples) + speed * unit.axes[0][:, None, None]
    omega = unit_state(unit, case.air, speed, onset, None).omega
    if not omega > 0.0:
        raise InputError(
            f"propellers: {unit.placed.name} does not turn in this case; accepted is --rpm beside "
            "it"
        )
    return omega


def print_characteristics(case: Case, found: list[Characteristics], console: Console) -> None:
    """Print what matters of each curve; fits 80 columns and needs no colour.

    Raises InputError for a blade file that cannot be read.
    """
    console.print(Text(case.title or "Untitled case", style="bold"))
    for one in found:
        console.print()
        console.print(Text(f"{', '.join(one.names)}: {one.words}"))
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
        for head in ("rpm", "pitch °", "CT at rest", "CP at rest", "best η", "at J", "no thrust"):
            table.add_column(head, justify="right", no_wrap=True)
        for curve in one.curves:
            table.add_row(*_row(curve))
        console.print(table)
        if one.map is not None:
            ct, cp = one.map.thrust_error[0], one.map.power_error[0]
            console.print(Text(f"map: interpolation within {ct:.5f} of CT, {cp:.5f} of CP"))
    console.print()
    note = general_section_note(case)
    for words in (*([note] if note else []), CAUTION):
        console.print(Padding(Text(words), (0, 0, 0, 2)))


def _row(curve: PerformanceCurve) -> list[str]:
    still = abs(float(curve.advance[0])) < 1e-9
    best = int(np.argmax(curve.efficiency))
    falls = np.flatnonzero((curve.thrust[:-1] > 0.0) & (curve.thrust[1:] <= 0.0))
    none = "beyond"
    if falls.size:
        k = int(falls[-1])
        share = curve.thrust[k] / (curve.thrust[k] - curve.thrust[k + 1])
        none = f"{curve.advance[k] + share * (curve.advance[k + 1] - curve.advance[k]):.3f}"
    return [
        "–" if curve.rpm is None else f"{curve.rpm:.0f}",
        "–" if curve.pitch is None else f"{curve.pitch:.1f}",
        f"{curve.thrust[0]:.4f}" if still else "–",
        f"{curve.power[0]:.4f}" if still else "–",
        f"{curve.efficiency[best]:.3f}",
        f"{curve.advance[best]:.3f}",
        none,
    ]


def characteristic_places(case: Case, names: tuple[str, ...], folder: Path, fmt: str) -> list[Path]:
    """The files that `write_characteristics` may write."""
    own = [p.name for p in case.propellers if p.kind != "disc" and (not names or p.name in names)]
    ends = ("_curves.csv", f"_curves.{fmt}", "_map.h5")
    return [folder / f"{name}{end}" for name in own for end in ends]


def write_characteristics(
    found: list[Characteristics], folder: Path, title: str, fmt: style.Format = "png"
) -> list[Path]:
    """Write curves (CSV), figure and map (HDF5), named by the first of those alike.

    Raises InputError and SolveError as `made_folder` and `write_whole`.
    """
    made_folder(folder)
    written = []
    for one in found:
        columns = {
            "rpm [1/min]": [curve.rpm for curve in one.curves for _ in curve.advance],
            "pitch [deg]": [curve.pitch for curve in one.curves for _ in curve.advance],
        } | {
            heading(name, "1"): [x for curve in one.curves for x in getattr(curve, part)]
            for name, part in _CURVES.items()
        }
        written.append(write_columns(folder / f"{one.names[0]}_curves.csv", columns))
        with style.settings():
            place = folder / f"{one.names[0]}_curves.{fmt}"
            written.append(style.save_figure(curves_figure(one), place, fmt))
        if one.map is not None:
            place = folder / f"{one.names[0]}_map.h5"
            written.append(save_map(one.map, place, f"{title}: {', '.join(one.names)}"))
    return written


def curves_figure(one: Characteristics) -> Figure:
    """CT, CP and efficiency over J, a line for each rotor speed or blade angle."""
    figure = style.new_figure(10.5, 4.2)
    panels = figure.subplots(1, 3, sharex=True)
    step = max(1, math.ceil(len(one.curves) / _MOST_LINES))
    shown = one.curves[::step]
    for index, curve in enumerate(shown):
        look = style.line_style(index)
        for axes, values in zip(panels, (curve.thrust, curve.power, curve.efficiency), strict=True):
            axes.plot(curve.advance, values, **look, label=_label(curve, one.curves))
    heads = ("Thrust coefficient", "Power coefficient", "Efficiency")
    for axes, head, label in zip(panels, heads, ("CT", "CP", "η"), strict=True):
        style.head(axes, head)
        axes.set_xlabel("advance ratio J = V/nD")
        axes.set_ylabel(label)
        axes.axhline(0.0, color=style.GREY, linewidth=0.8)
    panels[2].set_ylim(0.0, 1.0)
    handles, labels = panels[0].get_legend_handles_labels()
    left = "" if step == 1 else f"; every {step}. of {len(one.curves)} curves"
    figure.suptitle(
        f"{', '.join(one.names)}: {one.words}{left}", x=0.01, ha="left", parse_math=False
    )
    figure.legend(handles, labels, loc="outside lower center", ncols=min(len(labels), 6))
    return figure


def _label(curve: PerformanceCurve, all_curves: tuple[PerformanceCurve, ...]) -> str:
    words = []
    if curve.pitch is not None and len({c.pitch for c in all_curves}) > 1:
        words.append(f"pitch {curve.pitch:g}°")
    if curve.rpm is not None and (len({c.rpm for c in all_curves}) > 1 or not words):
        words.append(f"{curve.rpm:.0f} rpm")
    return ", ".join(words) or "table"
