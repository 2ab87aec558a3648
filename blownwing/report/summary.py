"""A solution on the terminal, read at a glance: headline numbers, propellers, limits, caution."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from blownwing.report.columns import labelled, print_columns
from blownwing.report.layout import case_of, discs_of
from blownwing.report.trust import trust_notes
from blownwing.report.unit_systems import SYSTEMS, SystemName, UnitSystem
from blownwing.solution import CAUTION, Solution

Row = tuple[str, str, str]


def print_summary(solution: Solution, console: Console, units: SystemName = "si") -> None:
    """Print the result to ``console``; fits 80 columns and needs no colour.

    A polar prints one line per angle of attack, and the propellers at its middle angle. units: "si"
    or "us" (lbf, hp, kt, ft).

    Raises:
        InputError: the case text stored in the solution cannot be read.
    """
    case, system = case_of(solution), SYSTEMS[units]
    one = solution.at(len(solution.alphas) // 2) if solution.polar else solution
    console.print(Text(solution.title, style="bold"))
    console.print(Text(_flow(one.totals, solution.alphas, system)))
    console.print()
    if solution.polar:
        _print_polar(solution, console, system)
    else:
        console.print(_headline(one, system))
    if solution.propellers:
        at = f"Propellers at α {one.totals['alpha']:g}°" if solution.polar else "Propellers"
        spins = {disc.name: disc.spin for disc in discs_of(case)}
        order = [name for name in spins if name in one.propellers]
        order += [name for name in one.propellers if name not in spins]
        console.print()
        console.print(_propeller_table(at, order, one.propellers, spins, system))
    console.print()
    console.print(Text("How far to trust this", style="bold"))
    for note in trust_notes(solution, case):
        console.print(Padding(Text(note), (0, 0, 0, 2)))
    console.print(Padding(Text(CAUTION, style="italic"), (0, 0, 0, 2)))


def _flow(totals: Mapping[str, Any], alphas: tuple[float, ...], system: UnitSystem) -> str:
    parts = []
    if "airspeed" in totals:
        parts.append(system.speed.text(totals["airspeed"]))
    if "density" in totals:
        parts.append(f"ρ {system.density.text(totals['density'])}")
    if "reference_dynamic_pressure" in totals:
        parts.append(f"q {system.pressure.text(totals['reference_dynamic_pressure'])}")
    if alphas:
        parts.append(f"α {alphas[0]:g}° to {alphas[-1]:g}° ({len(alphas)} angles)")
    else:
        parts.append(f"α {totals['alpha']:g}°")
    if "reference_area" in totals:
        parts.append(f"S {system.area.text(totals['reference_area'])}")
    return ", ".join(parts)


def _number(values: Mapping[str, Any], name: str, form: str = "z.4f", scale: float = 1.0) -> str:
    """Return a value as text without negative zeros, or a dash where it does not exist."""
    return format(scale * values[name], form) if name in values else "–"


def _gain(totals: Mapping[str, Any]) -> str:
    """Return the lift gained by blowing in percent, or nothing where that means nothing."""
    blown, bare = totals.get("CL"), totals.get("CL_unblown")
    if blown is None or bare is None or abs(bare) < 1e-6:
        return ""
    return f"{100 * (blown / bare - 1):+z.1f} %"


def _increment(totals: Mapping[str, Any]) -> str:
    """The CL gained by blowing; in percent it would say nothing at little lift."""
    if "CL" not in totals or "CL_unblown" not in totals:
        return "–"
    return f"{totals['CL'] - totals['CL_unblown']:+z.4f}"


def _halves(totals: Mapping[str, Any], system: UnitSystem) -> str:
    """The values that the balance of a half model reads."""
    drive = ""
    if totals.get("half_power"):
        drive = f", thrust {system.force.text(totals['half_thrust'], more=1)}"
        drive += f", {system.power.text(totals['half_power'])}"
    drag = system.force.text(totals["half_drag"], more=2)
    net = system.force.text(totals["half_net_axial_force"], "+", 1)
    return f"of the half: drag {drag}{drive}, net axial force {net}; all else is of the whole"


def _headline(solution: Solution, system: UnitSystem) -> Table:
    totals = solution.totals
    force = system.force
    rows: list[Row] = [("Lift", force.text(totals["lift"]), _lift_words(totals))]
    if "half_lift" in totals:
        lift = force.text(totals["half_lift"], more=1)
        rows.append(("Half model", lift, _halves(totals, system)))
    if "CL_from_thrust" in totals and solution.propellers:
        words = "vertical part of the propeller forces over qS, not in CL"
        rows.append(("Lift of thrust", f"CL {totals['CL_from_thrust']:z.3f}", words))
    induced = _number(totals, "CD_induced")
    drag = f"CD {_number(totals, 'CD')} = induced {induced} + profile "
    drag += _number(totals, "CD_profile")
    rows.append(("Wing drag", force.text(totals["drag"], more=1), drag))
    if "CD_induced_farfield" in totals:
        words = f"near field {induced}, far field {totals['CD_induced_farfield']:z.4f}"
        if "induced_drag_discrepancy" in totals:
            words += (
                f"; unblown they differ by {_number(totals, 'induced_drag_discrepancy', 'z.2%')}"
            )
        rows.append(("Induced drag", f"CD {induced}", words))
    if solution.propellers:
        words = f"{len(solution.propellers)} propellers"
        rows.append(("Thrust", force.text(totals["thrust"], more=1), words))
    if "net_axial_force" in totals:
        net = force.text(totals["net_axial_force"], "+", 1)
        rows.append(("Net axial force", net, "thrust along the path less wing drag"))
    if solution.propellers:
        words = "propels nothing"
        if "efficiency" in totals:
            words = f"efficiency {_number(totals, 'efficiency', 'z.3f')}"
        rows.append(("Shaft power", system.power.text(totals["power"]), words))
    moments = ", ".join(
        f"{n} {_number(totals, n, '+z.4f')}" for n in ("C_roll", "C_pitch", "C_yaw")
    )
    rows.append(("Moments", "", moments))
    residual = solution.convergence["residual"]
    rows.append(("Converged", f"{len(residual)} steps", f"residual {residual[-1]:.1e}"))
    return labelled(rows)


def _lift_words(totals: Mapping[str, Any]) -> str:
    words = f"CL {_number(totals, 'CL')}"
    if "CL_unblown" in totals:
        words += f" blown, {totals['CL_unblown']:z.4f} unblown"
    gain = _gain(totals)
    words = f"{words} ({gain})" if gain else words
    if "CL_superposed" in totals and totals.get("CL_superposed") != totals.get("CL"):
        words += f"; {totals['CL_superposed']:z.4f} without slipstream edges"
    return words


def _plain_table(title: str | None = None) -> Table:
    return Table(
        box=None, pad_edge=False, padding=(0, 2, 0, 0), title=title, title_justify="left",
        title_style="bold", header_style="underline",
    )  # fmt: skip


def _print_polar(solution: Solution, console: Console, system: UnitSystem) -> None:
    force, power = system.force, system.power
    pounds = 1.0 / force.size
    columns: dict[str, Callable[[Mapping[str, Any]], str]] = {
        "α °": lambda t: f"{t['alpha']:g}",
        f"lift {force.name}": lambda t: _number(t, "lift", "z.0f", pounds),
        "CL": lambda t: _number(t, "CL"),
        "unblown": lambda t: _number(t, "CL_unblown"),
        "blowing": _increment,
        "CD ind.": lambda t: _number(t, "CD_induced", "z.4f"),
        "CD": lambda t: _number(t, "CD", "z.4f"),
        "C_pitch": lambda t: _number(t, "C_pitch", "+z.4f"),
        f"net {force.name}": lambda t: _number(t, "net_axial_force", "+z.0f", pounds),
        power.name: lambda t: _number(t, "power", ".2f", 1.0 / power.size),
        "half's lift": lambda t: _number(t, "half_lift", "z.1f", pounds),
        "half's drag": lambda t: _number(t, "half_drag", "z.2f", pounds),
    }
    if "CL" not in solution.totals:  # a static case has forces only
        for name in ("CL", "unblown", "blowing", "CD ind.", "CD", "C_pitch"):
            del columns[name]
    if "half_lift" not in solution.totals:
        for name in ("half's lift", "half's drag"):
            del columns[name]
    rows = []
    for index in range(len(solution.alphas)):
        totals = {name: value[index] for name, value in solution.totals.items()}
        rows.append([column(totals) for column in columns.values()])
    print_columns(console, list(columns), rows, left=())
    if np.any(solution.totals.get("CD_induced", 0.0) < 0.0):
        words = "Induced drag below 0: swirl that the wing straightens pushes it forward."
        console.print(Text(words))


def _propeller_table(
    title: str,
    order: list[str],
    propellers: Mapping[str, Any],
    spins: Mapping[str, str],
    system: UnitSystem,
) -> Table:
    force, power = system.force, system.power
    table = _plain_table(title)
    table.add_column("port to starboard", overflow="fold")
    table.add_column("spin", no_wrap=True)
    for name in ("rpm", f"thrust {force.name}", f"power {power.name}", "J", "η"):
        table.add_column(name, justify="right", no_wrap=True)
    for name in order:
        values = propellers[name]
        table.add_row(
            Text(name),
            Text(spins.get(name, "–")),
            Text(_number(values, "rpm", ".0f")),
            Text(_number(values, "thrust", "z.1f", 1.0 / force.size)),
            Text(_number(values, "power", ".2f", 1.0 / power.size)),
            Text(_number(values, "J", ".3f")),
            Text(_number(values, "efficiency", "z.3f")),
        )
    return table
